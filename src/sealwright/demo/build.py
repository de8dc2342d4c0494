"""Fills an empty ledger with the invented yard and its year, ending yesterday. Doing it twice is doing it once."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, date, datetime

import msgspec

from sealwright.demo.history import Held, held_tests
from sealwright.demo.yard import DAY, HISTORY_DAYS, entries, yard
from sealwright.errors import Conflict
from sealwright.ledger import Ledger

BATCH = 1000
"""Events to a transaction."""


class Built(msgspec.Struct, frozen=True, kw_only=True):
    """What stands in the ledger now. `new`: this call put it (or the rest of it) there."""

    new: bool
    org: str
    org_name: str
    wearers: int
    tests: int
    events: int


def build(ledger: Ledger, *, today: date | int, seed: int = 7,
          progress: Callable[[int, int], None] | None = None) -> Built:
    """Put the yard and the year before `today` (a date, or ms since 1970) on record.

    `progress(done, all)` counts events. Begun and cut off, it goes on where it was, by the day of the first call.
    Raises Conflict when the ledger holds anything else.
    """
    start = _begun(ledger) or _start_of(today)
    held = list(held_tests(start, seed))
    events = [*entries(start), *(e for h in held for e in h.events)]
    new = not _whole(ledger, held)
    if new:
        _put_people(ledger, held)
        for done in range(0, len(events), BATCH):
            ledger.append(events[done:done + BATCH])
            if progress:
                progress(min(done + BATCH, len(events)), len(events))
    it = yard()
    return Built(new=new, org=it.id, org_name=it.name, wearers=len(it.wearers), tests=len(held), events=len(events))


def _start_of(today: date | int) -> int:
    """Midnight UTC of the day, ms."""
    if isinstance(today, int):
        return today // DAY * DAY
    return int(datetime(today.year, today.month, today.day, tzinfo=UTC).timestamp()) * 1000


def _begun(ledger: Ledger) -> int | None:
    """The day for which the yard was begun in this ledger, told from its first tester; None for an empty ledger."""
    first = ledger.events(f"account:{yard().testers[0].id}")
    if first:
        return (first[0].at // DAY + HISTORY_DAYS) * DAY
    if ledger.wearers() or ledger.facepieces():
        raise Conflict("the ledger holds records of another organisation", place="ledger",
                       mend="Build the demo in a new file")
    return None


def _whole(ledger: Ledger, held: list[Held]) -> bool:
    return bool(ledger.events(held[-1].events[-1]["stream"]))


def _put_people(ledger: Ledger, held: list[Held]) -> None:
    it = yard()
    for wearer in it.wearers:
        ledger.put_person(wearer.id, wearer.name, staff_no=wearer.staff_no)
    for tester in it.testers:
        ledger.put_person(tester.id, tester.name)
    for one in held:
        for mark, person, role, path in one.marks:
            ledger.put_mark(mark, person, path, role=role)

