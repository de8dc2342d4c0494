"""The conduct of a test: the stages around a score, in order, with what each asks and which event ends it.

A player of any sort (the live room, a printed run sheet) walks the stages; it needs no rule of its own. A stage is over
when an event of kind `ends_with` (whose fields equal `where`) is on record. `waits` name the earliest sensible moment;
going on before it is possible and will be found.
"""

from __future__ import annotations

import tomllib
from functools import cache
from importlib import resources
from typing import Any, Literal

import msgspec

from sealwright.protocols.types import Protocol


class Item(msgspec.Struct, frozen=True, kw_only=True):
    id: str
    text: str


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
    shape: Literal["checks", "load", "questions", "identity", "screening", "press", "ask", "run", "sign"]
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
def _lists() -> dict[str, Any]:
    text = resources.files("sealwright.protocols").joinpath("lists/taste.toml").read_text("utf-8")
    return tomllib.loads(text)


def _items(table: dict[str, Any]) -> tuple[Item, ...]:
    return tuple(Item(**row) for row in table["items"])


def donning_checks(kind: str) -> tuple[Item, ...]:
    """The donning checklist for a kind of facepiece (filtering, half, full)."""
    return _items(_lists()["donning"][kind])


def equipment() -> tuple[Item, ...]:
    """Other protective equipment that may disturb a seal, to choose from."""
    return _items(_lists()["equipment"])


def compile_conduct(protocol: Protocol, facepiece_kind: str) -> tuple[Stage, ...]:
    """The stages of a taste test of one facepiece, in order."""
    return (*_before(protocol), *_donning(protocol, facepiece_kind), *_test(protocol))


def _before(p: Protocol) -> list[Stage]:
    kit = _lists()["kit"]
    return [
        Stage(id="kit", title="Kit check", shape="checks", ends_with="kit-checked", items=_items(kit),
              prompt="Look at each, tick each", press="Kit is good", source=kit["source"]),
        Stage(id="load-screening", title="Screening nebuliser", shape="load", ends_with="nebuliser-loaded",
              where={"which": "screening"}, prompt="About 1 ml of screening solution", press="Loaded",
              source=p.nebuliser_life.source),
        Stage(id="questions", title="Questions before the test", shape="questions", ends_with="questions-answered",
              items=_items(_lists()["questions"]),
              source=p.abstention.source),
        Stage(id="identity", title="Wearer and facepiece", shape="identity", ends_with="identity-confirmed",
              prompt="Ask the name. Read make, model and size off the facepiece in your hand",
              source=p.rules["own-words-identity"].source),
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


def _before_screening(p: Protocol) -> tuple[Wait, ...]:
    return (Wait(after="last-taken", minutes=p.abstention.value, source=p.abstention.source,
                 why="Nothing but plain water before the test"),
            Wait(after="previous-taste", minutes=p.washout.value, source=p.washout.source,
                 why="Washout after the try before"))


def _donning(p: Protocol, kind: str) -> list[Stage]:
    lead = p.wear.value + 3
    wash = Wait(after="tasted", minutes=max(p.washout.value - lead, 0), source=p.washout.source,
                why="Washout: the taste of the screening must go")
    return [
        Stage(id="taste-gone", title="Taste gone?", shape="ask", ends_with="taste-gone", where={"gone": True},
              prompt="Is the taste quite gone?", yes="Gone", no="Still there", waits=(wash,),
              source=p.washout.source),
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


def _test(p: Protocol) -> list[Stage]:
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
        Stage(id="sign-wearer", title="Wearer signs", shape="sign", ends_with="signed", where={"role": "wearer"}),
        Stage(id="sign-tester", title="Tester signs", shape="sign", ends_with="signed", where={"role": "tester"}),
        Stage(id="close", title="Close the record", shape="press", ends_with="closed",
              prompt="Nothing can be added afterwards", press="Close"),
    ]
