"""From a recorded trace to fit factors, by every way of finding the windows, against a simulated truth."""

from __future__ import annotations

from pathlib import Path

import pytest
from tests.traces.simulated import FACTORS, LEAD, switching, truth

from sealwright.assess import event, judge
from sealwright.errors import BadInput, NotFound
from sealwright.protocols import get
from sealwright.traces import Mapping, TraceFile, read_trace
from sealwright.traces.recording import events_of
from sealwright.traces.workup import WorkedUp, counting, read_windows, windows_from, work_up

COUNTS = Mapping(time="time", value="counts", unit="count")


def worked(path: Path, mapping: Mapping = COUNTS, **more: object) -> tuple[TraceFile, WorkedUp]:
    read = read_trace(path, mapping)
    return read, work_up(read, get("us-counting"), kind="half", **more)  # type: ignore[arg-type]


def near(found: WorkedUp) -> bool:
    """The overall factor within a tenth of the truth, and each exercise within a quarter."""
    m = found.measured
    return (m.overall.factor is not None and abs(m.overall.factor / truth() - 1) < 0.1
            and all(abs((x.factor or 0) / FACTORS[x.exercise] - 1) < 0.25 for x in m.exercises))


@pytest.mark.parametrize(("how", "columns", "more"), [
    ("proposed", {}, {}), ("proposed", {"air": True}, {}), ("marks", {"marks": True}, {}),
    ("marks", {"air": True, "marks": True}, {}), ("score", {}, {"start_s": float(LEAD - 1)})])
def test_every_way_to_the_windows_comes_to_the_truth(tmp_path: Path, how: str, columns: dict, more: dict) -> None:
    path = switching(tmp_path / "t.csv", **columns)
    mapping = Mapping(time="time", value="counts", unit="count", air="air" if "air" in columns else None,
                      marks="exercise" if "marks" in columns else None)
    _, found = worked(path, mapping, **more)
    assert found.how == how and near(found), found.measured.sentence
    assert {x.exercise for x in found.measured.exercises} == set(FACTORS)
    assert not next(x for x in found.measured.exercises if x.exercise == "grimace").counts


@pytest.mark.parametrize("slip", [-6.0, -1.0, 1.0, 3.0, 8.0])
def test_a_start_said_some_seconds_wrong_does_not_count_room_air_as_leak(tmp_path: Path, slip: float) -> None:
    _, found = worked(switching(tmp_path / "t.csv"), start_s=LEAD - 1 + slip)
    assert near(found)
    assert ("Moved by" in found.text) is (slip != -1.0), "a second early lies within the purge"


def test_windows_given_are_taken_as_they_are(tmp_path: Path) -> None:
    file = tmp_path / "w.csv"
    file.write_text("exercise,air,start_s,end_s\n,ambient,10,50\nnormal-1,mask,66,100\n")
    given = read_windows(file, counting(get("us-counting")))
    _, found = worked(switching(tmp_path / "t.csv"), windows=given)
    assert found.how == "given" and [(w.start_s, w.end_s) for w in found.windows] == [(10, 50), (66, 100)]
    assert abs((found.measured.overall.factor or 0) / FACTORS["normal-1"] - 1) < 0.25


@pytest.mark.parametrize(("row", "place", "words"), [
    (["normal-1", "maks", "1", "2"], "window 1: air", "maks"),
    (["jumping", "mask", "1", "2"], "window 1: exercise", "jumping"),
    (["normal-1", "mask", "5", "5"], "window 1: end_s", "after"),
    (["normal-1", "mask", "x", "5"], "window 1: start_s", "x"),
    (["normal-1", "mask", "nan", "5"], "window 1: start_s", "nan"),
    (["normal-1", "mask", "1"], "window 1", "3 fields")])
def test_a_window_that_cannot_be_names_row_and_field(row: list[str], place: str, words: str) -> None:
    with pytest.raises(BadInput) as refused:
        windows_from([row], counting(get("us-counting")))
    assert refused.value.place == place and words in str(refused.value) and refused.value.mend


