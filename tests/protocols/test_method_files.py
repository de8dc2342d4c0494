"""Files of the methods beside taste: what cannot be right is refused, the field and the mend named."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from sealwright.errors import BadInput, NotFound
from sealwright.protocols import Protocol, compile_score, get, parse, published, rule_set, taste
from sealwright.protocols.shelf import RULES, source_text

Edit = Callable[[str], str]


def swap(old: str, new: str, count: int = 1) -> Edit:
    def edit(text: str) -> str:
        assert old in text
        return text.replace(old, new, count)
    return edit


def without(table: str) -> Edit:
    """A table (or the first of an array of tables) left out."""
    def edit(text: str) -> str:
        before, found, after = text.partition(table + "\n")
        assert found
        return before + after.partition("\n[")[1].lstrip("\n") + after.partition("\n[")[2]
    return edit


BROKEN = [
    ("us-vapour", "no-chamber", without("[chamber]"), "file.toml: top level", "chamber"),
    ("us-vapour", "no-challenge", without("[challenge]"), "file.toml: top level", "challenge"),
    ("us-vapour", "chamber-rule-missing", swap("[rules.chamber]", "[rules.tent]"), "file.toml: rules", "chamber"),
    ("us-vapour", "settle-in-hours", swap('value = 2\nunit = "min"', 'value = 2\nunit = "hours"'),
     "file.toml: settle.unit", "hours"),
    ("us-vapour", "negative-wait", swap('[repeat_wait]\nvalue = 5', '[repeat_wait]\nvalue = -5'),
     "file.toml: repeat_wait.value", "below zero"),
    ("us-vapour", "another-agent", swap('agent = "vapour"', 'agent = "bitter"'), "file.toml: agent", "bitter"),
    ("us-vapour", "doses", swap("[blank]", '[[doses]]\nlevel = 1\nsource = "x"\n[blank]'), "file.toml: top level",
     "doses"),
    ("us-smoke", "no-flow", without("[flow]"), "file.toml: top level", "flow"),
    ("us-smoke", "hood-rule-missing", swap("[rules.no-hood]", "[rules.hood]"), "file.toml: rules", "no-hood"),
    ("us-smoke", "air-rule-missing", swap("[rules.ventilated]", "[rules.airy]"), "file.toml: rules", "ventilated"),
    ("us-smoke", "another-agent", swap('agent = "smoke"', 'agent = "vapour"'), "file.toml: agent", "vapour"),
    ("us-counting", "no-pass-rule", without("[pass_rule]"), "file.toml: top level", "pass_rule"),
    ("us-counting", "pass-by-luck", swap('value = "overall"', 'value = "best"'), "file.toml: pass_rule.value", "best"),
    ("us-counting", "level-of-nothing", swap("value = 500", "value = 0"), "file.toml: pass_levels[2].value",
     "no fit factor"),
    ("us-counting", "level-with-a-fraction", swap("value = 500", "value = 500.5"), "file.toml: pass_levels[2].value",
     "Expected"),
    ("us-counting", "kind-without-level", without("[[pass_levels]]"), "file.toml: pass_levels",
     "one level for each kind"),
    ("us-counting", "level-without-kind", swap('kinds = ["filtering", "half", "full"]', 'kinds = ["half", "full"]'),
     "file.toml: pass_levels", "one level for each kind"),
    ("us-counting", "sample-of-nobody", swap('exercise = "deep"', 'exercise = "deeper"'),
     "file.toml: samples[3].exercise", "deeper"),
    ("us-counting", "sample-without-end", swap("lasts = 45", "lasts = 0"), "file.toml: samples[1]", "must last"),
    ("us-counting", "samples-overlap", swap("lasts = 45", "lasts = 50"), "file.toml: samples[2]", "follow one another"),
    ("us-counting", "exercise-unsampled", swap('exercise = "talk"\n', ""), "file.toml: samples", "talk"),
    ("us-counting", "air-unknown", swap('air = "mask"', 'air = "outside"'), "file.toml: samples[1].air", "outside"),
    ("us-counting", "instrument-rule-missing", swap("[rules.instrument-sound]", "[rules.instrument]"),
     "file.toml: rules", "instrument-sound"),
    ("us-counting", "taste-rule-not-needed-but-level-is", swap("[rules.pass-level]", "[rules.tasted-fails]"),
     "file.toml: rules", "pass-level"),
    ("us-counting", "purge-without-unit-of-time", swap('[purge]\nvalue = 5\nunit = "s"',
     '[purge]\nvalue = 5\nunit = "l"'), "file.toml: purge.unit", "'l'"),
    ("us-counting", "breath-held-where-particles-are-counted", swap('air = "mask"', 'air = "hold"'),
     "file.toml: samples[1].air", "not sampled by the method counting"),
    ("us-counting", "sample-of-another-exercise", swap('at = 60\nlasts = 45\nexercise = "deep"',
     'at = 60\nlasts = 45\nexercise = "side"'), "file.toml: samples[3]", "60 to 105 s is outside side"),
    ("us-counting", "purge-in-minutes", swap('[purge]\nvalue = 5\nunit = "s"', '[purge]\nvalue = 1\nunit = "min"'),
     "file.toml: purge.unit", "not the unit it is reckoned in"),
    ("us-pressure", "flow-in-litres", swap('value = 53800\nunit = "ml/min"', 'value = 54\nunit = "l/min"'),
     "file.toml: inspiratory_flow.unit", "'l/min'"),
    ("us-pressure", "pressure-in-mm", swap('value = 150\nunit = "tenths of a mm of water"',
     'value = 15\nunit = "mm of water"'), "file.toml: pressure.unit", "'mm of water'"),
    ("us-pressure", "mask-air-where-the-breath-is-held", swap('air = "hold"', 'air = "mask"'),
     "file.toml: samples[0].air", "not sampled by the method pressure"),
    ("us-vapour", "towel-in-ml", swap('value = 750\nunit = "µl"', 'value = 1\nunit = "ml"'),
     "file.toml: challenge.unit", "'ml'"),
    ("us-aerosol", "peak-of-unknown-kind", swap('[[peaks]]\nkind = "half"', '[[peaks]]\nkind = "hood"'),
     "file.toml: peaks[0].kind", "hood"),
    ("us-pressure", "no-pressure", without("[pressure]"), "file.toml: top level", "pressure"),
    ("us-pressure", "breath-without-unit-of-time", swap('value = 10\nunit = "s"', 'value = 10\nunit = "breaths"'),
     "file.toml: breath_hold.unit", "breaths"),
    ("us-pressure", "no-hold", without("[[samples]]"), "file.toml: samples", "normal-1"),
    ("us-pressure-redon", "movement-unknown", swap('kind = "redon"', 'kind = "reseat"'), "file.toml: exercises[3].kind",
     "reseat"),
    ("uk-counting", "method-unknown", swap('method = "counting"', 'method = "guessing"'), "file.toml: method",
     "guessing"),
    ("uk-counting", "another-methods-class", swap('method = "counting"', 'method = "pressure"'), "file.toml: ", ""),
    ("uk-counting", "rule-set-unknown", swap('rule_set = "uk"', 'rule_set = "moon"'), "file.toml: rule_set", "moon"),
]


@pytest.mark.parametrize(("protocol", "edit", "place", "found"), [(b[0], *b[2:]) for b in BROKEN],
                         ids=[f"{b[0]}-{b[1]}" for b in BROKEN])
def test_a_broken_file_is_refused(protocol: str, edit: Edit, place: str, found: str) -> None:
    with pytest.raises(BadInput) as caught:
        parse(edit(source_text(protocol)), "file.toml")
    assert caught.value.place.startswith(place)
    assert found in caught.value.found
    assert caught.value.mend


@pytest.mark.parametrize("protocol", published())
def test_the_published_text_parses_to_the_published_protocol(protocol: str) -> None:
    assert parse(source_text(protocol), "file.toml") == get(protocol)


@pytest.mark.parametrize("protocol", ["us-vapour", "us-smoke", "us-counting", "us-pressure"])
def test_only_taste_has_levels(protocol: str) -> None:
    assert compile_score(get(protocol)).level == 0
    with pytest.raises(BadInput, match="no levels") as caught:
        compile_score(get(protocol), 10)
    assert caught.value.place == "level"
    with pytest.raises(NotFound, match="no taste protocol") as other:
        taste(protocol)
    assert "us-bitter" in other.value.mend and protocol not in other.value.mend


def test_a_rule_set_that_is_not_there() -> None:
    with pytest.raises(NotFound, match="moon") as caught:
        rule_set("moon")
    assert "anz, ca, uk, us" in caught.value.mend


@pytest.mark.parametrize("protocol", published().values(), ids=lambda p: p.id)
def test_rules_beyond_those_asked_are_few_and_all_asked_are_there(protocol: Protocol) -> None:
    assert RULES[protocol.method] <= protocol.rules.keys()
    assert protocol.rules.keys() - RULES[protocol.method] <= {"breath-held"}
