"""The wearer's screen in the methods without a taste: vapour, smoke, particles, a generated aerosol, pressure."""

from __future__ import annotations

import json
import re
import shutil
import subprocess

import pytest
from tests.web.test_wearer_screen import Clock
from tests.web.wearer_fake import FACEPIECE, TEST, WEARER, WEB, Client, FakeDeps, until

from sealwright.assess import event
from sealwright.demo.player import play
from sealwright.pictures.figure_parts import OWN
from sealwright.pictures.figures import KINDS, dress_of
from sealwright.protocols import compile_score, get, published
from sealwright.web import words
from sealwright.web.wearer_sentences import DETAILS, HOWS, LINES, NAMES, RULES, present, spoken
from sealwright.web.wearer_state import level_of, screen_acts, screen_state
from sealwright.web.wearer_ways import FIGURE, WAYS

OTHERS = [i for i, p in published().items() if p.method != "taste"]


def whole(protocol: str, **options):
    """A whole test from the script, as events."""
    worn = {**FACEPIECE, "kind": get(protocol).suits.kinds[0]}
    drafts = play(get(protocol), test_id=TEST, wearer=WEARER, facepiece=worn, tester="tester-1",
                  start_at=1_000_000_000_000, **options)
    return [event(d["kind"], d["at"], d["by"], d["id"], **d["data"]) for d in drafts]


def state_of(protocol: str, events, second: float | None = None):
    """At the last event, or at a second of the run."""
    made = get(protocol)
    score = compile_score(made, level_of(events, made))
    zero = next((e.at for e in events if e.__struct_config__.tag == "run-started"), 0)
    now = events[-1].at if second is None else zero + round(second * 1000)
    return screen_state(events, made, score, now)


@pytest.mark.parametrize(("protocol", "kind", "nth", "phase", "figure", "say"), [
    ("us-vapour", "opened", 1, "welcome", "wait", "welcome"),
    ("us-vapour", "solution-made", 2, "welcome", "wait", "welcome"),
    ("us-vapour", "identity-confirmed", 1, "jars", "smell", "jars"),
    ("us-vapour", "agent-screened", 1, "donning", "don", "donning"),
    ("us-vapour", "donned", 1, "seal-check", "seal-check", "seal-check"),
    ("us-vapour", "seal-checked", 1, "wear", "wear", "wear"),
    ("us-vapour", "comfort-judged", 1, "ready", "enter", "ready-chamber"),
    ("us-vapour", "exposure-begun", 1, "chamber", "chamber", "chamber"),
    ("us-vapour", "run-started", 1, "exercises", "normal", "normal"),
    ("us-vapour", "exercises-ended", 1, "seal-break", "break-seal", "seal-break-vapour"),
    ("us-vapour", "seal-broken", 1, "finish", "leave", "finish-chamber"),
    ("us-smoke", "identity-confirmed", 1, "whiff", "whiff", "whiff"),
    ("us-smoke", "agent-screened", 1, "donning", "don", "donning"),
    ("us-smoke", "comfort-judged", 1, "ready", "smoke", "smoke"),
    ("us-smoke", "exposure-begun", 1, "smoke", "smoke", "smoke"),
    ("us-smoke", "run-started", 1, "exercises", "normal", "normal"),
    ("us-smoke", "exercises-ended", 1, "seal-break", "whiff", "seal-break-smoke"),
    ("us-smoke", "seal-broken", 1, "finish", "wait", "finish-smoke"),
    ("us-counting", "instrument-named", 1, "welcome", "wait", "welcome"),
    ("us-counting", "identity-confirmed", 1, "donning", "don", "donning"),
    ("us-counting", "comfort-judged", 1, "ready", "connect", "connect"),
    ("us-counting", "run-started", 1, "exercises", "normal", "normal"),
    ("us-counting", "exercises-ended", 1, "readings", "wear", "readings"),
    ("us-counting", "readings-complete", 1, "finish", "off", "finish-free"),
    ("us-aerosol", "comfort-judged", 1, "ready", "connect", "connect-chamber"),
    ("us-aerosol", "readings-complete", 1, "finish", "leave", "finish-chamber"),
    ("us-pressure", "comfort-judged", 1, "ready", "connect", "connect"),
    ("us-pressure", "readings-complete", 1, "finish", "off", "finish-free"),
    ("us-pressure", "closed", 1, "done", "done", "done"),
])
def test_a_whole_test_leads_the_wearer_through_every_phase(protocol, kind, nth, phase, figure, say):
    state = state_of(protocol, until(whole(protocol), kind, nth))
    assert (state.phase, state.figure, state.say) == (phase, figure, say)


