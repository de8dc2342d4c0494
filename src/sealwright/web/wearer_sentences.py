"""The sentences of the wearer's screen by code, and a screen state told in one language.

A wearer reads "mask" where the rest of the house says facepiece: it is the word people know.
"""

from __future__ import annotations

from typing import Any

from sealwright.web.wearer_state import ScreenAct, ScreenState
from sealwright.web.words import Words, mark, words

HOLD_STILL = mark("Hold still for a moment.")
OPEN_MOUTH = mark("Mouth slightly open, tongue out.")
ASK_TESTER = mark("Please wait. The tester will tell you what comes next.")
NOT_YOU = mark("You did nothing wrong: it is the mask that is being tested.")
SIT_DOWN = mark("Sit down and breathe calmly. The tester is with you.")
READING = mark("Early in the morning the harbour wakes slowly. Boats turn on their ropes, gulls walk along the wall, "
               "and somebody opens a window to the smell of bread.")

LINES: dict[str, str] = {
    "welcome": mark("Welcome. One moment, please: the tester is getting ready."),
    "hood-on": mark("Please put the hood on. No mask yet."),
    "screening": mark("Mouth slightly open, tongue out. Say so at once when you taste it."),
    "unsuited": mark("Please take the hood off."),
    "unsuited-hood-off": ASK_TESTER,
    "tasted-screening": mark("You have tasted it: good. Please take the hood off."),
    "washout": mark("Rinse your mouth with water and wait for the taste to go."),
    "donning": mark("Put the mask on with your own hands, as you were shown."),
    "seal-check": mark("Check the seal with both hands. Can you feel air escaping?"),
    "wear": mark("Keep the mask on and breathe calmly."),
    "pause": ASK_TESTER,
    "ready": mark("Hood on over the mask. Mouth slightly open, tongue out."),
    "first-dose": HOLD_STILL,
    "exercises": mark("Please do as the tester says."),
    "normal": mark("Breathe normally."),
    "deep": mark("Breathe slowly and deeply."),
    # Breathing in at each side, and when looking up: 29 CFR 1910.134 App. A Part I.A.14(a)(3) and (4), from memory.
    "side": mark("Turn your head slowly from side to side. Breathe in on each side."),
    "nod": mark("Move your head slowly up and down. Breathe in when you look up."),
    "talk": mark("Talk aloud, slowly: count back from 100 or read this."),
    "bend": mark("Bend slowly from the waist and come up. Hold the hem of the hood."),
    "grimace": mark("Smile, then frown."),
    "jog": mark("Jog gently on the spot."),
    "hold-still": HOLD_STILL,
    "pause-talking": mark("Stop talking for a moment. Then go on where you were."),
    "hold-hem": mark("Hold the hem of the hood for a moment."),
    "seal-break": mark("Under the hood, lift the edge of the mask with a finger. Do you taste it now?"),
    "finish": mark("That was the last step. Please take the hood off, then the mask."),
    "tasted": mark("Stop. Please take the hood off."),
    "tasted-hood-off": mark("Take the mask off and rinse your mouth with water."),
    "stopped": mark("The test has stopped. Please take the hood off."),
    "stopped-hood-off": ASK_TESTER,
    "unwell": mark("The test has stopped. Please take the hood off, then the mask."),
    "unwell-hood-off": SIT_DOWN,
    "done": mark("All done. Thank you."),
}
"""code -> the one line of what to do"""

AFTER: dict[str, str] = {
    "washout": mark("Is the taste quite gone? Please tell the tester."),
    "wear": mark("Is the mask comfortable? Please tell the tester."),
}
"""code -> the line once its wait is over"""

DETAILS: dict[str, str] = {
    "screening": mark("This mist is weak. It shows you the taste to look out for."),
    "washout": mark("Only plain water, please."),
    "seal-check": mark("If you can, tell the tester."),
    "first-dose": OPEN_MOUTH,
    "normal": OPEN_MOUTH, "deep": OPEN_MOUTH, "side": OPEN_MOUTH, "nod": OPEN_MOUTH, "bend": OPEN_MOUTH,
    "talk": READING,
    "seal-break": mark("Now you should taste it: that shows the mist was there."),
    "tasted": NOT_YOU, "tasted-hood-off": NOT_YOU, "unwell": SIT_DOWN,
    "done": mark("The tester will tell you your result."),
}
"""code -> what stands smaller below the line"""

NAMES: dict[str, str] = {
    "normal": mark("Normal breathing"), "deep": mark("Deep breathing"), "side": mark("Head side to side"),
    "nod": mark("Head up and down"), "talk": mark("Talking"), "bend": mark("Bending over"), "grimace": mark("Grimace"),
    "jog": mark("Jogging on the spot"), "seal-break": mark("Breaking the seal"),
}
"""kind of exercise -> its name, for what comes next"""

SPOKEN = ("screening", *(k for k in NAMES), "hold-still", "pause-talking", "hold-hem", "finish", "tasted")


def spoken(language: str) -> dict[str, str]:
    """What the room may speak aloud: kind of exercise, `during_dose` or moment -> sentence; "reading" is the text for
    the talking exercise. The code of a dose is its act's `during_dose`.
    """
    say = words(language)
    return {code: say(LINES[code]) for code in SPOKEN} | {"reading": say(READING)}


def present(state: ScreenState, say: Words) -> dict[str, Any]:
    """A screen state as the page plays it: every sentence in place, no id of the ledger."""
    return {
        "phase": state.phase, "figure": state.figure, "line": say(LINES[state.say]), "language": say.language,
        "detail": say(DETAILS[state.say]) if state.say in DETAILS else "",
        "line_after": say(AFTER[state.say]) if state.say in AFTER else "",
        "server_now": state.server_now, "since": state.since, "until": state.until, "closed": state.closed,
        "run_started_at": state.run_started_at, "acts": _acts(state.acts, say),
    }


def _acts(acts: tuple[ScreenAct, ...], say: Words) -> list[dict[str, Any]]:
    total, done, told = sum(a.kind == "exercise" for a in acts), 0, []
    for act in acts:
        done += act.kind == "exercise"
        told.append({
            "kind": act.kind, "at": act.at, "lasts": act.lasts, "figure": act.figure, "line": say(LINES[act.say]),
            "detail": say(DETAILS[act.say]) if act.say in DETAILS else "",
            "name": say(NAMES[act.say]) if act.say in NAMES else "",
            "place": say(mark("Exercise %(n)d of %(all)d"), n=done, all=total) if act.kind == "exercise" else "",
        })
    return told


def labels(say: Words) -> dict[str, list[str]]:
    """The unit beside a number, ready for every number the page shows: index -> word."""
    return {
        "seconds": [say.count("second", "seconds", n) for n in range(100)],
        "minutes": [say.count("minute", "minutes", n) for n in range(121)],
    }
