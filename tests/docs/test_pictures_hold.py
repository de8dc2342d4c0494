"""The pictures in the explanations are what the program draws today, and the figures told there are what it finds."""

from __future__ import annotations

from pathlib import Path

import pytest

from sealwright.cli.app import obey
from sealwright.insight.agreement import proportion
from sealwright.insight.hood import HoodParameters, predict, stretches
from sealwright.pictures.hood import hood_svg
from sealwright.pictures.protection import protection_svg
from sealwright.programme.protection import workplace_protection_factor
from sealwright.protocols import compile_score, get

DOCS = Path(__file__).parents[2] / "docs"
OUTSIDE_INSIDE = ([2.1, 0.9, 3.4, 1.2, 0.7, 5.0, 1.6, 2.8], [0.04, 0.031, 0.02, 0.033, 0.041, 0.012, 0.018, 0.09])
"""invented samples, mg/m3"""


def three_factors() -> str:
    return protection_svg(apf=10, pass_level=100, fit_factor=340, needed=8, width=900,
                          wpf=workplace_protection_factor(*OUTSIDE_INSIDE), title="Three factors, not one")


def hood(*missed: int) -> str:
    score = compile_score(get("us-bitter"), 20)
    doses = [(float(a.at), a.squeezes) for a in score.of("dose") if a.at not in missed]
    return hood_svg(predict(doses, nominal_score=score), title="The air under the hood, one dose missing", width=900)


def test_the_pictures_are_what_is_drawn() -> None:
    assert (DOCS / "pictures/three-factors.svg").read_text("utf-8") == three_factors()
    assert (DOCS / "pictures/hood.svg").read_text("utf-8") == hood(210)


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
