"""Draws the pictures of the explanations beside itself; a test holds them against what the program draws today."""

from __future__ import annotations

from pathlib import Path

from sealwright.insight.hood import predict
from sealwright.pictures.hood import hood_svg
from sealwright.pictures.protection import protection_svg
from sealwright.programme.protection import workplace_protection_factor
from sealwright.protocols import compile_score, get

OUTSIDE_INSIDE = ([2.1, 0.9, 3.4, 1.2, 0.7, 5.0, 1.6, 2.8], [0.04, 0.031, 0.02, 0.033, 0.041, 0.012, 0.018, 0.09])
"""invented samples, mg/m3"""


def three_factors() -> str:
    return protection_svg(apf=10, pass_level=100, fit_factor=340, needed=8, width=900,
                          wpf=workplace_protection_factor(*OUTSIDE_INSIDE), title="Three factors, not one")


def hood(*missed: int) -> str:
    score = compile_score(get("us-bitter"), 20)
    doses = [(float(a.at), a.squeezes) for a in score.of("dose") if a.at not in missed]
    return hood_svg(predict(doses, nominal_score=score), title="The air under the hood, one dose missing", width=900)


if __name__ == "__main__":
    here = Path(__file__).parent
    (here / "three-factors.svg").write_text(three_factors(), "utf-8")
    (here / "hood.svg").write_text(hood(210), "utf-8")
