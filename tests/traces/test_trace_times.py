"""Times as files hold them: seconds, milliseconds, timestamps, zones and changes of clocks."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from sealwright.errors import BadInput
from sealwright.traces import Mapping, TraceFile, read_trace

STAMPED: dict[str, Any] = {"time": "t", "mask": "m", "ambient": "a", "unit": "per-cm3", "time_unit": "timestamp"}


def read(tmp_path: Path, times: list[str], **mapping: Any) -> TraceFile:
    path = tmp_path / "x.csv"
    path.write_text("t;m;a\n" + "".join(f"{t};1;2000\n" for t in times))
    return read_trace(path, Mapping(**{**STAMPED, **mapping}))


def trouble(tmp_path: Path, times: list[str], **mapping: Any) -> BadInput:
    with pytest.raises(BadInput) as caught:
        read(tmp_path, times, **mapping)
    assert "x.csv: row" in caught.value.place and "column 't'" in caught.value.place and caught.value.mend
    return caught.value


def ms(*when: int) -> int:
    return int(datetime(*when, tzinfo=UTC).timestamp() * 1000)  # type: ignore[misc,arg-type]


@pytest.mark.parametrize("times", [
    ["2026-02-01T12:00:00Z", "2026-02-01T12:00:00.5Z"], ["2026-02-01 13:00:00+01:00", "2026-02-01 12:00:00.500+00:00"],
    ["2026-02-01T07:00:00-05:00", "2026-02-01T07:00:00.500000000-0500"],
    ["2026/02/01 12:00:00Z", "2026/02/01 12:00:00,5Z"]])
def test_timestamps_with_a_zone(tmp_path: Path, times: list[str]) -> None:
    got = read(tmp_path, times)
    assert got.t.tolist() == [0, 0.5] and got.start_at == ms(2026, 2, 1, 12)


def test_without_a_zone_only_the_seconds_are_known(tmp_path: Path) -> None:
    got = read(tmp_path, ["2026-02-01 12:00:00", "2026-02-01 12:00:01.25"])
    assert got.t.tolist() == [0, 1.25] and got.start_at is None
    assert read(tmp_path, ["2026-07-01 12:00:00", "2026-07-01 12:00:01"], zone="Europe/London").start_at == ms(
        2026, 7, 1, 11)


def test_a_zone_on_some_rows_only(tmp_path: Path) -> None:
    e = trouble(tmp_path, ["2026-02-01 12:00:00Z", "2026-02-01 12:00:01Z", "2026-02-01 12:00:02"])
    assert "row 4" in e.place and "with a zone and without" in e.found
    assert "row 3" in trouble(tmp_path, ["2026-02-01 12:00:00", "2026-02-01 12:00:01+01:00"]).place


def test_a_zone_on_some_rows_only_in_different_batches(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sealwright.traces.delimited.BLOCK", 128)
    times = [f"2026-02-01 12:00:{i:02d}Z" for i in range(30)] + [f"2026-02-01 12:01:{i:02d}" for i in range(30)]
    assert "with a zone and without" in trouble(tmp_path, times).found


# London: back at 02:00 BST on 25 October 2026, forward at 01:00 GMT on 29 March 2026 (EU and UK rule: last Sundays).

BACK = ["2026-10-25 01:59:58", "2026-10-25 01:59:59", "2026-10-25 01:00:00", "2026-10-25 01:00:01"]


def test_the_hour_that_comes_twice_is_told_by_its_order(tmp_path: Path) -> None:
    got = read(tmp_path, ["2026-10-25 00:59:59", *BACK[:2], *BACK[2:], "2026-10-25 02:00:00"], zone="Europe/London")
    assert got.t.tolist() == [0, 3599, 3600, 3601, 3602, 7201] and got.start_at == ms(2026, 10, 24, 23, 59, 59)


def test_the_hour_that_comes_twice_over_batches(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sealwright.traces.delimited.BLOCK", 64)
    got = read(tmp_path, ["2026-10-25 00:59:59", *BACK, "2026-10-25 01:30:00", "2026-10-25 02:00:00"],
               zone="Europe/London")
    assert got.t.tolist() == [0, 3599, 3600, 3601, 3602, 5401, 7201]


def test_clocks_put_back_without_a_zone(tmp_path: Path) -> None:
    e = trouble(tmp_path, BACK)
    assert "row 4" in e.place and "does not rise" in e.found and "Europe/London" in e.mend


def test_nothing_tells_which_of_the_two_hours(tmp_path: Path) -> None:
    assert "comes twice" in trouble(tmp_path, BACK[:2], zone="Europe/London").found


def test_a_time_that_was_skipped(tmp_path: Path) -> None:
    e = trouble(tmp_path, ["2026-03-29 00:59:59", "2026-03-29 01:00:00"], zone="Europe/London")
    assert "row 3" in e.place and "skipped" in e.found
    got = read(tmp_path, ["2026-03-29 00:59:59", "2026-03-29 02:00:00"], zone="Europe/London")
    assert got.t.tolist() == [0, 1]


def test_offsets_over_a_clock_change(tmp_path: Path) -> None:
    got = read(tmp_path, ["2026-10-25T01:59:59+01:00", "2026-10-25T01:00:00+00:00"])
    assert got.t.tolist() == [0, 1]


# What spreadsheets make of dates

@pytest.mark.parametrize(("cell", "said"), [
    ("45992.5", "day number"), ("45992,50001", "day number"), ("01/02/2026 12:00", "may be day/month or month/day"),
    ("13/02/2026 12:00", "has the year last"), ("1.2.2026 12:00:00", "may be day/month"),
    ("12:00:01", "without a date"), ("0:01.5", "without a date"),
    ("12.5", "is a number, not a timestamp"), ("noon", "is no timestamp"),
    ("2026-02-30 12:00:00", "no date and time that there is"), ("2026-02-01 25:00:00", "no date and time")])
def test_dates_that_must_be_asked_about(tmp_path: Path, cell: str, said: str) -> None:
    e = trouble(tmp_path, [cell, "2026-02-01 12:00:01"])
    assert "row 2" in e.place and said in e.found


def test_day_numbers_taken_for_seconds(tmp_path: Path) -> None:
    e = trouble(tmp_path, ["45992.500000", "45992.500012", "45992.500023"], time_unit="s")
    assert "day number" in e.found and "yyyy-mm-dd" in e.mend


@pytest.mark.parametrize(("cell", "mend"), [("2026-02-01 12:00:00", 'time_unit "timestamp"'), ("0:00:01", "seconds"),
                                            ("01/02/2026", 'time_unit "timestamp"')])
def test_timestamps_where_seconds_are_said(tmp_path: Path, cell: str, mend: str) -> None:
    assert mend in trouble(tmp_path, [cell, cell], time_unit="s").mend


# Order

@pytest.mark.parametrize(("times", "said"), [(["0", "1", "1"], "same time"), (["5", "6", "2"], "4 s before")])
def test_time_must_rise(tmp_path: Path, times: list[str], said: str) -> None:
    e = trouble(tmp_path, times, time_unit="s")
    assert "row 4" in e.place and said in e.found


def test_time_must_rise_between_batches(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sealwright.traces.delimited.BLOCK", 64)
    assert "row 42" in trouble(tmp_path, [str(i) for i in range(40)] + ["7"], time_unit="s").place


def test_a_value_without_a_time(tmp_path: Path) -> None:
    e = trouble(tmp_path, ["0", "", "2"], time_unit="s")
    assert "row 3" in e.place and "without a time" in e.found


def test_infinite_time(tmp_path: Path) -> None:
    assert "infinite" in trouble(tmp_path, ["0", "inf"], time_unit="s").found


def test_milliseconds_since_the_epoch_keep_their_steps(tmp_path: Path) -> None:
    got = read(tmp_path, ["1790000000000", "1790000000100"], time_unit="ms")
    assert got.t.tolist() == pytest.approx([0, 0.1], abs=1e-9)
