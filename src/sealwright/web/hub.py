"""What a running server knows and may forget: who waits for news of a test, how far rooms' clocks are off."""

from __future__ import annotations

import asyncio
from collections.abc import Callable

from sealwright.assess import Event, decode
from sealwright.ledger import Ledger, StoredEvent
from sealwright.programme.registry import site_levels

FORGET_OFFSETS_ABOVE = 10_000
SITE = "site:main"


class Hub:
    """News of tests inside one server process. `now` gives the server's clock in ms, `steady` one that nobody sets."""

    def __init__(self, ledger: Ledger, now: Callable[[], int], steady: Callable[[], int]) -> None:
        self.ledger, self.now, self.steady = ledger, now, steady
        self._offsets: dict[str, int] = {}
        self._waiting: dict[str, set[asyncio.Event]] = {}

    def heard(self, tests: set[str], offset_ms: int) -> None:
        """A room sent events of these tests; its clock is `offset_ms` ahead of ours."""
        if len(self._offsets) > FORGET_OFFSETS_ABOVE:
            self._offsets.clear()
        for test in tests:
            self._offsets[test] = offset_ms
            for waiter in self._waiting.pop(test, set()):
                waiter.set()

    def offset_of(self, test: str) -> int:
        """Room minus server, ms; 0 when the room was not heard since the server started."""
        return self._offsets.get(test, 0)

    async def changed(self, test: str) -> None:
        """Returns at the next event of the test."""
        waiter = asyncio.Event()
        self._waiting.setdefault(test, set()).add(waiter)
        try:
            await waiter.wait()
        finally:
            if test in self._waiting:
                self._waiting[test].discard(waiter)
                if not self._waiting[test]:
                    del self._waiting[test]

    def site_levels(self) -> dict[str, dict[str, int]]:
        """The site's own, stricter pass levels: rule set -> kind of facepiece -> fit factor."""
        return site_levels(e.data for e in self.ledger.events(SITE))

    def events_of(self, test: str) -> list[Event]:
        return self.told_of(test)[1]

    def told_of(self, test: str) -> tuple[list[StoredEvent], list[Event]]:
        """A test's events as they lie in the ledger and as they are judged, from one reading."""
        stored = self.ledger.events(f"test:{test}")
        return stored, [decode(e.kind, e.id, e.at, e.by, e.data) for e in stored]
