"""Departures of the vapour and smoke methods: solutions, screening by jar or whiff, exposure."""

from __future__ import annotations

from sealwright.assess.events import AgentScreened, ExposureBegun, Noticed, RunStarted, SolutionMade
from sealwright.assess.facts import NoticeFacts, span
from sealwright.assess.method import ms_of
from sealwright.protocols import VapourProtocol


def solutions_fresh(f: NoticeFacts) -> None:
    """Stock and odour solution of the vapour method, at the screening."""
    if not isinstance(f.p, VapourProtocol) or f.screening_at is None:
        return
    for which, code, life in (("stock", "stock-old", f.p.stock_life), ("odour", "odour-old", f.p.odour_life)):
        made = [m for m in f.all(SolutionMade) if m.data.which == which]
        if not made:
            f.found("solution-unrecorded", f"Not on record when the {which} solution was made", at=f.screening_at)
        elif (age := f.screening_at - made[-1].data.made_at) > ms_of(life):
            f.found(code, f"The {which} solution was {span(age)} old; {span(ms_of(life))} is allowed",
                    at=f.screening_at)


def agent_screened(f: NoticeFacts) -> None:
    if f.use is None:
        return
    if f.screened is None:
        f.found("agent-unscreened", f"Not shown that the wearer notices the {f.p.agent_name}", at=f.use_at)
    elif not f.screened.data.noticed:
        f.found("agent-unnoticed", f"Run although the wearer did not notice the {f.p.agent_name}", at=f.use_at)


def exposed(f: NoticeFacts) -> None:
    begun, started = f.all(ExposureBegun), f.all(RunStarted)
    if f.use is None:
        if f.over and not f.unsuited and not f.stopped:
            f.found("exposure-missing", "No exposure to the agent on record")
    elif not begun:
        f.found("exposure-unmarked", f"The {f.m.begins} is not on record", at=f.use_at)
    elif started and isinstance(f.p, VapourProtocol):
        _short(f, "settle-short", started[0].at - begun[0].at, ms_of(f.p.settle), "in the chamber before the exercises",
               started[0].at)


def waited(f: NoticeFacts) -> None:
    """Time since the odour was noticed in the try before."""
    before, used = f.opened.tasted_at, f.screening_at
    if isinstance(f.p, VapourProtocol) and before is not None and used is not None:
        _short(f, "repeat-soon", used - before, ms_of(f.p.repeat_wait), "since the odour was noticed before", used)


def _short(f: NoticeFacts, code: str, gap: int, asked: int, what: str, at: int) -> None:
    if gap < asked:
        f.found(code, f"{span(gap)} {what}; {span(asked)} is asked for", at=at,
                severity="void" if gap * 2 < asked else "major")


def not_noticed_before(f: NoticeFacts) -> None:
    for mark in f.before(Noticed, f.use_i):
        if mark is not f.taste and f.before(AgentScreened, mark.i):
            f.found("notice-before", "Noticed after the screening and before the exposure", at=mark.at)


CHECKS = (solutions_fresh, agent_screened, exposed, waited, not_noticed_before)
