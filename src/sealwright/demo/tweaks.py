"""Bends for a played test, one departure each: `play(..., tweaks=[late("dose-180", 9), stubble()])`.

Each function makes a tweak: a function from events in recorded order to events in recorded order.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from sealwright.demo.playing import DAY, MINUTE, SECOND, Draft, Tweak

Event = dict[str, Any]
Pick = Callable[[Event], bool]


def _kind(kind: str, **data: Any) -> Pick:
    return lambda e: e["kind"] == kind and all(e["data"].get(k) == v for k, v in data.items())


def _origin(events: Draft) -> int:
    """The instant of second 0: the first exercise, else the last event."""
    return next((int(e["at"]) for e in events if e["kind"] == "exercise-started"), int(events[-1]["at"]))


def _in_order(events: Draft) -> Draft:
    return sorted(events, key=lambda e: e["at"])


def _new(events: Draft, kind: str, at: int, **data: Any) -> Event:
    return {**events[0], "id": f"new-{len(events)}-{kind}", "kind": kind, "at": at, "data": data}


def without(kind: str, **data: Any) -> Tweak:
    """Leave out the events of a kind (whose data have these values)."""
    return lambda events: [e for e in events if not _kind(kind, **data)(e)]


def change(kind: str, where: dict[str, Any] | None = None, **data: Any) -> Tweak:
    """Set fields of the events of a kind; a dict is merged into a dict. None takes the field away."""
    def bend(events: Draft) -> Draft:
        for e in filter(_kind(kind, **(where or {})), events):
            for name, value in data.items():
                old = e["data"].get(name)
                e["data"][name] = {**old, **value} if isinstance(old, dict) and isinstance(value, dict) else value
            e["data"] = {k: v for k, v in e["data"].items() if v is not None}
        return events
    return bend


def shift(kind: str, seconds: float, **data: Any) -> Tweak:
    """Move events of a kind in time, and so perhaps in order."""
    def bend(events: Draft) -> Draft:
        for e in filter(_kind(kind, **data), events):
            e["at"] += round(seconds * SECOND)
        return _in_order(events)
    return bend


def shift_from(kind: str, seconds: float, **data: Any) -> Tweak:
    """Move the first event of a kind and everything after it in time."""
    def bend(events: Draft) -> Draft:
        first = next(i for i, e in enumerate(events) if _kind(kind, **data)(e))
        for e in events[first:]:
            e["at"] += round(seconds * SECOND)
        return events
    return bend


def insert(kind: str, second: float, **data: Any) -> Tweak:
    """One more event, `second` seconds from the first exercise."""
    def bend(events: Draft) -> Draft:
        return _in_order([*events, _new(events, kind, _origin(events) + round(second * SECOND), **data)])
    return bend


def append(kind: str, **data: Any) -> Tweak:
    """One more event at the very end."""
    return lambda events: [*events, _new(events, kind, events[-1]["at"] + SECOND, **data)]


def late(act: str, seconds: float) -> Tweak:
    """A dose tapped later than it was, by so many seconds; earlier when negative."""
    return shift("dosed", seconds, act=act)


def missed(act: str) -> Tweak:
    return without("dosed", act=act)


def dosed_with(act: str, squeezes: int) -> Tweak:
    return change("dosed", {"act": act}, squeezes=squeezes)


def entered_later(act: str, seconds: float) -> Tweak:
    """A dose entered so many seconds after it was given."""
    def bend(events: Draft) -> Draft:
        for e in filter(_kind("dosed", act=act), events):
            e["data"]["given_at"] = e["at"]
            e["at"] += round(seconds * SECOND)
        return _in_order(events)
    return bend


def short(exercise: str, seconds: float) -> Tweak:
    """An exercise cut short: what follows it begins earlier by so many seconds."""
    def bend(events: Draft) -> Draft:
        starts = [e for e in events if e["kind"] in ("exercise-started", "exercises-ended")]
        at = next(i for i, e in enumerate(starts) if e["data"].get("exercise") == exercise)
        starts[at + 1]["at"] -= round(seconds * SECOND)
        return _in_order(events)
    return bend


def swapped(one: str, other: str) -> Tweak:
    """Two exercises done in each other's place."""
    def bend(events: Draft) -> Draft:
        names = {one: other, other: one}
        for e in filter(_kind("exercise-started"), events):
            e["data"]["exercise"] = names.get(e["data"]["exercise"], e["data"]["exercise"])
        return events
    return bend


def taken_back(kind: str, after_s: float, nth: int = 0, **data: Any) -> Tweak:
    """The nth event of a kind (-1: the last) withdrawn so many seconds after it."""
    def bend(events: Draft) -> Draft:
        target = [e for e in events if _kind(kind, **data)(e)][nth]
        back = _new(events, "taken-back", target["at"] + round(after_s * SECOND), event=target["id"])
        return _in_order([*events, back])
    return bend


def stopped(reason: str, second: float) -> Tweak:
    """Stopped so many seconds from the first exercise; what would have followed did not happen."""
    def bend(events: Draft) -> Draft:
        at = _origin(events) + round(second * SECOND)
        kept = [e for e in events if e["at"] < at]
        stop = _new(events, "stopped", at, reason=reason)
        return [*kept, stop, _new([*kept, stop], "closed", at + 60 * SECOND)]
    return bend


def until(second: float) -> Tweak:
    """Only what was recorded up to this second from the first exercise: a test under way."""
    def bend(events: Draft) -> Draft:
        origin = _origin(events)
        return [e for e in events if e["at"] <= origin + round(second * SECOND)]
    return bend


def touched(second: float) -> Tweak:
    return insert("facepiece-touched", second)


def stubble() -> Tweak:
    return change("questions-answered", seal_hair="stubble")


