"""Delimited text: which signs part it, where its header stands, and its cells batch by batch, in bounded memory."""

from __future__ import annotations

import codecs
import csv
import io
import re
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any, BinaryIO

from sealwright.errors import BadInput

if TYPE_CHECKING:
    import pyarrow as pa

HEAD = 256 * 1024
"""Bytes looked at to guess how a file is made."""
BLOCK = 1024 * 1024
"""Bytes read at once; no row may be longer."""
LOOK = 40
"""Rows among which the header is looked for."""
_KINDS = ((b"PK\x03\x04", "a spreadsheet workbook or another zip archive"), (b"\xd0\xcf\x11\xe0", "an old workbook"),
          (b"\x1f\x8b", "compressed (gzip)"), (b"%PDF", "a PDF"), (b"SQLite format 3", "a database"),
          (b"PAR1", "a Parquet file"))
_BOMS = ((codecs.BOM_UTF8, "utf-8"), (codecs.BOM_UTF16_LE, "utf-16-le"), (codecs.BOM_UTF16_BE, "utf-16-be"))
_NUMBER = re.compile(r"\s*[-+]?[\d.,]*\d[\d.,]*(?:[eE][-+]?\d+)?\s*")


@dataclass(frozen=True)
class Signs:
    """How a text is written. `skip`: bytes of its byte-order mark."""

    encoding: str
    skip: int
    delimiter: str


@dataclass(frozen=True)
class Head:
    """The first rows. `ends[i]`: characters of the text up to the end of row i."""

    signs: Signs
    rows: list[list[str]]
    ends: list[int] = field(repr=False)
    text: str = field(repr=False)


def look(path: Path, delimiter: str | None = None) -> Head:
    """The signs and first rows of a file; BadInput when it is no delimited text."""
    with opened(path) as file:
        raw = file.read(HEAD)
    if not raw.strip():
        raise BadInput("the file is empty", place=str(path), mend="Export the trace again")
    encoding, skip = _encoding(raw, path)
    text = codecs.getincrementaldecoder(encoding)("replace").decode(raw[skip:])
    if encoding == "utf-8" and "�" in text:
        encoding, text = "cp1252", raw.decode("cp1252", "replace")
    whole = len(raw) < HEAD
    if not whole and "\n" not in text and "\r" not in text:
        raise BadInput(f"no row ends within the first {HEAD // 1024} kB", place=f"{path}: row 1",
                       mend="Export a table with one sample a row")
    sign = delimiter or _delimiter(text)
    rows, ends = _rows(text, sign, whole)
    return Head(Signs(encoding, skip, sign), rows, ends, text)


def opened(path: Path) -> BinaryIO:
    try:
        return path.open("rb")
    except OSError as e:
        raise BadInput(f"cannot be opened: {e.strerror or e}", place=str(path),
                       mend="Check the name and that you may read it") from None


def _encoding(raw: bytes, path: Path) -> tuple[str, int]:
    for mark, said in _KINDS:
        if raw.startswith(mark):
            raise BadInput(f"this is {said}, whatever its name", place=str(path),
                           mend="Save the table as CSV, unpacked, and give that file" if mark != b"PAR1" else
                           "Give it the ending .parquet")
    for mark, name in _BOMS:
        if raw.startswith(mark):
            return name, len(mark)
    for name, shift in (("utf-16-le", 1), ("utf-16-be", 0)):
        if raw[shift:2048:2].count(0) > 0.8 * len(raw[shift:2048:2]) and raw[1 - shift:2048:2].count(0) == 0:
            return name, 0
    odd = sum(b < 32 and b not in b"\t\r\n\f\0" for b in raw[:4096])
    if odd > 0.02 * len(raw[:4096]) or raw[:4096].count(0) > 0.1 * len(raw[:4096]):
        raise BadInput("this is no text", place=str(path), mend="Export the trace as CSV or Parquet")
    return "utf-8", 0


def _delimiter(text: str) -> str:
    """The sign that parts most rows into the same number of cells, two at least."""
    best, found = (0.0, 0), ","
    for sign in ",;\t|":
        rows, _ = _rows(text[:32768], sign, True, 60)
        sizes = Counter(len(r) for r in rows if any(c.strip() for c in r))
        size, often = max(sizes.items(), key=lambda s: (s[0] > 1, s[1]), default=(1, 0))
        if size > 1 and (score := (often / max(sum(sizes.values()), 1), _numbers(rows, sign))) > best:
            best, found = score, sign
    return found


def _numbers(rows: Sequence[Sequence[str]], sign: str) -> int:
    """Cells that read as numbers: settles a;b against the commas within 1,5;2,5."""
    plain = re.compile(r"\s*[-+]?\d*[.,]?\d+(?:[eE][-+]?\d+)?\s*") if sign != "," else re.compile(r"\s*-?\d*\.?\d+\s*")
    return sum(bool(plain.fullmatch(c)) for r in rows for c in r) * (2 if sign != "," else 1)


