"""The command line in this process: what it answers, with which exit status, and in which shape it complains."""

from __future__ import annotations

import io
import json
import os
import sqlite3
import sys
import xml.etree.ElementTree as ET
from datetime import date
from pathlib import Path

import jsonschema
import pytest

from sealwright.assess import record_bytes, record_schema
from sealwright.cli import house
from sealwright.cli.app import obey
from sealwright.cli.reference import commands, page
from sealwright.cli.score import staff
from sealwright.cli.test import MOST_BYTES
from sealwright.demo.build import build
from sealwright.demo.player import play
from sealwright.errors import TooLarge
from sealwright.ledger import open_ledger
from sealwright.protocols import compile_score, get, published

ROOT = Path(__file__).parents[2]
FACEPIECE = {"id": "fp", "make": "Quillmoss", "model": "Sedgefold", "material": "felt", "size": "regular",
             "kind": "filtering", "own": False}


@pytest.fixture(autouse=True)
def bare(monkeypatch):
    for name in [n for n in os.environ if n.startswith("SEALWRIGHT_")]:
        monkeypatch.delenv(name)
    monkeypatch.setenv("COLUMNS", "200")


@pytest.fixture(scope="module")
def yard_file(tmp_path_factory):
    file = tmp_path_factory.mktemp("cli") / "yard.db"
    with open_ledger(str(file), org="gannet-reach") as book:
        build(book, today=date(2026, 11, 25))
    return file


@pytest.fixture
def at(yard_file):
    return ["--ledger", str(yard_file), "--org", "gannet-reach"]


@pytest.fixture
def say(capsys):
    """Runs a command line; gives exit status, standard output, standard error."""
    def run(*argv: object) -> tuple[int, str, str]:
        code = obey([str(a) for a in argv])
        out = capsys.readouterr()
        return code, out.out, out.err
    return run


def recorded(**how) -> bytes:
    return record_bytes(play(get("uk-bitter"), test_id="t1", wearer="w1", facepiece=FACEPIECE, tester="ft1",
                             start_at=1_700_000_000_000, **how))


@pytest.fixture
def passed(tmp_path):
    file = tmp_path / "passed.json"
    file.write_bytes(recorded())
    return file


@pytest.fixture
def failed(tmp_path):
    file = tmp_path / "failed.json"
    file.write_bytes(recorded(taste_in_run_s=83))
    return file


# --- protocols and scores

def test_protocols_are_listed_and_shown(say):
    assert {r["id"] for r in json.loads(say("protocol", "list", "--json")[1])} == set(published())
    for name in published():
        code, out, _ = say("protocol", "show", name)
        assert code == 0 and ("29 CFR 1910.134" in out or "INDG479" in out) and "ours, settable" in out


def test_a_shown_file_is_a_good_protocol_file(say, tmp_path):
    file = tmp_path / "own.toml"
    file.write_text(say("protocol", "show", "us-sweet", "--toml")[1], "utf-8")
    assert say("protocol", "check", file)[0] == 0
    file.write_text(file.read_text("utf-8").replace("[washout]", "[soak]"), "utf-8")
    code, out, err = say("protocol", "check", file)
    assert code == 2 and out == "" and str(file) in err and "\n" not in err.strip()


@pytest.mark.parametrize(("level", "squeezes"), [(10, 75), (20, 150), (30, 225)])
def test_a_score_has_the_published_squeezes(say, level, squeezes):
    """29 CFR 1910.134 App. A Part I.B.4(b)(7), (9): the level first, then half of it each 30 s, over 7 minutes."""
    code, out, _ = say("score", "show", "us-bitter", "--level", level, "--json")
    assert code == 0 and json.loads(out)["squeezes"] == squeezes
    table = say("score", "show", "us-bitter", "--level", level)[1]
    assert f"{squeezes} squeezes" in table
    assert [f"{s // 60}:{s % 60:02d}" for s in range(30, 420, 30)] == [
        line.split()[0] for line in table.splitlines() if "Top-up" in line]


@pytest.mark.parametrize("width", [60, 99, 160])
def test_the_drawn_staff_keeps_to_its_width_and_names_every_minute(width):
    rows = staff(compile_score(get("uk-sweet"), 20), width)
    assert all(len(row) <= width for row in rows)
    assert rows[0].split() == ["20", *["10"] * 13]
    assert rows[2].split()[:7] == [f"{m}:00" for m in range(7)]


def test_a_score_is_written_as_a_picture_once(say, tmp_path):
    file = tmp_path / "score.svg"
    argv = ("score", "show", "uk-bitter", "--level", 10, "--svg", file)
    assert say(*argv)[0] == 0
    assert ET.parse(file).getroot().tag.endswith("svg")
    code, _, err = say(*argv)
    assert code == 2 and "--replace" in err
    assert say(*argv, "--replace")[0] == 0


