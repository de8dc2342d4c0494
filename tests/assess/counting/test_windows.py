"""Windows proposed for invented recordings whose true windows are known, from a fit factor of 10 to 20,000."""

from __future__ import annotations

import importlib.util
import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np
import pytest

from sealwright.assess.counting import Stream, Trace, factors, measure
from sealwright.assess.counting.windows import from_marks, propose


def _load() -> ModuleType:
    """The neighbouring file of invented recordings."""
    spec = importlib.util.spec_from_file_location("recorded", Path(__file__).with_name("recorded.py"))
    assert spec and spec.loader
    module = importlib.util.module_from_spec(spec)
    sys.modules["recorded"] = module
    spec.loader.exec_module(module)
    return module


recorded = _load()
SEEDS = range(6)
BASES = (10.0, 100.0, 1000.0, 20000.0)


def some_factors(seed: int, base: float, count: int) -> np.ndarray:
    """Fit factors of the exercises about `base`, some of them alike."""
    chance = np.random.default_rng(1000 + seed)
    return np.clip(base * 10 ** chance.normal(0, 0.4, count), base * 0.6, base * 4)


def share(make: Callable[..., Any], base: float, name: str, airs: str = "mask ambient", **how: Any) -> float:
    """Mean share of windows found within 3 s over some seeds."""
    count, shares = len(recorded.exercises_of(name)), []
    for seed in SEEDS:
        r = make(seed, some_factors(seed, base, count), name=name, **how)
        got = propose(r.trace, exercises=r.exercises, two_channels=make is recorded.both)
        shares.append(recorded.found(r, got.windows, airs=airs))
    return float(np.mean(shares))


@pytest.mark.parametrize("base", BASES)
@pytest.mark.parametrize("name", ["us-counting", "uk-counting", "us-counting-short"])
def test_one_channel(name: str, base: float) -> None:
    assert share(recorded.alternating, base, name) >= 0.9


@pytest.mark.parametrize("how", [{"drift": 0.5}, {"last_ambient": False}, {"lead_s": 90.0, "tail_s": 40.0},
                                 {"outside": 300.0}, {"washout_s": 3.0}, {"step_s": 0.2}],
                         ids=["slow drift", "no last ambient", "more ambient", "thin air", "slow washout", "5 Hz"])
@pytest.mark.parametrize("base", BASES)
def test_one_channel_under_difficulties(base: float, how: dict[str, Any]) -> None:
    assert share(recorded.alternating, base, "us-counting", **how) >= 0.9


@pytest.mark.parametrize("base", BASES)
def test_one_channel_with_spikes(base: float) -> None:
    assert share(recorded.alternating, base, "us-counting", spikes=6) >= 0.9


@pytest.mark.parametrize("base", BASES)
def test_two_channels_recorded_for_the_test_alone(base: float) -> None:
    assert share(recorded.both, base, "us-aerosol", airs="mask") >= 0.95


@pytest.mark.parametrize("base", BASES[:3])
def test_two_channels_with_the_facepiece_off_before_and_after(base: float) -> None:
    assert share(recorded.both, base, "us-aerosol", airs="mask", lead_s=60, tail_s=45, worn=False) >= 0.95


def test_one_exercise_like_its_neighbours_is_placed_by_duration_and_told() -> None:
    r = recorded.both(3, [50, 200, 200, 50, 300, 60, 300, 60], clump=0.1)
    got = propose(r.trace, exercises=r.exercises, two_channels=True)
    assert recorded.found(r, got.windows, airs="mask") == 1
    assert "reckoned duration" in got.text and "Head side to side" in got.text and got.sure < 1


def test_worn_for_longer_than_the_exercises_is_less_sure() -> None:
    r = recorded.both(1, [20, 200, 50, 500, 100, 30, 300, 60], lead_s=80, tail_s=80)
    exact = recorded.both(1, [20, 200, 50, 500, 100, 30, 300, 60])
    long, short = (propose(x.trace, exercises=x.exercises, two_channels=True) for x in (r, exact))
    assert long.sure <= short.sure / 2 and "say when the first one began" in long.text


def test_nothing_counted_in_the_mask_at_all() -> None:
    r = recorded.alternating(1, [1e9] * 8, washout_s=0.2)
    got = propose(r.trace, exercises=r.exercises, two_channels=False)
    assert recorded.found(r, [w for w in got.windows if w.air == "ambient"], airs="ambient") == 1
    assert recorded.found(r, got.windows, airs="mask") >= 0.75
    assert measure(r.trace, got.windows, pass_level=100, pass_rule="overall", purge_s=5).passed