@pytest.mark.parametrize("protocol", OTHERS)
def test_every_code_has_a_figure_and_a_sentence_at_every_event(protocol):
    events = whole(protocol)
    for n in range(1, len(events) + 1):
        state = state_of(protocol, events[:n])
        assert state.say in LINES and state.figure in KINDS and state.method in RULES
        assert all(a.say in LINES and a.figure in KINDS for a in state.acts)


@pytest.mark.parametrize("protocol", OTHERS)
@pytest.mark.parametrize("reason", ["kit", "unwell"])
def test_no_hood_mist_or_taste_is_spoken_of_where_there_is_none(protocol, reason):
    events, made = whole(protocol), get(protocol)
    ends = [until(events, "run-started")]
    ends.append([*ends[0], event("stopped", ends[0][-1].at + 5000, "tester-1", "stop", reason=reason)])
    ends.append([*ends[1], event("hood-removed", ends[0][-1].at + 9000, "tester-1", "off")])
    if made.method in ("vapour", "smoke"):
        ends.append([*ends[0], event("noticed", ends[0][-1].at + 5000, "tester-1", "smelled")])
    told = []
    for some in [*ends, *(events[:n] for n in range(1, len(events) + 1))]:
        told.append(json.dumps(present(state_of(protocol, some), words.words("en"))))
    assert not [t for t in told if re.search(r"\b(hood|mist|tastes?|tasted|tongue|mouth|squeeze)\b", t, re.I)]


def test_every_way_has_figures_and_sentences_of_its_own():
    for way in WAYS.values():
        assert set(way.moves.values()) <= set(FIGURE) and {*way.figures.values(), *way.free.values()} <= set(KINDS)
        assert set(way.says.values()) <= set(LINES)
    assert set(WAYS) == {p.method for p in published().values()}


# --- noticing ---

@pytest.mark.parametrize(("protocol", "figure", "say"), [("us-vapour", "leave", "noticed-vapour"),
                                                         ("us-smoke", "off", "noticed-smoke")])
def test_noticing_in_the_run_stops_it_and_stays_so_when_closed(protocol, figure, say):
    events = whole(protocol, notice_in_run_s=100)
    noticed = state_of(protocol, until(events, "noticed"))
    assert (noticed.phase, noticed.figure, noticed.say, noticed.acts) == ("noticed", figure, say, ())
    out = [*until(events, "noticed"), event("hood-removed", noticed.server_now + 9000, "tester-1", "out")]
    assert (state_of(protocol, out).figure, state_of(protocol, out).say) == ("off", "noticed-free")
    end = state_of(protocol, events)
    assert (end.phase, end.closed) == ("noticed", True)


def test_noticing_before_the_exposure_is_no_end():
    worn = until(whole("us-vapour"), "seal-checked")
    early = [*worn, event("noticed", worn[-1].at + 1000, "tester-1", "early")]
    assert state_of("us-vapour", early).phase == "wear"