def test_a_level_the_protocol_does_not_have(say):
    code, _, err = say("score", "show", "uk-bitter", "--level", 15)
    assert code == 2 and "level: no level 15 in uk-bitter. Choose one of 10, 20, 30" in err


# --- judging recorded tests

def test_a_pass_is_done_and_a_fail_is_no(say, passed, failed):
    code, out, _ = say("test", "assess", passed)
    assert code == 0 and "PASS" in out
    code, out, _ = say("test", "assess", failed)
    assert code == 1 and "FAIL: Tasted at 1:23" in out and "next:" in out


def test_findings_come_with_severity_second_and_source(say, tmp_path):
    from sealwright.demo.tweaks import touched

    file = tmp_path / "touched.json"
    file.write_bytes(recorded(tweaks=[touched(100)]))
    code, out, _ = say("test", "assess", file)
    assert code == 1 and "void at 1:40" in out and "HSE INDG479" in out
    finding = json.loads(say("test", "assess", file, "--json")[1])["results"][0]["verdict"]["findings"][0]
    assert finding["severity"] == "void" and finding["at_s"] == 100 and finding["source"]


def test_several_files_are_summed_up_and_a_bad_one_stops_nothing(say, passed, failed, tmp_path):
    code, out, err = say("test", "assess", passed, tmp_path / "none.json", failed)
    assert code == 2 and "3 tests: 1 pass, 1 unreadable, 1 fail" in out
    assert err.startswith(f"sealwright: {tmp_path / 'none.json'}: no such file") and "Traceback" not in err
    answer = json.loads(say("test", "assess", passed, tmp_path / "none.json", failed, "--json")[1])
    assert answer["counts"] == {"pass": 1, "fail": 1, "unreadable": 1}
    assert [sorted(r)[0] for r in answer["results"]] == ["file", "error", "file"]
    assert say("test", "assess", passed, failed)[0] == 1


def test_standard_input_is_read(say, monkeypatch):
    monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(recorded())))
    assert say("test", "assess", "-")[0] == 0


def test_a_protocol_file_of_ones_own_is_the_judge(say, passed, tmp_path):
    own = say("protocol", "show", "uk-bitter", "--toml")[1]
    own = own.replace('value = 15\nunit = "min"', 'value = 25\nunit = "min"')
    file = tmp_path / "own.toml"
    file.write_text(own, "utf-8")
    assert "Washout" not in say("test", "assess", passed)[1]
    verdict = json.loads(say("test", "assess", passed, "--protocol", file, "--json")[1])["results"][0]["verdict"]
    assert any("washout" in f["code"] for f in verdict["findings"])


def _without_size(record):
    del record["events"][0]["data"]["facepiece"]["size"]


def _strange_kind(record):
    record["events"][3]["kind"] = "sneezed"


def _not_a_time(record):
    record["events"][2]["at"] = "noon"


BAD = {
    "not-json": (b"{nope", "not readable as JSON"),
    "empty": (b"", "not readable as JSON"),
    "not-utf8": (b"\xff\xfe\x00", "not readable as JSON"),
    "deep": (b"[" * 200_000, ""),
    "list": (b"[]", "expected"),
    "no-size": (_without_size, "size"),
    "unknown-kind": (_strange_kind, "unknown kind 'sneezed'"),
    "not-a-time": (_not_a_time, "events[2].at"),
}


@pytest.mark.parametrize("name", BAD)
def test_bad_files_are_refused_in_one_line_with_place_and_mend(say, tmp_path, name):
    content, found = BAD[name]
    file = tmp_path / f"{name}.json"
    if callable(content):
        record = json.loads(recorded())
        content(record)
        content = json.dumps(record).encode()
    file.write_bytes(content)
    code, out, err = say("test", "assess", file)
    assert code == 2 and out == ""
    assert str(file) in err and found.lower() in err.lower() and err.count("\n") == 1
    error = json.loads(say("test", "assess", file, "--json")[1])["results"][0]["error"]
    assert set(error) == {"error", "found", "place", "mend"} and all(error.values())


def test_times_that_run_backwards_are_found_not_refused(say, tmp_path):
    record = json.loads(recorded())
    record["events"][-3]["at"] -= 600_000
    file = tmp_path / "backwards.json"
    file.write_text(json.dumps(record), "utf-8")
    code, out, _ = say("test", "assess", file, "--json")
    assert code in (0, 1) and json.loads(out)["results"][0]["verdict"]["findings"]


def test_a_folder_and_a_huge_file_are_refused(say, tmp_path):
    code, _, err = say("test", "assess", tmp_path)
    assert code == 2 and "this is a folder" in err
    huge = tmp_path / "huge.json"
    with huge.open("wb") as file:
        file.truncate(50_000_000)
    code, _, err = say("test", "assess", huge)
    assert code == 2 and "over 4 MB" in err and str(huge) in err


