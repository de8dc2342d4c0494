"""Every departure that judging may find: its code, how severe it can be, what it means and where the rule comes from.

`docs/reference/findings.md` is made from this table. `source` names values and rules of the protocol file, so that a
finding cites what the protocol cites; "ours" and "common" stand for choices no standard makes.
"""

from __future__ import annotations

import msgspec

from sealwright.assess.verdict import Severity, Step


class Departure(msgspec.Struct, frozen=True, kw_only=True):
    """One row. `doubts_screening`: a screening with it cannot show that a wearer is unsuited to the agent."""

    code: str
    severities: tuple[Severity, ...]
    meaning: str
    source: tuple[str, ...] = ("ours",)
    step: Step | None = None
    advice: str = ""
    doubts_screening: bool = False


def _row(code: str, severities: str, source: str, meaning: str, step: Step | None = None, advice: str = "",
         doubts: bool = False) -> Departure:
    return Departure(code=code, severities=tuple(severities.split()), meaning=meaning,  # type: ignore[arg-type]
                     source=tuple(source.split()), step=step, advice=advice, doubts_screening=doubts)


_RECORD = (
    _row("not-opened", "void", "ours", "The record does not say who was tested, with what, by which protocol.",
         "repeat", "Add the opening if it is at hand and judge again, else repeat everything, screening included"),
    _row("protocol-unknown", "void", "ours", "The record names a protocol that is not at hand, so it cannot be judged.",
         "repeat", "Bring the protocol file the record names and judge again"),
    _row("protocol-version", "minor", "ours",
         "The test was led by another version of the protocol than it is judged by."),
    _row("before-opened", "major", "ours", "Something was recorded before the test was opened."),
    _row("opened-again", "minor void", "ours",
         "The test was opened twice: minor when both say the same, void when wearer, facepiece or protocol differ.",
         "repeat"),
    _row("after-closed", "major", "ours",
         "Something was recorded after the record was closed. It does not count, save that a taste still fails "
         "the test."),
    _row("times-backwards", "major", "tolerances.clock_step_note",
         "An event bears an earlier time than the one recorded before it, beyond the tolerance. Tastes and starts "
         "worked out afterwards may."),
    _row("clock-offset", "minor", "tolerances.clock_offset_note",
         "The room's clock was off the server's. Dates (expiry, competence) are judged with the clock put right."),
    _row("clock-stepped", "minor major", "tolerances.clock_step_note",
         "The room's clock jumped: minor outside the run, major in it, where seconds count."),
    _row("two-rooms", "note minor", "ours", "Another room went on with the test: note outside the run, minor in it."),
    _row("room-away", "note minor", "tolerances.away_note",
         "The room was gone for a while: note outside the run or when short, minor in the run beyond the tolerance."),
    _row("unwitnessed", "minor", "ours",
         "Exercise starts (or their end) were worked out from the score afterwards, as the room was away."),
    _row("taken-back", "note", "tolerances.take_back", "A wrong tap was withdrawn in time. It does not count."),
    _row("taste-taken-back", "major", "tolerances.take_back rules.tasted-fails",
         "A taste (smell, reaction) marked during the test was withdrawn in time. It does not count, but a lead should "
         "ask how it came."),
    _row("take-back-late", "minor", "tolerances.take_back",
         "A tap was withdrawn too long after it was made. The tap still counts."),
    _row("take-back-refused", "minor", "ours",
         "Something that cannot be withdrawn, or that is not on record before, was to be withdrawn. Nothing changes."),
    _row("second-tester", "note", "ours", "Doses were given by someone other than the tester named at the opening."),
)

