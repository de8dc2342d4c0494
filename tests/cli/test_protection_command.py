"""`sealwright protection`: what it answers, what it refuses, and the picture. Concentrations are invented."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from sealwright.cli.app import obey

AIR = ["--concentration", "0.8", "--limit", "0.1"]


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setenv("COLUMNS", "250")

    def go(*argv: str) -> tuple[int, str, str]:
        code = obey(["protection", *argv])
        out = capsys.readouterr()
        return code, out.out, out.err

    return go


def test_the_classes_that_reach_it_the_least_first(run) -> None:
    code, out, _ = run("--rules", "us", *AIR, "--json")
    found = json.loads(out)
    assert code == 0 and found["needed"] == pytest.approx(8)
    assert [c["id"] for c in found["classes"]][:2] == ["filtering", "half"]
    assert all(c["source"] and c["apf"] >= 8 for c in found["classes"])


def test_the_whole_table_without_a_concentration(run) -> None:
    code, out, _ = run("--rules", "uk")
    assert code == 0 and "ffp1" in out and "2,000" in out and "from memory, verify" in out


def test_no_class_reaches_it(run) -> None:
    code, out, _ = run("--rules", "uk", "--concentration", "900", "--limit", "0.1")
    assert code == 1 and "No class in this table reaches it" in out and "9,000 times" in out


def test_within_the_limit_it_says_so(run) -> None:
    assert "kept without equipment" in run("--rules", "us", "--concentration", "0.1", "--limit", "0.1")[1]


def test_a_qualitative_pass_caps_a_full_facepiece(run) -> None:
    _, out, _ = run("--rules", "us", *AIR, "--passed-by", "qualitative")
    row = next(line for line in out.splitlines() if " full  " in line)
    assert " 50 " in row and " 10 " in row and "Passed by a qualitative test" in row


def test_explained_at_the_level_of_the_rules(run, tmp_path: Path) -> None:
    svg = tmp_path / "p.svg"
    code, out, _ = run("--rules", "us", *AIR, "--explain", "--fit-factor", "612", "--class", "full", "--svg", str(svg))
    assert code == 0 and "reaches the pass level of 500" in out and "is not worked out here" in out
    assert "Full facepiece, air-purifying: three factors, not one" in svg.read_text("utf-8")
    assert run("--rules", "us", "--svg", str(svg))[0] == 2  # it is there already


@pytest.mark.parametrize("argv, place, found", [
    (["--atmosphere", "oxygen-deficient"], "atmosphere", "competent person must decide"),
    ([*AIR, "--atmosphere", "immediately-dangerous"], "atmosphere", "competent person must decide"),
    ([*AIR, "--atmosphere", "thin"], "--atmosphere", "unknown word"),
    (["--concentration", "1"], "--limit", "missing"), (["--limit", "1"], "--concentration", "missing"),
    ([*AIR, "--unit", "stone"], "unit", "unknown unit"), ([*AIR, "--form", "dust"], "--form", "unknown word"),
    (["--concentration", "0", "--limit", "1"], "concentration", "no concentration"),
    (["--explain", "--class", "scarf"], "class", "no class"),
    (["--explain", "--fit-factor", "-3"], "fit factor", "no fit"),
    (["--explain", "--class", "powered-hood"], "class", "no fit factor"),
])
def test_what_is_refused(run, argv: list[str], place: str, found: str) -> None:
    code, out, err = run("--rules", "us", *argv)
    assert code == 2 and out == "" and place in err and found in err and len(err.splitlines()) == 1


def test_unknown_rules_name_those_there_are(run) -> None:
    code, _, err = run("--rules", "mars")
    assert code == 2 and "uk, us" in err
