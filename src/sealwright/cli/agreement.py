"""`sealwright agreement`: how well a test method agrees with a reference, from a file of paired results."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from sealwright.cli import house, say
from sealwright.errors import BadInput

if TYPE_CHECKING:
    from sealwright.insight.agreement import Agreement, Pair

MOST_BYTES = 4_000_000
PASSED, FAILED = ("pass", "passed", "yes", "true"), ("fail", "failed", "no", "false")


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


def pairs_in(raw: bytes, place: str, test: str, reference: str, name: str = "",
             test_level: float | None = None) -> Iterator[Pair]:
    """The pairs of a CSV file. Raises BadInput naming file, row and column; empty rows are passed over."""
    from sealwright.insight.agreement import Pair

    wanted = [c for c in (test, reference, name) if c]
    numbers: bool | None = None
    for at, row in _rows(raw, place, wanted):
        if not any(field.strip() for field in row.values()):
            continue
        here = f"{place}: row {at}"
        given = row[reference].strip()
        word = _word(given)
        if numbers is not None and numbers is not (word is None):
            raise BadInput(f"{given!r} among {'fit factors' if numbers else 'passes and fails'}",
                           place=f"{here}: {reference}", mend="Let the column hold fit factors only, or words only")
        numbers = word is None
        factor = _factor(given, f"{here}: {reference}") if word is None else None
        yield Pair(passed=_passed(row[test].strip(), f"{here}: {test}", test_level), factor=factor,
                   adequate=word if factor is None else None, id=row[name].strip() if name else "")


def _rows(raw: bytes, place: str, wanted: list[str]) -> Iterator[tuple[int, dict[str, str]]]:
    """(line of the file, its fields) with all wanted columns there."""
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise BadInput(f"not UTF-8 text: {error.reason} at byte {error.start}", place=place,
                       mend="Save the file as CSV in UTF-8") from None
    reader = csv.reader(io.StringIO(text), delimiter=max(",;\t", key=text.partition("\n")[0].count), strict=True)
    try:
        columns = _heading(next(reader, []), f"{place}: row 1", wanted)
        for fields in reader:
            if len(fields) == len(columns):
                yield reader.line_num, dict(zip(columns, fields, strict=True))
            elif any(f.strip() for f in fields):
                raise BadInput(f"{len(fields)} fields where the heading has {len(columns)}",
                               place=f"{place}: row {reader.line_num}", mend="Mend the row, or quote the field that "
                               "holds the separator")
    except csv.Error as error:
        raise BadInput(f"not CSV: {error}", place=f"{place}: row {reader.line_num}", mend="Mend the quotes") from None


def _heading(fields: list[str], place: str, wanted: list[str]) -> list[str]:
    columns = [c.strip() for c in fields]
    for name in wanted:
        if name not in columns:
            raise BadInput(f"no column {name!r}", place=place,
                           mend=f"Name one of: {', '.join(columns) or '(the file is empty)'}")
        if columns.count(name) > 1:
            raise BadInput(f"two columns {name!r}", place=place, mend="Give each column a name of its own")
    return columns


def _word(text: str) -> bool | None:
    return True if text.lower() in PASSED else False if text.lower() in FAILED else None


def _factor(text: str, place: str) -> float:
    try:
        value = float(text)
    except ValueError:
        value = float("nan")
    if not 0 < value < float("inf"):
        raise BadInput(f"{text!r} is no fit factor" if text else "empty", place=place,
                       mend="Give a number above 0 with a decimal point and no thousands sign, or pass or fail")
    return value


def _passed(text: str, place: str, level: float | None) -> bool:
    if level is not None:
        return _factor(text, place) >= level
    word = _word(text)
    if word is None:
        raise BadInput(f"{text!r} is neither pass nor fail" if text else "empty", place=place,
                       mend="Write pass or fail, or say --test-level where the column holds fit factors")
    return word


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
