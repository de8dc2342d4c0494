"""A year of tests at the invented yard: who was tested when, with what, and how it went. Same seed, same year."""

from __future__ import annotations

import hashlib
import random
from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any

from sealwright.demo.fitting import NUMBER_STORIES, bends, how
from sealwright.demo.player import play
from sealwright.demo.playing import Draft
from sealwright.demo.yard import (
    DAY,
    HISTORY_DAYS,
    HOUR,
    MINUTE,
    NEVER_TESTED,
    FitTester,
    Stocked,
    Wearer,
    Yard,
    signature,
    yard,
)
from sealwright.protocols import get

TEST_DAYS = 27
FIRST_START, LAST_START = 8 * HOUR + 10 * MINUTE, 15 * HOUR
SECOND_FACEPIECES = 16
TESTER_TURNS = (0, 0, 1, 0, 2, 0, 1)
FAIL_SHARE = (0.17, 0.25, 0.30)
"""Chance of a taste in the run at the first, second and later try: the yard's own luck, no claim about the trade."""
FULL_MASKS_AT, SHORT_AT, SHORT_TESTS = "Paint hall", "Slipway", 6
FULL_PROTOCOLS = ("uk-counting", "us-pressure", "uk-counting")
STORIES = ("unsuited", "unsuited", "unwell", "touched", "silent-seal-break", "full-mask")
KINDS_AT = {"Slipway": ("half", "filtering"), "Paint hall": ("half",), "Bell shop": ("filtering", "half"),
            "Stone loft": ("filtering", "half"), "Ferry stage": ("filtering",)}
OLD_LOT_DAY = TEST_DAYS - 2
"""On this test day the first test is begun with the lot that is out of date; it is found and the test repeated."""
EQUIPMENT = ((), ("spectacles",), ("ear-defenders",), ("helmet", "ear-defenders"), ("goggles",))


@dataclass(frozen=True)
class Wanted:
    """A test to be held. `story`: how it will go: "" as luck has it, one of STORIES or NUMBER_STORIES, or "old-lot".

    `spent`: facepieces this wearer tried in vain.
    """

    wearer: Wearer
    facepiece: Stocked
    protocol: str = "uk-bitter"
    story: str = ""
    try_no: int = 1
    previous: str | None = None
    tasted_at: int | None = None
    spent: tuple[str, ...] = ()


@dataclass(frozen=True)
class Held:
    """A test that was held: its events, and its signatures as (mark, person, role, path).

    `failed`: the facepiece did not fit.
    """

    test: str
    events: Draft
    failed: bool
    marks: tuple[tuple[str, str, str, str], ...]