def test_leading_stretches_of_mask_air_are_left_out() -> None:
    r = recorded.alternating(2, [100] * 8)
    mask = np.random.default_rng(0).poisson(40, 150).astype(float)  # five minutes' comfort wear, half of it recorded
    room = np.random.default_rng(1).poisson(5000, 40).astype(float)
    values = np.concatenate([room, mask, r.trace.mask.values])
    stream = Stream(np.arange(1.0, len(values) + 1), values)
    trace = Trace(mask=stream, ambient=stream, unit="count", flow_cm3_s=1.667, step_s=1)
    got = propose(trace, exercises=r.exercises, two_channels=False)
    first = next(w for w in got.windows if w.exercise == "normal-1")
    assert first.start_s == pytest.approx(190 + 15, abs=3) and "left out" in got.text


def test_factors_of_the_proposed_windows_are_those_of_the_true_ones() -> None:
    r = recorded.alternating(5, [80, 120, 300, 150, 90, 60, 200, 100])
    got = propose(r.trace, exercises=r.exercises, two_channels=False)
    ours, true = factors(r.trace, got.windows, 5.0), factors(r.trace, r.windows, 5.0)
    assert ours == pytest.approx(true, rel=0.1)


@pytest.mark.parametrize("values", [np.full(600, 50.0), np.zeros(600), np.full(600, np.nan), np.full(10, 5.0)])
def test_air_that_cannot_be_told_apart_gives_no_windows_and_says_so(values: np.ndarray) -> None:
    stream = Stream(np.arange(1.0, len(values) + 1), values)
    trace = Trace(mask=stream, ambient=stream, unit="count", flow_cm3_s=None, step_s=1)
    got = propose(trace, exercises=recorded.exercises_of("us-counting"), two_channels=False)
    assert got.windows == () and got.sure == 0 and ("told apart" in got.text or "Too few" in got.text)
    two = propose(Trace(mask=stream, ambient=Stream(stream.t, values * 0), unit="count", flow_cm3_s=None, step_s=1),
                  exercises=recorded.exercises_of("us-aerosol"), two_channels=True)
    assert two.windows == () and two.sure == 0


@pytest.mark.parametrize("seed", range(5))
def test_noise_gives_windows_within_the_trace_or_none(seed: int) -> None:
    values = np.random.default_rng(seed).lognormal(3, 3, 400)
    stream = Stream(np.arange(1.0, 401), values)
    for two in (False, True):
        trace = Trace(mask=stream, ambient=Stream(stream.t, values[::-1].copy()) if two else stream, unit="per-cm3",
                      flow_cm3_s=None, step_s=1)
        got = propose(trace, exercises=recorded.exercises_of("us-counting"), two_channels=two)
        assert all(0 <= w.start_s < w.end_s <= 400 for w in got.windows) and 0 <= got.sure <= 1


def test_where_the_file_says_which_air_nothing_is_searched() -> None:
    r = recorded.alternating(7, [1.1] * 8)
    assert propose(r.trace, exercises=r.exercises, two_channels=False).sure < 0.5
    got = propose(r.trace, exercises=r.exercises, two_channels=False, air=r.air)
    rooms = [w for w in got.windows if w.air == "ambient"]
    assert recorded.found(r, rooms, within_s=1e-6, airs="ambient") == 1 and recorded.found(r, got.windows) >= 0.85


@dataclass
class Said:
    start_s: float
    end_s: float
    text: str


def test_marks_of_two_channels_give_both_airs_over_the_same_seconds() -> None:
    exercises = recorded.exercises_of("us-counting")
    t = np.arange(0.0, 300)
    said = [Said(10, 69, "Normal breathing"), Said(70, 129, " DEEP breathing "), Said(130, 140, "coffee"),
            Said(150, 209, "normal breathing"), Said(210, 224, "grimace")]
    got = from_marks(t, said, exercises=exercises)
    assert [(w.exercise, w.air, w.start_s, w.end_s) for w in got if w.air == "mask"] == [
        ("normal-1", "mask", 9, 69), ("deep", "mask", 69, 129), ("normal-2", "mask", 149, 209),
        ("grimace", "mask", 209, 224)]
    assert len(got) == 8 and not next(w for w in got if w.exercise == "grimace").counts


@pytest.mark.parametrize("known", [True, False])
def test_marks_of_one_channel_give_the_mask_air_within_them(known: bool) -> None:
    r = recorded.alternating(4, [200] * 8)
    masks = [w for w in r.windows if w.air == "mask"]
    said = [Said(w.start_s + 1, w.start_s + 60 if w.exercise != "grimace" else w.end_s, w.exercise) for w in masks]
    got = from_marks(r.trace.mask.t, said, exercises=r.exercises, trace=r.trace, air=r.air if known else None)
    assert recorded.found(r, got) == 1


def test_marks_that_name_room_air_say_everything() -> None:
    r = recorded.alternating(4, [200] * 8)
    said = [Said(w.start_s + 1, w.end_s, w.exercise or "Ambient") for w in r.windows]
    got = from_marks(r.trace.mask.t, said, exercises=r.exercises, trace=r.trace)
    assert recorded.found(r, got, within_s=1e-6) == 1 and len(got) == len(r.windows)
