"""`sealwright wearer` and `sealwright facepiece`: who and what is on record."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import typer

from sealwright.cli import house, say

if TYPE_CHECKING:
    from sealwright.ledger import TestRow, WearerRow

wearer = typer.Typer(help="Wearers on record.")
facepiece = typer.Typer(help="Facepieces in stock.")


@wearer.callback()
def wearers_group() -> None:
    """Wearers on record."""


@facepiece.callback()
def facepieces_group() -> None:
    """Facepieces in stock."""


@wearer.command("list")
def wearers(ledger: house.LedgerUrl, org: house.Org, json: house.WantsJson = False) -> None:
    """List wearers, each with the latest test."""
    with house.ledger_at(ledger, org) as book:
        latest: dict[str, TestRow] = {}
        for row in book.tests(limit=10_000):
            latest.setdefault(row.wearer, row)
        rows = [_wearer(w, latest.get(w.id)) for w in book.wearers()]
    say.answer(rows, json, lambda: say.table(
        ("wearer", "name", "site", "role", "language", "latest test", "facepiece", "verdict"),
        [(r["id"], r["name"], r["site"], r["role"], r["language"], say.day(r["tested_at"]), r["facepiece"],
          f"{say.MARKS[r['verdict']]} {r['verdict']}" if r["verdict"] else "never tested") for r in rows]))


def _wearer(row: WearerRow, test: TestRow | None) -> dict[str, Any]:
    return {"id": row.id, "name": row.name, "site": row.site, "role": row.role, "language": row.language,
            "test": test.id if test else None, "tested_at": test.opened_at if test else None,
            "facepiece": f"{test.facepiece.model} {test.facepiece.size}" if test else None,
            "verdict": test.result if test else None}


@facepiece.command("list")
def facepieces(ledger: house.LedgerUrl, org: house.Org, json: house.WantsJson = False) -> None:
    """List facepieces in stock."""
    with house.ledger_at(ledger, org) as book:
        rows = book.facepieces()
    heads = ("id", "make", "model", "size", "kind", "material")
    say.answer(rows, json, lambda: say.table(("facepiece", *heads[1:]), [[getattr(r, h) for h in heads] for r in rows]))
