"""Which stretches of a trace are which exercise and which air: from marks, or proposed from the data.

Change points are searched in the logarithm of the values (ruptures, least squares with a linear penalty). One channel:
room air and mask air are told apart by level, and exercises laid over the stretches of mask air by their durations.
Two channels: exercises are laid along the test by their durations, each boundary drawn to a change where one is seen.
All thresholds here are ours.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Protocol

import msgspec
import numpy as np
from numpy.typing import NDArray

from sealwright.assess.counting.segments import Bins, changes_in, coarse, fine, grid, median, one_particle, placed
from sealwright.assess.counting.shapes import Floats, Trace, Window
from sealwright.errors import BadInput

Exercise = tuple[str, str, float, bool]
"""id, title, seconds, counts"""
LEAST_STEP = 0.25
"""Decades between room air and mask air, below which they cannot be told apart (a fit factor of about 2)."""
SHORTEST_S = 4.0
"""A shorter stretch at the other level is a spike or a drop-out."""
LONGEST_ROOM_S = 60.0
"""Of a longer stretch of room air the part next to the test is used."""
MOST_WINDOWS = 500
"""Of one test's marks, and far more than a test has."""
_ROOM_WORDS = ("ambient", "room", "room air", "outside")


class Marked(Protocol):
    """A stretch with a word: from the sample at `start_s` to that at `end_s`."""

    @property
    def start_s(self) -> float: ...
    @property
    def end_s(self) -> float: ...
    @property
    def text(self) -> str: ...


class Proposal(msgspec.Struct, frozen=True, kw_only=True):
    """Windows rising in time, for a person to look at. changes: s, every change seen. sure: 0 to 1, no probability.

    text: what was found and what was only reckoned, in plain sentences.
    """

    windows: tuple[Window, ...]
    changes: tuple[float, ...]
    sure: float
    text: str


def propose(trace: Trace, *, exercises: Sequence[Exercise], two_channels: bool,
            air: NDArray[np.int8] | None = None) -> Proposal:
    """Windows for the exercises of a protocol, in order. `air`: for each sample 1 mask, 0 ambient, -1 neither.

    Nothing that fits: no windows, sure 0, and a text that says why.
    """
    if len(trace.mask.t) < 20 or not exercises:
        return Proposal(windows=(), changes=(), sure=0.0, text="Too few samples, or no exercises, to find windows in.")
    return _both(trace, exercises) if two_channels else _alternating(trace, exercises, air)


# One channel

@dataclass(frozen=True)
class _Stretch:
    """Bins, or seconds, of one air."""

    room: bool
    start: float
    end: float

    @property
    def long(self) -> float:
        return self.end - self.start


def _alternating(trace: Trace, exercises: Sequence[Exercise], air: NDArray[np.int8] | None) -> Proposal:
    bins = coarse(trace.mask, trace.step_s)
    if air is not None:
        stretches, apart, changes = _by_air(trace, air), 1.0, list[float]()
    else:
        stretches, apart = _by_level(bins)
        changes = [s.start for s in stretches[1:]]
    if not any(s.room for s in stretches) or all(s.room for s in stretches):
        return Proposal(windows=(), changes=tuple(changes), sure=0.0, text="Room air and mask air cannot be told apart "
                        "by level: name a column that says which is sampled, or give the windows.")
    masks = [s for s in stretches if not s.room]
    groups, cost = _laid(masks, stretches, exercises)
    windows, guessed = list[Window](), list[str]()
    for stretch, names in groups:
        made, unseen = _within(trace, stretch, names, stretches)
        windows += made
        guessed += unseen
    windows += _rooms(stretches, windows)
    sure = _certainty(len({w.exercise for w in windows if w.air == "mask"}), len(exercises), apart, cost, len(guessed))
    windows.sort(key=lambda w: (w.start_s, w.air))
    return Proposal(windows=tuple(windows), changes=tuple(changes), sure=sure,
                    text=_told(windows, exercises, guessed, len(masks) - len(groups)))


def _by_air(trace: Trace, air: NDArray[np.int8]) -> list[_Stretch]:
    """As the file says: runs of one air; what is neither parts them."""
    edges = np.flatnonzero(np.diff(air, prepend=-9))
    ends = [*edges[1:].tolist(), len(air)]
    t = trace.mask.t
    runs = [_Stretch(bool(air[i] == 0), float(t[i]) - trace.step_s, float(t[j - 1]))
            for i, j in zip(edges.tolist(), ends, strict=True) if air[i] >= 0]
    joined = list[_Stretch]()
    for r in runs:
        if joined and joined[-1].room == r.room:
            r = _Stretch(r.room, joined.pop().start, r.end)
        joined.append(r)
    return joined


