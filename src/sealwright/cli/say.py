"""How the command line speaks: text or JSON on standard output, progress on standard error, one shape of error."""

from __future__ import annotations

import json
import os
import sys
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from typing import Any, Literal

import typer

from sealwright.errors import SealwrightError

WIDE = 200
"""Columns of a table where no terminal says otherwise."""
MARKS = {"pass": "●", "fail": "✕", "void": "○", "unsuited": "◇", "unfinished": "…"}


def tidy(text: object) -> str:
    """Text from outside, made harmless for a terminal: what cannot be printed becomes a replacement character."""
    return "".join(c if c.isprintable() else "\N{REPLACEMENT CHARACTER}" for c in str(text))


def line(text: str = "", *, bold: bool = False) -> None:
    typer.echo(typer.style(text, bold=True) if bold else text)


def aside(text: str) -> None:
    """A word on standard error, beside the answer."""
    typer.echo(tidy(text), err=True)


def as_json(value: Any) -> None:
    """One JSON document."""
    import msgspec

    typer.echo(json.dumps(msgspec.to_builtins(value), indent=2, ensure_ascii=False))


def answer(value: Any, wants_json: bool, tell: Callable[[], None]) -> None:
    """The command's result: `value` as JSON, or told in words."""
    if wants_json:
        as_json(value)
    else:
        tell()


def table(heads: Sequence[str], rows: Iterable[Sequence[object]]) -> None:
    """A plain table; markup in cells and heads is not obeyed. A head ending in ">" is set to the right."""
    from rich import box
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

    console = Console(highlight=False, width=None if sys.stdout.isatty() or "COLUMNS" in os.environ else WIDE)
    grid = Table(box=box.SIMPLE_HEAD, pad_edge=False, header_style="bold")
    for head in heads:
        side: Literal["left", "right"] = "right" if head.endswith(">") else "left"
        grid.add_column(Text(tidy(head.rstrip(">"))), justify=side, overflow="fold")
    for row in rows:
        grid.add_row(*(Text(tidy("" if cell is None else cell)) for cell in row))
    console.print(grid)


@contextmanager
def progress(what: str, steps: int) -> Iterator[Callable[[int], None]]:
    """A bar on standard error, where there is a terminal and something to wait for; told how many steps are done."""
    if steps < 2 or not sys.stderr.isatty():
        yield lambda done: None
        return
    from rich.console import Console
    from rich.progress import Progress

    with Progress(console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task(what, total=steps)
        yield lambda done: bar.update(task, completed=done)


def trouble(error: SealwrightError, wants_json: bool) -> None:
    """An error: one line on standard error, or with --json one object on standard output."""
    if wants_json:
        as_json(error.as_dict())
    else:
        typer.echo(tidy(f"sealwright: {error}"), err=True)


def clock(seconds: int) -> str:
    """Seconds as minutes and seconds, "−0:08" before the first exercise."""
    return f"{'−' if seconds < 0 else ''}{abs(seconds) // 60}:{abs(seconds) % 60:02d}"


def day(ms: int | None) -> str:
    """The local day of an instant in ms, as 2026-03-09."""
    return moment(ms)[:10]


def moment(ms: int | None) -> str:
    """The local day and minute of an instant in ms."""
    from datetime import datetime

    return datetime.fromtimestamp(ms / 1000).astimezone().strftime("%Y-%m-%d %H:%M") if ms is not None else ""


def raw(text: str) -> None:
    """Text of a file, as it stands."""
    typer.echo(text, nl=not text.endswith("\n"))
