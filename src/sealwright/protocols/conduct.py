"""The conduct of a test: the stages around a score, in order, with what each asks and which event ends it.

A player of any sort (the live room, a printed run sheet) walks the stages; it needs no rule of its own. A stage is over
when an event of kind `ends_with` (whose fields equal `where`) is on record. `waits` name the earliest sensible moment;
going on before it is possible and will be found.
"""

from __future__ import annotations

import tomllib
from functools import cache
from importlib import resources
from typing import Any, Literal, cast

import msgspec

from sealwright.protocols.types import (
    CountingProtocol,
    MeasuredProtocol,
    PressureProtocol,
    Protocol,
    SmokeProtocol,
    Sourced,
    TasteProtocol,
    VapourProtocol,
)


class Item(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """`name`: the thing in few words, where `text` is a sentence about it."""

    id: str
    text: str
    name: str = ""


class Wait(msgspec.Struct, frozen=True, kw_only=True):
    """Not before `minutes` after the event of kind `after`; `why` in words."""

    after: str
    minutes: int
    why: str
    source: str


class Redo(msgspec.Struct, frozen=True, kw_only=True):
    """The stage is to be done again after an event of this kind whose fields equal `where`."""

    kind: str
    where: dict[str, Any] = {}


class Stage(msgspec.Struct, frozen=True, kw_only=True):
    """One stage. `shape` says how it is worked: see the members."""

    id: str
    title: str
    shape: Literal["checks", "load", "questions", "identity", "screening", "press", "ask", "run", "sign", "made",
                   "instrument", "readings"]
    ends_with: str
    where: dict[str, Any] = {}
    prompt: str = ""
    press: str = ""
    items: tuple[Item, ...] = ()
    waits: tuple[Wait, ...] = ()
    redo_on: tuple[Redo, ...] = ()
    source: str = ""
    yes: str = ""
    no: str = ""


@cache
def _lists(name: str = "common") -> dict[str, Any]:
    text = resources.files("sealwright.protocols").joinpath(f"lists/{name}.toml").read_text("utf-8")
    return tomllib.loads(text)


def _items(table: dict[str, Any]) -> tuple[Item, ...]:
    return tuple(Item(**row) for row in table["items"])


def donning_checks(kind: str) -> tuple[Item, ...]:
    """The donning checklist for a kind of facepiece (filtering, half, full)."""
    return _items(_lists()["donning"][kind])


def kit(protocol: Protocol) -> tuple[Item, ...]:
    """What is looked at before use."""
    return _items(_lists(protocol.method)["kit"])


def equipment() -> tuple[Item, ...]:
    """Other protective equipment that may disturb a seal, to choose from."""
    return _items(_lists()["equipment"])


def compile_conduct(protocol: Protocol, facepiece_kind: str) -> tuple[Stage, ...]:
    """The stages of a test of one facepiece by this protocol, in order."""
    if isinstance(protocol, TasteProtocol):
        return (*_before(protocol), *_taste_gone(protocol), *_donning(protocol, facepiece_kind), *_test(protocol),
                *_after())
    if isinstance(protocol, VapourProtocol):
        stages = _vapour(protocol)
    elif isinstance(protocol, SmokeProtocol):
        stages = _smoke(protocol)
    else:
        stages = _measured(cast(MeasuredProtocol, protocol))
    before, run = stages
    return (*before, *_donning(protocol, facepiece_kind), *run, *_after())


def _checked(p: Protocol) -> Stage:
    kit = _lists(p.method)["kit"]
    return Stage(id="kit", title="Kit check", shape="checks", ends_with="kit-checked", items=_items(kit),
                 prompt="Look at each, tick each", press="Kit is good", source=kit["source"])


def _asked(p: Protocol, source: str) -> Stage:
    """The questions every wearer is asked, and what this method adds."""
    own = _lists(p.method).get("questions", {"items": []})
    return Stage(id="questions", title="Questions before the test", shape="questions", ends_with="questions-answered",
                 items=(*_items(_lists()["asked"]), *_items(own), *_items(_lists()["looked"])), source=source)


def _identity(p: Protocol) -> Stage:
    return Stage(id="identity", title="Wearer and facepiece", shape="identity", ends_with="identity-confirmed",
                 prompt="Ask the name. Read make, model and size off the facepiece in your hand",
                 source=p.rules["own-words-identity"].source)


def _vapour(p: VapourProtocol) -> tuple[list[Stage], list[Stage]]:
    before = [
        _checked(p),
        Stage(id="stock", title="Stock solution", shape="made", ends_with="solution-made", where={"which": "stock"},
              prompt="Shake the stock solution for half a minute. When was it made?", press="Shaken",
              source=p.stock_solution.source),
        Stage(id="odour", title="Odour solution", shape="made", ends_with="solution-made", where={"which": "odour"},
              prompt="The weak solution and a blank in two jars that look the same. When was it made?",
              press="Both jars ready", source=p.odour_solution.source),
        _asked(p, p.rules["clearance"].source), _identity(p),
        Stage(id="screening", title="Odour screening", shape="ask", ends_with="agent-screened", where={"noticed": True},
              prompt="In another room, no facepiece. Wearer shakes each jar, opens it, sniffs for two seconds: which "
                     "one holds the banana smell?", yes="Named the right jar", no="Cannot tell them apart",
              source=p.odour_solution.source),
    ]
    run = [
        Stage(id="enter", title="Into the chamber", shape="press", ends_with="exposure-begun",
              prompt=f"Towel wetted with {p.challenge.value / 1000:g} ml of the liquid, folded, for the wearer to hang "
                     "inside. Ask at once: any smell?", press="Inside, towel hung", source=p.challenge.source),
        Stage(id="run", title="Exercises", shape="run", ends_with="exercises-ended", press="Begin the exercises",
              prompt="Let the vapour fill the chamber, then begin", source=p.settle.source,
              waits=(Wait(after="exposure-begun", minutes=_minutes(p.settle), why="Vapour fills the chamber",
                          source=p.settle.source),)),
        Stage(id="seal-break", title="Break the seal", shape="ask", ends_with="seal-broken",
              prompt="Still inside: the wearer lifts the edge and takes a breath. Smelled now?", yes="Smelled now",
              no="Not smelled", source=p.seal_break.source),
    ]
    return before, run


def _smoke(p: SmokeProtocol) -> tuple[list[Stage], list[Stage]]:
    before = [
        _checked(p), _asked(p, p.rules["clearance"].source), _identity(p),
        Stage(id="screening", title="One light whiff", shape="ask", ends_with="agent-screened", where={"noticed": True},
              prompt="Ventilated place, eyes shut, no facepiece, no hood. One weak whiff from a distance. A reaction?",
              yes="Reacted", no="No reaction", source=p.whiff.source),
    ]
    run = [
        Stage(id="enter", title="Smoke at the seal", shape="press", ends_with="exposure-begun",
              prompt="Eyes shut. No hood. " + " ".join(c.rule for c in p.passes), press="Smoke is flowing",
              source=p.passes[0].source),
        Stage(id="run", title="Exercises", shape="run", ends_with="exercises-ended", press="No reaction: begin",
              prompt="Go on aiming the smoke along the seal through the exercises", source=p.passes[-1].source),
        Stage(id="seal-break", title="Same tube, no facepiece", shape="ask", ends_with="seal-broken",
              prompt="Facepiece off: one light whiff from the same tube. Does it irritate?", yes="Reacted now",
              no="No reaction", source=p.seal_break.source),
    ]
    return before, run


def _measured(p: MeasuredProtocol) -> tuple[list[Stage], list[Stage]]:
    before = [
        _checked(p),
        Stage(id="instrument", title="Instrument", shape="instrument", ends_with="instrument-named",
              prompt="Which instrument, and until when is its calibration in date?", press="Ready",
              source=p.rules["instrument-sound"].source),
        _asked(p, p.rules["clearance"].source), _identity(p),
    ]
    run = [
        Stage(id="run", title="Exercises and samples", shape="run", ends_with="exercises-ended",
              press="Begin the exercises", prompt=_ready(p), source=p.samples[0].source),
        Stage(id="readings", title="Readings", shape="readings", ends_with="readings-complete",
              prompt="A factor, or mask and ambient, for every exercise", press="All readings are in",
              source=p.pass_rule.source),
    ]
    return before, run


def _ready(p: MeasuredProtocol) -> str:
    """What must be so before the first exercise of a measured test."""
    if isinstance(p, PressureProtocol):
        hold = f"{p.breath_hold.value} {p.breath_hold.unit}"
        return f"Adapters tight. After each movement the breath is held for {hold}, mouth shut, quite still. Then begin"
    if isinstance(p, CountingProtocol) and p.underfoot:
        return f"Line connected. {p.underfoot.rule} Then begin"
    return "Line connected, wearer still, then begin"


def _minutes(time: Sourced) -> int:
    """Whole minutes, rounded up."""
    return -(-time.value // {"s": 60, "min": 1}[time.unit]) if time.unit in ("s", "min") else 0


def _before(p: TasteProtocol) -> list[Stage]:
    return [
        _checked(p),
        Stage(id="load-screening", title="Screening nebuliser", shape="load", ends_with="nebuliser-loaded",
              where={"which": "screening"}, prompt="About 1 ml of screening solution", press="Loaded",
              source=p.nebuliser_life.source),
        _asked(p, p.abstention.source), _identity(p),
        Stage(id="hood-on", title="Hood on, no facepiece", shape="press", ends_with="screening-started",
              prompt="Hood on. Mouth a little open, tongue out. Say so at once when you taste it",
              press="Hood is on", source=p.screening.source, waits=_before_screening(p)),
        Stage(id="screening", title="Sensitivity screening", shape="screening", ends_with="tasted",
              source=p.screening.source),
        Stage(id="hood-off", title="Hood off, water", shape="press", ends_with="hood-removed",
              prompt="Hood off. Wearer rinses the mouth, wipes the lips and waits", press="Hood is off"),
        Stage(id="load-test", title="Test nebuliser", shape="load", ends_with="nebuliser-loaded",
              where={"which": "test"}, prompt="About 1 ml of test solution in the other nebuliser", press="Loaded",
              source=p.nebuliser_life.source),
    ]


def _before_screening(p: TasteProtocol) -> tuple[Wait, ...]:
    return (Wait(after="last-taken", minutes=p.abstention.value, source=p.abstention.source,
                 why="Nothing but plain water before the test"),
            Wait(after="previous-taste", minutes=p.washout.value, source=p.washout.source,
                 why="Washout after the try before"))


def _taste_gone(p: TasteProtocol) -> list[Stage]:
    lead = p.wear.value + 3
    wash = Wait(after="tasted", minutes=max(p.washout.value - lead, 0), source=p.washout.source,
                why="Washout: the taste of the screening must go")
    return [
        Stage(id="taste-gone", title="Taste gone?", shape="ask", ends_with="taste-gone", where={"gone": True},
              prompt="Is the taste quite gone?", yes="Gone", no="Still there", waits=(wash,),
              source=p.washout.source),
    ]


def _donning(p: Protocol, kind: str) -> list[Stage]:
    return [
        Stage(id="donning", title="Donning", shape="checks", ends_with="donned", items=donning_checks(kind),
              prompt="The wearer dons it; you watch", press="Donned", source=p.rules["training"].source,
              redo_on=(Redo(kind="seal-checked", where={"passed": False}),
                       Redo(kind="comfort-judged", where={"comfortable": False}))),
        Stage(id="seal-check", title="User seal check", shape="ask", ends_with="seal-checked", where={"passed": True},
              prompt="Wearer checks the seal with both hands. Any leak felt?", yes="No leak felt", no="Leaks, re-don",
              source=p.rules["seal-check"].source,
              redo_on=(Redo(kind="comfort-judged", where={"comfortable": False}),)),
        Stage(id="comfort", title="Comfort wear", shape="ask", ends_with="comfort-judged",
              where={"comfortable": True},
              prompt="Worn for a while: comfortable on nose, cheeks and chin?", yes="Comfortable",
              no="Not comfortable", source=p.wear.source,
              waits=(Wait(after="donned", minutes=p.wear.value, source=p.wear.source, why="Comfort wear"),)),
    ]


def _test(p: TasteProtocol) -> list[Stage]:
    wash = Wait(after="tasted", minutes=p.washout.value, source=p.washout.source, why="Washout")
    return [
        Stage(id="hood-over", title="Hood on, first dose", shape="press", ends_with="first-dose-begun", waits=(wash,),
              prompt="Hood on over the facepiece. Mouth a little open, tongue out", press="Hood is on: first dose now",
              source=p.top_up_every.source),
        Stage(id="run", title="Exercises and doses", shape="run", ends_with="exercises-ended",
              prompt="Full, firm squeezes in quick order, then begin", press="First dose given, begin",
              source=p.top_up_every.source),
        Stage(id="seal-break", title="Break the seal", shape="ask", ends_with="seal-broken",
              prompt="Wearer lifts the edge with a finger under the hood. Tasted now?", yes="Tasted now",
              no="Not tasted", source=p.seal_break.source),
    ]


def _after() -> list[Stage]:
    return [
        Stage(id="sign-wearer", title="Wearer signs", shape="sign", ends_with="signed", where={"role": "wearer"}),
        Stage(id="sign-tester", title="Tester signs", shape="sign", ends_with="signed", where={"role": "tester"}),
        Stage(id="close", title="Close the record", shape="press", ends_with="closed",
              prompt="Nothing can be added afterwards", press="Close"),
    ]