def _by_level(bins: Bins) -> tuple[list[_Stretch], float]:
    """Stretches of either air, in s, and how far apart they are, in decades."""
    y = bins.y
    shortest = max(2, round(SHORTEST_S / bins.step))
    cuts = [0, *changes_in(y, 0.3 / bins.step, shortest), len(y)]
    level = np.array([float(np.median(y[a:b])) for a, b in pairwise(cuts)])
    long = np.diff(cuts).astype(float)
    split, apart = _split(level, long * bins.step)
    if apart < LEAST_STEP:
        return [_Stretch(False, bins.at(0), bins.at(len(y)))], apart
    runs = _runs(level >= split, cuts)
    runs = _without_short(runs, shortest)
    edges = [0, *(_onset(y, runs, k, bins.step) for k in range(1, len(runs))), len(y)]
    return [_Stretch(r[0], bins.at(a), bins.at(b))
            for r, a, b in zip(runs, edges, edges[1:], strict=False) if b > a], apart


def _split(level: Floats, long_s: Floats) -> tuple[float, float]:
    """The level between room air (above) and mask air, and the width of the gap there.

    Room air is the highest level that lasts; its own drift leaves no gap as wide as that to the mask air. Short
    segments do not count: levels on the way between the two would fill the gap.
    """
    if (long_s >= 8).sum() > 1:
        level, long_s = level[long_s >= 8], long_s[long_s >= 8]
    order = np.argsort(-level)
    above = np.cumsum(long_s[order])
    gaps = level[order][:-1] - level[order][1:]
    enough = above[:-1] >= max(8.0, 0.04 * above[-1])
    wide = np.flatnonzero(enough & (gaps >= 2 * LEAST_STEP))
    if not len(wide):
        wide = np.flatnonzero(enough & (gaps >= LEAST_STEP))
    if not len(wide):
        return 0.0, 0.0
    i = int(wide[0])
    return float(level[order][i] - min(gaps[i] / 2, 0.3)), float(gaps[i])


def _runs(room: NDArray[np.bool_], cuts: list[int]) -> list[tuple[bool, int, int]]:
    """Neighbouring segments of the same air as one: (room, first bin, bin after the last)."""
    runs = list[tuple[bool, int, int]]()
    for is_room, a, b in zip(room.tolist(), cuts, cuts[1:], strict=False):
        if runs and runs[-1][0] == is_room:
            a = runs.pop()[1]
        runs.append((is_room, a, b))
    return runs


def _without_short(runs: list[tuple[bool, int, int]], shortest: int) -> list[tuple[bool, int, int]]:
    """Short runs between two of the other air go up in them."""
    while True:
        short = [k for k in range(1, len(runs) - 1) if runs[k][2] - runs[k][1] < shortest]
        if not short:
            return runs
        k = min(short, key=lambda k: runs[k][2] - runs[k][1])
        runs = [*runs[:k - 1], (runs[k - 1][0], runs[k - 1][1], runs[k + 1][2]), *runs[k + 2:]]


