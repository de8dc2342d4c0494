"""The wearer's screen: what it shows when, its words, its codes, its routes."""

from __future__ import annotations

import asyncio
import json
import re
import subprocess
import sys
from pathlib import Path

import pytest
from babel.messages.pofile import read_po
from tests.web.wearer_fake import TEST, WEARER, Client, FakeDeps, played, until

from sealwright.assess import event
from sealwright.pictures.figures import KINDS
from sealwright.protocols import compile_score, get, published
from sealwright.web import pairing, words
from sealwright.web.pairing import ALPHABET, GUESSES, Pairings, TooManyGuesses, grouped
from sealwright.web.wearer_screen import _Screen
from sealwright.web.wearer_sentences import LINES, NAMES, labels, present, spoken
from sealwright.web.wearer_state import DURING_DOSE, level_of, screen_acts, screen_state
from sealwright.web.wearer_ways import FIGURE

BITTER = get("us-bitter")
ROOT = Path(__file__).parents[2]


def state_of(events, now=None, offset_ms=0):
    level = level_of(events, BITTER)
    score = compile_score(BITTER, level) if level else None
    return screen_state(events, BITTER, score, events[-1].at if now is None else now, offset_ms)


# --- state ---

@pytest.mark.parametrize(("kind", "nth", "phase", "figure"), [
    ("opened", 1, "welcome", "wait"), ("nebuliser-loaded", 1, "welcome", "wait"),
    ("identity-confirmed", 1, "hood-on", "hood"), ("screening-started", 1, "screening", "taste"),
    ("squeezed", 1, "screening", "taste"), ("tasted", 1, "tasted-screening", "stop"),
    ("hood-removed", 1, "washout", "water"), ("nebuliser-loaded", 2, "washout", "water"),
    ("taste-gone", 1, "donning", "don"), ("donned", 1, "seal-check", "seal-check"), ("seal-checked", 1, "wear", "wear"),
    ("comfort-judged", 1, "ready", "hood-mask"), ("first-dose-begun", 1, "first-dose", "hold"),
    ("run-started", 1, "exercises", "normal"), ("exercises-ended", 1, "seal-break", "break-seal"),
    ("seal-broken", 1, "finish", "stop"), ("signed", 2, "finish", "stop"), ("closed", 1, "done", "done"),
])
def test_a_whole_test_leads_the_wearer_through_every_phase(kind, nth, phase, figure):
    state = state_of(until(played(), kind, nth))
    assert (state.phase, state.figure) == (phase, figure)
    assert state.closed is (kind == "closed")


def test_tasting_in_the_run_stops_and_sends_to_the_water_and_stays_so_when_closed():
    events = played(taste_in_run_s=100)
    tasted = state_of(until(events, "tasted", 2))
    assert (tasted.phase, tasted.figure, tasted.say, tasted.acts) == ("tasted", "stop", "tasted", ())
    off = state_of(until(events, "hood-removed", 2))
    assert (off.figure, off.say) == ("water", "tasted-hood-off")
    end = state_of(events)
    assert (end.phase, end.closed) == ("tasted", True)


def test_a_taste_tapped_in_error_and_taken_back_gives_the_exercises_back():
    run = until(played(), "exercise-started", 2)
    wrong = event("tasted", run[-1].at + 1000, "tester-1", "wrong")
    back = event("taken-back", run[-1].at + 3000, "tester-1", "back", event="wrong")
    assert state_of([*run, wrong]).phase == "tasted"
    assert state_of([*run, wrong, back]).phase == "exercises"


def test_a_wearer_who_never_tastes_is_asked_out_of_the_hood():
    events = played(taste_at_squeeze=None)
    asked = state_of(until(events, "not-tasted", 3))
    assert (asked.phase, asked.figure) == ("unsuited", "stop")
    assert state_of(until(events, "not-tasted", 2)).phase == "screening"
    assert state_of(until(events, "hood-removed", 1)).say == "unsuited-hood-off"


@pytest.mark.parametrize(("reason", "say"), [("unwell", "unwell"), ("breathless", "unwell"), ("kit", "stopped")])
def test_a_stopped_test_takes_care_of_a_wearer_who_is_unwell(reason, say):
    run = until(played(), "exercise-started", 3)
    stopped = [*run, event("stopped", run[-1].at + 5000, "tester-1", "stop", reason=reason)]
    assert state_of(stopped).say == say
    off = [*stopped, event("hood-removed", run[-1].at + 9000, "tester-1", "off")]
    assert state_of(off).say == f"{say}-hood-off"


