"""Servers and browsers of their own, to be killed."""

from __future__ import annotations

import contextlib
import os
import signal
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from pathlib import Path


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


class Mortal:
    """`sealwright serve` as a process of its own on a fixed port."""

    def __init__(self, ledger: Path, org: str) -> None:
        self.port, self.url = free_port(), ""
        self.url = f"http://127.0.0.1:{self.port}"
        self._args = [sys.executable, "-m", "sealwright", "serve", "--ledger", str(ledger), "--org", org,
                      "--port", str(self.port), "--json"]
        self.start()

    def start(self) -> None:
        self.process = subprocess.Popen(self._args, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        until = time.monotonic() + 60
        while time.monotonic() < until:
            with contextlib.suppress(OSError), urllib.request.urlopen(f"{self.url}/api/now", timeout=5) as answer:
                answer.read()
                return
            assert self.process.poll() is None, "the server ended by itself"
            time.sleep(0.02)
        raise AssertionError("the server never answered")

    def kill(self) -> None:
        """As when the plug is pulled: no goodbye."""
        self.process.send_signal(signal.SIGKILL)
        self.process.wait()


@contextlib.contextmanager
def mortal(ledger: Path, org: str) -> Iterator[Mortal]:
    server = Mortal(ledger, org)
    try:
        yield server
    finally:
        server.kill()


def kill_tree(marker: str) -> int:
    """Kills, all at once, the processes whose command line holds `marker` and their children; returns how many."""
    parents: dict[int, int] = {}
    marked: set[int] = set()
    for entry in Path("/proc").iterdir():
        if not entry.name.isdigit() or int(entry.name) == os.getpid():
            continue
        with contextlib.suppress(OSError):
            stat = (entry / "stat").read_text()
            parents[int(entry.name)] = int(stat.rpartition(")")[2].split()[1])
            if marker in (entry / "cmdline").read_text():
                marked.add(int(entry.name))
    grown = True
    while grown:
        more = {pid for pid, parent in parents.items() if parent in marked} - marked
        marked |= more
        grown = bool(more)
    for pid in marked:
        with contextlib.suppress(ProcessLookupError):
            os.kill(pid, signal.SIGKILL)
    return len(marked)