def _onset(y: Floats, runs: list[tuple[bool, int, int]], k: int, step: float) -> int:
    """Where the change into run k begins: the air is switched there, and the line washes out only then."""
    at, back = runs[k][1], max(1, round(12 / step))
    near = max(2, round(10 / step))
    before = float(np.median(y[max(runs[k - 1][1], at - near - 2):max(at - 2, runs[k - 1][1] + 1)]))
    after = float(np.median(y[at:min(runs[k][2], at + near)][-near // 2:]))
    near_before = np.abs(y[max(0, at - back):at + 3] - before) <= 0.25 * abs(after - before)
    steady = np.flatnonzero(near_before)
    return int(max(0, at - back) + steady[-1] + 1) if len(steady) else at


def _laid(masks: list[_Stretch], stretches: list[_Stretch],
          exercises: Sequence[Exercise]) -> tuple[list[tuple[_Stretch, list[Exercise]]], float]:
    """Which exercises lie in which stretch of mask air, in order; and the mean misfit, 0 none.

    Exercises may share a stretch; stretches may hold none (before the test began). Room air may be sampled within the
    seconds of an exercise, at its end, or at both ends of a stretch, or between exercises: whichever fits best.
    """
    best = min((_lay(masks, [_expected(way, m, stretches) for m in masks], exercises)
                for way in ("within", "between", "ends")), key=lambda found: found[0])
    groups = [(masks[j], list(exercises[a:b])) for j, a, b in best[1]]
    return groups, best[0] / max(1, len(exercises))


def _expected(way: str, mask: _Stretch, stretches: list[_Stretch]) -> float:
    """Seconds of room air that belong to the exercises in this stretch."""
    i = stretches.index(mask)
    rooms = [s.long for s in stretches[1:-1] if s.room] or [s.long for s in stretches if s.room]
    usual = min(float(np.median(rooms)), 30.0)
    before, after = (min(stretches[k].long, 30.0) if 0 <= k < len(stretches) else usual for k in (i - 1, i + 1))
    if way == "within":
        return min(after, usual)
    return 0.0 if way == "between" else before + after


def _lay(masks: list[_Stretch], room_s: list[float],
         exercises: Sequence[Exercise]) -> tuple[float, list[tuple[int, int, int]]]:
    """Least cost over all ways to lay exercises in order: (cost, [(stretch, first exercise, after the last)])."""
    k, n = len(exercises), len(masks)
    seconds = np.concatenate([[0.0], np.cumsum([e[2] for e in exercises])])
    cost = np.full((n + 1, k + 1), np.inf)
    cost[0] = [3.0 * i for i in range(k + 1)]  # exercises that are nowhere
    came: dict[tuple[int, int], tuple[int, bool]] = {}
    for j, mask in enumerate(masks):
        spare = 0.5 + min(mask.long, 120.0) / 30
        for b in range(k + 1):
            choices = [(cost[j, b] + spare, b, False)]
            choices += [(cost[j, a] + abs(seconds[b] - seconds[a] - room_s[j] - mask.long) / 12 + 0.05 * (b - a - 1),
                         a, True) for a in range(b)]
            if b:
                choices.append((cost[j + 1, b - 1] + 3.0, -1, False))
            cost[j + 1, b], a, used = min(choices)
            came[j + 1, b] = (a, used)
    found, j, b = list[tuple[int, int, int]](), n, k
    while j:
        a, used = came[j, b]
        if a < 0:
            b -= 1
            continue
        if used:
            found.append((j - 1, a, b))
        j, b = j - 1, a
    return float(cost[n, k]), found[::-1]


def _within(trace: Trace, stretch: _Stretch, exercises: list[Exercise],
            stretches: list[_Stretch]) -> tuple[list[Window], list[str]]:
    """Windows of the exercises in one stretch of mask air, and the titles of those begun only by reckoning."""
    cuts, unseen = [stretch.start, stretch.end], list[str]()
    if len(exercises) > 1:
        wanted, loose = _lengths(stretch, [e[2] for e in exercises], stretches)
        start, step, values = grid(trace.mask, trace.step_s)
        bins = Bins(start, step, values)
        a, b = bins.index(stretch.start), bins.index(stretch.end)
        purged = max(a, min(a + round(6 / step), b - 4))  # the line still holds room air
        y, chance = (np.concatenate([np.full(purged - a, v[0]), v])
                     for v in fine(values[purged:b], step, one_particle(trace, step)))
        inner, seen = placed(y, chance, [w / step for w in wanted], free_ends=False,
                              loose=loose / step)
        cuts = [stretch.start, *(bins.at(a + i) for i in inner[1:-1]), stretch.end]
        unseen = [e[1] for e, s in zip(exercises[1:], seen[1:-1], strict=True) if not s]
    return [Window(exercise=e[0], air="mask", start_s=a, end_s=b, counts=e[3], title=e[1])
            for e, a, b in zip(exercises, cuts, cuts[1:], strict=False)], unseen


def _lengths(stretch: _Stretch, seconds: list[float], stretches: list[_Stretch]) -> tuple[list[float], float]:
    """How long each exercise's mask air is, and how unsure that is of the first and the last, s.

    Room air sampled within the first exercise and the last is taken off them."""
    spare = sum(seconds) - stretch.long
    if spare <= 0:
        return [s * stretch.long / sum(seconds) for s in seconds], 0.0
    i = stretches.index(stretch)
    lead = stretches[i - 1].long if i else 0.0
    trail = stretches[i + 1].long if i + 1 < len(stretches) else 0.0
    sure = abs(lead + trail - spare) < 6 or trail <= spare or lead <= spare
    if abs(lead + trail - spare) < 6 or not trail or trail > spare >= lead:
        first = min(lead, spare)
    else:
        first = spare - trail if trail <= spare else spare / 2
    first, last = min(first, seconds[0] - 5), min(spare - first, seconds[-1] - 5)
    got = [seconds[0] - max(first, 0.0), *seconds[1:-1], seconds[-1] - max(last, 0.0)]
    return [g * stretch.long / sum(got) for g in got], 0.0 if sure else spare / 2


def _rooms(stretches: list[_Stretch], windows: list[Window]) -> list[Window]:
    """Room air beside the mask air that counts; of a long stretch the part next to it."""
    if not windows:
        return []
    first, last = min(w.start_s for w in windows), max(w.end_s for w in windows)
    found = []
    for k, s in enumerate(stretches):
        touches = any(abs(e - x) < 1e-6 for n in (k - 1, k + 1) if 0 <= n < len(stretches)
                      for e in (stretches[n].start, stretches[n].end) for w in windows for x in (w.start_s, w.end_s))
        if s.room and touches:
            start = max(s.start, s.end - LONGEST_ROOM_S) if s.end <= first else s.start
            end = min(s.end, s.start + LONGEST_ROOM_S) if s.start >= last else s.end
            found.append(Window(exercise="", air="ambient", start_s=start, end_s=end, counts=True, title="Room air"))
    return found


def _certainty(found: int, wanted: int, apart: float, cost: float, guessed: int) -> float:
    """Ours: all exercises found, airs far apart, durations as expected, boundaries seen."""
    share = found / wanted
    return round(float(share**2 * min(1.0, apart / 0.8) * np.exp(-0.5 * cost) * (1 - 0.4 * guessed / wanted)), 2)


def _told(windows: Sequence[Window], exercises: Sequence[Exercise], guessed: list[str], spare: int) -> str:
    masks = {w.exercise for w in windows if w.air == "mask"}
    rooms = len({w.start_s for w in windows if w.air == "ambient" and not w.exercise})
    said = [f"{len(masks)} of {len(exercises)} exercises" + (f" and {rooms} stretches of room air" if rooms else "") +
            " found."]
    if missing := [e[1] for e in exercises if e[0] not in masks]:
        said.append(f"Not found: {', '.join(missing)}.")
    if guessed:
        said.append(f"Begun by reckoned duration, for no change is seen: {', '.join(guessed)}.")
    if spare:
        said.append(f"{spare} further stretch{'es' * (spare > 1)} of mask air left out.")
    return " ".join(said)


# Two channels

def _both(trace: Trace, exercises: Sequence[Exercise]) -> Proposal:
    """Laid along the time the facepiece was worn, each boundary at a change where one is seen."""
    high = float(np.nanmedian(trace.ambient.values)) if not np.isnan(trace.ambient.values).all() else 0.0
    if high <= 0:
        return Proposal(windows=(), changes=(), sure=0.0, text="No particles outside: nothing to find windows by.")
    start, step, values = grid(trace.mask, trace.step_s)
    room = grid(trace.ambient, trace.step_s)[2]
    floor, half = high * 1e-3, max(1, round(2 / step))
    outside = np.interp(np.linspace(0, 1, len(values)), np.linspace(0, 1, len(room)),
                        np.log10(np.maximum(median(room, half), floor)))
    first, last = _worn(np.log10(np.maximum(median(values, half), floor)) - outside, step)
    y, chance = fine(values[first:last], step, one_particle(trace, step))
    y = y - outside[first:last]
    inside = Bins(start, step, y)
    wanted = [e[2] / inside.step for e in exercises]
    changes = [inside.at(first + i) for i in changes_in(y, 0.15 / inside.step, max(2, round(5 / inside.step)))]
    spare = len(y) - sum(wanted) > 0.03 * sum(wanted)
    cuts, seen = placed(y, chance, wanted, free_ends=spare)
    edges = [inside.at(first + i) for i in cuts]
    windows = [Window(exercise=e[0], air=air, start_s=a, end_s=b, counts=e[3], title=e[1])  # both counted at once
               for e, a, b in zip(exercises, edges, edges[1:], strict=False) if b - a > 2
               for air in ("mask", "ambient")]
    found = len(windows) // 2
    unseen = [e[1] for e, s in zip(exercises, seen, strict=False) if not s]
    off = abs(len(y) - sum(wanted)) / sum(wanted)
    sure = _certainty(found, len(exercises), 0.8, min(3.0, off), len(unseen)) * (0.5 if spare else 1.0)
    text = _told(windows, exercises, unseen, 0)
    if spare:
        text += " The facepiece was worn for longer than the exercises take: say when the first one began."
    return Proposal(windows=tuple(windows), changes=tuple(changes), sure=round(sure, 2), text=text)


def _worn(ratio: Floats, step: float) -> tuple[int, int]:
    """First bin and bin after the last in which mask air is well below room air: the facepiece is on."""
    typical = float(np.median(ratio))
    on = median((ratio < max(typical / 3, -0.15 if typical < -0.3 else typical / 2)).astype(float),
                 max(1, round(4 / step))) > 0.5
    if typical > -LEAST_STEP or not on.any():
        return 0, len(ratio)
    return int(on.argmax()), int(len(on) - on[::-1].argmax())


# Marks

def from_marks(t: Floats, marks: Sequence[Marked], *, exercises: Sequence[Exercise], trace: Trace | None = None,
               air: NDArray[np.int8] | None = None) -> tuple[Window, ...]:
    """Windows where a file names the exercise under way, by id or title (a title that comes twice: in order).

    Two channels: mask and room air over the same seconds. One channel (`trace` with one stream, or `air` known): the
    stretches of mask air within each mark, and all room air beside them. Marks of other words are left out. Raises
    BadInput for marks that change all the time.
    """
    step = float(np.median(np.diff(t)))
    named = _named(marks, exercises)
    if max(len(named), sum(_plain(m.text) in _ROOM_WORDS for m in marks)) > MOST_WINDOWS:
        raise BadInput(f"the marks change to an exercise or to room air more than {MOST_WINDOWS} times", place="marks",
                       mend="Name the column that holds the exercise under way, or cut the file to one test")
    spans = [(e, m.start_s - step, m.end_s) for m, e in named]
    single = air is not None or (trace is not None and trace.mask is trace.ambient)
    if not single or trace is None:
        return tuple(Window(exercise=e[0], air=a, start_s=s, end_s=u, counts=e[3], title=e[1])
                     for e, s, u in spans for a in ("mask", "ambient"))
    stretches = _marked_rooms(marks, spans, step) or (_by_air(trace, air) if air is not None else _by_level(
        coarse(trace.mask, trace.step_s))[0])
    windows = [Window(exercise=e[0], air="mask", start_s=max(s, x.start), end_s=min(u, x.end), counts=e[3], title=e[1])
               for e, s, u in spans for x in stretches if not x.room and min(u, x.end) - max(s, x.start) > SHORTEST_S]
    rooms = [Window(exercise="", air="ambient", start_s=x.start, end_s=x.end, title="Room air")
             for x in stretches if x.room]
    return tuple(sorted([*windows, *rooms], key=lambda w: (w.start_s, w.air)))


def _named(marks: Sequence[Marked], exercises: Sequence[Exercise]) -> list[tuple[Marked, Exercise]]:
    """Each mark with its exercise. A word comes back to the same exercise until it stands for a later one too."""
    found, used = list[tuple[Marked, Exercise]](), set[str]()
    for mark in marks:
        word = _plain(mark.text)
        fits = [e for e in exercises if word in (_plain(e[0]), _plain(e[1]))]
        fresh = [e for e in fits if e[0] not in used]
        if fits:
            chosen = (fresh or fits[-1:])[0]
            used.add(chosen[0])
            found.append((mark, chosen))
    return found


def _plain(word: str) -> str:
    return " ".join(word.replace("-", " ").replace("_", " ").casefold().split())


def _marked_rooms(marks: Sequence[Marked], spans: Sequence[tuple[Exercise, float, float]],
                  step: float) -> list[_Stretch]:
    """Where room air is marked as such the marks say everything."""
    rooms = [_Stretch(True, m.start_s - step, m.end_s) for m in marks if _plain(m.text) in _ROOM_WORDS]
    masks = [_Stretch(False, s, u) for _, s, u in spans]
    return sorted([*rooms, *masks], key=lambda s: s.start) if rooms else []
