"""What can happen to the things a programme keeps: wearers, facepieces, lots of solution, testers.

Streams are named `wearer:<id>`, `facepiece:<id>`, `lot:<id>`, `account:<id>` and `test:<id>`. Names, staff numbers and
contacts are personal details: they never stand in an event.
"""

from __future__ import annotations

from typing import Literal

from sealwright.assess.events import Data, Instant, Kind, Name


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


KINDS: dict[str, type[Data]] = {
    "wearer-joined": WearerJoined,
    "language-chosen": LanguageChosen,
    "facepiece-stocked": FacepieceStocked,
    "lot-received": LotReceived,
    "tester-registered": TesterRegistered,
    "person-erased": PersonErased,
}
