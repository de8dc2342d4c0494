"""What can be learned from tests beyond their verdicts: how well two methods agree, what the air under the hood held.

Pure, and never asked by `assess`: an insight explains a verdict, it does not make one.
"""