def test_a_notice_taken_back_gives_the_exercises_back():
    run = until(whole("us-smoke"), "exercise-started", 2)
    wrong = event("noticed", run[-1].at + 1000, "tester-1", "wrong")
    back = event("taken-back", run[-1].at + 3000, "tester-1", "back", event="wrong")
    assert state_of("us-smoke", [*run, wrong]).phase == "noticed"
    assert state_of("us-smoke", [*run, wrong, back]).phase == "exercises"


def test_a_wearer_who_notices_nothing_without_a_facepiece_waits_and_may_be_asked_again():
    events = until(whole("us-vapour", screened=False), "agent-screened")
    asked = state_of("us-vapour", events)
    assert (asked.phase, asked.figure, asked.say) == ("unsuited", "wait", "pause")
    again = [*events, event("agent-screened", events[-1].at + 400_000, "tester-1", "again", noticed=True)]
    assert state_of("us-vapour", again).phase == "donning"


def test_the_chamber_waits_as_long_as_the_vapour_needs():
    # Two minutes for the vapour to fill the chamber: 29 CFR 1910.134 App. A Part I.B.2(b)(7), from memory.
    events = until(whole("us-vapour"), "exposure-begun")
    state = state_of("us-vapour", events)
    assert (state.since, state.until) == (events[-1].at, events[-1].at + 120_000)
    assert "smell" in present(state, words.words("en"))["line_after"]


def test_smoke_keeps_the_eyes_shut_through_every_exercise():
    # 29 CFR 1910.134 App. A Part I.B.5(a)(5), from memory. A text to read is of no use then.
    acts = screen_acts(compile_score(get("us-smoke")), get("us-smoke"))
    assert all("shut" in a.details for a in acts if a.kind == "exercise")
    assert "talk-shut" in {a.say for a in acts} and not any("talk" in (a.details or ()) for a in acts)


# --- what measures ---

@pytest.mark.parametrize(("second", "say", "figure", "detail"), [
    (0, "normal", "normal", "Then look straight ahead and hold your breath."),
    (59.9, "normal", "normal", "Then look straight ahead and hold your breath."),
    (60, "hold-breath", "hold-breath", "Look straight ahead."), (69.9, "hold-breath", "hold-breath", "Look straight"),
    (70, "deep", "deep", "Then look"), (205, "hold-breath", "hold-breath", "Head turned fully to the left."),
    (212, "side", "side", "Then turn your head fully to the right"),
    (225, "hold-breath", "hold-breath", "Head turned fully to the right."), (240, "nod", "nod", "Then tilt"),
    (300, "hold-breath", "hold-breath", "Head tilted fully up."),
    (325, "hold-breath", "hold-breath", "Head tilted fully down."), (350, "talk", "talk", "Early in the morning"),
    (405, "grimace", "grimace", ""), (490, "redon", "redon", "You have a minute"), (615, "readings", "wear", "")])
def test_pressure_holds_the_breath_when_the_score_says(second, say, figure, detail):
    # 60 s of each exercise, then the breath held for 10 s: 29 CFR 1910.134 App. A Part I.C.6, from memory.
    run = until(whole("us-pressure"), "run-started")
    state = state_of("us-pressure", run, second)
    assert (state.say, state.figure) == (say, figure)
    told = present(state, words.words("en"))["detail"]
    assert told.startswith(detail) if say != "readings" else told
    assert detail or say == "readings" or not told


def test_donning_again_in_the_run_is_an_exercise_and_no_step_back():
    events = whole("us-pressure")
    assert state_of("us-pressure", until(events, "donned", 2)).phase == "exercises"


@pytest.mark.parametrize("protocol", [i for i in OTHERS if get(i).quantitative])
def test_acts_are_those_of_the_score_and_end_with_it(protocol):
    score = compile_score(get(protocol))
    acts = screen_acts(score, get(protocol))
    wanted = [(a.at, a.lasts) for a in score.acts if a.kind == "exercise" or a.air == "hold"]
    assert [(a.at, a.lasts) for a in acts[:-1]] == wanted
    assert (acts[-1].kind, acts[-1].at, acts[-1].say) == ("end", score.lasts, "readings")


