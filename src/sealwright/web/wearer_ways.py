"""How each method leads the wearer through a test: which event opens which phase, with which figure and which words.

Codes only; the sentences are in `wearer_sentences`.
"""

from __future__ import annotations

from typing import Literal

import msgspec

from sealwright.protocols.types import MethodName

Phase = Literal["welcome", "hood-on", "screening", "jars", "whiff", "unsuited", "tasted-screening", "washout",
                "donning", "seal-check", "wear", "pause", "ready", "chamber", "smoke", "first-dose", "exercises",
                "readings", "seal-break", "finish", "tasted", "noticed", "stopped", "done"]

FIGURE: dict[Phase, str] = {
    "welcome": "wait", "hood-on": "hood", "screening": "taste", "jars": "smell", "whiff": "whiff", "unsuited": "stop",
    "tasted-screening": "stop", "washout": "water", "donning": "don", "seal-check": "seal-check", "wear": "wear",
    "pause": "wait", "ready": "hood-mask", "chamber": "chamber", "smoke": "smoke", "first-dose": "hold",
    "exercises": "normal", "readings": "wear", "seal-break": "break-seal", "finish": "stop", "tasted": "stop",
    "noticed": "stop", "stopped": "stop", "done": "done",
}
ENDED: tuple[Phase, ...] = ("tasted", "noticed", "stopped", "unsuited")


class Way(msgspec.Struct, frozen=True, kw_only=True):
    """One method's way. `says`: a code of the house -> the code of this method's own sentence."""

    moves: dict[str, Phase]
    """kind of event -> the phase it opens, whatever its particulars"""
    figures: dict[Phase, str] = {}
    free: dict[Phase, str] = {}
    """the figure once the wearer is out of it, after an end; else that of waiting"""
    says: dict[str, str] = {}
    waits: dict[Phase, tuple[str, str]] = {}
    """phase -> (stage of the conduct, the event its wait counts from)"""
    aside: str = ""
    """what belongs to every exercise besides"""

    def figure(self, phase: Phase) -> str:
        return self.figures.get(phase, FIGURE[phase])

    def say(self, code: str) -> str:
        return self.says.get(code, code)


EVERY: dict[str, Phase] = {"donned": "seal-check", "run-started": "exercises", "seal-broken": "finish",
                           "stopped": "stopped"}
WEAR: dict[Phase, tuple[str, str]] = {"wear": ("comfort", "donned")}

TASTE = Way(
    moves={**EVERY, "identity-confirmed": "hood-on", "screening-started": "screening", "exercises-ended": "seal-break",
           "first-dose-begun": "first-dose"},
    free={"tasted": "water", "unsuited": "water"},
    waits={**WEAR, "tasted-screening": ("taste-gone", "tasted"), "washout": ("taste-gone", "tasted"),
           "ready": ("hood-over", "tasted")})

CHAMBER_ENDS = {"stopped": "stopped-chamber", "unwell": "unwell-chamber"}
BARE = {"bend": "bend-free", "unsuited": "pause", "unsuited-hood-off": "pause"}
"""no hood is spoken of where there is none"""

VAPOUR = Way(
    moves={**EVERY, "identity-confirmed": "jars", "exposure-begun": "chamber", "exercises-ended": "seal-break"},
    figures={"ready": "enter", "noticed": "leave", "stopped": "leave", "finish": "leave", "unsuited": "wait"},
    free={"noticed": "off"},
    says={**BARE, **CHAMBER_ENDS, "ready": "ready-chamber", "seal-break": "seal-break-vapour",
          "finish": "finish-chamber", "noticed": "noticed-vapour", "noticed-hood-off": "noticed-free"},
    waits={**WEAR, "chamber": ("run", "exposure-begun")})

SMOKE = Way(
    moves={**EVERY, "identity-confirmed": "whiff", "exposure-begun": "smoke", "exercises-ended": "seal-break"},
    figures={"ready": "smoke", "seal-break": "whiff", "noticed": "off", "stopped": "off", "finish": "wait",
             "unsuited": "wait"},
    free={"noticed": "off"},
    says={**BARE, "ready": "smoke", "talk": "talk-shut", "seal-break": "seal-break-smoke", "finish": "finish-smoke",
          "noticed": "noticed-smoke", "noticed-hood-off": "noticed-free", "stopped": "stopped-smoke",
          "unwell": "unwell-smoke"},
    waits=WEAR, aside="shut")

COUNTING = Way(
    moves={**EVERY, "identity-confirmed": "donning", "exercises-ended": "readings", "readings-complete": "finish"},
    figures={"ready": "connect", "finish": "off", "stopped": "off"},
    says={**BARE, "ready": "connect", "finish": "finish-free", "stopped": "stopped-free", "unwell": "unwell-free"},
    waits=WEAR)
"""Controlled negative pressure goes the same way; a generated aerosol does in a chamber."""

AEROSOL = msgspec.structs.replace(
    COUNTING, figures={**COUNTING.figures, "stopped": "leave", "finish": "leave"},
    says={**COUNTING.says, **CHAMBER_ENDS, "ready": "connect-chamber", "finish": "finish-chamber"})

WAYS: dict[MethodName, Way] = {"taste": TASTE, "vapour": VAPOUR, "smoke": SMOKE, "aerosol": AEROSOL,
                               "counting": COUNTING, "pressure": COUNTING}
