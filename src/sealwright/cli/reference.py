"""The reference page of the command line, made from the commands' own help: `python -m sealwright.cli.reference`."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import typer

HEAD = """# The command line

This page is made from the program's own help: `python -m sealwright.cli.reference > docs/reference/command-line.md`.

- Every command takes `--json` and then prints one JSON document on standard output.
- Exit status: **0** done; **1** the answer is no (a test that is no pass, a broken chain); **2** bad input.
- An error is one line on standard error: where, what was found, how to mend it. With `--json` it is one object on
  standard output: `{"error", "found", "place", "mend"}`.
- Commands that read a ledger take `--ledger` and `--org`, or `SEALWRIGHT_LEDGER` and `SEALWRIGHT_ORG` from the
  environment. Those that only read refuse a ledger that is not there, so that a mistyped name makes no empty one.
- A file that is there already is not written over unless `--replace` is said.
- `sealwright demo` counts "first page answered" from `SEALWRIGHT_STARTED` (seconds since 1970, as `date +%s.%N` prints
  them) where that is set, else from when the program was loaded.
"""
COLUMNS = 100
HELP = ["-h", "--help"]


def page() -> str:
    """The whole page, Markdown."""
    parts = [HEAD]
    for path, command in commands():
        context = typer.Context(command, info_name=path, terminal_width=COLUMNS, help_option_names=HELP)
        parts.append(f"## {path}\n\n```text\n{command.get_help(context).strip()}\n```\n")
    return "\n".join(parts)


def commands() -> Iterator[tuple[str, Any]]:
    """Every command that does something, with its full name, in the order of the help."""
    from sealwright.cli.app import app

    yield from _below(typer.main.get_command(app), "sealwright")


def _below(command: Any, path: str) -> Iterator[tuple[str, Any]]:
    inner = getattr(command, "commands", None)
    if inner is None:
        yield path, command
        return
    for name, one in inner.items():
        yield from _below(one, f"{path} {name}")


if __name__ == "__main__":
    print(page(), end="")