def test_stepping_goes_on_through_every_exercise_where_the_protocol_says_so():
    # Stepping or walking through all exercises: HSE INDG479 (rev. 1, 2019), as in uk-counting.toml.
    for protocol, asked in (("uk-counting", True), ("us-counting", False)):
        run = present(state_of(protocol, until(whole(protocol), "run-started")), words.words("en"))
        told = ["Keep stepping on the spot" in a["detail"] for a in run["acts"] if a["kind"] == "exercise"]
        assert set(told) == {asked}


def test_what_a_protocol_says_of_an_exercise_is_known_in_the_wearers_words():
    wanted = {e.how for i in OTHERS for e in get(i).exercises if e.how} - {"Breath held"}
    assert wanted <= set(HOWS)
    for i in OTHERS:
        acts = screen_acts(compile_score(get(i)), get(i))
        assert all(d in DETAILS for a in acts if a.kind == "hold" for d in a.details)


@pytest.mark.parametrize("language", ["en", "es", "pl"])
def test_the_room_can_speak_every_exercise_and_its_sentence_without_a_hood(language):
    said = spoken(language)
    kinds = {e.kind for i in OTHERS for e in get(i).exercises}
    assert kinds | {"bend-free", "talk-shut", "hold-breath"} <= said.keys() and set(NAMES) <= said.keys()


# --- the page ---

@pytest.mark.parametrize(("protocol", "rule"), [("us-vapour", "if you smell anything"), ("us-smoke", "if it stings"),
                                                ("us-counting", "if you feel unwell"),
                                                ("us-pressure", "if you feel unwell")])
def test_the_page_has_the_rule_and_the_figures_of_its_method(protocol, rule):
    deps = FakeDeps(now=Clock(), language="en")
    deps.put(until(whole(protocol), "run-started"))
    page = Client(deps.app()).get(f"/w/{deps.pairings.code_for(TEST)}").text
    assert rule in page
    figure = re.search(r'<template id="figure-bend">(.*?)</template>', page, re.S)[1]
    assert OWN["figure-hood"][0] not in figure
    assert ('stroke-width="13"' in figure) is dress_of(get(protocol).method).line


SCRIPT = r"""
import { readFileSync } from "node:fs";
const source = readFileSync(process.argv[1], "utf8");
const part = source.slice(source.indexOf("export function moment"), source.indexOf("// --- the page"));
const { moment } = await import("data:text/javascript," + encodeURIComponent(part));
const { state, seconds } = JSON.parse(readFileSync(0, "utf8"));
console.log(JSON.stringify(seconds.map((s) => moment(state, state.run_started_at + s * 1000))));
"""


@pytest.mark.skipif(not shutil.which("node"), reason="no node")
def test_the_script_counts_down_to_the_breath_and_then_through_it():
    state = present(state_of("us-pressure", until(whole("us-pressure"), "run-started")), words.words("en"))
    done = subprocess.run(["node", "--input-type=module", "-e", SCRIPT, str(WEB / "static/wearer.js")], check=True,
                          capture_output=True, text=True,
                          input=json.dumps({"state": state, "seconds": [10, 63, 205, 227, 613, 630]}))
    before, held, left, turned, last, after = json.loads(done.stdout)
    assert (before["left"], before["lasts"], before["next"]["name"]) == (50, 60, "Holding your breath")
    assert (held["left"], held["lasts"], held["dosing"]) == (7, 10, True)
    assert held["line"].startswith("Hold your breath")
    assert left["next"]["detail"] == "Then turn your head fully to the right and hold your breath."
    assert (turned["left"], turned["place"]) == (8, "Exercise 4 of 11")
    assert last["left"] == 2 and last["next"] is None
    assert after["left"] is None and after["line"].startswith("That was the last exercise")