def held_tests(today: int, seed: int) -> Iterator[Held]:
    """All tests of the year before `today` (ms, start of a day in UTC), in order of time."""
    it, luck = yard(), random.Random(f"yard:{seed}")
    queue, count, days, old_lot = deque(_wanted(it, luck)), 0, _days(today), False
    for n, day in enumerate(days):
        clock, quota = day + FIRST_START, -(-len(queue) // (len(days) - n))
        tester = it.testers[TESTER_TURNS[n % len(TESTER_TURNS)]]
        while queue and quota > 0 and clock < day + LAST_START:
            wanted, count = queue.popleft(), count + 1
            if n == OLD_LOT_DAY and not old_lot and not wanted.story and "bitter" in wanted.protocol:
                old_lot = True
                wanted = replace(wanted, story="old-lot")
            held = _hold(it, wanted, f"gr-{count:03d}", clock, today, tester, luck)
            again = _again(it, wanted, held, luck)
            if again:
                queue.appendleft(again)
            quota -= again is None
            pause = luck.randint(10, 24) if again and again.tasted_at else luck.randint(6, 14)
            clock = held.events[-1]["at"] + pause * MINUTE
            yield held


def _days(today: int) -> list[int]:
    """The starts of the yard's test days: working days spread over the year, the last one just before today."""
    step, found = (HISTORY_DAYS - 8) // (TEST_DAYS - 1), []
    for back in range(TEST_DAYS - 1, -1, -1):
        day = today - DAY - back * step * DAY
        while (day // DAY + 3) % 7 > 4:
            day -= DAY
        found.append(day)
    return found


def _wanted(it: Yard, luck: random.Random) -> list[Wanted]:
    """First tries in the order they are held: one for most wearers, later a second facepiece for some."""
    tested = [w for n, w in enumerate(it.wearers) if n not in NEVER_TESTED]
    luck.shuffle(tested)
    wanted = [Wanted(w, _pick(it, luck, KINDS_AT[w.site][0])) for w in tested]
    seconds = luck.sample([w for w in tested[:40] if len(KINDS_AT[w.site]) > 1], SECOND_FACEPIECES)
    wanted += [Wanted(w, _pick(it, luck, KINDS_AT[w.site][1])) for w in seconds]
    for place, story in zip(luck.sample(range(4, len(wanted)), len(STORIES)), STORIES, strict=True):
        full = _pick(it, luck, "full") if story == "full-mask" else wanted[place].facepiece
        wanted[place] = replace(wanted[place], story=story, facepiece=full)
    return _woven(wanted, _by_number(it, luck, tested))


def _by_number(it: Yard, luck: random.Random, tested: list[Wearer]) -> list[Wanted]:
    """Full face masks, and a few half masks in the short way."""
    full = [w for w in tested if w.site == FULL_MASKS_AT]
    wanted = [Wanted(w, _pick(it, luck, "full"), FULL_PROTOCOLS[n % len(FULL_PROTOCOLS)]) for n, w in enumerate(full)]
    wanted += [Wanted(w, _pick(it, luck, "half"), "us-counting-short")
               for w in [w for w in tested if w.site == SHORT_AT][:SHORT_TESTS]]
    for story, method in NUMBER_STORIES.items():
        places = [n for n, w in enumerate(wanted) if method in w.protocol and not w.story]
        n = luck.choice(places)
        wanted[n] = replace(wanted[n], story=story)
    return wanted


def _woven(first: list[Wanted], second: list[Wanted]) -> list[Wanted]:
    """The second list spread evenly into the first."""
    pairs = [((n + 0.5) / len(wanted), wanted[n]) for wanted in (first, second) for n in range(len(wanted))]
    return [w for _, w in sorted(pairs, key=lambda p: p[0])]


def _pick(it: Yard, luck: random.Random, kind: str) -> Stocked:
    return luck.choice([f for f in it.facepieces if f.kind == kind])


def _hold(it: Yard, wanted: Wanted, test: str, start: int, today: int, tester: FitTester, luck: random.Random) -> Held:
    piece, fails = wanted.facepiece, not wanted.story and luck.random() < FAIL_SHARE[min(wanted.try_no, 3) - 1]
    dressed, protocol = _Dressed(it, wanted, test, tester, today, luck.randrange(2**31)), get(wanted.protocol)
    events = play(
        protocol, test_id=test, wearer=wanted.wearer.id, start_at=start, seed=dressed.seed,
        facepiece={k: getattr(piece, k) for k in ("id", "make", "model", "material", "size", "kind")}
        | {"own": piece.kind != "filtering"},
        tester={"id": tester.id, "competent_until_at": tester.competent_until_at(today)},
        tweaks=(*bends(protocol, wanted.story, fails, luck), dressed),
        room=f"room-{wanted.wearer.site.split()[0].lower()}", try_no=wanted.try_no, previous=wanted.previous,
        previous_tasted_at=wanted.tasted_at, rule_set=None if protocol.rule_set == "uk" else "uk",
        **how(protocol, piece.kind, wanted.story, fails, _threshold(wanted.wearer), luck))
    return Held(test, events, fails, dressed.marks)


def _threshold(wearer: Wearer) -> int:
    """The squeeze at which this wearer tastes the weak solution: most early, some late."""
    own = random.Random(f"taste:{wearer.id}")
    low, high = own.choices(((2, 10), (11, 20), (21, 29)), (14, 4, 2))[0]
    return own.randint(low, high)


class _Dressed:
    """Puts the yard's own lots, equipment and signatures in the place of the player's."""

    def __init__(self, it: Yard, wanted: Wanted, test: str, tester: FitTester, today: int, seed: int) -> None:
        self.it, self.wanted, self.test, self.today, self.seed = it, wanted, test, today, seed
        people = {"tester": tester.id, "wearer": wanted.wearer.id}
        self.marks = tuple((f"{test}-{role}", person, role, signature(person, test))
                           for role, person in people.items())

    def __call__(self, draft: Draft) -> Draft:
        return [e | {"data": self._dress(e["kind"], e["at"], e["data"])} for e in draft]

    def _dress(self, kind: str, at: int, data: dict[str, Any]) -> dict[str, Any]:
        if kind == "nebuliser-loaded":
            old = self.wanted.story == "old-lot"
            agent, day = self.wanted.protocol.partition("-")[2], (at - self.today) // DAY
            lot = self.it.lot(agent, data["which"], -HISTORY_DAYS if old else day)
            return data | {"lot": lot.lot, "expires_at": lot.expires_at(self.today)}
        if kind == "instrument-named":
            instrument = self.it.instrument(get(self.wanted.protocol).method)
            return instrument.named((at - self.today) // DAY, self.today, self.wanted.story == "lapsed")
        if kind == "questions-answered":
            worn = random.Random(f"worn:{self.wanted.wearer.id}").choice(EQUIPMENT)
            return data | {"equipment_used": list(worn), "equipment_worn": list(worn)}
        if kind == "signed":
            mark, _, _, path = next(m for m in self.marks if m[2] == data["role"])
            return data | {"mark": mark, "sha256": hashlib.sha256(path.encode()).hexdigest()}
        return data


def _again(it: Yard, wanted: Wanted, held: Held, luck: random.Random) -> Wanted | None:
    """The try that follows one that was no pass: other facepiece after a fail, other agent where unsuited."""
    onward = replace(wanted, story="", try_no=wanted.try_no + 1, previous=held.test, tasted_at=None)
    if wanted.story == "unsuited":
        return replace(onward, protocol="uk-sweet")
    if wanted.story in ("touched", "shifted", "breath", "silent-seal-break", "old-lot"):
        return onward
    spent = (*wanted.spent, wanted.facepiece.id)
    left = [f for f in it.facepieces if f.kind == wanted.facepiece.kind and f.id not in spent]
    if not held.failed or wanted.try_no == 3 or not left:
        return None
    tasted = [e["at"] for e in held.events if e["kind"] == "tasted"]
    return replace(onward, facepiece=luck.choice(left), spent=spent, tasted_at=tasted[-1] if tasted else None)