def _rows(text: str, delimiter: str, whole: bool, most: int = 200) -> tuple[list[list[str]], list[int]]:
    """The first rows and where each ends. A last row that may be cut is left out."""
    lines, read = io.StringIO(text, newline=""), [0]

    def counted() -> Iterator[str]:
        for line in _lines(lines):
            read[0] += len(line)
            yield line.replace("\0", "␀")
    rows, ends = list[list[str]](), list[int]()
    csv.field_size_limit(max(csv.field_size_limit(), 2 * HEAD))
    for row in csv.reader(counted(), delimiter=delimiter):
        if not whole and read[0] >= len(text):
            break
        rows.append(row)
        ends.append(read[0])
        if len(rows) == most:
            break
    return rows, ends


def _lines(text: io.StringIO) -> Iterator[str]:
    """Lines with their ends, whichever of the three ends they have."""
    for long in text:
        parts = re.split(r"(?<=\r)(?!\n)", long) if "\r" in long else [long]
        yield from (p for p in parts if p)


def tidy(name: str) -> str:
    return " ".join(name.replace("\ufeff", "").split())


def numeric(cell: str) -> bool:
    return bool(_NUMBER.fullmatch(cell))


def header_row(head: Head, wanted: Sequence[str], path: Path) -> int | None:
    """Index of the row that names all wanted columns; None: there is no header and they are called `column 1` …"""
    names = [tidy(w) for w in wanted]
    for i, row in enumerate(head.rows[:LOOK]):
        cells = [tidy(c) for c in row]
        if all(n in cells for n in names):
            if twice := next((n for n in names if cells.count(n) > 1), None):
                raise BadInput(f"{cells.count(twice)} columns are called {twice!r}", place=f"{path}: row {i + 1}",
                               mend="Give each column its own name in the file")
            return i
    if all(re.fullmatch(r"column \d+", n) for n in names):
        return None
    at = guessed_header(head)
    if at is None:
        raise BadInput("the file has no row of column names", place=f"{path}: row 1",
                       mend='Call the columns "column 1", "column 2" … in the mapping, or add a row of names')
    cells = [tidy(c) for c in head.rows[at]]
    missing = next((n for n in names if n not in cells), names[0])
    raise BadInput(f"no column {missing!r}; there are {', '.join(repr(c) for c in cells[:30])}",
                   place=f"{path}: row {at + 1}", mend="Name one of these in the mapping")


