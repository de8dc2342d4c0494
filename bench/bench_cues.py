"""Lateness of the cues to the ear over a whole score: the room's cues.js against a plain setInterval player.

Both play the same score in one page of headless Chromium, into the same audio output, while a separate process keeps
one core busy. It takes the seven minutes of the score in real time: --seconds 60 is a quick look.

What is measured: a worklet on each player's output notes the first sample of every tone by the audio clock. That is
turned into page time (performance.now) with pairs of both clocks that the browser gives for its output
(getOutputTimestamp) before and after it. Because a sample can also be made too late for its place in the output, a tone
counts as played at the later of that time and the wall clock at which the worklet saw it.

cues.js plans by such pairs too, so a second line leaves them out: the wall clock (whole ms) at which the sample was
made, plus the delay that the browser states. Samples are made in blocks of some 10 ms, so that line is coarser, and the
ratio is taken from the worse of the two. The plain player looks every 100 ms and starts a due tone at once; the score
begins midway between two of its looks, neither its best nor its worst case. The output's delay is in its figures, as it
is in what is heard, and a further line forgives it.
"""

from __future__ import annotations

import argparse
import bisect
import math
import os
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import msgspec
import uvicorn
from playwright.sync_api import sync_playwright
from starlette.applications import Starlette
from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import FileResponse, HTMLResponse, Response
from starlette.routing import Route

from sealwright.protocols import Score, compile_score, get
from sealwright.web import assets
from sealwright.web.guard import Guard

HERE = Path(__file__).resolve().parent / "cues"
CHROMIUM = "/usr/bin/chromium"
ARGS = ["--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-component-update",
        "--disable-sync", "--no-first-run", "--disable-default-apps", "--autoplay-policy=no-user-gesture-required"]
KINDER = ["--disable-background-timer-throttling", "--disable-backgrounding-occluded-windows",
          "--disable-renderer-backgrounding"]
"""What the driver would turn off in the browser, and no tester's browser has turned off."""
UNSEEN = """\
Played = leaves the output, as the browser states it. What a page cannot see: the delay of loudspeaker or radio beyond
that, and of the screen; without a sound card the browser plays into a timed output of its own. The number is one that
is set anew at the room's beat of 100 ms; it is seen at the first animation frame that has it."""
PAGE = f"""<!doctype html><meta charset="utf-8"><title>Cues</title>
<body data-room="/static/{assets.BUILD}/room"><p id="number">0</p>
<script type="module" src="/bench/page.js"></script>"""
AIM_MS = 20.0
EARLY_MS, LATE_MS = 100.0, 690.0
"""A tone from this much before a cue is due to this much after is that cue's: cues stand 800 ms apart or more, or fall
at the same instant, where they are heard and counted as one."""


@contextmanager
def one_core_busy() -> Iterator[None]:
    """A process that does nothing but keep the first core busy."""
    core = min(os.sched_getaffinity(0))
    loop = f"import os\nos.sched_setaffinity(0, {{{core}}})\nwhile True: pass"
    busy = subprocess.Popen([sys.executable, "-c", loop])
    try:
        yield
    finally:
        busy.kill()
        busy.wait()


@contextmanager
def served() -> Iterator[str]:
    """The application's own scripts under its own headers, and the page of this bench. Gives the address."""
    async def page(request: Request) -> Response:
        return HTMLResponse(PAGE)

    async def script(request: Request) -> Response:
        return FileResponse(HERE / f"{request.path_params['name']}.js")

    routes = [Route("/bench", page), Route("/bench/{name}.js", script), *assets.routes()]
    app = Starlette(routes=routes, middleware=[Middleware(Guard)])
    server = uvicorn.Server(uvicorn.Config(app, log_level="warning"))
    with socket.socket() as listening:
        listening.bind(("127.0.0.1", 0))
        thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]}, daemon=True)
        thread.start()
        while not server.started and thread.is_alive():
            time.sleep(0.05)
        yield f"http://127.0.0.1:{listening.getsockname()[1]}/bench"
        server.should_exit = True
        thread.join(5)


def played(score: Score, pace_ms: float, seconds: float, address: str) -> dict[str, Any]:
    """What page.js heard of the first `seconds` of the score."""
    with sync_playwright() as tool:
        browser = tool.chromium.launch(executable_path=CHROMIUM, args=ARGS, ignore_default_args=KINDER)
        page = browser.new_page()
        page.on("pageerror", lambda error: print("page:", error, file=sys.stderr))
        page.goto(address)
        page.wait_for_selector("body[data-ready=yes]")
        with one_core_busy():
            given = [msgspec.to_builtins(score), pace_ms, seconds]
            result: dict[str, Any] = page.evaluate("(given) => play(...given)", given)
        result |= {"browser": browser.version, "numbers": int(seconds) + 1}
        browser.close()
    return result


@dataclass(frozen=True)
class Tone:
    """Page times (ms) of a tone's first sample: its place in the output, and the moment at which it was made."""

    stamped: float
    made: float

    @property
    def played(self) -> float:
        return max(self.stamped, self.made)