def test_what_goes_back_a_step_goes_back_on_the_screen():
    worn = until(played(), "donned")
    leak = [*worn, event("seal-checked", worn[-1].at + 9000, "tester-1", "leak", passed=False)]
    assert state_of(leak).phase == "donning"
    off = until(played(), "hood-removed")
    still = [*off, event("taste-gone", off[-1].at + 400_000, "tester-1", "still", gone=False)]
    assert state_of(still).phase == "washout"
    seal = until(played(), "seal-checked")
    sore = [*seal, event("comfort-judged", seal[-1].at + 400_000, "tester-1", "sore", comfortable=False)]
    assert (state_of(sore).phase, state_of(sore).figure) == ("pause", "wait")


def test_waits_are_those_of_the_conduct():
    # 15 min of washout, of which the last 8 may run beside donning and 5 min of wear: us-bitter.toml (washout: common
    # practice, no source; wear: 29 CFR 1910.134 App. A Part I.A.12, from memory) and the conduct's lead of 3 min.
    events = played()
    tasted = next(e.at for e in events if e.__struct_config__.tag == "tasted")
    donned = next(e.at for e in events if e.__struct_config__.tag == "donned")
    wash, wear = state_of(until(events, "hood-removed")), state_of(until(events, "seal-checked"))
    ready = state_of(until(events, "comfort-judged"))
    assert (wash.since, wash.until) == (tasted, tasted + 7 * 60_000)
    assert (wear.since, wear.until) == (donned, donned + 5 * 60_000)
    assert ready.until == tasted + 15 * 60_000


def test_instants_are_the_servers_whatever_the_rooms_clock_says():
    run = until(played(), "run-started")
    state = state_of(run, now=run[-1].at - 90_000 + 200_000, offset_ms=90_000)
    assert state.run_started_at == run[-1].at - 90_000
    assert (state.say, state.figure) == ("nod", "nod")  # second 200 of exercises of 60 s: the fourth
    wash = until(played(), "hood-removed")
    assert state_of(wash, offset_ms=-5000).until == state_of(wash).until + 5000


@pytest.mark.parametrize(("second", "say"), [(-3, "normal"), (0, "normal"), (29.9, "normal"), (30, "hold-still"),
                                             (33.9, "hold-still"), (34, "normal"), (60, "hold-still"), (64, "deep"),
                                             (125, "side"), (200, "nod"), (241, "pause-talking"), (250, "talk"),
                                             (302, "hold-hem"), (310, "bend"), (400, "normal"), (420, "seal-break"),
                                             (900, "seal-break")])
def test_the_run_is_known_at_every_second(second, say):
    # Top-ups of 5 squeezes at 800 ms each last 4 s, every 30 s: 29 CFR 1910.134 App. A Part I.B.4(b)(9) for the 30 s.
    run = until(played(), "run-started")
    assert state_of(run, now=run[-1].at + round(second * 1000)).say == say


def test_a_pause_in_the_room_moves_the_run_on_the_screen():
    run = until(played(), "exercise-started", 2)
    late = event("exercise-started", run[-1].at + 67_000, "tester-1", "late", exercise="side")
    assert state_of([*run, late]).run_started_at == late.at - 120_000


def test_acts_are_those_of_the_score():
    for protocol in published().values():
        for dose in getattr(protocol, "doses", ()):
            score = compile_score(protocol, dose.level)
            acts = screen_acts(score, protocol)
            told = {"exercise", "dose", "seal-break"}
            assert [(a.at, a.lasts) for a in acts] == [(a.at, a.lasts) for a in score.acts if a.kind in told]


def test_every_code_has_a_figure_and_a_sentence():
    assert set(FIGURE.values()) | set(DURING_DOSE.values()) <= set(KINDS)
    for options in ({}, {"taste_in_run_s": 77}, {"taste_at_squeeze": None}, {"taste_at_squeeze": 23}):
        events = played(**options)
        for n in range(1, len(events) + 1):
            state = state_of(events[:n])
            assert state.say in LINES and state.figure in KINDS
            assert all(a.say in LINES and a.figure in KINDS for a in state.acts)


