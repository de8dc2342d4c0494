"""Paired results of two test methods, from a CSV file."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from typing import TYPE_CHECKING

from sealwright.errors import BadInput

if TYPE_CHECKING:
    from sealwright.insight.agreement import Pair

PASSED, FAILED = ("pass", "passed", "yes", "true"), ("fail", "failed", "no", "false")


def pairs_in(raw: bytes, place: str, test: str, reference: str, name: str = "",
             test_level: float | None = None) -> Iterator[Pair]:
    """The pairs of a CSV file. Raises BadInput naming file, row and column; empty rows are passed over."""
    from sealwright.insight.agreement import Pair

    for column, what in ((test, "test"), (reference, "reference")):
        if not column:
            raise BadInput(f"no column is named for the {what}", place=f"{place}: {what} column",
                           mend="Name the column as the heading of the file has it")
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
