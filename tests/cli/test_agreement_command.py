"""`sealwright agreement`: what it reads, what it answers, and how it complains."""

from __future__ import annotations

import json
import xml.etree.ElementTree as ET
from pathlib import Path

import pytest

from sealwright.cli.app import obey

GOOD = "wearer,taste,counting\n" + "".join(f"w{i},{'pass' if f >= 100 else 'fail'},{f}\n" for i, f in
                                           enumerate([340, 45, 101, 88.2, 6.1, 2000, 15, 150]))
COLUMNS = ["--test-column", "taste", "--reference-column", "counting"]


@pytest.fixture
def run(tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setenv("COLUMNS", "200")

    def go(text: str | bytes, *more: str) -> tuple[int, str, str]:
        file = tmp_path / "pairs.csv"
        file.write_bytes(text if isinstance(text, bytes) else text.encode())
        code = obey(["agreement", str(file), *(more or COLUMNS)])
        out = capsys.readouterr()
        return code, out.out, out.err

    return go


def test_all_agreeing_meets_every_demand_but_not_surely(run) -> None:
    code, out, err = run(GOOD)
    assert code == 0 and err == ""
    assert "8 pairs count" in out and "Every demand is met by its value; 5 of 5 not surely." in out
    assert "from memory, verify" in out


def test_a_wrong_pass_answers_no(run) -> None:
    code, out, _ = run(GOOD.replace("w4,fail", "w4,pass"))
    assert code == 1 and "✕ not met" in out and "Not every demand is met." in out


def test_json_holds_the_table_and_every_criterion_with_its_source(run) -> None:
    code, out, _ = run(GOOD, *COLUMNS, "--cv", "0.2", "--json")
    found = json.loads(out)
    assert code == 0 and found["accepted"] is True
    assert found["agreement"]["every"] == {"a": 4, "b": 0, "c": 0, "d": 4}
    assert found["agreement"]["table"] == {"a": 3, "b": 0, "c": 0, "d": 3}
    assert all(c["source"] for c in found["agreement"]["criteria"])


@pytest.mark.parametrize("text", [
    "\ufeff" + GOOD, GOOD.replace(",", ";"), GOOD.replace(",", "\t"), GOOD.replace("\n", "\r\n") + "\r\n,,\r\n",
    GOOD.replace("pass", " PASSED ").replace("fail", "No")])
def test_files_as_people_save_them(run, text: str) -> None:
    code, out, _ = run(text)
    assert code == 0 and "8 pairs count" in out


def test_both_columns_may_hold_fit_factors(run) -> None:
    code, out, _ = run("a,b\n120,340\n80,90\n", "--test-column", "a", "--reference-column", "b", "--test-level", "100")
    assert code == 0 and "2 pairs count" in out


def test_the_picture_is_written_and_shows_every_pair(run, tmp_path: Path) -> None:
    run(GOOD, *COLUMNS, "--svg", str(tmp_path / "p.svg"))
    signs = [e for e in ET.parse(tmp_path / "p.svg").iter() if e.get("class") == "sign"]
    assert len(signs) == 8 * 2  # once in its field, once on the axis


@pytest.mark.parametrize("text, place, found", [
    (GOOD.replace("taste", "smell"), "row 1", "no column 'taste'"),
    (GOOD.replace("wearer", "taste"), "row 1", "two columns 'taste'"),
    (GOOD.replace("45", "4 5"), "row 3: counting", "'4 5' is no fit factor"),
    (GOOD.replace("45", "-45"), "row 3: counting", "no fit factor"),
    (GOOD.replace("45", "inf"), "row 3: counting", "no fit factor"),
    (GOOD.replace("45", ""), "row 3: counting", "empty"),
    (GOOD.replace("45", "fail"), "row 3: counting", "'fail' among fit factors"),
    (GOOD.replace("w1,fail", "w1,maybe"), "row 3: taste", "'maybe' is neither pass nor fail"),
    (GOOD.replace("w1,fail", "w1,"), "row 3: taste", "empty"),
    (GOOD.replace("w1,fail,45", "w1,fail"), "row 3", "2 fields where the heading has 3"),
    (GOOD.replace("w1", '"w1'), "row 9", "not CSV"),
    ("wearer,taste,counting\n", "pairs.csv", "no pairs"), ("", "row 1", "no column"),
    (b"a,b\n\xff\xfe", "pairs.csv", "not UTF-8"),
])
def test_trouble_names_file_row_field_and_mend(run, text: str | bytes, place: str, found: str) -> None:
    code, out, err = run(text)
    assert code == 2 and out == ""
    assert "pairs.csv" in err and place in err and found in err and len(err.splitlines()) == 1


def test_a_cv_without_fit_factors_is_refused(run) -> None:
    words = "taste,counting\npass,pass\nfail,fail\n"
    assert run(words)[0] == 0
    code, _, err = run(words, *COLUMNS, "--cv", "0.2")
    assert code == 2 and "no fit factor of the reference" in err