def test_after_a_restart_the_offset_is_the_one_on_record():
    deps = FakeDeps(now=Clock(), language="en")
    run = until(played(), "run-started")
    checked = event("clock-checked", run[-1].at, "tester-1", "checked", offset_ms=90_000)
    stepped = event("clock-checked", run[-1].at, "tester-1", "stepped", stepped_ms=4000)
    deps.put([*run, checked, stepped])
    path = f"/w/{deps.pairings.code_for(TEST)}/state"
    assert Client(deps.app()).get(path).json()["run_started_at"] == run[-1].at - 90_000
    deps.offset = 91_000
    assert Client(deps.app()).get(path).json()["run_started_at"] == run[-1].at - 91_000


# --- words ---

LANGUAGES = [tag for tag in words.available_languages() if tag != words.SOURCE]
PLACE = re.compile(r"%\(\w+\)\w")


def template():
    with (ROOT / "src/sealwright/locale/wearer.pot").open("rb") as file:
        return read_po(file)


def forms(value):
    return list(value) if isinstance(value, list | tuple) else [value]


def test_english_spanish_and_polish_are_there():
    assert words.available_languages() == {"en": "English", "es": "Español", "pl": "Polski"}


@pytest.mark.parametrize("language", LANGUAGES)
def test_every_message_is_translated_with_the_same_placeholders(language):
    with words.catalogue_of(language).open("rb") as file:
        catalogue = read_po(file, locale=language)
    wanted = {m.id for m in template() if m.id}
    assert {m.id for m in catalogue if m.id} == wanted
    for message in catalogue:
        if not message.id:
            continue
        said = forms(message.string)
        assert all(s.strip() for s in said) and "fuzzy" not in message.flags, message.id
        assert len(said) == (catalogue.num_plurals if isinstance(message.id, tuple) else 1), message.id
        for one in said:
            assert sorted(PLACE.findall(one)) == sorted(PLACE.findall(forms(message.id)[-1])), message.id
        assert not list(message.check(catalogue)), message.id


def test_the_template_is_what_pybabel_extracts_now(tmp_path):
    pot = tmp_path / "now.pot"
    subprocess.run([sys.executable, "-m", "babel.messages.frontend", "-q", "extract", "-F", "babel.cfg", "-k", "mark",
                    "-k", "count:1,2", "-o", str(pot), "."], cwd=ROOT, check=True, capture_output=True)
    with pot.open("rb") as file:
        assert {m.id for m in read_po(file) if m.id} == {m.id for m in template() if m.id}


def test_every_sentence_by_code_is_in_the_template():
    wanted = {m.id for m in template()}
    assert set(LINES.values()) | set(NAMES.values()) <= wanted


def test_plural_forms_follow_each_language():
    # CLDR plural rules: Polish has one, few and many; English and Spanish one and other (from memory).
    def seconds(language):
        return [labels(words.words(language))["seconds"][n] for n in (0, 1, 2, 5, 12, 22, 25)]

    assert seconds("en") == ["seconds", "second", *["seconds"] * 5]
    assert seconds("es") == ["segundos", "segundo", *["segundos"] * 5]
    assert seconds("pl") == ["sekund", "sekunda", "sekundy", "sekund", "sekund", "sekundy", "sekund"]


@pytest.mark.parametrize(("tag", "got"), [("pl", "pl"), ("pl-PL", "pl"), ("es_MX", "es"), ("en-GB", "en"), ("xx", "en"),
                                          ("", "en"), ("../../etc", "en"), ("ar", "en")])
def test_a_language_we_lack_is_english(tag, got):
    assert words.words(tag).language == got


def test_right_to_left_is_known_from_the_language():
    from gettext import NullTranslations

    assert words.Words("ar", NullTranslations()).direction == "rtl"
    assert words.words("pl").direction == "ltr"


@pytest.mark.parametrize("language", ["en", "es", "pl"])
def test_the_room_can_speak_every_exercise_and_dose(language):
    said = spoken(language)
    kinds = {e.kind for p in published().values() for e in p.exercises} | {"grimace", "jog"}
    doses = {e.during_dose for p in published().values() for e in p.exercises} - {""}
    assert kinds | doses | {"reading"} <= said.keys()
    assert all(said.values()) and len(said["reading"].split()) > 20


