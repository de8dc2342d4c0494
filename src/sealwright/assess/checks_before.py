"""Departures before the screening: facepiece, tester, kit, solutions, questions, identity."""

from __future__ import annotations

from sealwright.assess.events import (
    ClockChecked,
    IdentityConfirmed,
    KitChecked,
    NebuliserLoaded,
    QuestionsAnswered,
)
from sealwright.assess.facts import Facts, Mark, TasteFacts, span
from sealwright.protocols import rule_sets

UNUSABLE = {"hood", "mist_screening", "mist_test", "chamber", "smoke", "zero", "tight"}
"""things of the kit without which no test says anything"""


def suits_facepiece(f: Facts) -> None:
    kind = f.opened.facepiece.kind
    if kind == "full" and not f.p.quantitative:  # whatever a protocol file may say
        f.found("full-face", "A full face mask was tested by a qualitative method")
    elif kind in f.p.suits.kinds:
        return
    elif f.p.quantitative:
        f.found("kind-not-here", f"{f.p.title} is not for facepieces of the kind {kind}")
    else:
        f.found("kind-unsuited", f"{f.p.title} is not for facepieces of the kind {kind}")


def method_accepted(f: Facts) -> None:
    """Only where the record names another rule set than the protocol's own."""
    named, kind = f.opened.rule_set, f.opened.facepiece.kind
    if not named or named == f.p.rule_set:
        return
    rules = rule_sets()[named]
    row = next((m for m in rules.methods if m.method == f.p.method), None)
    if row is None:
        f.found("method-refused", f"{rules.title}: {f.p.title} is not among the methods listed")
    elif not (row.accepted and kind in row.kinds):
        f.found("method-refused", row.rule if not row.accepted and row.rule else
                f"{rules.title} does not accept {f.p.title} for facepieces of the kind {kind}")


def tester_fit(f: Facts) -> None:
    tester = f.opened.tester
    if tester.id == f.opened.wearer:
        f.found("tester-is-wearer", "Tester and wearer are the same person")
    when = f.use_at if f.use_at is not None else f.events[0].at
    if tester.competent_until_at is None:
        f.found("tester-unproven", "No date to the tester's competence on record")
    elif tester.competent_until_at < true_time(f, when):
        ago = (true_time(f, when) - tester.competent_until_at) // 86_400_000
        f.found("tester-out-of-date", f"The tester's competence ran out {ago} day(s) before", at=when)


def kit_checked(f: Facts) -> None:
    marks = f.before(KitChecked, f.use_i)
    if not marks:
        if f.squeezed or f.use:
            f.found("kit-unchecked", "No kit check before use")
        return
    checks: dict[str, bool] = {}
    for mark in marks:
        checks.update(mark.data.checks)
    known = f.m.kit
    for item in known.keys() - checks.keys():
        f.found("kit-item-unchecked", f"Not looked at: {known[item]}", at=marks[-1].at)
    for item, good in checks.items():
        if not good:
            code = "kit-unusable" if item in UNUSABLE else "kit-fault" if item in known else "kit-other-fault"
            f.found(code, f"Found wanting: {known.get(item, item)}", at=marks[-1].at)


def solutions_good(f: TasteFacts) -> None:
    """Each nebuliser at the beginning and the end of its use."""
    if f.squeezed:
        first, last = f.squeezed[0], f.threshold or f.squeezed[-1]
        _solution(f, "screening", ((first.i, first.at), (last.i, last.at)))
    if f.use_i is not None and f.use_at is not None and f.end_at is not None:
        _solution(f, "test", ((f.use_i, f.use_at), (f.end_i, f.end_at)))


def _solution(f: TasteFacts, which: str, uses: tuple[tuple[int, int], tuple[int, int]]) -> None:
    loads = [m for m in f.all(NebuliserLoaded) if m.data.which == which]
    if not loads:
        f.found("load-unrecorded", f"No filling of the {which} nebuliser on record", at=uses[0][1])
        return
    if loads[0].i > uses[0][0]:
        f.found("load-recorded-late", f"The filling of the {which} nebuliser was recorded after its use began",
                at=loads[0].at)
    old = stale = False
    for i, at in uses:
        load = _load_at(loads, i)
        old = old or _too_old(f, load, at)
        stale = stale or _out_of_date(f, load, at)
    for load in loads:
        if (ahead := load.data.loaded_at - load.at) > f.m.clock_step_ms:
            f.found("load-time-odd", f"The {which} nebuliser is said to be filled {span(ahead)} after it was recorded",
                    at=load.at)


