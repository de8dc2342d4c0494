"""Sealwright: fit testing of tight-fitting respirators, led live, judged, proven and on record.

The pure core is `protocols`, `assess`, `programme` and `pictures`; `ledger` and `evidence` stand on it;
`web`, `cli` and `demo` are the edges.
"""

__version__ = "0.1.0"
