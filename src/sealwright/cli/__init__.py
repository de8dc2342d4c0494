"""The same abilities on the command line. Exit 0: done; 1: the answer is no; 2: bad input."""


def main() -> None:
    from sealwright.cli.app import run

    run()
