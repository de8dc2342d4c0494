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
FRESH_AIR = mark("Take the mask off and breathe fresh air.")
EYES_SHUT = mark("Keep your eyes shut.")
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
    # vapour
    "jars": mark("Shake each jar, open it and sniff. Which one smells of banana?"),
    "ready-chamber": mark("Step into the chamber with your mask on."),
    "chamber": mark("Stay in the chamber and breathe normally."),
    "seal-break-vapour": mark("Lift the edge of the mask with a finger and breathe in. Do you smell it now?"),
    "finish-chamber": mark("That was the last step. Please leave the chamber, then take the mask off."),
    "noticed-vapour": mark("Stop. Please leave the chamber."),
    "noticed-free": FRESH_AIR,
    "stopped-chamber": mark("The test has stopped. Please leave the chamber."),
    "unwell-chamber": mark("The test has stopped. Please leave the chamber, then take the mask off."),
    # smoke: eyes shut and no hood, 29 CFR 1910.134 App. A Part I.B.5, from memory
    "whiff": mark("Shut your eyes. You get one light whiff of smoke: what do you feel?"),
    "smoke": mark("Shut your eyes and keep them shut. Breathe normally."),
    "talk-shut": mark("Talk aloud, slowly: count back from 100."),
    "seal-break-smoke": mark("Take the mask off, eyes still shut. One light whiff: do you feel it?"),
    "finish-smoke": mark("That was the last step. Please step away from the smoke."),
    "noticed-smoke": mark("Stop. Keep your eyes shut: the tester leads you away."),
    "stopped-smoke": mark("The test has stopped. The tester leads you away from the smoke."),
    "unwell-smoke": mark("The test has stopped. The tester leads you away: take the mask off."),
    # what measures
    "connect": mark("Stand still. The tester connects the line to your mask."),
    "connect-chamber": mark("Step into the chamber. The tester connects the line to your mask."),
    "bend-free": mark("Bend slowly from the waist and come up."),
    "shake": mark("Shake your head quickly from side to side and shout."),
    "redon": mark("Take the mask off and put it on again with your own hands."),
    "hold-breath": mark("Hold your breath now. Keep quite still."),
    "readings": mark("That was the last exercise. Keep the mask on, please."),
    "finish-free": mark("That was the last step. You may take the mask off."),
    "stopped-free": mark("The test has stopped. You may take the mask off."),
    "unwell-free": mark("The test has stopped. Please take the mask off."),
}
"""code -> the one line of what to do"""

AFTER: dict[str, str] = {
    "washout": mark("Is the taste quite gone? Please tell the tester."),
    "wear": mark("Is the mask comfortable? Please tell the tester."),
    "chamber": mark("Do you smell anything? Please tell the tester."),
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
    "jars": mark("Close it again at once. One of the jars holds only water."),
    "ready-chamber": mark("Hang up the towel you are given. Say so at once if you smell anything."),
    "seal-break-vapour": mark("Now you should smell it: that shows the vapour was there."),
    "whiff": mark("No mask yet. It may sting or make you cough: that is what to look out for."),
    "smoke": mark("The tester moves the smoke along the edge of your mask."),
    "seal-break-smoke": mark("Now you should feel it: that shows the smoke was there."),
    "noticed-vapour": NOT_YOU, "noticed-smoke": NOT_YOU, "noticed-free": NOT_YOU,
    "unwell-chamber": SIT_DOWN, "unwell-smoke": SIT_DOWN, "unwell-free": SIT_DOWN,
    "readings": mark("The tester looks at the numbers."),
    "shut": EYES_SHUT,
    "step": mark("Keep stepping on the spot all the while."),
}
"""code -> what stands smaller below the line"""