def test_what_does_not_go_together_is_refused(tmp_path: Path) -> None:
    read = read_trace(switching(tmp_path / "t.csv"), COUNTS)
    with pytest.raises(BadInput, match="does not count"):
        work_up(read, get("us-pressure"), kind="half")
    with pytest.raises(BadInput, match="no pass level"):
        work_up(read, get("us-counting-short"), kind="filtering")
    with pytest.raises(BadInput, match="after the last sample"):
        work_up(read, get("us-counting"), kind="half", start_s=9000.0)


def test_a_stricter_level_and_another_rule_set_hold(tmp_path: Path) -> None:
    read = read_trace(switching(tmp_path / "t.csv"), COUNTS)
    p = get("us-counting")
    assert work_up(read, p, kind="half", own_level=250).measured.pass_level == 250
    assert work_up(read, p, kind="half", own_level=50).measured.pass_level == 100
    uk = work_up(read, p, kind="full", rule_set="uk").measured
    assert (uk.pass_level, uk.pass_rule, uk.passed) == (2000, "each", False)


def test_a_trace_goes_onto_the_record_and_gives_the_same_numbers_there(tmp_path: Path) -> None:
    read, found = worked(switching(tmp_path / "t.csv"))
    run_at = 1_790_000_600_000
    face = {"id": "fp", "make": "Quillmoss", "model": "Sedgefold", "material": "felt", "size": "M", "kind": "half",
            "own": True}
    opened = event("opened", run_at - 900_000, "u-1", "e-1", protocol="us-counting", protocol_version="1", wearer="w-1",
                   facepiece=face, tester={"id": "u-1"})
    started = event("run-started", run_at, "u-1", "e-2")
    made = events_of(read, found, test="t-1", by="u-1", now=run_at + 600_000, run_at=run_at)
    assert events_of(read, found, test="t-1", by="u-1", now=run_at + 600_000, run_at=run_at) == made
    story = [opened, started, *(event(e["kind"], e["at"], e["by"], e["id"], **e["data"]) for e in made)]
    numbers = judge(story).measured
    assert numbers is not None and {x.exercise for x in numbers.exercises} == set(FACTORS)
    assert numbers.overall.factor == pytest.approx(found.measured.overall.factor, rel=0.03)


def test_a_trace_of_another_hour_is_not_put_on_record(tmp_path: Path) -> None:
    read, found = worked(switching(tmp_path / "t.csv"))
    dated = TraceFile(**{**{f: getattr(read, f) for f in read.__dataclass_fields__}, "start_at": 1_790_000_000_000})
    with pytest.raises(BadInput, match=r"lies 2\.\d h from the test"):
        events_of(dated, found, test="t", by="u", now=0, run_at=1_790_000_000_000 + 2 * 3_600_000 + 600_000)


def test_a_rule_set_that_is_not_there_is_no_rule_set_of_the_protocol(tmp_path: Path) -> None:
    with pytest.raises(NotFound, match="no rule set 'zz'"):
        worked(switching(tmp_path / "t.csv"), rule_set="zz")


def test_a_trace_without_every_exercise_is_no_pass(tmp_path: Path) -> None:
    """Windows of one good exercise and of room air: a factor, and no pass."""
    given = windows_from([["", "ambient", "10", "30"], ["normal-1", "mask", "66", "100"]],
                         counting(get("us-counting")))
    m = worked(switching(tmp_path / "t.csv"), windows=given)[1].measured
    assert m.overall.factor and m.overall.factor > 100 and not m.passed
    assert m.sentence.startswith("No pass can be claimed: nothing measured in Deep breathing, ")


def test_marks_that_change_all_the_time_are_refused_at_once(tmp_path: Path) -> None:
    """Each would be a window; 50,000 of them once took minutes."""
    path = tmp_path / "t.csv"
    rows = (f"{i},{4000 if i % 2 else 20},{'room' if i % 2 else 'normal-1'}\n" for i in range(5000))
    path.write_text("time,counts,exercise\n" + "".join(rows))
    with pytest.raises(BadInput, match="more than 500 times"):
        worked(path, Mapping(time="time", value="counts", unit="count", marks="exercise"))


def test_a_level_below_one_is_refused(tmp_path: Path) -> None:
    with pytest.raises(BadInput, match="no fit factor"):
        worked(switching(tmp_path / "t.csv"), own_level=-5)