# --- codes ---

class Clock:
    def __init__(self):
        self.ms = 1_000_000

    def __call__(self):
        return self.ms


def test_a_code_is_six_plain_characters_and_stays_with_its_test():
    codes = Pairings(Clock())
    code = codes.code_for("a")
    assert len(code) == 6 and set(code) <= set(ALPHABET) and not set("0O1IL") & set(ALPHABET)
    assert codes.code_for("a") == code != codes.code_for("b")
    assert grouped("ABCDEF") == "ABC DEF"
    assert codes.test_for(f" {code[:3].lower()}-{code[3:].lower()} ") == "a"
    assert codes.test_for("nothing") is None


def test_a_code_that_is_taken_is_not_given_twice():
    made = iter(["222222", "222222", "333333"])
    codes = Pairings(Clock(), lambda: next(made))
    assert [codes.code_for("a"), codes.code_for("b")] == ["222222", "333333"]


def test_with_a_secret_codes_outlive_a_restart_of_the_server() -> None:
    before = Pairings(Clock(), secret="one installation")
    code = before.code_for("t-1")
    after = Pairings(Clock(), secret="one installation", still_open=lambda: ["t-0", "t-1"])
    assert after.test_for(code) == "t-1"
    assert Pairings(Clock(), secret="another", still_open=lambda: ["t-1"]).test_for(code) is None
    assert len({before.code_for(f"t-{n}") for n in range(500)}) == 500



def test_codes_end_with_the_test_and_after_twelve_hours():
    clock = Clock()
    codes = Pairings(clock)
    a, b = codes.code_for("a"), codes.code_for("b")
    codes.close("a")
    assert codes.test_for(a) is None and codes.test_for(b) == "b"
    clock.ms += 12 * 3_600_000 - 1
    assert codes.test_for(b) == "b"
    clock.ms += 1
    assert codes.test_for(b) is None
    assert codes.code_for("b") != b


def test_wrong_guesses_are_throttled_by_address_and_a_paired_screen_carries_on():
    clock = Clock()
    codes = Pairings(clock)
    code = codes.code_for("a")
    assert codes.guess(code, "10.0.0.1") == "a"
    for _ in range(GUESSES):
        assert codes.guess("222222", "10.0.0.1") is None
    with pytest.raises(TooManyGuesses) as refused:
        codes.guess("222222", "10.0.0.1")
    assert refused.value.status == 429 and "ten minutes" in refused.value.mend
    with pytest.raises(TooManyGuesses):
        codes.guess(codes.code_for("b"), "10.0.0.1")  # A right one tells nothing either.
    assert codes.guess(code, "10.0.0.1") == "a"
    assert codes.guess(codes.code_for("b"), "10.0.0.2") == "b"
    clock.ms += pairing.GUESS_WINDOW_MS + 1
    assert codes.guess(codes.code_for("b"), "10.0.0.1") == "b"


# --- routes ---

@pytest.fixture
def deps():
    deps = FakeDeps(now=Clock(), language="pl")
    deps.put(until(played(), "hood-removed"))
    return deps


def test_typing_the_code_leads_to_the_screen(deps):
    client = Client(deps.app())
    asked = client.get("/w", headers={"accept-language": "de, es;q=0.8"})
    assert asked.status_code == 200 and 'lang="es" dir="ltr"' in asked.text
    code = deps.pairings.code_for(TEST)
    sent = client.post("/w", data={"code": f"{code[:3]} {code[3:]}".lower()})
    assert (sent.status_code, sent.headers["location"]) == (303, f"/w/{code}")


@pytest.mark.parametrize("form", [{"code": "ZZZ ZZZ"}, {"code": ""}, {}, {"code": "x" * 5000}, {"code": "<b>&é\0"}])
def test_a_wrong_code_is_asked_for_again(deps, form):
    answer = Client(deps.app()).post("/w?lang=en", data=form)
    assert answer.status_code == 404 and "That code is not open" in answer.text


def test_guessing_on_is_answered_429_on_every_route(deps):
    client = Client(deps.app())
    for _ in range(GUESSES):
        assert client.get("/w/ZZZZZZ/state").status_code == 404
    code = deps.pairings.code_for(TEST)
    page = client.get(f"/w/{code}", headers={"accept-language": "pl"})
    assert page.status_code == 429 and "10 minut." in page.text and page.headers["retry-after"] == "600"
    for route in ("state", "stream"):
        answer = client.get(f"/w/{code}/{route}")
        assert answer.status_code == 429 and set(answer.json()) == {"error", "found", "place", "mend"}