def guessed_header(head: Head) -> int | None:
    """Index of the likely header: the last row before numbers begin that is as wide as they are and all words."""
    first = next((i for i, r in enumerate(head.rows) if len(r) > 1 and sum(map(numeric, r)) >= max(1, len(r) // 2)),
                 None)
    if first is None:
        return next((i for i, r in enumerate(head.rows) if len(r) > 1), 0 if head.rows else None)
    above = [i for i in range(first) if len(head.rows[i]) == len(head.rows[first])
             and sum(1 for c in head.rows[i] if c.strip() and not numeric(c)) * 2 > len(head.rows[i])]
    units = [i for i in above if _is_units(head.rows[i])]
    above = [i for i in above if i not in units] or above
    return above[-1] if above else None


_UNITS = re.compile(r"[\[(]?(|s|sec|seconds?|ms|min|h|#|counts?|n|p|particles?|"
                    r"(#|p|n|1|particles?)?[ /]*(per )?(cm|cc|l|m)[³3]?|cm[-^]*3|utc|local|-|iso ?8601|%|°?c|k|"
                    r"hpa|pa|text|none)[\])]?", re.I)


def _is_units(row: Sequence[str]) -> bool:
    """A row under the header that holds units and no values."""
    return all(_UNITS.fullmatch(c.strip()) for c in row)


def data_row(head: Head, header: int | None) -> int:
    """Index of the first row of data: below the header, and below a row of units."""
    first = 0 if header is None else header + 1
    if header is not None and first < len(head.rows) and any(head.rows[first]) and _is_units(head.rows[first]):
        first += 1
    return first


class Bytes(io.RawIOBase):
    """The bytes of a text as UTF-8 from its first row of data on, counted as they go by."""

    def __init__(self, file: BinaryIO, signs: Signs, skip_text: str) -> None:
        self._file, self._left, self.done = file, b"", 0
        self._narrow = signs.encoding == "utf-8"
        self._decoder = codecs.getincrementaldecoder(signs.encoding)("replace")
        file.seek(signs.skip + len(skip_text.encode(signs.encoding, "replace")))

    def readable(self) -> bool:
        return True

    def read(self, size: int = -1) -> bytes:
        want = BLOCK if size < 0 else max(size, 1)
        while len(self._left) < want:
            raw = self._file.read(want)
            self.done += len(raw)
            self._left += self._sound(raw)
            if not raw:
                break
        got, self._left = self._left[:want], self._left[want:]
        return got


    def _sound(self, raw: bytes) -> bytes:
        """As UTF-8 without fault, for the parser cannot show a faulty row; plain ASCII goes by untouched."""
        if self._narrow and raw and raw.isascii() and not self._decoder.getstate()[0]:
            return raw
        return self._decoder.decode(raw, not raw).encode()


@dataclass
class Batch:
    """Some rows. `first`: the number of the first as a spreadsheet shows it; `columns` by wanted name."""

    first: int
    columns: dict[str, pa.Array]
    done: int


@dataclass(frozen=True)
class Layout:
    """Where in the file things are: the wanted names, their places from the left, how many columns, data's row."""

    head: Head
    places: dict[str, int]
    width: int
    data: int


def layout(path: Path, wanted: Sequence[str], delimiter: str | None) -> Layout:
    """Find the header and the wanted columns in it."""
    head = look(path, delimiter)
    at = header_row(head, wanted, path)
    data = data_row(head, at)
    if data >= len(head.rows) or not any(any(r) for r in head.rows[data:]):
        raise BadInput("there are no rows of data", place=f"{path}: row {data + 1}", mend="Export the trace again")
    cells = [tidy(c) for c in head.rows[at]] if at is not None else []
    width = len(cells) or len(head.rows[data])
    places = {w: cells.index(tidy(w)) if cells else int(tidy(w).split()[1]) - 1 for w in wanted}
    if beyond := next((w for w, i in places.items() if not 0 <= i < width), None):
        raise BadInput(f"no {beyond!r}; there are {width} columns", place=f"{path}: row {data + 1}",
                       mend="Count the columns from 1")
    if width < 2:
        raise BadInput("there is one column only", place=f"{path}: row {data + 1}",
                       mend="Say which sign parts the columns (delimiter)")
    return Layout(head, places, width, data)


def batches(path: Path, plan: Layout) -> Iterator[Batch]:
    """All rows of data as text. BadInput names a row that is ragged, or in which a cell has no end."""
    import pyarrow as pa

    first, ragged = plan.data + 1, list[BadInput]()

    def amiss(row: Any) -> str:
        if not row.text.strip():
            return "skip"
        ragged.append(_ragged(path, plan, plan.data + (row.number or 1), row))
        return "error"
    before = plan.head.ends[plan.data - 1] if plan.data else 0
    with opened(path) as file:
        source = Bytes(file, plan.head.signs, plan.head.text[:before])
        try:
            for batch in _reader(source, plan, amiss):
                yield Batch(first, {n: batch.column(i) for i, n in enumerate(plan.places)}, source.done)
                first += batch.num_rows
        except pa.ArrowInvalid as e:
            raise (ragged[0] if ragged else _broken(path, first, e)) from None


def _reader(source: Bytes, plan: Layout, amiss: Any) -> Iterator[pa.RecordBatch]:
    import pyarrow as pa
    from pyarrow import csv as arrow

    names = [f"c{i}" for i in range(plan.width)]
    chosen = [names[i] for i in plan.places.values()]
    yield from arrow.open_csv(
        source, read_options=arrow.ReadOptions(use_threads=False, column_names=names, block_size=BLOCK),
        parse_options=arrow.ParseOptions(delimiter=plan.head.signs.delimiter, newlines_in_values=True,
                                         ignore_empty_lines=False, invalid_row_handler=amiss),
        convert_options=arrow.ConvertOptions(include_columns=chosen, column_types=dict.fromkeys(chosen, pa.string()),
                                             check_utf8=False, strings_can_be_null=False))


def _ragged(path: Path, plan: Layout, row: int, what: Any) -> BadInput:
    """A row with too many or too few cells; pyarrow counts rows from the first of data."""
    found, mend = what.actual_columns, "Give every row as many cells as there are columns"
    if "\n" in what.text.strip():
        mend += "; look for a quotation mark that is never closed"
    elif plan.head.signs.delimiter == "," and found > plan.width:
        mend += "; if numbers are written with a decimal comma, export with ; between columns"
    return BadInput(f"{found} {'cell' if found == 1 else 'cells'} where there are {plan.width} columns",
                    place=f"{path}: row {row}", mend=mend)


def _broken(path: Path, row: int, trouble: Exception) -> BadInput:
    if "straddling" in str(trouble):
        return BadInput(f"a row longer than {BLOCK // 2**20} MB, or a quotation mark that is never closed",
                        place=f"{path}: row {row} or after", mend="Look for a stray \" in the file, or export it again")
    return BadInput(f"the text cannot be parted into cells ({str(trouble)[:120]})", place=f"{path}: row {row} or after",
                    mend="Export the trace again")
