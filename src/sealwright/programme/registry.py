"""What can happen to the things a programme keeps: wearers, facepieces, lots of solution, testers.

Streams are named `wearer:<id>`, `facepiece:<id>`, `lot:<id>`, `account:<id>`, `test:<id>` and `site:main`. Names, staff
numbers and contacts are personal details: they never stand in an event.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Annotated, Any, Literal

from msgspec import Meta

from sealwright.assess.events import Data, Instant, Kind, Name
from sealwright.protocols.types import RuleSetId


class WearerJoined(Data, frozen=True, kw_only=True):
    """`language`: of the wearer's screen, a BCP 47 tag. `site` and `role` are the organisation's own words."""

    language: str = "en"
    site: str = ""
    role: str = ""


class LanguageChosen(Data, frozen=True, kw_only=True):
    language: str


class FacepieceStocked(Data, frozen=True, kw_only=True):
    make: Name
    model: Name
    material: Name
    size: Name
    kind: Kind


class LotReceived(Data, frozen=True, kw_only=True):
    """A lot of solution; `expires_at`: end of the last day it may be used."""

    agent: Literal["bitter", "sweet"]
    use: Literal["screening", "test"]
    lot: Name
    expires_at: Instant


class TesterRegistered(Data, frozen=True, kw_only=True):
    competent_until_at: Instant | None = None


class PersonErased(Data, frozen=True, kw_only=True):
    """The personal details of this stream's person were removed on request."""


class PassLevelSet(Data, frozen=True, kw_only=True):
    """The site asks for this fit factor of a kind of facepiece, instead of the rule set's lower one. None: no more."""

    rule_set: RuleSetId
    kind: Kind
    level: Annotated[int, Meta(ge=1, le=1_000_000)] | None = None


def site_levels(told: Iterable[dict[str, Any]]) -> dict[str, dict[str, int]]:
    """The levels in force, rule set -> kind -> level, from the data of all `pass-level-set` in recorded order."""
    found: dict[str, dict[str, int]] = {}
    for data in told:
        levels = found.setdefault(data["rule_set"], {})
        levels.pop(data["kind"], None)
        if data.get("level") is not None:
            levels[data["kind"]] = data["level"]
    return {rule_set: levels for rule_set, levels in found.items() if levels}


KINDS: dict[str, type[Data]] = {
    "wearer-joined": WearerJoined,
    "language-chosen": LanguageChosen,
    "facepiece-stocked": FacepieceStocked,
    "lot-received": LotReceived,
    "tester-registered": TesterRegistered,
    "person-erased": PersonErased,
    "pass-level-set": PassLevelSet,
}
