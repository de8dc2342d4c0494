"""What can happen in a test: the kinds of event, their fields, and the test record they make up.

Instants are whole milliseconds since 1970 UTC and their names end in `_at` (or are `at` itself), so that shifting a
record in time is shifting exactly these. No field is a float. Health stays out: "cleared: yes/no", never a condition.
"""

from __future__ import annotations

from typing import Annotated, Any, Literal, TypeAlias

import msgspec
from msgspec import Meta

Id = Annotated[str, Meta(min_length=1, max_length=64, pattern=r"^[A-Za-z0-9_.:-]+$(?!\n)")]
Name = Annotated[str, Meta(min_length=1, max_length=120)]
Instant = Annotated[int, Meta(ge=0, le=32_503_680_000_000, description="milliseconds since 1970-01-01 UTC")]
Squeezes = Annotated[int, Meta(ge=0, le=200)]
Checks = Annotated[dict[Id, bool], Meta(max_length=40)]
Kind = Literal["filtering", "half", "full"]


class Data(msgspec.Struct, frozen=True, forbid_unknown_fields=True, kw_only=True, omit_defaults=True, gc=False):
    """The particulars of an event."""


class Facepiece(Data, frozen=True, kw_only=True):
    """The exact facepiece under test. A model made in one size has the size "one size"."""

    id: Id
    make: Name
    model: Name
    material: Name
    size: Name
    kind: Kind
    own: bool
    lot: str = ""


class Tester(Data, frozen=True, kw_only=True):
    """Who tests, and until when their competence is in date (None: not on record)."""

    id: Id
    competent_until_at: Instant | None = None


class Opened(Data, frozen=True, kw_only=True):
    """The test begins: who, with what, by which protocol. `tasted_at` is when the try before this one was tasted."""

    protocol: Id
    protocol_version: str
    wearer: Id
    facepiece: Facepiece
    tester: Tester
    try_no: Annotated[int, Meta(ge=1, le=50)] = 1
    previous: Id | None = None
    tasted_at: Instant | None = None
    room: str = ""
    rule_set: Literal["", "us", "uk", "ca", "anz"] = ""
    """whose pass level; empty: that of the protocol"""
    pass_level: Annotated[int, Meta(ge=1, le=1_000_000)] | None = None
    """the site's own, stricter level"""


class KitChecked(Data, frozen=True, kw_only=True):
    """The kit looked at: o_ring, hood, mist_screening, mist_test, marked (the two nebulisers told apart)."""

    checks: Checks


class NebuliserLoaded(Data, frozen=True, kw_only=True):
    """One of the two nebulisers filled: lot, its expiry (end of its last day) and the time of filling."""

    which: Literal["screening", "test"]
    lot: Name
    expires_at: Instant
    loaded_at: Instant


class QuestionsAnswered(Data, frozen=True, kw_only=True):
    """Before the test. `last_taken_at`: last ate, drank (not water), smoked, chewed; None: longer ago than asked.

    `smoked_at`: last smoked, before counting particles; None: longer ago than asked.
    """

    cleared: bool
    trained: bool
    feels_well: bool
    last_taken_at: Instant | None = None
    seal_hair: Literal["none", "stubble", "hair"]
    smoked_at: Instant | None = None
    equipment_used: tuple[Name, ...] = ()
    equipment_worn: tuple[Name, ...] = ()


class IdentityConfirmed(Data, frozen=True, kw_only=True):
    """Make, model and size read off the facepiece in the hand, and the wearer named."""

    wearer_named: bool
    model_read: bool
    size_read: Name


class ScreeningStarted(Data, frozen=True, kw_only=True):
    """Hood on, without facepiece; squeezes of the weak solution follow."""


class Squeezed(Data, frozen=True, kw_only=True):
    """Squeezes of the screening nebuliser."""

    n: Annotated[int, Meta(ge=1, le=60)] = 1


class NotTasted(Data, frozen=True, kw_only=True):
    """Asked after a round of screening: nothing tasted."""


class Tasted(Data, frozen=True, kw_only=True):
    """The wearer reports the taste; in screening the threshold, at any later time the end of the test."""


class HoodRemoved(Data, frozen=True, kw_only=True):
    """The hood taken off, after the screening or after a taste."""


class TasteGone(Data, frozen=True, kw_only=True):
    """Asked before donning: is the taste of the screening gone?"""

    gone: bool


class Donned(Data, frozen=True, kw_only=True):
    """The facepiece put on by the wearer; checks per facepiece kind, by id."""

    checks: Checks


class SealChecked(Data, frozen=True, kw_only=True):
    """User seal check by the wearer."""

    passed: bool


class ComfortJudged(Data, frozen=True, kw_only=True):
    """After the comfort wear."""

    comfortable: bool