def test_no_more_is_read_than_the_limit(tmp_path, monkeypatch):
    class Endless(io.RawIOBase):
        given = 0

        def read(self, size=-1):
            assert 0 <= size <= MOST_BYTES + 1
            self.given += size
            return b" " * size

    endless = Endless()
    monkeypatch.setattr(sys, "stdin", type("In", (), {"buffer": endless})())
    with pytest.raises(TooLarge):
        house.read(Path("-"), MOST_BYTES, "one test")
    assert endless.given == MOST_BYTES + 1


def test_the_printed_schema_describes_a_record(say):
    schema = json.loads(say("test", "schema")[1])
    assert schema == json.loads(json.dumps(record_schema()))
    jsonschema.Draft202012Validator(schema).validate(json.loads(recorded()))


def test_escapes_in_a_record_do_not_reach_the_terminal(say, tmp_path):
    record = json.loads(recorded())
    record["events"][0]["data"]["protocol_version"] = "1\x1b[2J"
    file = tmp_path / "escape.json"
    file.write_text(json.dumps(record), "utf-8")
    _, out, err = say("test", "assess", file)
    assert "\x1b" not in out + err


# --- tests, wearers and facepieces in a ledger

def test_a_test_goes_out_and_is_judged_the_same(say, at, tmp_path):
    rows = json.loads(say("test", "list", *at, "--limit", 200, "--json")[1])
    assert len(rows) > 80 and rows[0]["opened_at"] > rows[-1]["opened_at"]
    for row in (rows[0], next(r for r in rows if r["result"] == "fail")):
        file = tmp_path / f"{row['id']}.json"
        assert say("test", "export", row["id"], *at, "--out", file)[0] == 0
        assert say("test", "export", row["id"], *at)[1] == file.read_text("utf-8")
        judged = json.loads(say("test", "assess", file, "--json")[1])["results"][0]["verdict"]
        shown = json.loads(say("test", "show", row["id"], *at, "--json")[1])
        assert judged == shown["verdict"] and judged["result"] == row["result"]


def test_a_test_is_shown_with_names_and_events(say, at):
    row = json.loads(say("test", "list", *at, "--json")[1])[0]
    code, out, _ = say("test", "show", row["id"], *at, "--events")
    assert code == 0 and row["wearer_name"] in out and row["facepiece"]["make"] in out and "run-started" in out
    only = json.loads(say("test", "list", *at, "--wearer", row["wearer"], "--json")[1])
    assert {r["wearer"] for r in only} == {row["wearer"]}


def test_wearers_and_facepieces_are_listed(say, at):
    wearers = json.loads(say("wearer", "list", *at, "--json")[1])
    assert len(wearers) == 60 and sum(w["test"] is None for w in wearers) == 6
    table = say("wearer", "list", *at)[1]
    assert all(w["name"] in table for w in wearers) and "never tested" in table
    pieces = json.loads(say("facepiece", "list", *at, "--json")[1])
    assert len(pieces) == 12 and all(p["model"] in say("facepiece", "list", *at)[1] for p in pieces[:2])


@pytest.mark.parametrize("argv", [("test", "show", "nope"), ("test", "export", "nope")])
def test_a_test_that_is_not_there(say, at, argv):
    code, out, err = say(*argv, *at)
    assert code == 2 and out == "" and "no test 'nope'" in err


def test_a_mistyped_ledger_is_not_made(say, tmp_path):
    code, _, err = say("wearer", "list", "--ledger", tmp_path / "typo.db", "--org", "x")
    assert code == 2 and "there is no ledger" in err and list(tmp_path.iterdir()) == []


def test_a_file_that_is_no_ledger(say, tmp_path):
    file = tmp_path / "letter.db"
    file.write_text("Dear all, " * 1000, "utf-8")
    code, _, err = say("ledger", "check", "--ledger", file, "--org", "x")
    assert code == 2 and err.count("\n") == 1 and "Traceback" not in err


# --- the ledger itself

def test_a_whole_chain_is_done_and_a_changed_event_is_no(say, yard_file, at, tmp_path):
    assert say("ledger", "check", *at, "--rows")[0] == 0
    copy = tmp_path / "copy.db"
    assert say("ledger", "backup", copy, *at)[0] == 0
    with sqlite3.connect(copy) as raw:
        raw.execute("update event set data = replace(data, '\"n\":', '\"n\": ') where kind = 'squeezed' and n > 500")
    raw.close()
    code, out, _ = say("ledger", "check", "--ledger", copy, "--org", "gannet-reach")
    assert code == 1 and "BROKEN" in out and "its content was changed" in out
    report = json.loads(say("ledger", "check", "--ledger", copy, "--org", "gannet-reach", "--json")[1])
    assert report["ok"] is False and report["broken"]["n"] > 500