_BEFORE = (
    _row("full-face", "void", "rules.not-full-face",
         "A full face mask cannot be passed for its full protection by a qualitative test.", "quantitative",
         "Test a full face mask by a quantitative method"),
    _row("kind-unsuited", "void", "suits", "The protocol does not suit this kind of facepiece.", "quantitative",
         "Test this kind of facepiece by a quantitative method"),
    _row("method-refused", "void", "suits",
         "The rule set named in the record lists no such method for this kind of facepiece.", "quantitative",
         "Test by a method that the rule set accepts"),
    _row("tester-out-of-date", "major", "rules.tester-competent", "The tester's competence had run out on the day."),
    _row("tester-unproven", "minor", "rules.tester-competent", "The tester's competence is not on record."),
    _row("tester-is-wearer", "void", "ours", "The tester tested themself.", "repeat", "Let another tester do the test"),
    _row("kit-unchecked", "major", "common", "The kit was not looked at before use."),
    _row("kit-item-unchecked", "minor", "common", "One thing of the kit was not looked at."),
    _row("kit-fault", "major", "common", "A fault of the kit (o_ring, marked) was seen and the test went on.",
         "mend-kit", "Mend or change the kit"),
    _row("kit-unusable", "void", "common",
         "Something without which the test says nothing (hood, mist, chamber, smoke, a zero count, a tight instrument) "
         "was not good, and the test went on.", "mend-kit",
         "Mend or change the kit", True),
    _row("kit-other-fault", "minor", "common", "A thing of the organisation's own kit list was found wanting."),
    _row("load-unrecorded", "major", "nebuliser_life",
         "It is not on record when and from which lot a nebuliser was filled.",
         None, "", True),
    _row("load-recorded-late", "minor", "nebuliser_life",
         "A nebuliser's filling was recorded only after its use began."),
    _row("load-time-odd", "minor", "ours", "A nebuliser is said to have been filled after it was recorded as filled."),
    _row("solution-out-of-date", "void", "rules.solution-in-date",
         "A solution was used after the last day on its label.",
         "mend-kit", "Take a lot that is in date", True),
    _row("nebuliser-old", "major", "nebuliser_life",
         "A nebuliser was used longer after its filling than allowed without rinsing and filling afresh.", "mend-kit",
         "Rinse the nebuliser, shake it dry and fill it afresh", True),
    _row("questions-missing", "void", "rules.clearance",
         "Nobody asked about clearance, training and health, so clearance is not known.", "clearance",
         "Establish medical clearance first"),
    _row("not-cleared", "void", "rules.clearance", "The wearer was not medically cleared; no test without clearance.",
         "clearance", "See to medical clearance first"),
    _row("not-trained", "major", "rules.training", "The wearer had not been shown how to don and judge the facepiece.",
         "train", "Show the wearer how to don, place and adjust the facepiece"),
    _row("unwell-before", "void", "ours", "The wearer felt unwell and the test went on.", "rest",
         "Wait until the wearer is well"),
    _row("abstention-short", "major void", "abstention ours",
         "Eating, drinking (not water), smoking or chewing was too recent at the screening or the first dose: major; "
         "void below half of the time asked for."),
    _row("seal-hair", "void", "rules.seal-hair", "Hair or stubble lay between skin and seal.", "shave",
         "Shave where the seal lies, or choose a device that does not seal on the face"),
    _row("equipment-not-worn", "major", "rules.equipment", "Equipment used at work was not worn in the test."),
    _row("identity-missing", "major", "rules.own-words-identity",
         "Wearer and facepiece were not confirmed before the test began."),
    _row("wearer-not-named", "major", "rules.own-words-identity", "The wearer was not asked to give their name."),
    _row("model-not-read", "major", "rules.own-words-identity", "Make and model were not read off the facepiece."),
    _row("wrong-size", "void", "rules.same-facepiece",
         "The size read off the facepiece is not the size on the record.", "repeat",
         "Record the size in the hand and test again"),
)

