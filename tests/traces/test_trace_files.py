"""Recorded traces as users have them: every slip is named by file, row and column, with how to mend it."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from sealwright.errors import BadInput, SealwrightError, TooLarge
from sealwright.traces import AMBIENT, MASK, NEITHER, Mapping, Mark, TraceFile, columns_of, read_trace, to_trace

TWO: dict[str, Any] = {"time": "t", "mask": "mask", "ambient": "room", "unit": "per-cm3"}
ROWS = "t,mask,room\n0,1.5,2000\n1,2.5,2010\n2,1.25,1990\n"


def put(tmp_path: Path, text: str | bytes, name: str = "trace.csv", encoding: str = "utf-8") -> Path:
    path = tmp_path / name
    path.write_bytes(text if isinstance(text, bytes) else text.encode(encoding))
    return path


def read(tmp_path: Path, text: str | bytes, **mapping: Any) -> TraceFile:
    return read_trace(put(tmp_path, text), Mapping(**{**TWO, **mapping}))


def trouble(tmp_path: Path, text: str | bytes, **mapping: Any) -> SealwrightError:
    """The error of reading; nothing is written by it, and it says file and mend."""
    path = put(tmp_path, text)
    before = (path.read_bytes(), sorted(os.listdir(tmp_path)))
    with pytest.raises(SealwrightError) as caught:
        read_trace(path, Mapping(**{**TWO, **mapping}))
    assert (path.read_bytes(), sorted(os.listdir(tmp_path))) == before
    assert caught.value.mend and str(path) in caught.value.place
    return caught.value


def test_two_channels(tmp_path: Path) -> None:
    got = read(tmp_path, ROWS, flow_cm3_min=120.0)
    assert got.t.tolist() == [0, 1, 2] and got.mask is not None and got.ambient is not None
    assert got.mask.tolist() == [1.5, 2.5, 1.25] and got.ambient.tolist() == [2000, 2010, 1990]
    assert got.value is got.air is got.marks is got.start_at is None and got.doubts == ()
    trace = to_trace(got)
    assert (trace.unit, trace.flow_cm3_s, trace.step_s) == ("per-cm3", 2.0, 1.0)
    assert trace.mask is not trace.ambient and trace.ambient.values.tolist() == [2000, 2010, 1990]


def test_one_alternating_channel_with_air_and_marks(tmp_path: Path) -> None:
    text = ("time,n,valve,doing\n10000,2000,ROOM,\n10500,300,purge,normal\n11000,2,IN,normal\n"
            "11500,3,IN,normal\n12000,1,IN,deep\n")
    got = read_trace(put(tmp_path, text), Mapping(time="time", value="n", air="valve", marks="doing", unit="count",
                                                  time_unit="ms", mask_word="in", ambient_word="room"))
    assert got.t.tolist() == [0, 0.5, 1, 1.5, 2] and got.air is not None
    assert got.air.tolist() == [AMBIENT, NEITHER, MASK, MASK, MASK]
    assert got.marks == (Mark(0.5, 1.5, "normal"), Mark(2.0, 2.0, "deep"))
    trace = to_trace(got)
    assert trace.mask is trace.ambient and trace.step_s == 0.5 and trace.flow_cm3_s is None


def test_marks_run_on_over_batches(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sealwright.traces.delimited.BLOCK", 256)
    lines = "".join(f"{i},1,2000,{'a' if i < 300 else 'b'}\n" for i in range(600))
    got = read(tmp_path, "t,mask,room,mark\n" + lines, marks="mark")
    assert got.marks == (Mark(0, 299, "a"), Mark(300, 599, "b")) and len(got.t) == 600


def test_from_and_to_count_from_the_first_sample_and_time_begins_anew(tmp_path: Path) -> None:
    lines = "".join(f"{100 + i},{i},2000\n" for i in range(60))
    path = put(tmp_path, "t,mask,room\n" + lines)
    got = read_trace(path, Mapping(**TWO), from_s=10, to_s=20)
    assert got.mask is not None and got.mask.tolist() == list(range(10, 21)) and got.t[0] == 0 and got.t[-1] == 10


def test_stops_reading_after_the_end_asked_for(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sealwright.traces.delimited.BLOCK", 256)
    lines = "".join(f"{i},1,2000\n" for i in range(500))
    path = put(tmp_path, "t,mask,room\n" + lines + "x,y,z\n")
    assert len(read_trace(path, Mapping(**TWO), to_s=50).t) == 51


def test_too_many_samples_name_the_row(tmp_path: Path) -> None:
    path = put(tmp_path, ROWS)
    with pytest.raises(TooLarge) as caught:
        read_trace(path, Mapping(**TWO), most_samples=2)
    assert caught.value.place.endswith("row 4") and "from and to" in caught.value.mend
    assert len(read_trace(path, Mapping(**TWO), most_samples=2, from_s=1).t) == 2


def test_progress_rises_to_one(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sealwright.traces.delimited.BLOCK", 4096)
    seen: list[float] = []
    lines = "".join(f"{i},1,2000\n" for i in range(5000))
    read_trace(put(tmp_path, "t,mask,room\n" + lines), Mapping(**TWO), progress=seen.append)
    assert len(seen) > 5 and seen == sorted(seen) and seen[-1] == 1.0


# How files are written

@pytest.mark.parametrize("encoding", ["utf-8-sig", "utf-16", "utf-16-le", "utf-16-be"])
def test_byte_order_marks_and_wide_characters(tmp_path: Path, encoding: str) -> None:
    mark = "\ufeff" if encoding == "utf-16-be" else ""
    got = read_trace(put(tmp_path, mark + ROWS, encoding=encoding), Mapping(**TWO))
    assert got.mask is not None and got.mask.tolist() == [1.5, 2.5, 1.25]


def test_headers_in_an_old_code_page(tmp_path: Path) -> None:
    text = ROWS.replace("mask", "mask /cm³").replace("room", "Umgebung für °C")
    got = read_trace(put(tmp_path, text, encoding="cp1252"),
                     Mapping(**{**TWO, "mask": "mask /cm³", "ambient": "Umgebung für °C"}))
    assert len(got.t) == 3


@pytest.mark.parametrize("end", ["\r\n", "\r"])
def test_other_line_ends(tmp_path: Path, end: str) -> None:
    assert len(read(tmp_path, ROWS.replace("\n", end)).t) == 3


@pytest.mark.parametrize("sign", [";", "\t", "|"])
def test_decimal_commas_and_other_delimiters_are_found_out(tmp_path: Path, sign: str) -> None:
    text = ROWS.replace(",", sign).replace(".", ",")
    got = read(tmp_path, text)
    assert got.mask is not None and got.mask.tolist() == [1.5, 2.5, 1.25]


def test_quoted_decimal_commas_between_commas(tmp_path: Path) -> None:
    got = read(tmp_path, 't,mask,room\n0,"1,5",2000\n1,"2,5",2000\n')
    assert got.mask is not None and got.mask.tolist() == [1.5, 2.5]


def test_bare_decimal_commas_between_commas(tmp_path: Path) -> None:
    e = trouble(tmp_path, "t,mask,room\n0,1,5,2000\n1,2,5,2000\n", delimiter=",")
    assert "row 2" in e.place and "4 cells where there are 3" in e.found and "decimal comma" in e.mend


def test_a_decimal_comma_where_points_are_said(tmp_path: Path) -> None:
    e = trouble(tmp_path, "t;mask;room\n0;1.5;2000\n1;2,5;2000\n")
    assert e.place.endswith("row 3, column 'mask'") and "'2,5' has a decimal comma" in e.found
    assert 'decimal ","' in e.mend


def test_a_thousands_point_among_decimal_commas(tmp_path: Path) -> None:
    e = trouble(tmp_path, "t;mask;room\n0,0;1,5;2000\n0,5;1.200,5;2000\n")
    assert e.place.endswith("row 3, column 'mask'") and "1.200,5" in e.found and "thousands" in e.mend


def test_thousands_separator_or_decimal_comma(tmp_path: Path) -> None:
    e = trouble(tmp_path, "t;mask;room\n0;1;2,000\n1;2;2,100\n")
    assert "row 2" in e.place and "'room'" in e.place and "'2,000' may have" in e.found


@pytest.mark.parametrize(("decimal", "cell"), [(".", "2,000"), (".", "2 000.5"), (".", "2’000"), (",", "2.000"),
                                               (",", "2.000,5"), (",", "2 000,5")])
def test_thousands_separators(tmp_path: Path, decimal: str, cell: str) -> None:
    e = trouble(tmp_path, f"t;mask;room\n0;1;{cell}\n1;2;3000\n", decimal=decimal)
    assert "row 2, column 'room'" in e.place and ("thousands separator" in e.found + e.mend)


def test_quoted_newlines_count_as_one_row(tmp_path: Path) -> None:
    text = 't,mask,room,note\n0,1,2000,"a\nb\nc"\n1,2,2000,x\n2,oops,2000,y\n'
    assert "row 4" in trouble(tmp_path, text).place


def test_blank_lines_are_skipped_but_counted(tmp_path: Path) -> None:
    assert len(read(tmp_path, "t,mask,room\n0,1,2000\n\n,,\n1,2,2000\n\n").t) == 2
    assert "row 6" in trouble(tmp_path, "t,mask,room\n0,1,2000\n\n,,\n1,2,2000\n2,?,2000\n").place


@pytest.mark.parametrize(("row", "found"), [("1,2", "2 cells"), ("1,2,3,4", "4 cells")])
def test_ragged_rows(tmp_path: Path, row: str, found: str) -> None:
    e = trouble(tmp_path, f"t,mask,room\n0,1,2000\n{row}\n")
    assert e.place.endswith("row 3") and found in e.found


def test_ragged_rows_are_counted_right_in_later_blocks(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sealwright.traces.delimited.BLOCK", 128)
    lines = "".join(f"{i},1,2000\n" for i in range(100))
    assert trouble(tmp_path, "t,mask,room\n" + lines + "100,1\n").place.endswith("row 102")


def test_lines_above_the_header_and_units_below_it(tmp_path: Path) -> None:
    text = "Recording of a morning\nroom 4,,\nt,mask,room\n(s),(#/cm3),(#/cm3)\n0,1,2000\n1,?,2000\n"
    assert "row 6" in trouble(tmp_path, text).place
    assert len(read(tmp_path, text.replace("?", "2")).t) == 2


def test_no_header(tmp_path: Path) -> None:
    text = "0,1,2000\n1,2,2010\n"
    assert 'Call the columns "column 1"' in trouble(tmp_path, text).mend
    got = read(tmp_path, text, time="column 1", mask="column 2", ambient="column 3")
    assert got.t.tolist() == [0, 1]
    assert "no 'column 4'" in trouble(tmp_path, text, time="column 1", mask="column 2", ambient="column 4").found


def test_duplicate_and_missing_names(tmp_path: Path) -> None:
    e = trouble(tmp_path, "t,mask,mask,room\n0,1,1,2000\n1,1,1,2000\n")
    assert "2 columns are called 'mask'" in e.found and "row 1" in e.place
    e = trouble(tmp_path, "t,inside,room\n0,1,2000\n1,1,2000\n")
    assert "no column 'mask'" in e.found and "'inside'" in e.found


@pytest.mark.parametrize("text", [b"", b"  \n\n", b"\xef\xbb\xbf", "\ufeff".encode("utf-16-le")])
def test_empty_files(tmp_path: Path, text: bytes) -> None:
    trouble(tmp_path, text)


def test_a_header_and_nothing_below(tmp_path: Path) -> None:
    assert "no rows of data" in trouble(tmp_path, "t,mask,room\n").found


@pytest.mark.parametrize(("start", "said"), [(b"PK\x03\x04", "workbook"), (b"\xd0\xcf\x11\xe0", "workbook"),
                                             (b"\x1f\x8b", "compressed"), (b"\x89PNG\r\n\x1a\n", "no text")])
def test_binary_files_with_the_wrong_name(tmp_path: Path, start: bytes, said: str) -> None:
    assert said in trouble(tmp_path, start + bytes(range(256)) * 20).found


def test_nul_bytes(tmp_path: Path) -> None:
    e = trouble(tmp_path, b"t,mask,room\n0,1,2000\n1,\x00\x00,2000\n" + b"".join(b"%d,1,2000\n" % i for i in
                                                                                  range(2, 99)))
    assert e.place.endswith("row 3, column 'mask'") and "NUL" in e.found


def test_a_huge_cell(tmp_path: Path) -> None:
    e = trouble(tmp_path, b"t,mask,room\n0,1,2000\n1," + b"9" * 10_000_000 + b",2000\n")
    assert "a row longer than" in e.found and "row 3 or after" in e.place
    trouble(tmp_path, b"t,mask,room," + b"x" * 10_000_000 + b"\n0,1,2000,1\n")


def test_an_unclosed_quotation_mark(tmp_path: Path) -> None:
    lines = "".join(f"{i},1,2000\n" for i in range(2, 50_000))
    e = trouble(tmp_path, 't,mask,room\n0,1,2000\n1,"1,2000\n' + lines)
    assert "quotation mark" in e.mend and e.place.endswith("row 3")
    assert "quotation mark" in trouble(tmp_path, 't,mask,room\n0,1,2000\n1,"1,2000\n' + 20 * lines).found


def test_bytes_that_are_no_utf8_in_a_cell(tmp_path: Path) -> None:
    lines = b"".join(b"%d,1,2000\n" % i for i in range(40_000))
    e = trouble(tmp_path, b"t,mask,room\n" + lines + b"40000,\xff\xfe,2000\n")
    assert e.place.endswith("row 40002, column 'mask'")


def test_a_ragged_row_of_bytes_that_are_no_utf8(tmp_path: Path) -> None:
    e = trouble(tmp_path, b"t,mask,room\n0,1,2000\n\xff\xd6\n1,1,2000\n" + b"2,1,2000\n" * 9)
    assert "row 3" in e.place and "1 cell where" in e.found


def test_a_folder_and_a_file_that_is_not_there(tmp_path: Path) -> None:
    for path in (tmp_path, tmp_path / "none.csv"):
        with pytest.raises(BadInput, match="cannot be opened"):
            read_trace(path, Mapping(**TWO))


# Values

@pytest.mark.parametrize(("cell", "said"), [
    ("-3", "below zero"), ("inf", "infinite"), ("-Infinity", "infinite"), ("1e15", "more than any counter"),
    ("1e400", "infinite"), ("0x10", "is no number"), ("1_000", "is no number"), ("abc", "'abc' is no number"),
    ("=1+1", "is no number"), ("#REF!", "is no number"), ("١٢", "is no number"), ("1" * 500, "infinite")])
def test_values_that_cannot_be(tmp_path: Path, cell: str, said: str) -> None:
    e = trouble(tmp_path, f"t,mask,room\n0,1,2000\n1,{cell},2000\n2,1,2000\n")
    assert e.place.endswith("row 3, column 'mask'") and said in e.found


def test_empty_cells_and_nan_are_missing_and_told(tmp_path: Path) -> None:
    cells = ["1", "", "NaN", "n/a", " ", "2.5 "]
    lines = "".join(f"{i},{c},2000\n" for i, c in enumerate(cells))
    got = read(tmp_path, "t,mask,room\n" + lines)
    assert got.mask is not None and np.isnan(got.mask).tolist() == [False, True, True, True, True, False]
    (doubt,) = got.doubts
    assert (doubt.code, doubt.start_s, doubt.end_s) == ("no-values", 1.0, 4.0) and "4 samples" in doubt.text


def test_a_column_without_any_value(tmp_path: Path) -> None:
    assert "not one value" in trouble(tmp_path, "t,mask,room\n0,,2000\n1,,2000\n").found


def test_swapped_columns(tmp_path: Path) -> None:
    e = trouble(tmp_path, ROWS, mask="room", ambient="mask")
    assert "swapped" in e.mend and "'room' and 'mask'" in e.place
    got = read(tmp_path, "t,mask,room\n0,3000,2000\n1,3000,2000\n2,5,2000\n")
    assert [d.code for d in got.doubts] == ["mask-above-ambient"]


def test_words_for_the_air_that_do_not_occur_or_are_swapped(tmp_path: Path) -> None:
    text = "t,n,air\n0,2000,out\n1,2,in\n2,3,in\n"
    one: dict[str, Any] = {"mask": None, "ambient": None, "value": "n", "air": "air"}
    assert "'mask' does not occur" in trouble(tmp_path, text, **one).found
    got = read(tmp_path, text, **one, mask_word="out", ambient_word="in")
    assert [d.code for d in got.doubts] == ["mask-above-ambient"]


def test_counts_with_fractions_are_doubted(tmp_path: Path) -> None:
    assert [d.code for d in read(tmp_path, ROWS, unit="count").doubts] == ["counts-with-fractions"]


def test_gaps_are_told(tmp_path: Path) -> None:
    lines = "".join(f"{i},1,2000\n" for i in [0, 1, 2, 3, 30, 31, 32])
    (doubt,) = read(tmp_path, "t,mask,room\n" + lines).doubts
    assert (doubt.code, doubt.start_s, doubt.end_s) == ("gap", 3.0, 30.0)


# The mapping

@pytest.mark.parametrize(("change", "place"), [
    ({"unit": None}, "unit"), ({"unit": "mg"}, "unit"), ({"mask": None}, "mask"), ({"value": "n"}, "value"),
    ({"air": "valve"}, "air"), ({"mask": "room"}, "mapping"), ({"delimiter": "ab"}, "delimiter"),
    ({"decimal": ":"}, "decimal"), ({"zone": "Atlantis/Main"}, "zone"), ({"zone": "../etc/passwd"}, "zone"),
    ({"flow_cm3_min": 0.0}, "flow_cm3_min"), ({"flow_cm3_min": float("nan")}, "flow_cm3_min")])
def test_mappings_that_cannot_be_meant(tmp_path: Path, change: dict[str, Any], place: str) -> None:
    with pytest.raises(BadInput) as caught:
        read_trace(put(tmp_path, ROWS), Mapping(**{**TWO, **change}))
    assert place in caught.value.place and caught.value.mend


def test_a_missing_unit_says_how_to_name_it(tmp_path: Path) -> None:
    with pytest.raises(BadInput) as caught:
        read_trace(put(tmp_path, ROWS), Mapping(time="t", mask="mask", ambient="room"))
    assert '"count"' in caught.value.mend and '"per-cm3"' in caught.value.mend


# A first look

def test_columns_of_guesses(tmp_path: Path) -> None:
    path = put(tmp_path, "Time;Mask [1/cm3];Ambient [1/cm3];Exercise\n0,0;1,5;2000;normal\n0,5;2,5;2000;normal\n")
    seen = columns_of(path)
    assert seen.columns == ("Time", "Mask [1/cm3]", "Ambient [1/cm3]", "Exercise") and seen.header == 1
    assert (seen.delimiter, seen.decimal) == (";", ",") and seen.rows[0] == ("0,0", "1,5", "2000", "normal")
    assert seen.guess["unit"] == "per-cm3" and seen.guess["marks"] == "Exercise"
    got = read_trace(path, Mapping(**seen.guess))
    assert got.mask is not None and got.mask.tolist() == [1.5, 2.5]


def test_columns_of_one_channel_without_a_unit(tmp_path: Path) -> None:
    seen = columns_of(put(tmp_path, "timestamp,reading,valve\n2026-02-01T09:00:00Z,5,mask\n"
                                    "2026-02-01T09:00:01Z,6,mask\n"))
    assert seen.guess == {"time": "timestamp", "time_unit": "timestamp", "value": "reading", "air": "valve",
                          "delimiter": ",", "decimal": "."}


def test_columns_of_a_file_without_header(tmp_path: Path) -> None:
    seen = columns_of(put(tmp_path, "0,1,2000\n1,2,2010\n"))
    assert seen.columns == ("column 1", "column 2", "column 3") and seen.header == 0 and len(seen.rows) == 2