def test_heads_noted_earlier_show_a_cut(say, at, tmp_path):
    noted = tmp_path / "heads.json"
    noted.write_text(say("ledger", "heads", *at, "--json")[1], "utf-8")
    assert say("ledger", "check", *at, "--known", noted)[0] == 0
    longer = json.loads(noted.read_text("utf-8"))
    longer[0]["n"] += 1
    noted.write_text(json.dumps(longer), "utf-8")
    assert say("ledger", "check", *at, "--known", noted)[0] == 1
    noted.write_text("{}", "utf-8")
    assert say("ledger", "check", *at, "--known", noted)[0] == 2


def test_a_backup_comes_back_and_nothing_is_written_over(say, at, tmp_path):
    copy, back = tmp_path / "copy.db", tmp_path / "back.db"
    assert say("ledger", "backup", copy, *at)[0] == 0
    assert say("ledger", "backup", copy, *at)[0] == 2
    assert say("ledger", "restore", copy, "--ledger", back)[0] == 0
    assert say("ledger", "restore", copy, "--ledger", back)[0] == 2
    assert say("wearer", "list", "--ledger", back, "--org", "gannet-reach")[1] == say("wearer", "list", *at)[1]


def test_a_chain_is_carried_to_another_office(say, at, tmp_path):
    chain, office = tmp_path / "chain.jsonl", tmp_path / "office.db"
    n = json.loads(say("ledger", "export", chain, *at, "--json")[1])["events"]
    assert chain.read_text("utf-8").count("\n") == n + 1
    open_ledger(str(office), org="gannet-reach").close()
    there = ("--ledger", office, "--org", "gannet-reach", "--json")
    assert json.loads(say("ledger", "take-in", chain, *there)[1]) == {"taken_in": n}
    assert json.loads(say("ledger", "take-in", chain, *there)[1]) == {"taken_in": 0}
    assert json.loads(say("ledger", "rebuild", *there)[1]) == {"events": n}
    assert say("ledger", "check", *there, "--rows")[0] == 0
    mine, theirs = (json.loads(say("test", "list", *x)[1]) for x in (there, (*at, "--json")))
    assert [(t["id"], t["result"]) for t in mine] == [(t["id"], t["result"]) for t in theirs]


# --- the papers

def test_papers_are_written_as_pdf(say, at, tmp_path):
    from pypdf import PdfReader

    row = next(r for r in json.loads(say("test", "list", *at, "--json")[1]) if r["result"] == "pass")
    for noun in ("certificate", "card"):
        file = tmp_path / f"{noun}.pdf"
        argv = (noun, "write", row["id"], *at, "--org-name", "Gannet Reach", "--out", file)
        assert say(*argv)[0] == 0 and say(*argv)[0] == 2
        assert row["facepiece"]["model"] in PdfReader(file).pages[0].extract_text()
    assert say("certificate", "write", row["id"], *at, "--out", tmp_path)[0] == 2
    code, _, err = say("certificate", "write", row["id"], *at, "--out", tmp_path / "no" / "where.pdf")
    assert code == 2 and "no such file or directory" in err


# --- the command line as such

@pytest.mark.parametrize("argv", [("--bogus",), ("ledger",), ("ledger", "check"), ("score", "show", "uk-bitter"),
                                  ("score", "show", "uk-bitter", "--level", "ten"), ("test", "assess"), ("tset",),
                                  ("protocol", "show", "nope")])
def test_every_misuse_is_one_line_and_status_2(say, argv):
    code, out, err = say(*argv)
    assert code == 2 and out == "" and err.startswith("sealwright: ") and err.count("\n") == 1
    code, out, err = say(*argv, "--json")
    assert code == 2 and err == "" and set(json.loads(out)) == {"error", "found", "place", "mend"}


def test_ledger_and_organisation_may_come_from_the_environment(say, yard_file, monkeypatch):
    monkeypatch.setenv("SEALWRIGHT_LEDGER", f"sqlite:///{yard_file}")
    monkeypatch.setenv("SEALWRIGHT_ORG", "gannet-reach")
    assert say("facepiece", "list")[0] == 0


def test_every_command_and_every_option_is_explained():
    found = list(commands())
    assert len(found) >= 20
    for path, command in found:
        assert command.help, path
        assert any(p.name == "json" for p in command.params), f"{path} has no --json"
        assert all(p.help for p in command.params), path


def test_the_reference_page_is_fresh():
    """When this fails: python -m sealwright.cli.reference > docs/reference/command-line.md"""
    assert (ROOT / "docs/reference/command-line.md").read_text("utf-8") == page()