_SCREENING = (
    _row("screening-missing", "void", "screening", "The test was run without sensitivity screening."),
    _row("screening-unfinished", "void", "screening",
         "The test was run although the wearer had not yet tasted in screening."),
    _row("screening-again", "major", "screening", "Screening was begun again; the last one counts."),
    _row("screening-over", "minor", "screening", "More squeezes were given in screening than it has."),
    _row("taste-without-squeeze", "void", "ours",
         "A taste was marked before any squeeze of the screening, so it says nothing of the wearer's threshold.",
         None, "", True),
    _row("round-not-asked", "note", "screening", "The wearer was not asked after each round of squeezes."),
    _row("run-after-unsuited", "void", "rules.not-tasted-unsuited",
         "The test was run although the wearer had not tasted in all rounds of screening."),
    _row("level-low", "void", "doses", "A lower dose level was used than the screening gave."),
    _row("level-high", "minor", "doses", "A higher dose level was used than the screening gave."),
    _row("level-unknown", "void", "doses", "The protocol has no such dose level."),
    _row("washout-short", "major void", "washout ours",
         "Too little time between the taste of the screening and the first dose: major; void below half.", "wait"),
    _row("previous-washout-short", "major void", "washout ours",
         "Too little time between the taste of the try before and this screening: major; void below half.", "wait"),
    _row("taste-gone-unasked", "minor", "common", "Nobody asked whether the taste of the screening was gone."),
    _row("taste-not-gone", "major", "common", "The taste of the screening was not gone and the test went on.", "wait"),
    _row("taste-before-dose", "major void", "ours",
         "A taste was marked after the screening and before a first dose was on record: major; void once the facepiece "
         "was on, for either the screening lingers or the first dose came through.", "re-don",
         "If the first dose was being given, the seal leaked: don afresh or try another facepiece"),
)

_DONNING = (
    _row("donning-missing", "major", "rules.training",
         "It is not on record that and when the wearer donned the facepiece."),
    _row("donning-unchecked", "minor", "common", "The donning was not gone through point by point."),
    _row("donning-fault", "major", "common",
         "A point of the donning was found wanting and the test went on.", "re-don"),
    _row("wear-short", "major", "wear", "The facepiece was worn too briefly before the test began."),
    _row("seal-check-missing", "major", "rules.seal-check", "No user seal check since the last donning."),
    _row("seal-check-failed", "void", "rules.seal-check",
         "The last user seal check failed and the test went on.", "re-don",
         "Don afresh until the user seal check is passed, or try another facepiece"),
    _row("comfort-unasked", "minor", "wear", "Nobody asked whether the facepiece is comfortable."),
    _row("uncomfortable", "major", "wear", "The facepiece was not comfortable and the test went on.", "other-facepiece",
         "Let the wearer choose a more comfortable facepiece"),
)

_RUN = (
    _row("run-missing", "void", "top_up_every", "The record was closed, or the seal broken, without any test dose.",
         "repeat"),
    _row("run-start-unmarked", "minor", "ours",
         "The start of the run is not on record; it is taken from the exercises."),
    _row("dose-missing", "void", "top_up_every", "A dose of the score was not given.", "repeat"),
    _row("dose-short", "void", "doses", "A dose had fewer squeezes than the level asks for.", "repeat"),
    _row("dose-over", "minor", "doses", "A dose had more squeezes than the level asks for."),
    _row("dose-extra", "minor", "top_up_every", "A dose was given that the score does not have."),
    _row("dose-early", "minor void", "top_up_every tolerances.dose_early_note",
         "A dose came before its time: minor, void beyond the wider tolerance.", "repeat"),
    _row("dose-late", "minor void", "top_up_every tolerances.dose_late_note",
         "A dose came after its time: minor, void beyond the wider tolerance.", "repeat"),
    _row("dose-entered-later", "note", "ours", "A dose was entered afterwards with the time it was given."),
    _row("dose-time-odd", "minor", "ours", "A dose is said to have been given after it was recorded."),
    _row("exercise-missing", "void", "exercises", "An exercise of the protocol was not done.", "repeat"),
    _row("exercise-order", "major", "exercises", "The exercises were done in another order."),
    _row("exercise-short", "minor void", "exercises tolerances.exercise_short_note",
         "An exercise was cut short: minor, void beyond the wider tolerance.", "repeat"),
    _row("exercise-long", "note", "exercises tolerances.pause_note", "An exercise, or a pause in it, ran on."),
    _row("exercise-extra", "note", "exercises", "An exercise was done that the protocol does not have."),
    _row("mist-unasked", "major", "rules.clogged", "Nobody looked on the way whether the nebuliser still gave mist."),
    _row("clogged", "void", "rules.clogged", "The nebuliser gave no mist.", "mend-kit",
         "Rinse the nebuliser, clear it and fill it afresh"),
    _row("touched", "void", "rules.no-adjusting",
         "The facepiece was touched or adjusted after the test began.", "re-don",
         "Don afresh, and leave the facepiece alone during the test"),
    _row("donned-in-run", "void", "rules.no-adjusting",
         "The facepiece was donned anew after the test began.", "repeat"),
    _row("stopped", "void", "ours", "The test was stopped before its end."),
    _row("stopped-after", "minor", "ours", "A stop was recorded when the test was already over."),
    _row("seal-break-missing", "void", "seal_break",
         "The seal was not broken at the end, so it was not proven that the agent was there.",
         "repeat"),
    _row("seal-break-not-tasted", "void", "seal_break",
         "Nothing was tasted (smelled, felt) when the seal was broken, so not noticing before proves nothing.",
         "mend-kit", "Check that the agent reaches the wearer: nebuliser, solution, vapour or smoke"),
)

