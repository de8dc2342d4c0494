"""`sealwright ledger`: proof that nothing was changed, copies, and chains on the move."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from sealwright.cli import house, say

if TYPE_CHECKING:
    from sealwright.ledger import ChainReport, Head

MOST_HEADS_BYTES = 1_000_000

app = typer.Typer(help="The ledger: check it, copy it, carry it to another office.")
NewFile = Annotated[Path, typer.Argument(metavar="FILE", help="The file to write; one that is there is not touched.")]
OldFile = Annotated[Path, typer.Argument(metavar="FILE", help="The file to read.")]


@app.command()
def check(
    ledger: house.LedgerUrl, org: house.Org,
    known: Annotated[Path | None, typer.Option("--known", metavar="FILE", help="Heads noted earlier, as `ledger heads "
                                               "--json` printed them: they must still be in their chains.")] = None,
    rows: Annotated[bool, typer.Option("--rows", help="Compare the tables made from events with them, too.")] = False,
    json: house.WantsJson = False,
) -> None:
    """Read every event again and prove that none was changed, moved or taken out. Exit 1 when one was."""
    heads = _noted(known) if known else ()
    with house.ledger_at(ledger, org) as book, say.progress("Reading events", book.count()) as seen:
        report = book.check(known=heads, rows=rows, progress=seen)
    say.answer(report, json, lambda: _tell(report))
    if not report.ok:
        raise typer.Exit(1)


def _noted(file: Path) -> tuple[Head, ...]:
    import msgspec

    from sealwright.errors import BadInput
    from sealwright.ledger import Head

    raw = house.read(file, MOST_HEADS_BYTES, "what `sealwright ledger heads --json` printed")
    try:
        return msgspec.json.decode(raw, type=tuple[Head, ...])
    except msgspec.DecodeError as error:
        raise BadInput(f"no list of heads: {error}", place=str(file),
                       mend="Hand in what `sealwright ledger heads --json` printed") from None


def _tell(report: ChainReport) -> None:
    state = "BROKEN" if report.broken else "Whole" if report.ok else "Whole, but its tables differ"
    chains = f"{report.chains} chain{'' if report.chains == 1 else 's'}"
    say.line(f"{state}: {report.events} events read in {chains}", bold=True)
    if report.broken:
        b = report.broken
        say.line(say.tidy(f"Event {b.n} ({b.id or 'no id'}) of chain {b.chain}: {b.why}"))
    for row in report.drift:
        say.line(say.tidy(f"Differs from its events: {row}. Mend it: `sealwright ledger rebuild`"))


@app.command()
def heads(ledger: house.LedgerUrl, org: house.Org, json: house.WantsJson = False) -> None:
    """Show the end of every chain. Kept elsewhere, they prove later that nothing was changed (`check --known`)."""
    with house.ledger_at(ledger, org) as book:
        found = book.heads()
    say.answer(found, json, lambda: say.table(("chain", "events>", "hash"), [(h.chain, h.n, h.hash) for h in found]))


@app.command()
def rebuild(ledger: house.LedgerUrl, org: house.Org, json: house.WantsJson = False) -> None:
    """Make the tables that people read again from the events."""
    with house.ledger_at(ledger, org) as book:
        n = book.rebuild()
    say.answer({"events": n}, json, lambda: say.line(f"Made again from {n} events"))


@app.command()
def backup(file: NewFile, ledger: house.LedgerUrl, org: house.Org, json: house.WantsJson = False) -> None:
    """Copy the whole ledger, names too, into a new FILE while work goes on, and look the copy over."""
    with house.ledger_at(ledger, org) as book:
        book.backup(file)
    say.answer({"written": str(file)}, json, lambda: say.line(f"Backup written: {file}"))


@app.command()
def restore(file: OldFile, ledger: house.LedgerUrl, json: house.WantsJson = False) -> None:
    """Make a new ledger from the backup FILE; one that is there is not touched."""
    from sealwright.ledger import restore as make_from
    from sealwright.ledger.dialect import file_of

    target = file_of(ledger)
    make_from(file, target)
    say.answer({"written": str(target)}, json, lambda: say.line(f"Ledger restored: {target}"))


@app.command()
def export(file: NewFile, ledger: house.LedgerUrl, org: house.Org, json: house.WantsJson = False) -> None:
    """Write this installation's own chain of events into a new FILE, to be taken in elsewhere. No names are in it."""
    with house.ledger_at(ledger, org) as book:
        n = book.export_events(file)
    say.answer({"written": str(file), "events": n}, json, lambda: say.line(f"{n} events written: {file}"))


@app.command("take-in")
def take_in(file: OldFile, ledger: house.LedgerUrl, org: house.Org, json: house.WantsJson = False) -> None:
    """Take in the chain that another installation exported to FILE, whole, beside this one's own."""
    with house.ledger_at(ledger, org) as book:
        n = book.take_in(file)
    say.answer({"taken_in": n}, json, lambda: say.line(f"{n} new events taken in"))
