"""`sealwright test show --hood`, and the same on the page of a test."""

from __future__ import annotations

import json
from pathlib import Path

import httpx
import pytest

from sealwright.cli.app import obey
from sealwright.demo.player import play
from sealwright.demo.tweaks import missed
from sealwright.ledger import open_ledger
from sealwright.protocols import get

FACEPIECE = {"id": "fp", "make": "Quillmoss", "model": "Sedgefold", "material": "felt", "size": "regular",
             "kind": "filtering", "own": False}


def played(test_id: str, **how):
    return play(get("uk-bitter"), test_id=test_id, wearer="w1", facepiece=FACEPIECE, tester="ft1",
                start_at=1_700_000_000_000, **how)


@pytest.fixture
def book(tmp_path: Path) -> Path:
    file = tmp_path / "book.db"
    with open_ledger(str(file), org="yard") as ledger:
        ledger.append(played("gap", tweaks=[missed("dose-210")]))
        ledger.append(played("whole"))
        ledger.append(played("unrun")[:4])
    return file


@pytest.fixture
def show(book: Path, capsys: pytest.CaptureFixture[str]):
    def go(test: str, *more: str) -> tuple[int, str, str]:
        code = obey(["test", "show", test, "--ledger", str(book), "--org", "yard", *more])
        out = capsys.readouterr()
        return code, out.out, out.err

    return go


def test_a_missed_dose_is_explained_and_the_verdict_is_the_same(show) -> None:
    code, out, _ = show("gap", "--hood", "--json")
    found = json.loads(out)
    assert code == 0 and "After the missing dose at 3:30 the air held about 5" in found["hood"][0]
    assert "no measurement" in found["hood"][-1]
    assert found["verdict"] == json.loads(show("gap", "--json")[1])["verdict"]


def test_a_whole_test_held_what_was_asked(show) -> None:
    assert "The air held what the score asks for." in show("whole", "--hood")[1]


def test_the_picture_has_the_air_beneath_only_when_asked(show, tmp_path: Path) -> None:
    with_air, without = tmp_path / "a.svg", tmp_path / "b.svg"
    assert show("gap", "--hood", "--svg", str(with_air))[0] == show("gap", "--svg", str(without))[0] == 0
    assert 'class="held"' in with_air.read_text("utf-8") and 'class="held"' not in without.read_text("utf-8")
    assert show("gap", "--svg", str(without))[0] == 2


def test_a_test_never_begun_says_so(show) -> None:
    code, _, err = show("unrun", "--hood")
    assert code == 2 and "never begun" in err


@pytest.mark.xdist_group("web-api")
def test_the_page_of_a_test_shows_the_air_and_says_it_is_no_verdict(server) -> None:
    server.ledger.append(played("gap", tweaks=[missed("dose-210")]))
    text = httpx.get(f"{server.url}/tests/gap").text
    assert text.count('class="held"') > 1 and 'class="wanting"' in text
    assert "After the missing dose at 3:30" in text and "no part of the verdict" in text