_NOTICE = (
    _row("solution-unrecorded", "major", "rules.solution-in-date",
         "It is not on record when a solution of the vapour method was made.", None, "", True),
    _row("stock-old", "major", "stock_life", "The stock solution was older than allowed.", "mend-kit",
         "Make the stock solution afresh", True),
    _row("odour-old", "major", "odour_life", "The odour solution was older than allowed.", "mend-kit",
         "Make the odour solution afresh", True),
    _row("agent-unscreened", "void", "rules.not-tasted-unsuited",
         "The test was run without showing that the wearer notices the agent."),
    _row("agent-unnoticed", "void", "rules.not-tasted-unsuited",
         "The test was run although the wearer did not notice the agent in the screening."),
    _row("exposure-missing", "void", "ours",
         "The record was closed, or the seal broken, without exposure to the agent.", "repeat"),
    _row("exposure-unmarked", "major", "ours",
         "It is not on record when the wearer was first exposed; it is taken from the exercises."),
    _row("settle-short", "major void", "settle ours",
         "The vapour had too little time to fill the chamber: major; void below half of it."),
    _row("repeat-soon", "major void", "repeat_wait ours",
         "Too little time since the odour was noticed in the try before: major; void below half of it.", "wait"),
    _row("notice-before", "major", "ours", "The agent was noticed before the exposure began."),
)

