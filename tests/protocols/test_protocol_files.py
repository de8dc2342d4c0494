"""A protocol file that cannot be right is refused: one error, the field and the mend named."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from sealwright.errors import BadInput, NotFound
from sealwright.protocols import compile_score, get, parse
from sealwright.protocols.shelf import source_text

GOOD = source_text("us-bitter")


def swap(old: str, new: str, count: int = 1) -> Callable[[str], str]:
    def edit(text: str) -> str:
        assert old in text
        return text.replace(old, new, count)
    return edit


WASHOUT = '[washout]\nvalue = 15\nunit = "min"'
BROKEN = [
    ("not-toml", swap("[washout]", "[washout"), "file.toml", "not TOML"),
    ("unknown-field", swap("[washout]", "[washout]\nmost = 3"), "file.toml: washout", "unknown field"),
    ("unknown-table", swap("[washout]", "[rinse]\nvalue = 3\n[washout]"), "file.toml: top level", "rinse"),
    ("missing-table", swap("[washout]", "[tolerances.washout]"), "file.toml: ", "field"),
    ("missing-field", swap(WASHOUT, '[washout]\nunit = "min"'), "file.toml: washout", "value"),
    ("text-for-number", swap(WASHOUT, '[washout]\nvalue = "15"\nunit = "min"'), "file.toml: washout.value", "Expected"),
    ("half-a-minute", swap(WASHOUT, '[washout]\nvalue = 15.5\nunit = "min"'), "file.toml: washout.value", "Expected"),
    ("wrong-unit", swap(WASHOUT, '[washout]\nvalue = 15\nunit = "hours"'), "file.toml: washout.unit", "hours"),
    ("squeeze-pace-in-s", swap('value = 800\nunit = "ms"', 'value = 1\nunit = "s"'), "file.toml: unit", "ms"),
    ("negative-tolerance", swap('[tolerances.dose_late_note]\nvalue = 5', '[tolerances.dose_late_note]\nvalue = -5'),
     "file.toml: tolerances.dose_late_note", "below zero"),
    ("no-pace", swap("value = 800", "value = 0"), "file.toml: squeeze_pace", "above zero"),
    ("unknown-movement", swap('kind = "deep"', 'kind = "cartwheel"'), "file.toml: exercises[1].kind", "cartwheel"),
    ("same-id-twice", swap('id = "deep"', 'id = "nod"'), "file.toml: exercises", "differ"),
    ("exercise-without-time", swap("seconds = 60", "seconds = 0"), "file.toml: exercises[0].seconds", "0"),
    ("levels-fall", swap("upto = 10", "upto = 25"), "file.toml: doses", "rise"),
    ("last-level-too-low", swap("upto = 30", "upto = 28"), "file.toml: doses", "last"),
    ("no-top-up", swap("top_up = 5", "top_up = 0"), "file.toml: doses[0]", "above zero"),
    ("rule-missing", swap("[rules.clogged]", "[rules.blocked]"), "file.toml: rules", "clogged"),
    ("unknown-agent", swap('agent = "bitter"', 'agent = "sour"'), "file.toml: agent", "sour"),
    ("empty", lambda text: "", "file.toml: top level", "missing"),
]


def test_the_published_text_parses_to_the_published_protocol() -> None:
    assert parse(GOOD, "file.toml") == get("us-bitter")


@pytest.mark.parametrize(("edit", "place", "found"), [b[1:] for b in BROKEN], ids=[b[0] for b in BROKEN])
def test_a_broken_file_is_refused(edit: Callable[[str], str], place: str, found: str) -> None:
    with pytest.raises(BadInput) as caught:
        parse(edit(GOOD), "file.toml")
    assert caught.value.place.startswith(place)
    assert found in caught.value.found
    assert caught.value.mend


def test_a_level_the_protocol_does_not_have() -> None:
    with pytest.raises(BadInput, match="level 15") as caught:
        compile_score(get("us-bitter"), 15)
    assert "10, 20, 30" in caught.value.mend


def test_a_protocol_that_is_not_there() -> None:
    with pytest.raises(NotFound) as caught:
        get("us-sour")
    assert "us-bitter" in caught.value.mend


def test_acts_of_a_score_follow_in_time_and_an_exercise_comes_before_the_dose_in_it() -> None:
    score = compile_score(get("uk-sweet"), 30)
    assert [a.at for a in score.acts] == sorted(a.at for a in score.acts)
    at_minute_one = [a.kind for a in score.acts if a.at == 60]
    assert at_minute_one == ["exercise", "dose"]
    assert next(a.exercise for a in score.acts if a.id == "dose-270") == "talk"
