"""The pictures in the explanations are what the program draws today, and the figures told there are what it finds."""

from __future__ import annotations

import importlib.util
from pathlib import Path
from types import ModuleType

import pytest

from sealwright.cli.app import obey
from sealwright.insight.agreement import proportion
from sealwright.insight.hood import HoodParameters, predict, stretches
from sealwright.protocols import compile_score, get

DOCS = Path(__file__).parents[2] / "docs"


def drawing() -> ModuleType:
    """docs/pictures/make_pictures.py as a module."""
    spec = importlib.util.spec_from_file_location("make_pictures", DOCS / "pictures/make_pictures.py")
    assert spec and spec.loader
    made = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(made)
    return made


def test_the_pictures_are_what_is_drawn() -> None:
    assert (DOCS / "pictures/three-factors.svg").read_text("utf-8") == drawing().three_factors()
    assert (DOCS / "pictures/hood.svg").read_text("utf-8") == drawing().hood(210)


def test_the_figures_of_the_hood_page() -> None:
    page, hood_ = (DOCS / "explanation/hood-model.md").read_text("utf-8"), HoodParameters()
    assert f"{hood_.volume_l + hood_.head_l:.1f} l" in page and f"{60 * hood_.rate:.2f} a minute" in page
    assert f"{60 * hood_.breathing:.2f} a minute" in page and f"{60 * hood_.settling:.2f} a minute" in page
    score = compile_score(get("us-bitter"), 20)
    doses = [(a.at, a.squeezes) for a in score.of("dose")]
    (one,) = stretches(predict([d for d in doses if d[0] != 210], nominal_score=score))
    (two,) = stretches(predict([d for d in doses if d[0] not in (210, 240)], nominal_score=score))
    assert f"{one.least:.2f}" == "0.50" and f"{two.least:.2f}" == "0.25" and 85 < one.end - 210 < 100


def test_the_figures_of_the_agreement_page() -> None:
    assert f"{proportion(10, 10).low:.2f}" == "0.69" and f"{proportion(485, 643).value:.0%}" == "75%"


def test_the_comparison_shown_is_what_is_printed(capsys: pytest.CaptureFixture[str],
                                                 monkeypatch: pytest.MonkeyPatch) -> None:
    """Shortened on the page: each line of it stands, word for word, in a line that is printed."""
    monkeypatch.setenv("COLUMNS", "160")
    file = str(DOCS / "how-to/compare-methods.csv")
    assert obey(["agreement", file, "--test-column", "taste", "--reference-column", "counting", "--cv", "0.2"]) == 0
    printed = [" ".join(line.split()) for line in capsys.readouterr().out.splitlines()]
    shown = (DOCS / "how-to/compare-methods.md").read_text("utf-8").split("```text\n")[2].split("```")[0]
    for line in filter(None, (" ".join(row.split()) for row in shown.splitlines())):
        assert any(p.startswith(line) for p in printed), line
