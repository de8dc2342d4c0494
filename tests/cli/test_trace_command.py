"""`sealwright trace`: files to factors, and live lines passed on to a room."""

from __future__ import annotations

import http.server
import json
import os
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from tests.traces.simulated import switching, truth

from sealwright.cli.app import obey
from sealwright.cli.listening import Clock, pass_on
from sealwright.errors import BadInput
from sealwright.traces.live import Sample

ASKED = ["--protocol", "us-counting", "--kind", "half", "--time", "time", "--value", "counts", "--unit", "count"]


@pytest.fixture(autouse=True)
def bare(monkeypatch: pytest.MonkeyPatch) -> None:
    for name in [n for n in os.environ if n.startswith("SEALWRIGHT_")]:
        monkeypatch.delenv(name)
    monkeypatch.setenv("COLUMNS", "200")


def test_a_trace_to_factors_with_its_picture(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file, svg = switching(tmp_path / "t.csv"), tmp_path / "t.svg"
    assert obey(["trace", "factor", str(file), *ASKED, "--svg", str(svg), "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert abs(told["measured"]["overall"]["factor"] / truth() - 1) < 0.1 and told["how"] == "proposed"
    assert svg.read_text().startswith("<svg")
    assert obey(["trace", "factor", str(file), *ASKED, "--level", "5000"]) == 1
    assert "Failed" in capsys.readouterr().out
    assert obey(["trace", "columns", str(file)]) == 0 and "counts" in capsys.readouterr().out


def test_a_fault_in_the_file_is_one_line(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "t.csv").write_text("time,counts\n1,5\n2,abc\n3,6\n")
    assert obey(["trace", "factor", str(tmp_path / "t.csv"), *ASKED]) == 2
    told = capsys.readouterr().err
    assert "row 3" in told and "counts" in told and "Traceback" not in told


class Room(http.server.BaseHTTPRequestHandler):
    """Answers what it is told to, and keeps what came."""

    took: list[dict[str, Any]]
    answers: list[int]

    def do_POST(self) -> None:
        body = self.rfile.read(int(self.headers["Content-Length"]))
        status = self.answers.pop(0) if self.answers else 200
        if status == 200:
            self.took.extend(json.loads(line) for line in body.splitlines())
        self.send_response(status)
        self.end_headers()
        self.wfile.write(b'{"error": {"found": "the test is closed"}}')

    def log_message(self, *args: Any) -> None:
        """Quiet."""


@pytest.fixture
def room() -> Iterator[tuple[str, type[Room]]]:
    kind = type("OneRoom", (Room,), {"took": [], "answers": []})
    server = http.server.HTTPServer(("127.0.0.1", 0), kind)
    thread = threading.Thread(target=server.serve_forever, daemon=True)
    thread.start()
    yield f"http://127.0.0.1:{server.server_port}/api/tests/t/samples?unit=count", kind
    server.shutdown()
    server.server_close()
    thread.join(5)


def test_lines_are_passed_on_once_and_in_order(room: tuple[str, type[Room]], capsys: pytest.CaptureFixture[str],
                                               monkeypatch: pytest.MonkeyPatch) -> None:
    """A room that fails twice gets everything afterwards; a line that is no sample is told and left out."""
    monkeypatch.setattr("sealwright.cli.listening.AGAIN_S", 0.01)
    to, kind = room
    kind.answers += [503, 503]
    lines = [f"M={n} A={n * 100}" for n in range(1, 1201)]
    lines.insert(5, "warming up")
    sent = pass_on(iter(lines), to, r"M=(?P<mask>[0-9]+) A=(?P<ambient>[0-9]+)", 0.2)
    assert sent == 1200 and [s["mask"] for s in kind.took] == list(range(1, 1201))
    told = capsys.readouterr()
    assert "left out" in told.err and told.out == ""  # the answer, maybe JSON, has the output to itself


def test_a_refusal_ends_it_with_the_rooms_words(room: tuple[str, type[Room]]) -> None:
    to, kind = room
    kind.answers.append(409)
    with pytest.raises(BadInput, match="the test is closed"):
        pass_on(iter(['{"mask": 1, "ambient": 2}']), to, None, 0.2)
    with pytest.raises(BadInput, match="no address"):
        pass_on(iter([]), "somewhere", None, 0.2)


def test_a_sources_own_seconds_are_laid_so_that_the_first_is_now() -> None:
    clock = Clock(lambda: 1000.0)
    assert [clock.told(Sample(t=t, mask=1.0, ambient=2.0))["t"] for t in (40.0, 41.5)] == [1_000_000, 1_001_500]
    assert clock.told(Sample(at=5, mask=1.0, ambient=2.0))["t"] == 5
    with pytest.raises(BadInput, match="which air"):
        clock.told(Sample(value=3.0))


@pytest.mark.parametrize(("to", "pattern", "place"), [
    ("http://[", None, "--to"), ("http://a b/", None, "--to"),
    ("http://127.0.0.1:9/", r"(?P<value>(\d+)+)", "pattern")])
def test_an_address_or_a_pattern_that_cannot_be_is_told_once(to: str, pattern: str | None, place: str) -> None:
    with pytest.raises(BadInput) as fault:
        pass_on(iter(['{"mask": 1, "ambient": 2}'] * 3), to, pattern, 0.2)
    assert fault.value.place.startswith(place)


def test_a_heading_is_shown_as_it_stands(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Signs that a terminal library takes for colours or small pictures are only signs."""
    path = tmp_path / "t.csv"
    path.write_text("time,a:x:b,[red]c\n1,2,3\n2,3,4\n")
    assert obey(["trace", "columns", str(path)]) == 0
    told = capsys.readouterr().out
    assert "a:x:b" in told and "[red]c" in told
