"""`sealwright test` with tests of every method: words for people, numbers for programs."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from tests.assess.staging import played

from sealwright.assess import record_bytes
from sealwright.cli.app import obey
from sealwright.ledger import open_ledger
from sealwright.protocols import get, published


@pytest.fixture
def say(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Any:
    monkeypatch.setenv("COLUMNS", "400")

    def run(*words: Any) -> tuple[int, str]:
        code = obey([str(w) for w in words])
        return code, capsys.readouterr().out
    return run


def recorded(folder: Path, protocol: str, **options: Any) -> Path:
    file = folder / f"{protocol}.json"
    kind = get(protocol).suits.kinds[0]
    file.write_bytes(record_bytes(played(protocol=protocol, kind=options.pop("kind", kind), **options)))
    return file


@pytest.mark.parametrize("protocol", published())
def test_a_test_of_any_method_is_judged_from_its_file(say: Any, tmp_path: Path, protocol: str) -> None:
    file = recorded(tmp_path, protocol)
    code, out = say("test", "assess", file)
    assert code == 0 and out.startswith("● PASS: ") and "next: Passed" in out
    verdict = json.loads(say("test", "assess", file, "--json")[1])["results"][0]["verdict"]
    assert (verdict["result"], verdict["protocol"]) == ("pass", protocol)
    assert (verdict["measured"] is not None) == get(protocol).quantitative


def test_numbers_and_intervals_stand_in_words_and_in_json(say: Any, tmp_path: Path) -> None:
    """53,800 ml/min over 269 is a factor of 200; read within 5 %, it is within 95 % of that in 19 cases of 20."""
    leaks = {e.id: 269.0 for e in get("us-pressure").exercises}
    file = recorded(tmp_path, "us-pressure", kind="half", leaks=leaks)
    out = say("test", "assess", file)[1]
    assert "  pass level 100, overall" in out and "  Overall: 200 (95 %: " in out
    measured = json.loads(say("test", "assess", file, "--json")[1])["results"][0]["verdict"]["measured"]
    overall = [measured["overall"][x] for x in ("low", "factor", "high")]
    assert overall == [pytest.approx(x, abs=0.2) for x in (190.5, 200, 209.5)]
    assert [x["exercise"] for x in measured["exercises"]][:2] == ["normal-1", "deep"]
    assert (measured["pass_level"], measured["pass_rule"], measured["passed"]) == (100, "overall", True)


def test_a_fail_by_number_is_exit_1_and_says_which_exercises(say: Any, tmp_path: Path) -> None:
    code, out = say("test", "assess", recorded(tmp_path, "uk-counting", way="factors", factors={"nod": 83.0}))
    assert code == 1 and "✕ FAIL: Failed: “Head up and down” at 83, where each must reach 100" in out


def test_the_list_has_the_overall_factor_and_the_record_does_not_spill_its_samples(say: Any, tmp_path: Path) -> None:
    url = f"sqlite:///{tmp_path / 'ledger.db'}"
    leaks = {e.id: 269.0 for e in get("us-pressure").exercises}
    with open_ledger(url, org="kestrel") as ledger:
        ledger.append(played(protocol="us-pressure", kind="half", leaks=leaks))
        ledger.append(played(protocol="us-counting", test_id="t-2"))
        ledger.append(played(test_id="t-3"))
    at = ("--ledger", url, "--org", "kestrel")
    rows = {line.split()[0]: line for line in say("test", "list", *at)[1].splitlines()
            if line.strip().startswith("t-")}
    assert " 200 " in rows["t-1"] and "pass" in rows["t-2"] and " 200 " not in rows["t-3"]
    code, out = say("test", "show", "t-2", *at, "--events")
    assert code == 0 and "values (45 numbers)" in out and "Overall: " in out
    assert max(map(len, out.splitlines())) < 420
