"""The program as a process of its own: lean at the start, quiet when its reader goes, and the demo it serves."""

from __future__ import annotations

import json
import os
import signal
import socket
import subprocess
import sys
import time
from contextlib import contextmanager
from pathlib import Path
from urllib.request import urlopen

import pytest

SEALWRIGHT = [sys.executable, "-m", "sealwright"]
ENV = {k: v for k, v in os.environ.items() if not k.startswith("SEALWRIGHT_")}


def run(*argv: str, **how) -> subprocess.CompletedProcess[str]:
    return subprocess.run([*SEALWRIGHT, *argv], capture_output=True, text=True, env=ENV, timeout=60, **how)


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def test_version_help_and_exit_status():
    assert run("--version").stdout.startswith("sealwright ")
    shown = run("--help")
    assert shown.returncode == 0 and shown.stdout == run().stdout and "Exit status" in shown.stdout
    wrong = run("tset")
    assert wrong.returncode == 2 and wrong.stderr.count("\n") == 1


def test_help_loads_nothing_heavy():
    heavy = ("sqlalchemy", "alembic", "starlette", "uvicorn", "jinja2", "typst", "babel", "msgspec", "rich.console")
    code = ("import sys; from sealwright.cli.app import obey; obey(['ledger', 'check', '--help']); "
            f"print('LOADED', [m for m in {heavy!r} if m in sys.modules])")
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, env=ENV, timeout=60)
    assert done.stdout.splitlines()[-1] == "LOADED []"


def test_a_reader_that_goes_away_is_no_trouble():
    with subprocess.Popen([*SEALWRIGHT, "test", "schema"], stdout=subprocess.PIPE, stderr=subprocess.PIPE,
                          env=ENV) as going:
        going.stdout.close()
        assert going.stderr.read() == b""


def test_a_file_name_that_is_no_text_is_named_all_the_same(tmp_path):
    done = subprocess.run([*map(os.fsencode, SEALWRIGHT), b"test", b"assess", os.fsencode(tmp_path) + b"/\xff.json"],
                          capture_output=True, env=ENV, timeout=60)
    assert done.returncode == 2 and b"no such file" in done.stderr and b"Traceback" not in done.stderr


@contextmanager
def demo(*argv: str, **env: str):
    """The demo as a running process; interrupted at the end, as by Ctrl-C, and by force only if that fails."""
    going = subprocess.Popen([*SEALWRIGHT, "demo", *argv], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
                             env=ENV | env)
    try:
        yield going
        going.send_signal(signal.SIGINT)
        _, errors = going.communicate(timeout=20)
        assert "Traceback" not in errors
    finally:
        if going.poll() is None:
            going.kill()
            going.communicate()


def _json_from(going: subprocess.Popen[str]) -> dict[str, object]:
    """The first JSON document the process prints."""
    text = ""
    for line in going.stdout:
        text += line
        if line.rstrip() == "}":
            return json.loads(text)
    raise AssertionError(f"ended without an answer: {text} {going.stderr.read()}")


def test_the_demo_is_built_served_and_measured(tmp_path):
    port = free_port()
    started = time.time() - 5
    with demo("--data", str(tmp_path), "--port", str(port), "--json", SEALWRIGHT_STARTED=f"{started:.3f}") as going:
        said = _json_from(going)
        assert said["address"] == f"http://127.0.0.1:{port}/"
        assert 5 <= said["first_page_s"] <= time.time() - started + 0.1
        with urlopen(str(said["address"]), timeout=20) as page:
            assert page.status == 200 and "Gannet Reach" in page.read().decode("utf-8")
    checked = run("ledger", "check", "--ledger", str(tmp_path / "demo.db"), "--org", "gannet-reach", "--rows", "--json")
    assert checked.returncode == 0 and json.loads(checked.stdout)["events"] > 3000


def test_a_taken_port_is_told_and_the_next_one_used(tmp_path):
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = int(taken.getsockname()[1])
        with demo("--data", str(tmp_path), "--port", str(port)) as going:
            lines = [next(going.stdout) for _ in range(4)]
    assert "Gannet Reach Restoration Yard, invented: 60 wearers" in lines[0]
    assert lines[1].startswith(f"Port {port} is taken; using ")
    assert "Sealwright is at http://127.0.0.1:" in lines[2] and f":{port}/" not in lines[2]
    assert lines[3].startswith("first page answered after ")


@pytest.mark.parametrize("said", ["", "soon", "-1", "9e99", "nan"])
def test_a_start_that_makes_no_sense_is_not_believed(monkeypatch, said):
    from sealwright.cli import running

    monkeypatch.setenv("SEALWRIGHT_STARTED", said)
    assert running._started() == running.LOADED


def test_fresh_throws_away_the_demo_and_nothing_else(tmp_path, monkeypatch):
    from sealwright.cli import running
    from sealwright.cli.app import obey

    served: list[tuple[str, int]] = []
    monkeypatch.setattr(running, "_serve", lambda book, name, *rest: served.append((book.chain, book.count())))
    (tmp_path / "letters.db").write_text("keep", "utf-8")
    for argv in ([], [], ["--fresh"]):
        assert obey(["demo", "--data", str(tmp_path), *argv]) == 0
    chains, counts = zip(*served, strict=True)
    assert chains[0] == chains[1] != chains[2] and len(set(counts)) == 1
    assert (tmp_path / "letters.db").read_text("utf-8") == "keep"


def test_the_demo_lies_beside_the_code_in_a_clone_and_with_the_users_data_elsewhere(tmp_path, monkeypatch):
    from sealwright.cli import running

    root = Path(__file__).parents[2]
    monkeypatch.chdir(root)
    assert running._demo_folder() == root / "var/demo"
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "home"))
    assert tmp_path / "home" in running._demo_folder().parents


def test_serving_makes_an_empty_ledger_of_the_organisation(tmp_path, monkeypatch):
    from sealwright.cli import running
    from sealwright.cli.app import obey

    served: list[tuple[object, ...]] = []
    monkeypatch.setattr(running, "_serve", lambda book, *rest: served.append((book.org, book.count(), *rest)))
    file = tmp_path / "yard.db"
    assert obey(["serve", "--ledger", str(file), "--org", "tern", "--org-name", "Tern Wharf", "--port", "9000"]) == 0
    assert served == [("tern", 0, "Tern Wharf", "127.0.0.1", 9000, False)] and file.is_file()
