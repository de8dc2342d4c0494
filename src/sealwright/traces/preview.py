"""A first look at a file, for choosing its columns."""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import msgspec

from sealwright.traces import delimited
from sealwright.traces.columnar import is_parquet, open_parquet

FIRST = 8
_TIME = re.compile(r"\b(time|t|timestamp|date ?time|zeit|temps|elapsed|seconds?|s|ms)\b", re.I)
_MASK = re.compile(r"\b(mask|inside|in-?mask|c[_ ]?in)\b", re.I)
_AMBIENT = re.compile(r"\b(ambient|outside|room|challenge|c[_ ]?out)\b", re.I)
_VALUE = re.compile(r"\b(value|count|counts|conc|concentration|particles|reading)\b", re.I)
_AIR = re.compile(r"\b(air|valve|source|sampled?|side|channel|phase)\b", re.I)
_MARKS = re.compile(r"\b(exercise|marks?|event|label|step|activity)\b", re.I)
_PER = re.compile(r"cm3|cm³|/cc|1/cc|cm\^3|cm-3|per.?cc|concentration|\bconc\b", re.I)


class Preview(msgspec.Struct, frozen=True, kw_only=True):
    """Columns and first rows as text; `guess`: fields of a Mapping that the names suggest, unit only if a name says.

    header: the row of names as a spreadsheet counts, 0: none (columns are then called `column 1` …).
    """

    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    delimiter: str | None
    decimal: str | None
    header: int
    guess: dict[str, Any]


def columns_of(path: Path | str) -> Preview:
    """Names, first rows and a guess of what is what. BadInput when the file is no table."""
    path = Path(path)
    if is_parquet(path):
        return _of_parquet(path)
    head = delimited.look(path)
    at = delimited.guessed_header(head)
    data = delimited.data_row(head, at)
    rows = [r for r in head.rows[data:] if any(c.strip() for c in r)]
    names = [delimited.tidy(c) for c in head.rows[at]] if at is not None else [
        f"column {i + 1}" for i in range(max(map(len, rows), default=0))]
    decimal = _decimal(rows, head.signs.delimiter)
    hints = [" ".join([n, *(head.rows[at + 1][i:i + 1] if at is not None and data == at + 2 else [])])
             for i, n in enumerate(names)]
    return Preview(columns=tuple(names), rows=tuple(tuple(c[:200] for c in r) for r in rows[:FIRST]),
                   delimiter=head.signs.delimiter, decimal=decimal, header=0 if at is None else at + 1,
                   guess={**guess(names, hints, rows), "delimiter": head.signs.delimiter, "decimal": decimal})


def _of_parquet(path: Path) -> Preview:
    file = open_parquet(path)
    names = list(file.schema_arrow.names)
    batch = next(file.iter_batches(batch_size=FIRST), None)
    cells = [["" if v is None else str(v)[:200] for v in c.to_pylist()] for c in batch.columns] if batch else []
    rows = [tuple(r) for r in zip(*cells, strict=True)]
    return Preview(columns=tuple(names), rows=tuple(rows), delimiter=None, decimal=None, header=0,
                   guess=guess(names, names, rows))


def _decimal(rows: Sequence[Sequence[str]], delimiter: str) -> str:
    cells = [c.strip() for r in rows for c in r]
    points = any(re.fullmatch(r"[-+]?\d*\.\d+", c) for c in cells)
    commas = any(re.fullmatch(r"[-+]?\d*,\d+", c) for c in cells)
    return "," if commas and not points else "."


def guess(names: Sequence[str], hints: Sequence[str], rows: Sequence[Sequence[str]]) -> dict[str, Any]:
    """Fields of a Mapping by the names of the columns; `hints`: names with their units."""
    left = {i: re.sub(r"[_./()\[\]]+", " ", n) for i, n in enumerate(names)}
    found: dict[str, Any] = {}
    for field, pattern in (("time", _TIME), ("ambient", _AMBIENT), ("mask", _MASK), ("marks", _MARKS), ("air", _AIR),
                           ("value", _VALUE)):
        at = next((i for i, n in left.items() if pattern.search(n)), None)
        if at is not None:
            found[field] = names[at]
            del left[at]
    if "mask" in found and "ambient" in found:
        found.pop("value", None), found.pop("air", None)
    elif "value" in found or "mask" in found:
        found["value"] = found.pop("value", None) or found.pop("mask")
    if "time" in found:
        found["time_unit"] = _time_unit(names.index(found["time"]), hints, rows)
    chosen = [hints[names.index(found[f])] for f in ("mask", "ambient", "value") if f in found]
    if chosen and all(_PER.search(h) for h in chosen):
        found["unit"] = "per-cm3"
    return found


def _time_unit(at: int, hints: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    cells = [r[at].strip() for r in rows[:3] if at < len(r)]
    if any(":" in c for c in cells):
        return "timestamp"
    return "ms" if re.search(r"\bms\b|millisec", re.sub(r"[_()\[\]]", " ", hints[at]), re.I) else "s"