def _load_at(loads: list[Mark], i: int) -> Mark:
    """The filling in use at a place of the record; the first one where none was recorded by then."""
    return next((m for m in reversed(loads) if m.i < i), loads[0])


def _too_old(f: TasteFacts, load: Mark, at: int) -> bool:
    age = at - load.data.loaded_at
    if age <= f.m.life_ms:
        return False
    f.found("nebuliser-old", f"The {load.data.which} nebuliser was filled {span(age)} before its use; "
                             f"{span(f.m.life_ms)} is allowed", at=at)
    return True


def _out_of_date(f: TasteFacts, load: Mark, at: int) -> bool:
    late = true_time(f, at) - load.data.expires_at
    if late <= 0:
        return False
    f.found("solution-out-of-date", f"Lot {load.data.lot} ({load.data.which}) had run out {span(late)} before its use",
            at=at)
    return True


def questions_asked(f: Facts) -> None:
    last = f.last(QuestionsAnswered, f.use_i)
    if last is None:
        if f.squeezed or f.use:
            f.found("questions-missing", "No questions before the test on record: clearance is not known")
        return
    q = last.data
    if not q.cleared:
        f.found("not-cleared", "The wearer is not medically cleared", at=last.at)
    if not q.trained:
        f.found("not-trained", "The wearer has not been shown how to don and judge the facepiece", at=last.at)
    if not q.feels_well:
        f.found("unwell-before", "The wearer did not feel well", at=last.at)
    if q.seal_hair != "none":
        what = "Stubble" if q.seal_hair == "stubble" else "Hair"
        f.found("seal-hair", f"{what} between skin and seal", at=last.at)
    if missing := set(q.equipment_used) - set(q.equipment_worn):
        f.found("equipment-not-worn", f"Used at work but not worn in the test: {', '.join(sorted(missing))}",
                at=last.at)


def abstained(f: TasteFacts) -> None:
    """Nothing taken for the time asked, before the screening and again before the first dose."""
    taken = [(min(m.data.last_taken_at, m.at), m) for m in f.before(QuestionsAnswered, f.use_i)
             if m.data.last_taken_at is not None]
    if not taken:
        return
    seen = set()
    for use, name in ((f.screening_at, "screening"), (f.use_at, "first dose")):
        before = [t for t, _ in taken if use is not None and t <= use]
        if use is None or not before or max(before) in seen:
            continue
        gap = use - max(before)
        if gap < f.m.abstention_ms:
            seen.add(max(before))
            f.found("abstention-short", f"Last ate, drank, smoked or chewed {span(gap)} before the {name}; "
                                        f"{span(f.m.abstention_ms)} is asked for", at=use,
                    severity="void" if gap * 2 < f.m.abstention_ms else "major")


def identity_confirmed(f: Facts) -> None:
    last = f.last(IdentityConfirmed, f.use_i)
    if last is None:
        if f.use:
            f.found("identity-missing", f"Wearer and facepiece were not confirmed before the {f.m.begins}", at=f.use_at)
        return
    if not last.data.wearer_named:
        f.found("wearer-not-named", "The wearer was not asked for their name", at=last.at)
    if not last.data.model_read:
        f.found("model-not-read", "Make and model were not read off the facepiece", at=last.at)
    read, recorded = last.data.size_read, f.opened.facepiece.size
    if read.strip().casefold() != recorded.strip().casefold():
        f.found("wrong-size", f"Size read off the facepiece: {read}; on the record: {recorded}", at=last.at)


def true_time(f: Facts, at: int) -> int:
    """The instant by the server's clock, as far as the room checked its own."""
    checks = f.all(ClockChecked)
    return at - max((m.data.offset_ms for m in checks), key=abs) if checks else at


CHECKS = (suits_facepiece, method_accepted, tester_fit, kit_checked, questions_asked, identity_confirmed)
TASTE_CHECKS = (solutions_good, abstained)