_MEASURED = (
    _row("kind-not-here", "void", "suits", "The protocol does not suit this kind of facepiece.", "repeat",
         "Choose a protocol for this kind of facepiece"),
    _row("pass-level-low", "major", "rules.stricter-only",
         "The record names a pass level below that of the rule set; the rule set's was used."),
    _row("pass-level-own", "note", "rules.stricter-only", "The site's own, stricter pass level was used."),
    _row("other-rule-set", "note", "ours",
         "The test is judged by the pass level of another rule set than the protocol's."),
    _row("pass-level-none", "void", "suits", "The rule set has no pass level for this kind of facepiece."),
    _row("instrument-unnamed", "major", "rules.instrument-sound", "It is not on record which instrument measured."),
    _row("instrument-undated", "minor", "rules.instrument-sound",
         "It is not on record until when the instrument's calibration is in date."),
    _row("instrument-out-of-date", "major", "rules.instrument-sound", "The instrument's calibration had run out.",
         "mend-kit", "Use an instrument whose calibration is in date"),
    _row("smoked-recently", "major", "smoke_free",
         "The wearer had smoked too recently: breath still carries particles, which read as leak.", "wait",
         "Wait until the time asked for has passed since the last smoke"),
    _row("reading-missing", "void", "samples", "An exercise that counts has no reading.", "repeat"),
    _row("reading-again", "note", "ours", "An exercise was read more than once; the last reading counts."),
    _row("reading-short", "void", "ours",
         "A reading lacks what makes a factor of it (mask or ambient), or the mask read zero and no counts say how "
         "little that is.", "repeat"),
    _row("reading-beside-samples", "note", "ours",
         "Factors were entered although samples are on record; the samples count."),
    _row("no-uncertainty", "note", "ours",
         "Only factors or concentrations are on record, no counts: how sure the number is cannot be said."),
    _row("spread-unseen", "note", "ours",
         "Only total counts are on record: the interval knows chance alone, not breathing or drift of the room's air."),
    _row("samples-mixed", "void", "ours",
         "Samples of two units or two lengths of step are on record; they cannot be counted together.", "repeat",
         "Record all samples in one unit with one step"),
    _row("samples-overlap", "void", "ours",
         "Samples of one air are on record twice for the same time; which of them hold cannot be said.", "repeat",
         "Judge one recording: lead the test again, or leave the other recording out"),
    _row("windows-overlap", "void", "ours",
         "Accepted windows share samples: the same air would count for two exercises, or twice.", "repeat",
         "Accept windows that follow one another"),
    _row("windows-elsewhere", "major", "ours",
         "An accepted window lies outside the time in which its exercise was done, as the record has it."),
    _row("windows-proposed", "note", "ours",
         "Which samples count was proposed from the data and accepted by the tester, not taken from the score."),
    _row("run-again", "void", "ours", "The exercises were begun more than once.", "repeat"),
    _row("peak-high", "void", "peaks", "A peak inside the mask was above the limit at which a test is ended.",
         "re-don", "Don afresh, or try another facepiece"),
    _row("breath-not-held", "void", "breath_hold", "The breath was not held still while the leak was read.", "repeat"),
    _row("pressure-off", "major void", "pressure ours",
         "The pressure held was more than a tenth off the protocol's: major; void below half of it, "
         "where little leaks.", "repeat"),
    _row("redonning-missing", "major", "redonnings",
         "The facepiece was not donned anew as often as the protocol asks, as far as the record shows."),
    _row("data-ambient-low", "major", "least_ambient",
         "Too few particles in the room's air for the factor to be trusted.", "mend-kit",
         "Bring more particles into the room's air, or test elsewhere"),
    _row("data-ambient-drift", "minor", "ours", "The room's air changed much during the test."),
    _row("data-spike", "minor", "ours", "Single samples stand far above their neighbours."),
    _row("data-gap", "major", "ours", "Samples are missing for a while."),
    _row("data-clipped", "major", "ours", "Values stick at a maximum: the instrument was at its limit."),
    _row("data-window-short", "major void", "samples ours",
         "An exercise was sampled for a shorter time than the protocol asks: major; void below half of it.", "repeat"),
    _row("data-clock-step", "major", "ours", "The samples' times jump or repeat."),
    _row("data-wearer-particles", "minor", "ours",
         "Particles made by the wearer (breath after smoking, speech) are suspected: they read as leak."),
    _row("data-channels-swapped", "void", "ours", "More particles inside the mask than outside: channels swapped?",
         "repeat", "Check which line is which"),
    _row("data-other", "minor", "ours", "Another doubt about the data, in its own words."),
)

_AFTER = (
    _row("tester-unsigned", "minor", "common", "The record was closed without the tester's signature."),
    _row("wearer-unsigned", "minor", "common", "The record was closed without the wearer's signature."),
)

PARTS: dict[str, tuple[Departure, ...]] = {
    "The record": _RECORD, "Before the test": _BEFORE, "Screening": _SCREENING, "Donning": _DONNING, "The run": _RUN,
    "Vapour and smoke": _NOTICE, "The measurement": _MEASURED,
    "After the test": _AFTER,
}
DEPARTURES: dict[str, Departure] = {d.code: d for part in PARTS.values() for d in part}
