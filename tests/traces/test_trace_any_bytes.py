"""Whatever bytes a file holds: a trace, or an error that names the file and a mend; never anything else."""

from __future__ import annotations

import tempfile
from pathlib import Path

from hypothesis import example, given, settings
from hypothesis import strategies as st

from sealwright.errors import SealwrightError
from sealwright.traces import Mapping, TraceFile, columns_of, read_trace

CELLS = st.sampled_from(["0", "1", "2.5", "1,5", "", "NaN", "-1", "inf", "x", '"', '"a\nb"', "2026-02-01 12:00:00Z",
                         "2026-02-01 12:00:01", "45992.5", "\0", "\ufeff", "é", " ", "1e999", "#", "t", "mask", "room"])
TABLES = st.lists(st.lists(CELLS, max_size=5), max_size=12)


def settle(raw: bytes, unit: str) -> None:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "any.csv"
        path.write_bytes(raw)
        for work in (lambda: columns_of(path), lambda: read_trace(path, Mapping(
                time="t", mask="mask", ambient="room", unit="count", time_unit=unit))):  # type: ignore[arg-type]
            try:
                got = work()
                assert not isinstance(got, TraceFile) or len(got.t) == len(got.mask if got.mask is not None else []) > 1
            except SealwrightError as e:
                assert e.found and e.mend and str(path) in e.place
        assert [p.name for p in Path(folder).iterdir()] == ["any.csv"]


@settings(max_examples=250, deadline=None)
@given(TABLES, st.sampled_from([",", ";", "\t"]), st.sampled_from(["s", "ms", "timestamp"]),
       st.sampled_from(["utf-8", "utf-16", "cp1252"]), st.sampled_from(["\n", "\r\n", "\r"]))
def test_any_table(table: list[list[str]], sign: str, unit: str, encoding: str, end: str) -> None:
    rows = [["t", "mask", "room"], *table]
    settle(end.join(sign.join(r) for r in rows).encode(encoding, "replace"), unit)


@settings(max_examples=150, deadline=None)
@given(st.binary(max_size=400), st.booleans())
@example(b"PAR1", False)
@example(b"PAR1" + b"\0" * 40 + b"PAR1", False)
@example(b"PARE", False)
def test_any_bytes(raw: bytes, headed: bool) -> None:
    settle(b"t,mask,room\n0,1,2\n" * headed + raw, "s")