class Clocks:
    """Audio time (s) to page time (ms), by the pairs taken over the run."""

    def __init__(self, stamps: Sequence[Sequence[float]]) -> None:
        self.stamps = sorted((s for s in stamps if s[1] > 0), key=lambda s: s[0])
        self.times = [s[0] for s in self.stamps]
        self.offsets = [s[1] - s[0] * 1000 for s in self.stamps]

    def read(self, tone: dict[str, float]) -> Tone:
        n = min(bisect.bisect_left(self.times, tone["at"]), len(self.times) - 1)
        near = self.offsets[max(n - 1, 0):n + 1]
        return Tone(tone["at"] * 1000 + sum(near) / len(near), tone["wall"] - self.stamps[n][2])


def percentile(values: Sequence[float], part: float) -> float:
    """Nearest rank: of 170 values the 99th percentile is the second worst."""
    return sorted(values)[max(0, math.ceil(part * len(values)) - 1)]


def lateness(due: Sequence[float], times: Sequence[float]) -> tuple[list[float], int]:
    """Played minus due (ms) of each cue that was heard, and how many tones belong to none."""
    late, free = [], sorted(times)
    for at in due:
        own = next((t for t in free if -EARLY_MS < t - at < LATE_MS), None)
        if own is not None:
            late.append(own - at)
            free.remove(own)
    return late, len(free)


def row(name: str, late: Sequence[float], due: int) -> float:
    """Prints one line of the table. Returns the 99th percentile."""
    size = [abs(v) for v in late] or [math.nan]
    p99 = percentile(size, 0.99)
    print(f"{name:<52}{len(late):>4} of {due:<4}{percentile(size, 0.5):7.1f}{p99:8.1f}{max(size):8.1f}")
    return p99


def report(result: dict[str, Any]) -> bool:
    """Prints the table. Returns whether cues.js keeps its aim."""
    clocks, due, delay = Clocks(result["stamps"]), result["due"], result["latency"] * 1000
    ours = [clocks.read(t) for t in result["heard"]["cues"][:result["nap"]["before"]]]
    theirs = [clocks.read(t) for t in result["heard"]["plain"]]
    late, stray = lateness(due, [t.played for t in ours])
    plain, plain_stray = lateness(due, [t.played for t in theirs])
    print(f"{'|played - due| in ms':<52}{'heard':>8}{'p50':>11}{'p99':>8}{'worst':>8}")
    p99 = row("cues.js", late, len(due))
    made, _ = lateness(due, [t.made + delay for t in ours])
    made_p99 = row("  by the wall clock of making + stated delay instead", made, len(due))
    plain_p99 = row("setInterval, 100 ms", plain, len(due))
    row("  with the output's stated delay forgiven", [v - delay for v in plain], len(due))
    row("number on the screen", result["seen"], result["numbers"])
    glitches = [t.made - t.stamped for t in [*ours, *theirs] if t.made > t.stamped + 1]
    print(f"ratio of the 99th percentiles, setInterval to cues.js by its worse line: "
          f"{plain_p99 / max(p99, made_p99):.1f}\ntones of no cue: {stray} and {plain_stray}; tones made too late for "
          f"their place in the output: {len(glitches)}, at most {max(glitches, default=0):.0f} ms (counted above)")
    return asleep(result, clocks) and len(late) == len(due) and not stray and p99 < AIM_MS


def asleep(result: dict[str, Any], clocks: Clocks) -> bool:
    """Prints what was heard after the output slept for 2.1 s. Returns whether nothing was made up for."""
    nap = result["nap"]
    times = [clocks.read(t).played for t in result["heard"]["cues"][nap["before"]:]]
    awake = [at for at in nap["due"] if at < nap["from"] or at > nap["to"]]
    after = [t for t in times if t > nap["to"]]
    wrong = [t for t in after if min(abs(t - at) for at in awake) > 60]
    print(f"output asleep for 2.1 s, a tick each 200 ms: {sum(at > nap['to'] for at in awake)} due after it, "
          f"{len(after)} heard after it, {len(wrong)} of them out of place")
    return not wrong


def clock_line(result: dict[str, Any]) -> str:
    run = [s for s in result["stamps"] if s[1] > 0 and s[4] < result["nap"]["from"]][10:]
    offsets = [s[1] - s[0] * 1000 for s in run]
    ppm = ((run[-1][3] - run[0][3]) * 1000 / (run[-1][4] - run[0][4]) - 1) * 1e6
    return (f"Chromium {result['browser']}, page {result['visible']}, audio {result['state']} at "
            f"{result['rate']:.0f} Hz;\naudio clock {ppm:+.0f} ppm against the page's, pairs of the two within "
            f"{max(offsets) - min(offsets):.1f} ms; stated output delay {result['latency'] * 1000:.0f} ms")


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("--seconds", type=float, help="only the beginning of the score")
    protocol = get("us-bitter")
    score = compile_score(protocol, 20)
    seconds = min(asked.parse_args().seconds or score.lasts, score.lasts)
    print(f"{score.protocol} at level {score.level}, {seconds:.0f} s in real time, one core kept busy", flush=True)
    with served() as address:
        result = played(score, protocol.squeeze_pace.value, seconds, address)
    kept = report(result)
    print(clock_line(result))
    print(UNSEEN)
    print(f"aim, p99 below {AIM_MS:.0f} ms, every cue heard, nothing made up for: {'kept' if kept else 'MISSED'}")


if __name__ == "__main__":
    main()
