"""`sealwright test`: judge recorded tests, and those in a ledger."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from sealwright.cli import house, say
from sealwright.errors import BadInput, NotFound, SealwrightError

if TYPE_CHECKING:
    from sealwright.assess import Event, Verdict
    from sealwright.ledger import Ledger, TestRow
    from sealwright.protocols import Protocol

MOST_BYTES = 4_000_000

app = typer.Typer(help="Tests: judge a recorded one, show and hand out those in a ledger.")
TestId = Annotated[str, typer.Argument(metavar="TEST", help="The test's id.")]


@app.command()
def assess(
    files: Annotated[list[Path], typer.Argument(metavar="FILE...", help="Recorded tests, JSON (see `test schema`), "
                                                "each up to 4 MB; - is standard input.")],
    protocol: Annotated[Path | None, typer.Option("--protocol", metavar="FILE", help="Judge by this protocol file "
                                                  "instead of the published one that the record names.")] = None,
    json: house.WantsJson = False,
) -> None:
    """Judge recorded tests: verdict, findings with their sources, and what to do next.

    Exit 0 when every test is a pass, 1 when one is not, 2 when a file cannot be read (the others are judged).
    """
    from sealwright.cli.protocol import protocol_from

    own = protocol_from(protocol) if protocol else None
    results: list[dict[str, Any]] = []
    with say.progress("Judging", len(files)) as seen:
        for file in files:
            results.append(_assess(file, own))
            seen(len(results))
    counts = Counter(r["verdict"].result if "verdict" in r else "unreadable" for r in results)
    say.answer({"results": [_plain(r) for r in results], "counts": counts}, json, lambda: _tell_all(results, counts))
    if set(counts) != {"pass"}:
        raise typer.Exit(2 if counts["unreadable"] else 1)


def _assess(file: Path, own: Protocol | None) -> dict[str, Any]:
    """The verdict on the test in a file, or why it cannot be read."""
    from sealwright.assess import judge, read_record

    place = "standard input" if str(file) == "-" else str(file)
    try:
        record = read_record(house.read(file, MOST_BYTES, "one recorded test; a whole one has about 20 kB"), place)
        return {"file": str(file), "verdict": judge(record.events, own)}
    except OSError as error:
        return {"file": str(file), "error": BadInput((error.strerror or str(error)).lower(), place=place,
                                                     mend="Check the name and that you may read it")}
    except SealwrightError as error:
        return {"file": str(file), "error": error}


def _plain(result: dict[str, Any]) -> dict[str, Any]:
    error = result.get("error")
    return result | {"error": error.as_dict()} if error else result


def _tell_all(results: Sequence[dict[str, Any]], counts: Counter[str]) -> None:
    for result in results:
        if "error" in result:
            say.trouble(result["error"], wants_json=False)
            continue
        tell_verdict(result["verdict"], result["file"] if len(results) > 1 else "")
    if len(results) > 1:
        say.line(f"{len(results)} tests: " + ", ".join(f"{n} {word}" for word, n in counts.most_common()), bold=True)


def tell_verdict(verdict: Verdict, heading: str = "") -> None:
    """A verdict in words: result and reason, what was done, findings with second and source, next steps."""
    from sealwright.assess import summary

    if heading:
        say.line(say.tidy(heading))
    first, *rest = summary(verdict).split("\n")
    say.line(f"{say.MARKS[verdict.result]} {say.tidy(first)}", bold=True)
    for text in rest:
        say.line(say.tidy(text))
    say.line()


@app.command()
def schema(json: house.WantsJson = False) -> None:
    """Print the JSON Schema of a recorded test file."""
    from sealwright.assess import record_schema

    say.as_json(record_schema())


@app.command("list")
def list_(
    ledger: house.LedgerUrl, org: house.Org,
    wearer: Annotated[str | None, typer.Option("--wearer", metavar="ID", help="Only tests of this wearer.")] = None,
    limit: Annotated[int, typer.Option("--limit", min=1, max=10_000, help="At most so many.")] = 50,
    json: house.WantsJson = False,
) -> None:
    """List tests, the last first."""
    with house.ledger_at(ledger, org) as book:
        rows = book.tests(wearer=wearer, limit=limit)
    say.answer(rows, json, lambda: say.table(
        ("test", "opened", "wearer", "facepiece", "protocol", "try>", "verdict", "factor>", "reason"),
        [_row(r) for r in rows]))


def _row(r: TestRow) -> tuple[object, ...]:
    return (r.id, say.moment(r.opened_at), r.wearer_name or r.wearer, f"{r.facepiece.model} {r.facepiece.size}",
            r.protocol, r.try_no, f"{say.MARKS[r.result]} {r.result}", _factor(r), r.reason)


def _factor(r: TestRow) -> str:
    """The overall fit factor of a quantitative test; empty for any other."""
    from sealwright.assess.words import rounded

    if r.factor_milli is not None:
        return rounded(r.factor_milli / 1000, r.pass_level)
    return f"> {rounded(r.low_milli / 1000, r.pass_level)}" if r.low_milli is not None else ""


@app.command()
def show(
    test: TestId, ledger: house.LedgerUrl, org: house.Org,
    events: Annotated[bool, typer.Option("--events", help="List everything that happened, too.")] = False,
    hood: Annotated[bool, typer.Option("--hood", help="Say what the air under the hood held, by a model; it is no part "
                                       "of the verdict.")] = False,
    svg: Annotated[Path | None, typer.Option("--svg", metavar="FILE", help="Write the score as performed; with --hood "
                                             "the air beneath it.")] = None,
    replace: house.Replace = False,
    json: house.WantsJson = False,
) -> None:
    """Show a test in the ledger: who, with what, the verdict on its events."""
    from sealwright.assess import judge

    with house.ledger_at(ledger, org) as book:
        row, happened = book.test(test), _events_of(book, test)
    verdict = judge(happened)
    value = {"test": row, "verdict": verdict} | ({"events": happened} if events else {})
    air, picture = _played(row, happened, verdict, hood) if hood or svg else ([], "")
    if svg:
        house.write(svg, picture.encode("utf-8"), replace=replace)
    say.answer(value | ({"hood": air} if hood else {}), json,
               lambda: _tell(row, verdict, happened if events else (), air, svg))


def _played(row: TestRow, happened: Sequence[Event], verdict: Verdict, hood: bool) -> tuple[list[str], str]:
    """What the air under the hood held, in sentences, and the picture of the score as performed."""
    from sealwright.insight.hood import explanations
    from sealwright.pictures import performed_from, score_svg
    from sealwright.pictures.hood import CAUTION, predicted
    from sealwright.protocols import compile_score, get

    protocol, performed = get(row.protocol), performed_from(happened, verdict)
    if performed is None or (protocol.method == "taste" and not verdict.level):
        raise NotFound("the exercises were never begun", place=row.id, mend="Choose a test that was run")
    score = compile_score(protocol, verdict.level or 0)
    air = predicted(score, performed) if hood else None
    if hood and air is None:
        raise BadInput(f"{protocol.id} gives no doses under a hood", place="--hood", mend="Leave it out")
    said = [*(explanations(air) or ("The air held what the score asks for.",)), f"This is {CAUTION}."] if air else []
    return said, score_svg(score, title=protocol.title, performed=performed, beneath=air)


def _events_of(book: Ledger, test: str) -> list[Event]:
    from sealwright.assess import decode

    return [decode(e.kind, e.id, e.at, e.by, e.data) for e in book.events(f"test:{test}")]


def _tell(row: TestRow, verdict: Verdict, events: Sequence[Event], air: Sequence[str], svg: Path | None) -> None:
    import msgspec

    f = row.facepiece
    say.line(say.tidy(f"Test {row.id}, {say.moment(row.opened_at)}, try {row.try_no}: "
                      f"{row.wearer_name or row.wearer} in {f.make} {f.model}, {f.size} ({f.material}, {f.kind}), "
                      f"tested by {row.tester_name or row.tester}"))
    tell_verdict(verdict)
    for sentence in air:
        say.line(sentence)
    if svg:
        say.line(f"Picture written: {svg}")
    if events:
        said = [msgspec.to_builtins(e) for e in events]
        start = verdict.started_at
        say.table(("at", "second>", "what", "particulars"), [
            (say.moment(e["at"]), say.clock((e["at"] - start) // 1000) if start else "", e["kind"],
             ", ".join(f"{k} {_short(v)}" for k, v in e["data"].items())) for e in said])


def _short(value: object) -> str:
    """A value as a table shows it; of long lists only how long they are."""
    return f"({len(value)} numbers)" if isinstance(value, list | tuple) and len(value) > 9 else str(value)


@app.command()
def export(
    test: TestId, ledger: house.LedgerUrl, org: house.Org,
    out: Annotated[Path | None, typer.Option("--out", metavar="FILE", help="Write there, not to the screen.")] = None,
    replace: house.Replace = False,
    json: house.WantsJson = False,
) -> None:
    """Hand out a test as a recorded test file, which `test assess` reads. No names are in it."""
    import msgspec

    from sealwright.assess import record_bytes

    with house.ledger_at(ledger, org) as book:
        book.test(test)
        record = record_bytes(msgspec.to_builtins(e) for e in book.events(f"test:{test}"))
    if out is None:
        say.raw(record.decode("utf-8"))
        return
    house.write(out, record, replace=replace)
    say.answer({"test": test, "written": str(out)}, json, lambda: say.line(f"Written: {out}"))
