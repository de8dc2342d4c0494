"""Parquet files, sound and not."""

from __future__ import annotations

import decimal
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pytest
from pyarrow import parquet

from sealwright.errors import BadInput
from sealwright.traces import MASK, Mapping, columns_of, read_trace

TWO: dict[str, Any] = {"time": "t", "mask": "m", "ambient": "a", "unit": "per-cm3"}


def put(tmp_path: Path, name: str = "x.parquet", **columns: Any) -> Path:
    path = tmp_path / name
    parquet.write_table(pa.table({"t": [0.0, 1.0, 2.0], "m": [1.0, 2.0, 3.0], "a": [2000.0] * 3} | columns), path)
    return path


def trouble(path: Path, **mapping: Any) -> BadInput:
    with pytest.raises(BadInput) as caught:
        read_trace(path, Mapping(**{**TWO, **mapping}))
    assert str(path) in caught.value.place and caught.value.mend
    return caught.value


def test_sound_ones_whatever_they_are_called(tmp_path: Path) -> None:
    for name in ("x.parquet", "x.csv"):
        got = read_trace(put(tmp_path, name), Mapping(**TWO))
        assert got.t.tolist() == [0, 1, 2] and got.mask is not None and got.mask.tolist() == [1, 2, 3]


def test_types_that_are_numbers(tmp_path: Path) -> None:
    path = put(tmp_path, m=pa.array([1, 2, 3], pa.int16()), a=[decimal.Decimal("2000.5")] * 3,
               t=pa.array([0, 1, 2], pa.float32()))
    got = read_trace(path, Mapping(**TWO))
    assert got.ambient is not None and got.ambient.tolist() == [2000.5] * 3


def test_timestamps(tmp_path: Path) -> None:
    start = datetime(2026, 2, 1, 12, tzinfo=UTC)
    when = [start + timedelta(milliseconds=500 * i) for i in range(3)]
    got = read_trace(put(tmp_path, t=when), Mapping(**TWO, time_unit="timestamp"))
    assert got.t.tolist() == [0, 0.5, 1] and got.start_at == int(start.timestamp() * 1000)
    naive = read_trace(put(tmp_path, t=[w.replace(tzinfo=None) for w in when]), Mapping(**TWO, time_unit="timestamp"))
    assert naive.start_at is None
    assert 'time_unit "timestamp"' in trouble(put(tmp_path, t=when)).mend
    assert "not a timestamp" in trouble(put(tmp_path), time_unit="timestamp").found


def test_nulls_are_missing_values_but_no_times(tmp_path: Path) -> None:
    got = read_trace(put(tmp_path, m=[1.0, None, 3.0]), Mapping(**TWO))
    assert got.mask is not None and np.isnan(got.mask).tolist() == [False, True, False]
    assert "row 2" in trouble(put(tmp_path, t=[0.0, None, 2.0])).place
    assert "not one value" in trouble(put(tmp_path, m=pa.nulls(3))).found


def test_words(tmp_path: Path) -> None:
    path = put(tmp_path, air=pa.array(["mask", "ambient", "mask"]).dictionary_encode(), n=[1, 2000, 2],
               doing=["a", None, "b"])
    got = read_trace(path, Mapping(time="t", value="n", air="air", marks="doing", unit="count"))
    assert got.air is not None and got.air.tolist() == [MASK, 0, MASK]
    assert got.marks is not None and [m.text for m in got.marks] == ["a", "b"]


@pytest.mark.parametrize(("column", "said"), [
    ([[1.0], [2.0], [3.0]], "not single values"), ([True, False, True], "not numbers"), ([b"a", b"b", b"c"], "binary"),
    (["1", "x", "3"], "'x' is no number"), ([-1.0, 2.0, 3.0], "below zero"), ([float("inf"), 1.0, 1.0], "infinite")])
def test_columns_that_hold_something_else(tmp_path: Path, column: list[Any], said: str) -> None:
    assert said in trouble(put(tmp_path, m=column)).found


def test_missing_columns(tmp_path: Path) -> None:
    assert "no column 'z'" in trouble(put(tmp_path), mask="z").found
    doubled = pa.Table.from_arrays([pa.array([1.0])] * 3, names=["m2", "m", "m"])
    parquet.write_table(doubled, tmp_path / "d.parquet")
    assert "2 columns are called 'm'" in trouble(tmp_path / "d.parquet", time="m2").found


def test_cut_short_encrypted_or_none(tmp_path: Path) -> None:
    whole = put(tmp_path).read_bytes()
    for cut in (4, 40, len(whole) - 1):
        path = tmp_path / "cut.parquet"
        path.write_bytes(whole[:cut])
        assert "cut short" in trouble(path).found
    path.write_bytes(b"PARE" + whole[4:])
    assert "encrypted" in trouble(path).found
    path.write_bytes(b"t,m,a\n0,1,2\n")
    assert "no Parquet" in trouble(path).found


def test_damaged_pages(tmp_path: Path) -> None:
    path = tmp_path / "x.parquet"
    n = 50_000
    rising = np.arange(n) * 1.0
    parquet.write_table(pa.table({"t": rising, "m": rising, "a": rising + 1}), path, compression="zstd")
    raw = bytearray(path.read_bytes())
    raw[200:len(raw) // 2] = b"\x5a" * (len(raw) // 2 - 200)
    path.write_bytes(raw)
    assert "damaged" in trouble(path).found


def test_a_first_look(tmp_path: Path) -> None:
    seen = columns_of(put(tmp_path))
    assert seen.columns == ("t", "m", "a") and seen.rows[0] == ("0.0", "1.0", "2000.0") and seen.delimiter is None
