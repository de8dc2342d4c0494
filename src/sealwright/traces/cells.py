"""Cells to numbers and words; what cannot be one is named by row and column."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, NoReturn

import numpy as np
from numpy.typing import NDArray

from sealwright.errors import BadInput

if TYPE_CHECKING:
    import pyarrow as pa

Floats = NDArray[np.float64]
_MISSING = ("", "nan", "na", "n/a", "null", "none", "-", "--", "#n/a")
_THOUSANDS = {".": re.compile(r"[-+]?\d{1,3}([,'\u2019\u00a0\u202f ]\d{3})+(\.\d*)?"),
              ",": re.compile(r"[-+]?\d{1,3}([.'\u2019\u00a0\u202f ]\d{3})+(,\d*)?")}
MOST = 1e12
"""Beyond this no counter counts."""


@dataclass(frozen=True)
class Place:
    """A column of a file from row `first` on."""

    path: str
    column: str
    first: int

    def at(self, i: int) -> str:
        return f"{self.path}: row {self.first + i}, column {self.column!r}"

    def bad(self, i: int, found: str, mend: str) -> NoReturn:
        raise BadInput(found, place=self.at(i), mend=mend)


def shown(cell: object) -> str:
    """A cell as an error shows it: short, and without signs that cannot be seen."""
    text = "".join(c if c.isprintable() else "□" for c in str(cell)[:60])
    return f"{text!r}" + ("…" if len(str(cell)) > 60 else "")


def numbers(cells: pa.Array, decimal: str, place: Place) -> Floats:
    """Values, NaN where a cell is empty or says that there is none. BadInput at the first that is no number."""
    import pyarrow as pa
    import pyarrow.compute as pc

    if not (pa.types.is_string(cells.type) or pa.types.is_large_string(cells.type)):
        return _typed(cells, place)
    if decimal == ",":
        cells = _points(cells, place)
    try:
        return _floats(pc.cast(cells, pa.float64()))
    except pa.ArrowInvalid:
        pass
    try:
        text = pc.utf8_trim_whitespace(cells)
        text = pc.if_else(pc.is_in(pc.utf8_lower(text), pa.array(_MISSING)), pa.scalar(None, pa.string()), text)
        return _floats(pc.cast(text, pa.float64()))
    except pa.ArrowInvalid:
        _blame(cells, decimal, place)


def _floats(cells: pa.Array) -> Floats:
    return np.asarray(cells.to_numpy(zero_copy_only=False), dtype=np.float64)


def _typed(cells: pa.Array, place: Place) -> Floats:
    """A column that has a type of its own (Parquet)."""
    import pyarrow as pa
    import pyarrow.compute as pc

    t = cells.type
    if not (pa.types.is_integer(t) or pa.types.is_floating(t) or pa.types.is_decimal(t) or pa.types.is_null(t)):
        place.bad(0, f"the column holds {t}, not numbers", "Name a column of numbers")
    return _floats(pc.cast(cells, pa.float64(), safe=False))


def _points(cells: pa.Array, place: Place) -> pa.Array:
    """Decimal commas become points; a point in such a column is a fault."""
    import pyarrow.compute as pc

    if pc.any(pc.match_substring(cells, ".")).as_py():
        i = pc.index(pc.match_substring(cells, "."), True).as_py()
        place.bad(i, f"{shown(cell_of(cells, i))} has a point where the decimal mark is a comma",
                  "Export without thousands separators, or say decimal \".\"")
    return pc.replace_substring(cells, ",", ".")


def cell_of(cells: pa.Array, i: int) -> str:
    """One cell, whatever bytes it holds."""
    import pyarrow as pa

    raw = cells.slice(i, 1).view(pa.binary()) if pa.types.is_string(cells.type) else cells.slice(i, 1)
    value = raw[0].as_py()
    return value.decode("utf-8", "replace") if isinstance(value, bytes) else str(value)


def _blame(cells: pa.Array, decimal: str, place: Place) -> NoReturn:
    """Find the first cell that is no number and say what it is instead."""
    for i in range(len(cells)):
        text = cell_of(cells, i).strip(" \t\r\n\f\v\u00a0")
        if text.lower() in _MISSING or _is_number(text):
            continue
        if decimal == ",":
            text = text.replace(".", ",")
        if _THOUSANDS[decimal].fullmatch(text):
            place.bad(i, f"{shown(text)} has a thousands separator, or a decimal mark other than {decimal!r}",
                      f"Export without thousands separators, or say decimal {'.' if decimal == ',' else ','!r}")
        if decimal == "." and re.fullmatch(r"[-+]?\d+,\d*", text):
            place.bad(i, f"{shown(text)} has a decimal comma", 'Say decimal ","')
        if "\0" in text:
            place.bad(i, "a cell with NUL bytes", "The file is damaged: export it again")
        place.bad(i, f"{shown(text)} is no number", "Put a number there, or leave the cell empty if none was had")
    place.bad(0, "a cell that is no number", "Export the trace again")


def _is_number(text: str) -> bool:
    return bool(re.fullmatch(r"[-+]?(\d+\.?\d*|\.\d+)([eE][-+]?\d+)?|[-+]?(inf|infinity)", text, re.I | re.A))


def counted(values: Floats, place: Place) -> Floats:
    """The values, none of them infinite, negative or beyond reason; BadInput at the first that is."""
    with np.errstate(invalid="ignore"):
        wrong = np.isinf(values) | (values < 0) | (values > MOST)
    if wrong.any():
        i = int(wrong.argmax())
        said = ("an infinite value" if np.isinf(values[i]) else f"a value below zero ({values[i]:g})" if values[i] < 0
                else f"{values[i]:g}, more than any counter counts")
        place.bad(i, said, "Leave the cell empty if nothing was had, or name another column")
    return values


def words(cells: pa.Array) -> tuple[NDArray[np.int32], list[str]]:
    """(index into the words for each cell, the words without outer space); a cell without one is ""."""
    import pyarrow as pa
    import pyarrow.compute as pc

    if pa.types.is_dictionary(cells.type):
        cells = cells.cast(cells.type.value_type)
    if not (pa.types.is_string(cells.type) or pa.types.is_large_string(cells.type)):
        cells = pc.cast(cells, pa.string())
    coded = cells.cast(pa.binary()).fill_null(b"").dictionary_encode()
    said: list[Any] = [w.decode("utf-8", "replace").strip() for w in coded.dictionary.to_pylist()]
    return coded.indices.to_numpy(zero_copy_only=False).astype(np.int32), said