def test_no_name_and_no_ledger_id_is_on_the_page(deps):
    deps.put(until(played(), "exercise-started", 3))
    client, code = Client(deps.app()), deps.pairings.code_for(TEST)
    ids = {e.id for e in deps.events} | {TEST, WEARER, "tester-1", "fp-1", "room-1"}
    for path in (f"/w/{code}", f"/w/{code}/state"):
        text = client.get(path).text
        assert not [i for i in ids if i in text]


def test_the_page_is_in_the_wearers_language_or_the_one_asked_for(deps):
    client, code = Client(deps.app()), deps.pairings.code_for(TEST)
    page = client.get(f"/w/{code}").text
    assert '<html lang="pl" dir="ltr">' in page and "Proszę przepłukać usta" in page
    assert client.get(f"/w/{code}/state?lang=es").json()["line"].startswith("Enjuáguese")
    assert client.get(f"/w/{code}/state?lang=tlh").json()["language"] == "en"


def test_pages_need_no_inline_script(deps):
    client, code = Client(deps.app()), deps.pairings.code_for(TEST)
    for page in (client.get("/w").text, client.get(f"/w/{code}").text):
        scripts = re.findall(r"<script([^>]*)>", page)
        assert scripts and all("src=" in s or 'type="application/json"' in s for s in scripts)
        assert not re.search(r"\son\w+=", page) and "javascript:" not in page
        assert not re.search(r"(src|href)=\"(https?:)?//", page)


def test_closing_shows_the_end_once_and_ends_the_code(deps):
    client, code = Client(deps.app()), deps.pairings.code_for(TEST)
    deps.put(played())
    last = client.get(f"/w/{code}/state").json()
    assert (last["phase"], last["closed"]) == ("done", True)
    assert client.get(f"/w/{code}/state").status_code == 404
    assert client.get(f"/w/{code}").status_code == 404


def told(chunk):
    lines = dict(line.split(": ", 1) for line in chunk.strip().splitlines())
    return lines["event"], json.loads(lines["data"])


def test_the_stream_tells_the_state_then_beats_then_what_changed_then_ends():
    async def listen():
        deps = FakeDeps(now=Clock())
        whole = played(taste_in_run_s=100)
        deps.put(until(whole, "run-started"))
        news = _Screen(deps, 0.01)._news(TEST, None)
        kind, first = told(await anext(news))
        assert (kind, first["phase"], len(first["acts"])) == ("state", "exercises", 22)
        assert told(await anext(news)) == ("beat", {"server_now": deps.now()})
        deps.put(until(whole, "tasted", 2))
        kind, second = told(await anext(news))
        assert (kind, second["phase"]) == ("state", "tasted")
        deps.put(whole)
        kind, last = told(await anext(news))
        assert (kind, last["closed"]) == ("state", True)
        assert [chunk async for chunk in news] == []
        await asyncio.sleep(0)
        assert not deps._waiting  # Nothing of a closed stream is left behind.

    asyncio.run(listen())


def test_an_event_wakes_the_stream_without_waiting_for_a_beat():
    async def listen():
        deps = FakeDeps(now=Clock())
        deps.put(until(played(), "opened"))
        news = _Screen(deps, 3600)._news(TEST, None)
        await anext(news)
        waiting = asyncio.ensure_future(anext(news))
        await asyncio.sleep(0)
        deps.put(until(played(), "screening-started"))
        assert told(await asyncio.wait_for(waiting, 30))[1]["phase"] == "screening"
        await news.aclose()

    asyncio.run(listen())


def test_what_is_told_holds_words_for_every_act():
    run = until(played(), "run-started")
    payload = present(state_of(run), words.words("pl"))
    exercises = [a for a in payload["acts"] if a["kind"] == "exercise"]
    assert [a["place"] for a in exercises][::6] == ["Ćwiczenie 1 z 7", "Ćwiczenie 7 z 7"]
    assert all(a["line"] and (a["name"] or a["kind"] == "dose") for a in payload["acts"])