class SolutionMade(Data, frozen=True, kw_only=True):
    """Vapour method: when a solution was made. stock: the strong one; odour: the weak one of the screening."""

    which: Literal["stock", "odour"]
    made_at: Instant
    lot: str = ""


class AgentScreened(Data, frozen=True, kw_only=True):
    """Without facepiece, before the test: did the wearer notice the agent (name the right jar, react to the whiff)?"""

    noticed: bool


class InstrumentNamed(Data, frozen=True, kw_only=True):
    """The measuring instrument, by the site's own name for it. `due_at`: its calibration is in date until then.

    `flow_mm3_s`: air drawn through the counter, mm3 a second; `accuracy_per_mille`: the instrument's stated accuracy.
    """

    instrument: Name
    due_at: Instant | None = None
    flow_mm3_s: Annotated[int, Meta(ge=1, le=10_000_000)] | None = None
    accuracy_per_mille: Annotated[int, Meta(ge=0, le=1000)] | None = None


class ExposureBegun(Data, frozen=True, kw_only=True):
    """Vapour or smoke reaches the wearer in the facepiece: from here on noticing it is a fail."""


class Noticed(Data, frozen=True, kw_only=True):
    """The wearer smells the vapour or reacts to the smoke: the end of the test."""


Milli = Annotated[int, Meta(ge=0, le=10**15, description="thousandths")]
Whole = Annotated[int, Meta(ge=0, le=10**12)]


class SamplesTaken(Data, frozen=True, kw_only=True):
    """A stretch of samples from one air, evenly spaced: the first ends at `started_at` + `step_ms`.

    `unit`: count, particles counted in each step; milli-per-cm3, thousandths of particles per cm3.
    """

    air: Literal["mask", "ambient"]
    started_at: Instant
    step_ms: Annotated[int, Meta(ge=10, le=60_000)]
    unit: Literal["count", "milli-per-cm3"]
    values: Annotated[tuple[Whole, ...], Meta(min_length=1, max_length=2000)]
    source: str = ""


class ExerciseRead(Data, frozen=True, kw_only=True):
    """What was read for one exercise: a factor, or concentrations (thousandths per cm3), or counts over a time.

    The last one read for an exercise counts. `peak_milli`: the highest concentration in the mask.
    """

    exercise: Id
    factor_milli: Annotated[int, Meta(ge=1, le=10**15)] | None = None
    mask_milli: Milli | None = None
    ambient_milli: Milli | None = None
    mask_count: Whole | None = None
    mask_ms: Whole | None = None
    ambient_count: Whole | None = None
    ambient_ms: Whole | None = None
    peak_milli: Milli | None = None


class LeakRead(Data, frozen=True, kw_only=True):
    """Controlled negative pressure: the leak while the breath was held, in thousandths of ml/min, at `pressure`.

    `pressure`: tenths of a mm of water actually held. `steady` False: breath not held, or swallowed, or moved.
    """

    exercise: Id
    leak_ul_min: Whole
    pressure: Annotated[int, Meta(ge=0, le=10_000)] | None = None
    steady: bool = True


class Span(Data, frozen=True, kw_only=True):
    """A stretch of time whose samples belong to an exercise (mask) or to the room's air (ambient, exercise empty)."""

    air: Literal["mask", "ambient"]
    exercise: str = ""
    from_at: Instant
    until_at: Instant


class WindowsAccepted(Data, frozen=True, kw_only=True):
    """Which samples count for what, when the score does not say: proposed from the data or drawn by hand."""

    spans: Annotated[tuple[Span, ...], Meta(min_length=1, max_length=60)]
    proposed: bool = False


class ReadingsComplete(Data, frozen=True, kw_only=True):
    """All readings are in."""


class FirstDoseBegun(Data, frozen=True, kw_only=True):
    """Hood on over the facepiece, the first squeezes of test solution follow: from here on a taste is a fail."""


class Dosed(Data, frozen=True, kw_only=True):
    """A dose of the test solution. `act`: which act of the score; `given_at`: when, if entered afterwards."""

    squeezes: Squeezes
    act: Id
    given_at: Instant | None = None


class RunStarted(Data, frozen=True, kw_only=True):
    """The first exercise begins (after the first dose, in a taste test)."""

    level: Annotated[int, Meta(ge=0, le=100)] = 0
    """of the doses; 0 for a method without levels"""


class ExerciseStarted(Data, frozen=True, kw_only=True):
    """`witnessed`: False when the room was away and the start was worked out from the score afterwards."""

    exercise: Id
    witnessed: bool = True


class ExercisesEnded(Data, frozen=True, kw_only=True):
    """The last exercise is over. `witnessed`: as for an exercise's start."""

    witnessed: bool = True


class MistChecked(Data, frozen=True, kw_only=True):
    """Looked at on the way: does the test nebuliser still give mist?"""

    seen: bool


class FacepieceTouched(Data, frozen=True, kw_only=True):
    """The facepiece was adjusted or touched by the wearer after the exercises began."""


