"""`sealwright certificate` and `sealwright card`: the papers of a test, as PDF."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from sealwright.cli import house, say

certificate = typer.Typer(help="The certificate of a test.")
card = typer.Typer(help="The wearer's card.")
Test = Annotated[str, typer.Argument(metavar="TEST", help="The test's id.")]


@certificate.callback()
def certificate_group() -> None:
    """The certificate of a test."""


@card.callback()
def card_group() -> None:
    """The wearer's card."""


@certificate.command("write")
def write_certificate(test: Test, out: house.Out, ledger: house.LedgerUrl, org: house.Org, org_name: house.OrgName = "",
                      replace: house.Replace = False, json: house.WantsJson = False) -> None:
    """Write the record of a test as PDF, whatever its verdict."""
    from sealwright.evidence import certificate_pdf
    from sealwright.evidence.gather import gather

    with house.ledger_at(ledger, org) as book:
        pdf = certificate_pdf(gather(book, test, org_name=org_name or org))
    _write(test, pdf, out, replace, json)


@card.command("write")
def write_card(test: Test, out: house.Out, ledger: house.LedgerUrl, org: house.Org, org_name: house.OrgName = "",
               replace: house.Replace = False, json: house.WantsJson = False) -> None:
    """Write the pocket card of a test that was passed as PDF."""
    from sealwright.evidence import card_pdf
    from sealwright.evidence.gather import gather

    with house.ledger_at(ledger, org) as book:
        pdf = card_pdf(gather(book, test, org_name=org_name or org))
    _write(test, pdf, out, replace, json)


def _write(test: str, pdf: bytes, out: Path, replace: bool, json: bool) -> None:
    house.write(out, pdf, replace=replace)
    say.answer({"test": test, "written": str(out), "bytes": len(pdf)}, json, lambda: say.line(f"Written: {out}"))
