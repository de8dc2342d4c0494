"""Options that many commands share, and how they open a ledger and write a file."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from sealwright.errors import BadInput, Conflict, NotFound, TooLarge

if TYPE_CHECKING:
    from sealwright.ledger import Ledger

WantsJson = Annotated[bool, typer.Option("--json", help="Print JSON instead of text.")]
LedgerUrl = Annotated[str, typer.Option("--ledger", envvar="SEALWRIGHT_LEDGER", metavar="URL",
                                        help="The ledger: a file, or sqlite:///<file>.")]
Org = Annotated[str, typer.Option("--org", envvar="SEALWRIGHT_ORG", metavar="ID", help="The organisation's id.")]
OrgName = Annotated[str, typer.Option("--org-name", envvar="SEALWRIGHT_ORG_NAME", metavar="NAME",
                                      help="The organisation's name on pages and papers; its id where none is given.")]
Out = Annotated[Path, typer.Option("--out", metavar="FILE", help="The file to write.")]
Replace = Annotated[bool, typer.Option("--replace", help="Replace the file if there is one.")]


@contextmanager
def ledger_at(url: str, org: str) -> Iterator[Ledger]:
    """A ledger that is there already: a mistyped name must not make an empty one."""
    from sealwright.ledger import open_ledger
    from sealwright.ledger.dialect import file_of

    if not file_of(url).is_file():
        raise NotFound("there is no ledger", place=url, mend="Name an existing one, or make one: `sealwright serve`")
    with open_ledger(url, org=org) as ledger:
        yield ledger


def write(path: Path, content: bytes, *, replace: bool) -> None:
    """Write a whole file or none."""
    if path.is_dir():
        raise BadInput("this is a folder", place=str(path), mend="Name a file in it")
    if path.exists() and not replace:
        raise Conflict("there is a file already", place=str(path), mend="Choose another name, or say --replace")
    part = path.with_name(f"{path.name}.{os.getpid()}.part")
    try:
        part.write_bytes(content)
        part.replace(path)
    finally:
        part.unlink(missing_ok=True)


def read(path: Path, most: int, what: str) -> bytes:
    """A whole file of at most `most` bytes; "-" is standard input. Reads no more than that, whatever is there."""
    if str(path) == "-":
        raw = sys.stdin.buffer.read(most + 1)
    elif path.is_dir():
        raise BadInput("this is a folder", place=str(path), mend=f"Name the files in it: {path}/*")
    else:
        with path.open("rb") as file:
            raw = file.read(most + 1)
    if len(raw) > most:
        raise TooLarge(f"the file is over {most // 1_000_000} MB", place=str(path), mend=f"Hand in {what}")
    return raw
