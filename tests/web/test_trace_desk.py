"""The page of a trace, from the file to a test's record, and the pages that reckon."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import httpx
import pytest
from tests.traces.simulated import LEAD, switching, truth

pytestmark = pytest.mark.xdist_group("web-api")
CHOSEN = {"time": "time", "value": "counts", "unit": "count", "protocol": "us-counting", "kind": "half"}


@pytest.fixture
def client(server: Any) -> Iterator[httpx.Client]:
    with httpx.Client(base_url=server.url, follow_redirects=True, timeout=30) as made:
        yield made


def handed_in(client: httpx.Client, path: Path) -> str:
    answer = client.post("/traces", files={"file": (path.name, path.read_bytes(), "text/csv")})
    assert answer.status_code == 200, answer.text
    return answer.url.path


def test_a_file_becomes_factors(client: httpx.Client, tmp_path: Path) -> None:
    page = handed_in(client, switching(tmp_path / "yard trace.csv"))
    first = client.get(page).text
    assert "yard trace.csv" in first and '<option selected>counts</option>' in first
    told = client.get(page, params=CHOSEN).text
    overall = re.search(r"Overall \(harmonic\)</th><td class=\"num\"><b>([\d,]+)</b>", told)
    assert overall and abs(float(overall[1]) / truth() - 1) < 0.1
    assert told.count("<svg") == 6 and "Windows proposed from the data" in told


def test_windows_can_be_changed_and_accepted(client: httpx.Client, tmp_path: Path) -> None:
    page = handed_in(client, switching(tmp_path / "t.csv"))
    rows = [("we", ""), ("wa", "ambient"), ("ws", "10"), ("wt", "50"),
            ("we", "normal-1"), ("wa", "mask"), ("ws", "66"), ("wt", "100"),
            ("we", "deep"), ("wa", "mask"), ("ws", ""), ("wt", "")]
    told = client.get(page, params=[*CHOSEN.items(), *rows]).text
    assert "Windows as you set them" in told and "Deep breathing" not in told.split("Fit factors</h2>")[1]
    bad = [("we", "normal-1"), ("wa", "mask"), ("ws", "66"), ("wt", "6")]
    wrong = client.get(page, params=[*CHOSEN.items(), *bad]).text
    assert "Where: window 1: end_s" in wrong


@pytest.mark.parametrize(("body", "chosen", "words"), [
    (b"time,counts\n1,5\n2,-6\n3,7\n", CHOSEN, "row 3"), (b"", {}, "empty"),
    (b"time,counts\n1,5\n2,6\n", {k: v for k, v in CHOSEN.items() if k != "unit"}, "unit"),
    (b"PK\x03\x04" + b"\0" * 200, {}, "bad.csv")])
def test_a_fault_stands_beside_the_form_and_names_the_file(client: httpx.Client, body: bytes, chosen: dict[str, str],
                                                           words: str, tmp_path: Path) -> None:
    (tmp_path / "bad.csv").write_bytes(body)
    told = client.get(handed_in(client, tmp_path / "bad.csv"), params=chosen).text
    alert = re.search(r'role="alert">(.*?)</p>', told, re.S)
    assert alert and words in alert[1] and "sealwright-traces" not in told


def test_a_file_no_longer_kept_says_so(client: httpx.Client) -> None:
    answer = client.get("/traces/nothing-here")
    assert answer.status_code == 404 and "Hand it in again" in answer.text
    assert client.post("/traces", files={}, data={"x": "1"}).status_code == 422


def test_a_trace_goes_onto_an_open_tests_record(client: httpx.Client, server: Any, tmp_path: Path) -> None:
    now, book = server.clock(), server.ledger
    face = book.facepieces()[0]
    run_at = now - 540_000
    opened = {"protocol": "us-counting", "protocol_version": "1", "wearer": book.wearers()[0].id,
              "facepiece": {"id": face.id, "make": face.make, "model": face.model, "material": face.material,
                            "size": face.size, "kind": face.kind, "own": True}, "tester": {"id": book.testers()[0].id}}
    told = [("opened", run_at - 600_000, opened), ("run-started", run_at, {})]
    book.append([{"stream": "test:t-trace", "id": f"tt-{n}", "kind": kind, "at": at, "by": "u", "data": data}
                 for n, (kind, at, data) in enumerate(told)])
    page = handed_in(client, switching(tmp_path / "t.csv"))
    told = client.get(page, params=CHOSEN | {"kind": face.kind}).text
    assert 'value="t-trace"' in told
    form = told.split(f'action="{page}/record"')[1].split("</form>")[0]
    fields = re.findall(r'name="(\w+)" value="([^"]*)"', form)
    record = client.post(f"{page}/record", content=str(httpx.QueryParams([*fields, ("test", "t-trace")])),
                         headers={"Content-Type": "application/x-www-form-urlencoded"})
    assert record.status_code == 200 and record.url.path == "/tests/t-trace", record.text
    kinds = [e.kind for e in book.events("test:t-trace")]
    assert kinds.count("windows-accepted") == 1 and "samples-taken" in kinds
    assert "Fit factors" in record.text and LEAD
    at = next(n for n, (k, _) in enumerate(fields) if k in ("w", "wt"))
    head, _, end = fields[at][1].rpartition("|")
    fields[at] = (fields[at][0], f"{head}{'|' * bool(head)}{float(end) - 2}")  # a window two seconds shorter
    other = httpx.QueryParams([*fields, ("test", "t-trace")])
    again = client.post(f"{page}/record", content=str(other),
                        headers={"Content-Type": "application/x-www-form-urlencoded"})
    assert again.status_code == 409 and "on record already" in again.text
    assert len(book.events("test:t-trace")) == len(kinds)


def test_what_the_air_asks_for(client: httpx.Client) -> None:
    """3 mg/m3 against a limit of 0.1: 30 times; Table 1 of 29 CFR 1910.134 assigns 10 to a half mask, 50 to a full."""
    told = client.get("/reckoning/protection", params={"concentration": "3", "limit": "0,1", "unit": "mg/m3"}).text
    assert "The air holds 30 times the limit" in told
    rows = re.findall(r'<tr><td class="num">([\d,]+)</td>', told)
    assert rows and min(int(r.replace(",", "")) for r in rows) == 50
    stop = client.get("/reckoning/protection", params={"atmosphere": "oxygen-deficient"}).text
    assert "competent person" in re.search(r'role="alert">(.*?)</p>', stop, re.S)[1] and "<table>" not in stop  # type: ignore[index]
    assert "limit" in re.search(r'role="alert">(.*?)</p>', client.get(
        "/reckoning/protection", params={"concentration": "3"}).text, re.S)[1]  # type: ignore[index]


def test_two_methods_compared(client: httpx.Client) -> None:
    body = "id,test,ref\n" + "".join(f"{n},{'pass' if n % 4 else 'fail'},{150 if n % 4 else 40}\n" for n in range(80))
    fields = {"test": "test", "reference": "ref", "level": "100"}
    told = client.post("/reckoning/agreement", data=fields,
                       files={"file": ("pairs.csv", body.encode(), "text/csv")}).text
    assert "80 pairs count" in told and "1.000" in told and told.count("<svg") == 3
    wrong = client.post("/reckoning/agreement", files={"file": ("pairs.csv", b"id,test,ref\n1,pass,abc\n", "text/csv")},
                        data=fields).text
    assert "pairs.csv: row 2: ref" in wrong
    bare = client.post("/reckoning/agreement", files={"file": ("pairs.csv", body.encode(), "text/csv")},
                       data={"test": "test"}).text
    assert "pairs.csv: reference column" in bare


@pytest.mark.parametrize(("query", "place"), [
    ({"fit_factor": "1e-308"}, "fit factor"), ({"fit_factor": "-1"}, "fit factor"), ({"form": "soup"}, "form"),
    ({"passed_by": "luck"}, "passed by"), ({"concentration": "1e-300", "limit": "1e9"}, "concentration"),
    ({"concentration": "1e11", "limit": "1e-11"}, "concentration"), ({"rules": "zz"}, "rules"),
    ({"class": "soup"}, "class"), ({"atmosphere": "thin"}, "atmosphere"), ({"limit": "nan"}, "limit")])
def test_odd_questions_are_answered_with_the_field_and_the_mend(client: httpx.Client, query: dict[str, str],
                                                                place: str) -> None:
    answer = client.get("/reckoning/protection", params=query)
    alert = re.search(r'role="alert">(.*?)</p>', answer.text, re.S)
    assert answer.status_code == 200 and alert and f"Where: {place}" in alert[1], alert and alert[1]
