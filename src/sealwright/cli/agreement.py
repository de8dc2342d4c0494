"""`sealwright agreement`: how well a test method agrees with a reference, from a file of paired results."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from sealwright.cli import house, say
from sealwright.errors import BadInput

if TYPE_CHECKING:
    from sealwright.insight.agreement import Agreement

MOST_BYTES = 4_000_000


def agreement(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="Paired results, CSV with a heading row; - is standard "
                                         "input. Commas, semicolons or tabs between the fields.")],
    test_column: Annotated[str, typer.Option("--test-column", metavar="NAME", help="The column of the method under "
                                             "trial: pass or fail (with --test-level: its fit factors).")],
    reference_column: Annotated[str, typer.Option("--reference-column", metavar="NAME", help="The column of the "
                                                  "reference: fit factors, or pass or fail.")],
    level: Annotated[float, typer.Option("--level", metavar="FACTOR", help="The pass level of the reference.")] = 100,
    cv: Annotated[float, typer.Option("--cv", metavar="SHARE", help="Coefficient of variation of the reference; pairs "
                                      "within one of it of the level are left out.")] = 0,
    test_level: Annotated[float | None, typer.Option("--test-level", metavar="FACTOR", help="The pass level of the "
                                                     "method under trial, where its column holds fit factors.")] = None,
    id_column: Annotated[str, typer.Option("--id-column", metavar="NAME", help="A column that names the pair.")] = "",
    svg: Annotated[Path | None, typer.Option("--svg", metavar="FILE", help="Write the picture.")] = None,
    replace: house.Replace = False,
    json: house.WantsJson = False,
) -> None:
    """Compare a test method with a reference: table, sensitivity, specificity, predictive values, kappa, demands.

    A fit that is not good enough is what is looked for: sensitivity is the share of such fits that the method fails.
    Exit 0 when every demand is met, 1 when one is not or cannot be told, 2 when the file cannot be read.
    """
    from sealwright.insight.agreement import compare

    raw = house.read(file, MOST_BYTES, "a file of paired results; a row takes some 20 bytes")
    place = "standard input" if str(file) == "-" else str(file)
    from sealwright.traces.pairs import pairs_in

    pairs = list(pairs_in(raw, place, test_column, reference_column, id_column, test_level))
    if not pairs:
        raise BadInput("no pairs", place=place, mend="Give one row a wearing below the heading")
    found = compare(pairs, level, cv)
    if svg:
        from sealwright.pictures.agreement import agreement_svg

        picture = agreement_svg(found, pairs, title=f"{test_column} against {reference_column}, pass level {level:g}")
        house.write(svg, picture.encode("utf-8"), replace=replace)
    say.answer({"accepted": found.accepted, "agreement": found}, json, lambda: _tell(found, svg))
    if not found.accepted:
        raise typer.Exit(1)


def _tell(found: Agreement, svg: Path | None) -> None:
    t = found.table
    say.line(f"{t.n} pairs count" + (f", of {found.every.n}" if found.every.n != t.n else ""), bold=True)
    say.table(("", "reference: fits>", "does not fit>"), [("test passed", t.d, t.c), ("test failed", t.b, t.a)])
    say.table(("", "value>", "95 % interval>", "needed>", "", "of what"), [
        (c.title, _number(c.value), f"{_number(c.low)} to {_number(c.high)}",
         f"{'>' if c.strictly else '≥'} {c.needed:.2f}", _answer(c.met, c.sure), c.means) for c in found.criteria])
    say.line(f"Passes as often as the reference? McNemar, exact: p = {found.mcnemar:.3g}")
    for note in found.notes:
        say.line(note)
    sources: dict[str, list[str]] = {}
    for c in found.criteria:
        sources.setdefault(c.source + (" (from memory, verify)" if c.read == "memory" else ""), []).append(c.title)
    for source, titles in sources.items():
        say.line(f"{', '.join(titles)}: {source}.")
    unsure = sum(not c.sure for c in found.criteria)
    say.line("Not every demand is met." if not found.accepted else "Every demand is met." if not unsure else
             f"Every demand is met by its value; {unsure} of {len(found.criteria)} not surely.", bold=True)
    if svg:
        say.line(f"Picture written: {svg}")


def _number(value: float | None) -> str:
    return "–" if value is None else f"{value:.3f}"


def _answer(met: bool | None, sure: bool) -> str:
    return "cannot be told" if met is None else "✕ not met" if not met else "● met" if sure else "○ met, not surely"
