"""Passing an instrument's lines on to a live room, as JSON lines over HTTP."""

from __future__ import annotations

import http.client
import json
import queue
import threading
import time
import urllib.error
import urllib.request
from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING, Any, cast

from sealwright.cli import say
from sealwright.errors import BadInput, SealwrightError

if TYPE_CHECKING:
    from sealwright.traces.live import Sample

MOST_HELD = 20_000
"""Samples kept while the room does not answer: some hours of one a second."""
MOST_SENT = 500
AGAIN_S = 2.0


def pass_on(lines: Iterator[str], to: str, pattern: str | None, every: float,
            send: Callable[[str, list[dict[str, Any]]], None] | None = None) -> int:
    """Send samples as they come, each once, in order; returns how many were taken.

    A room that does not answer is tried again and nothing is dropped until MOST_HELD wait; a line that holds no sample
    is told and left out. A refusal by the room (its answer 4xx) ends it with the room's own words.
    """
    from sealwright.traces.live import compile_pattern, parse_line

    if not to.startswith(("http://", "https://")):
        raise BadInput(f"{to!r} is no address", place="--to", mend="Copy the address that the room shows")
    if pattern is not None:
        compile_pattern(pattern)  # a fault of the pattern is not one of each line
    incoming: queue.Queue[tuple[int, str] | None] = queue.Queue(MOST_HELD)
    threading.Thread(target=_feed, args=(lines, incoming), daemon=True).start()
    held: list[dict[str, Any]] = []
    clock, sent, over = Clock(), 0, False
    while not over or held:
        over = _take(incoming, held, lambda text: clock.told(parse_line(text, pattern)), every) or over
        while held:
            part = held[:MOST_SENT]
            try:
                (send or post)(to, part)
            except (OSError, TimeoutError) as error:
                say.aside(f"the room does not answer ({error}); {len(held)} samples wait")
                time.sleep(AGAIN_S)
                if over:
                    continue
                break
            del held[:len(part)]
            sent += len(part)
    return sent


def _feed(lines: Iterator[str], incoming: queue.Queue[tuple[int, str] | None]) -> None:
    for numbered in enumerate(lines, 1):
        incoming.put(numbered)
    incoming.put(None)


def _take(incoming: queue.Queue[tuple[int, str] | None], held: list[dict[str, Any]],
          parse: Callable[[str], dict[str, Any]], seconds: float) -> bool:
    """Samples of the next `seconds` into `held`; True when the input has ended."""
    until = time.monotonic() + seconds
    while (left := until - time.monotonic()) > 0 and len(held) < MOST_HELD:
        try:
            numbered = incoming.get(timeout=left)
        except queue.Empty:
            break
        if numbered is None:
            return True
        n, line = numbered
        if not line.strip():
            continue
        try:
            held.append(parse(line))
        except SealwrightError as error:
            say.aside(f"line {n} left out: {error.found}. {error.mend}")
    return False


class Clock:
    """Instants of samples. A source that counts from a moment of its own is laid so that its first sample is now."""

    def __init__(self, now: Callable[[], float] = time.time) -> None:
        self.now, self.zero = now, cast("float | None", None)

    def told(self, sample: Sample) -> dict[str, Any]:
        """A sample as the room takes it, its time in ms since 1970. BadInput where it says of no air."""
        if sample.value is not None and sample.air is None:
            raise BadInput("the line does not say which air it is of", place="air",
                           mend="Let the pattern name air as mask or ambient, or two groups mask and ambient")
        told = {name: value for name in ("mask", "ambient", "value", "air")
                if (value := getattr(sample, name)) is not None}
        return {"t": self._at(sample), **told}

    def _at(self, sample: Sample) -> int:
        if sample.at is not None:
            return sample.at
        if sample.t is None:
            return round(self.now() * 1000)
        if self.zero is None:
            self.zero = self.now() - sample.t
        return round((self.zero + sample.t) * 1000)


def post(to: str, samples: list[dict[str, Any]]) -> None:
    """One delivery. Raises OSError to try again, BadInput with the room's words when it refuses."""
    body = "".join(json.dumps(s) + "\n" for s in samples).encode()
    try:
        request = urllib.request.Request(to, data=body, headers={"Content-Type": "application/jsonl"})
        with urllib.request.urlopen(request, timeout=10) as answer:
            answer.read()
    except urllib.error.HTTPError as error:
        if error.code >= 500:
            raise OSError(f"status {error.code}") from error
        said = error.read().decode("utf-8", "replace")[:400]
        raise BadInput(f"the room refused: {said}", place=to, mend="Copy the address that the room shows") from error
    except (http.client.InvalidURL, ValueError) as error:
        raise BadInput(f"{to!r} is no address", place="--to", mend="Copy the address that the room shows") from error
    except http.client.HTTPException as error:
        raise OSError(f"an answer cut short ({type(error).__name__})") from error