class SealBroken(Data, frozen=True, kw_only=True):
    """At the end the wearer breaks the seal (smoke: takes the facepiece off): tasted, smelled, irritated now?"""

    tasted: bool


class Stopped(Data, frozen=True, kw_only=True):
    """The test ended before its time."""

    reason: Literal["unwell", "breathless", "wearer-asked", "tester", "interrupted", "kit"]


class TakenBack(Data, frozen=True, kw_only=True):
    """A wrong tap withdrawn."""

    event: Id


class ClockChecked(Data, frozen=True, kw_only=True):
    """The room's clock against the server's (`offset_ms`, room minus server) or a step of the room's own clock."""

    offset_ms: int = 0
    stepped_ms: int = 0


class RoomReturned(Data, frozen=True, kw_only=True):
    """The room was gone (lid closed, page reloaded, power lost) since `away_at`."""

    away_at: Instant


class TakenOver(Data, frozen=True, kw_only=True):
    """Another room goes on with this test."""

    room: str


class Signed(Data, frozen=True, kw_only=True):
    """A signature. The drawing lies with the personal details under `mark`; here only its SHA-256."""

    role: Literal["tester", "wearer"]
    mark: Id
    sha256: Annotated[str, Meta(pattern=r"^[0-9a-f]{64}$(?!\n)")]


class Closed(Data, frozen=True, kw_only=True):
    """Nothing may follow."""


KINDS: dict[str, type[Data]] = {
    "opened": Opened,
    "kit-checked": KitChecked,
    "nebuliser-loaded": NebuliserLoaded,
    "questions-answered": QuestionsAnswered,
    "identity-confirmed": IdentityConfirmed,
    "screening-started": ScreeningStarted,
    "squeezed": Squeezed,
    "not-tasted": NotTasted,
    "tasted": Tasted,
    "hood-removed": HoodRemoved,
    "taste-gone": TasteGone,
    "donned": Donned,
    "seal-checked": SealChecked,
    "comfort-judged": ComfortJudged,
    "solution-made": SolutionMade,
    "agent-screened": AgentScreened,
    "instrument-named": InstrumentNamed,
    "exposure-begun": ExposureBegun,
    "noticed": Noticed,
    "samples-taken": SamplesTaken,
    "exercise-read": ExerciseRead,
    "leak-read": LeakRead,
    "windows-accepted": WindowsAccepted,
    "readings-complete": ReadingsComplete,
    "first-dose-begun": FirstDoseBegun,
    "dosed": Dosed,
    "run-started": RunStarted,
    "exercise-started": ExerciseStarted,
    "exercises-ended": ExercisesEnded,
    "mist-checked": MistChecked,
    "facepiece-touched": FacepieceTouched,
    "seal-broken": SealBroken,
    "stopped": Stopped,
    "taken-back": TakenBack,
    "clock-checked": ClockChecked,
    "room-returned": RoomReturned,
    "taken-over": TakenOver,
    "signed": Signed,
    "closed": Closed,
}


class Event(msgspec.Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """One thing that happened. Concrete classes, one a kind, are made below and differ in the type of `data`."""

    id: Id
    at: Instant
    by: Id
    data: Any


def _envelope(kind: str, data: type[Data]) -> type[Event]:
    fields: list[Any] = [("data", data)]
    name = "".join(w.title() for w in kind.split("-")) + "Event"
    made: Any = msgspec.defstruct(name, fields, bases=(Event,), frozen=True, forbid_unknown_fields=True, kw_only=True,
                                  tag_field="kind", tag=kind, module=__name__)
    return made  # type: ignore[no-any-return]


ENVELOPES: dict[str, type[Event]] = {kind: _envelope(kind, data) for kind, data in KINDS.items()}
KIND_OF: dict[type, str] = {data: kind for kind, data in KINDS.items()}
AnyEvent: TypeAlias = Any
"""The tagged union of all envelopes, told apart by `kind`."""
EVENT_UNION: Any = None
for _cls in ENVELOPES.values():
    EVENT_UNION = _cls if EVENT_UNION is None else EVENT_UNION | _cls


def event(kind: str, at: int, by: str, id: str, **data: Any) -> Event:
    """Make one event; raises msgspec.ValidationError when a field is wrong."""
    return msgspec.convert({"kind": kind, "id": id, "at": at, "by": by, "data": data}, EVENT_UNION)  # type: ignore[no-any-return]


TestRecord: type[msgspec.Struct] = msgspec.defstruct(
    "TestRecord",
    [("format", Literal["sealwright-test/1"]), ("events", Annotated[list[EVENT_UNION], Meta(max_length=5000)])],
    forbid_unknown_fields=True, kw_only=True, frozen=True, module=__name__)
TestRecord.__doc__ = "A test recorded elsewhere, as the assess command reads it; events in recorded order."