def ate(minutes: float) -> Tweak:
    """Ate so many minutes before the screening."""
    def bend(events: Draft) -> Draft:
        screening = next(e for e in events if e["kind"] == "screening-started")
        return change("questions-answered", last_taken_at=screening["at"] - round(minutes * MINUTE))(events)
    return bend


def washed_out_for(minutes: float) -> Tweak:
    """From the screening's taste to the first dose it took only so long; donning keeps its distance to the dose."""
    def bend(events: Draft) -> Draft:
        tasted = next(e for e in events if e["kind"] == "tasted")
        dose = next(e for e in events if e["kind"] == "first-dose-begun")
        less = dose["at"] - tasted["at"] - round(minutes * MINUTE)
        return _in_order(shift_from("taste-gone", -less / SECOND)(events))
    return bend


def worn_for(seconds: float) -> Tweak:
    """Donned only so many seconds before the first dose."""
    def bend(events: Draft) -> Draft:
        dose = next(e for e in events if e["kind"] == "first-dose-begun")
        donned = next(e for e in events if e["kind"] == "donned")
        later = dose["at"] - donned["at"] - round(seconds * SECOND)
        for e in filter(lambda e: e["kind"] in ("taste-gone", "donned", "seal-checked"), events):
            e["at"] += later
        return _in_order(events)
    return bend


def loaded_ago(which: str, minutes: float) -> Tweak:
    """A nebuliser filled so many minutes before it was recorded as filled."""
    def bend(events: Draft) -> Draft:
        for e in filter(_kind("nebuliser-loaded", which=which), events):
            e["data"]["loaded_at"] = e["at"] - round(minutes * MINUTE)
        return events
    return bend


def expired(which: str, days: float = 1) -> Tweak:
    """A solution so many days out of date when its nebuliser was filled."""
    def bend(events: Draft) -> Draft:
        for e in filter(_kind("nebuliser-loaded", which=which), events):
            e["data"]["expires_at"] = e["at"] - round(days * DAY)
        return events
    return bend


def tester_expired(days: float = 1) -> Tweak:
    """The tester's competence ran out so many days before the opening."""
    def bend(events: Draft) -> Draft:
        return change("opened", tester={"competent_until_at": events[0]["at"] - round(days * DAY)})(events)
    return bend


def room_away(second: float, seconds: float) -> Tweak:
    """The room was gone from `second` for so many seconds; exercise starts in between were worked out afterwards."""
    def bend(events: Draft) -> Draft:
        away = _origin(events) + round(second * SECOND)
        back = away + round(seconds * SECOND)
        for e in filter(lambda e: e["kind"] == "exercise-started" and away < e["at"] < back, events):
            e["data"]["witnessed"] = False
        return _in_order([*events, _new(events, "room-returned", back, away_at=away)])
    return bend


def clock_backwards(seconds: float, kind: str = "exercise-started", **data: Any) -> Tweak:
    """From the first event of a kind on, the room's clock runs behind by so many seconds: recorded order stays."""
    return shift_from(kind, -seconds, **data)


def made_ago(which: str, days: float) -> Tweak:
    """A solution of the vapour method made so many days before it was recorded."""
    def bend(events: Draft) -> Draft:
        for e in filter(_kind("solution-made", which=which), events):
            e["data"]["made_at"] = e["at"] - round(days * DAY)
        return events
    return bend


def noticed_before(minutes: float) -> Tweak:
    """The odour of the try before was noticed so many minutes before this screening."""
    def bend(events: Draft) -> Draft:
        screened = next(e for e in events if e["kind"] == "agent-screened")
        return change("opened", tasted_at=screened["at"] - round(minutes * MINUTE))(events)
    return bend


def smoked(minutes: float) -> Tweak:
    """Smoked so many minutes before the first exercise."""
    return lambda events: change("questions-answered", smoked_at=_origin(events) - round(minutes * MINUTE))(events)


def calibrated_until(days: float) -> Tweak:
    """The instrument's calibration in date so many days after the first exercise; before it when negative."""
    return lambda events: change("instrument-named", due_at=_origin(events) + round(days * DAY))(events)


def unread(exercise: str) -> Tweak:
    """An exercise without its reading or its samples."""
    def bend(events: Draft) -> Draft:
        return [e for e in events if e["data"].get("exercise") != exercise or e["kind"] == "exercise-started"]
    return bend


def sampled(change: Callable[[list[int]], list[int]], air: str, nth: int = 0) -> Tweak:
    """The values of the nth stretch of an air changed; nth -1: of all its stretches."""
    def bend(events: Draft) -> Draft:
        stretches = [e for e in events if _kind("samples-taken", air=air)(e)]
        for e in stretches if nth < 0 else stretches[nth:nth + 1]:
            e["data"]["values"] = change(e["data"]["values"])
        return events
    return bend


def accepted(spans: list[tuple[str, str, float, float]], *, proposed: bool) -> Tweak:
    """Windows accepted after the exercises: (air, exercise, from, until), seconds from the first exercise."""
    def bend(events: Draft) -> Draft:
        origin = _origin(events)
        told = [{"air": air, "exercise": exercise, "from_at": origin + round(a * SECOND),
                 "until_at": origin + round(b * SECOND)} for air, exercise, a, b in spans]
        at = next(i for i, e in enumerate(events) if e["kind"] == "readings-complete")
        new = _new(events, "windows-accepted", events[at]["at"] - 1, spans=told, proposed=proposed)
        return [*events[:at], new, *events[at:]]
    return bend


def donned_once() -> Tweak:
    """The facepiece not donned anew between the measurements."""
    def bend(events: Draft) -> Draft:
        first = next(e for e in events if e["kind"] == "donned")
        return [e for e in events if e["kind"] != "donned" or e is first]
    return bend