STRAIGHT = mark("Then look straight ahead and hold your breath.")
AHEAD = mark("Look straight ahead.")
HOWS: dict[str, tuple[str, str]] = {
    "Two breaths at the bottom": (mark("Take two breaths at the bottom, then come up."), ""),
    "Two breaths at each side": (mark("Take two breaths at each side."), ""),
    "Two breaths at each end": (mark("Take two breaths at each end."), ""),
    "Then head straight ahead, breath held": (STRAIGHT, AHEAD),
    "Then head full left, breath held": (mark("Then turn your head fully to the left and hold your breath."),
                                         mark("Head turned fully to the left.")),
    "Then head full right, breath held": (mark("Then turn your head fully to the right and hold your breath."),
                                          mark("Head turned fully to the right.")),
    "Then head full up, breath held": (mark("Then tilt your head fully up and hold your breath."),
                                       mark("Head tilted fully up.")),
    "Then head full down, breath held": (mark("Then tilt your head fully down and hold your breath."),
                                         mark("Head tilted fully down.")),
    "30 s of breathing, then face forward, breath held": (STRAIGHT, AHEAD),
    "30 s, then face parallel to the floor, breath held": (mark("Then stay bent, face to the floor, and hold your "
                                                                "breath."), mark("Stay bent, face to the floor.")),
    "About 3 s, vigorously, shouting; then face forward, breath held": (STRAIGHT, AHEAD),
    "Straps loosened; then face forward, breath held": (mark("Loosen the straps. When it is on again, look straight "
                                                             "ahead and hold your breath."), AHEAD),
    "Within a minute, without help": (mark("You have a minute, and do it without help."), ""),
}
"""what a protocol says of an exercise (or, where that is only the breath, what it is called) -> (what stands below the
exercise, what stands below the held breath)"""
DETAILS |= {how: moving for how, (moving, _) in HOWS.items() if moving}
DETAILS |= {f"held: {how}": still for how, (_, still) in HOWS.items() if still}

PLAIN_RULE = mark("Raise your hand or say so at once if you feel unwell or want to stop.")
RULES: dict[str, str] = {
    "taste": mark("Raise your hand or say so at once if you taste anything, feel unwell or want to stop."),
    "vapour": mark("Raise your hand or say so at once if you smell anything, feel unwell or want to stop."),
    "smoke": mark("Raise your hand or say so at once if it stings, you must cough, feel unwell or want to stop."),
    "aerosol": PLAIN_RULE, "counting": PLAIN_RULE, "pressure": PLAIN_RULE,
}
"""method -> the rule at the foot of the screen"""

NAMES: dict[str, str] = {
    "normal": mark("Normal breathing"), "deep": mark("Deep breathing"), "side": mark("Head side to side"),
    "nod": mark("Head up and down"), "talk": mark("Talking"), "bend": mark("Bending over"), "grimace": mark("Grimace"),
    "jog": mark("Jogging on the spot"), "shake": mark("Head shaking"), "redon": mark("Mask off and on again"),
    "hold-breath": mark("Holding your breath"), "seal-break": mark("Breaking the seal"),
    "seal-break-vapour": mark("Breaking the seal"), "seal-break-smoke": mark("Mask off, one light whiff"),
}
"""kind of exercise, or code of a sentence -> its name, for what comes next"""

SPOKEN = ("screening", *(k for k in NAMES), "hold-still", "pause-talking", "hold-hem", "finish", "tasted", "bend-free",
          "talk-shut", "jars", "whiff", "chamber", "smoke", "connect", "readings", "noticed-vapour", "noticed-smoke",
          "finish-chamber", "finish-smoke", "finish-free")


def spoken(language: str) -> dict[str, str]:
    """What the room may speak aloud: kind of exercise, `during_dose` or moment -> sentence; "reading" is the text for
    the talking exercise. The code of a dose is its act's `during_dose`. Where no hood is worn "bend-free" takes the
    place of "bend"; with the eyes shut "talk-shut" that of "talk".
    """
    say = words(language)
    return {code: say(LINES[code]) for code in SPOKEN} | {"reading": say(READING)}


def present(state: ScreenState, say: Words) -> dict[str, Any]:
    """A screen state as the page plays it: every sentence in place, no id of the ledger."""
    return {
        "phase": state.phase, "figure": state.figure, "line": say(LINES[state.say]), "language": say.language,
        "detail": _detail(state.say, state.details, say), "rule": say(RULES[state.method]),
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
            "detail": _detail(act.say, act.details, say), "name": _name(act, say),
            "place": say(mark("Exercise %(n)d of %(all)d"), n=done, all=total) if act.kind == "exercise" else "",
        })
    return told


def _detail(code: str, details: tuple[str, ...] | None, say: Words) -> str:
    """What stands below a sentence: its own, or what the details name; a how of a protocol unknown here is left out."""
    codes = (code,) if details is None else details
    return " ".join(say(DETAILS[c]) for c in codes if c in DETAILS)


def _name(act: ScreenAct, say: Words) -> str:
    """By its sentence; else, of an exercise, by its movement."""
    code = act.say if act.say in NAMES or act.kind != "exercise" else act.figure
    return say(NAMES[code]) if code in NAMES else ""


def labels(say: Words) -> dict[str, list[str]]:
    """The unit beside a number, ready for every number the page shows: index -> word."""
    return {
        "seconds": [say.count("second", "seconds", n) for n in range(100)],
        "minutes": [say.count("minute", "minutes", n) for n in range(121)],
    }
