"""The invented organisation as data: who works there, what lies on its shelves, and when each came, told from a day."""

from __future__ import annotations

import random
import tomllib
from functools import cache
from importlib import resources
from typing import Any

import msgspec

DAY, HOUR, MINUTE = 86_400_000, 3_600_000, 60_000
HISTORY_DAYS = 364
CLERK = "gr-office"
NEVER_TESTED = (9, 19, 25, 38, 56, 58)
"""Places in the list of wearers; the first two have just joined."""


class Wearer(msgspec.Struct, frozen=True, kw_only=True):
    id: str
    name: str
    role: str
    site: str
    language: str
    staff_no: str


class FitTester(msgspec.Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """`competent_days`: from today until the competence lapses."""

    id: str
    name: str
    competent_days: int

    def competent_until_at(self, today: int) -> int:
        """The end of the last day of competence, ms."""
        return today + (self.competent_days + 1) * DAY - 1


class Stocked(msgspec.Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    id: str
    make: str
    model: str
    material: str
    size: str
    kind: str


class Shelved(msgspec.Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """A lot of solution; days are told from today, the past negative."""

    id: str
    agent: str
    use: str
    lot: str
    received_days: int
    expires_days: int

    def expires_at(self, today: int) -> int:
        """The end of its last day, ms."""
        return today + (self.expires_days + 1) * DAY - 1


class Instrument(msgspec.Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """A measuring instrument; days are told from today."""

    name: str
    method: str
    due_days: tuple[int, ...]
    flow_mm3_s: int | None = None
    accuracy_per_mille: int | None = None

    def named(self, day: int, today: int, lapsed: bool = False) -> dict[str, Any]:
        """What is recorded of it on a day; `lapsed`: with the label of a calibration that had just run out."""
        due = day - 5 if lapsed else next(d for d in self.due_days if d >= day)
        told = {"instrument": self.name, "due_at": today + (due + 1) * DAY - 1, "flow_mm3_s": self.flow_mm3_s,
                "accuracy_per_mille": self.accuracy_per_mille}
        return {k: v for k, v in told.items() if v is not None}


class Yard(msgspec.Struct, frozen=True, kw_only=True):
    id: str
    name: str
    place: str
    trade: str
    wearers: tuple[Wearer, ...]
    testers: tuple[FitTester, ...]
    facepieces: tuple[Stocked, ...]
    lots: tuple[Shelved, ...]
    instruments: tuple[Instrument, ...]

    def instrument(self, method: str) -> Instrument:
        return next(x for x in self.instruments if x.method == method)

    def lot(self, agent: str, use: str, day: int) -> Shelved:
        """The lot in use on a day (days from today): the one received last."""
        fitting = [x for x in self.lots if (x.agent, x.use) == (agent, use) and x.received_days <= day]
        return max(fitting, key=lambda x: x.received_days)


@cache
def yard() -> Yard:
    """The organisation as its file has it."""
    table = tomllib.loads(resources.files("sealwright.demo").joinpath("gannet_reach.toml").read_text("utf-8"))
    people = [{"id": f"gr-w{n:02d}", "staff_no": f"GR-{1000 + n}", "name": name, "role": role, "site": site,
               "language": language} for n, (name, role, site, language) in enumerate(table["wearers"], 1)]
    return msgspec.convert(table | {"wearers": people}, Yard)


def joined_at(number: int, today: int) -> int:
    """When the wearer with this place in the list was entered, ms."""
    if number in NEVER_TESTED[:2]:
        return today - 6 * DAY + 9 * HOUR + number * MINUTE
    return today - HISTORY_DAYS * DAY + 7 * HOUR + number * 20_000


def entries(today: int) -> list[dict[str, Any]]:
    """The events that put people, facepieces and lots on record, in order of time."""
    it, start = yard(), today - HISTORY_DAYS * DAY + 7 * HOUR - 30 * MINUTE
    found = [_entry(f"account:{t.id}", "tester-registered", start + n * 1000,
                    {"competent_until_at": t.competent_until_at(today)})
             for n, t in enumerate(it.testers)]
    found += [_entry(f"facepiece:{f.id}", "facepiece-stocked", start + MINUTE + n * 1000,
                     {k: getattr(f, k) for k in ("make", "model", "material", "size", "kind")})
              for n, f in enumerate(it.facepieces)]
    found += [_entry(f"lot:{x.id}", "lot-received", today + x.received_days * DAY + 8 * HOUR,
                     {"agent": x.agent, "use": x.use, "lot": x.lot, "expires_at": x.expires_at(today)})
              for x in it.lots]
    found += [_entry(f"wearer:{w.id}", "wearer-joined", joined_at(n, today),
                     {"language": w.language, "site": w.site, "role": w.role}) for n, w in enumerate(it.wearers)]
    return sorted(found, key=lambda e: e["at"])


def _entry(stream: str, kind: str, at: int, data: dict[str, Any]) -> dict[str, Any]:
    return {"stream": stream, "id": f"{stream.partition(':')[2]}-entered", "kind": kind, "at": at, "by": CLERK,
            "data": data}


def signature(person: str, test: str) -> str:
    """A scrawl as SVG path data in a field of 300 x 100: a person's own shape, a little different each time."""
    shape, hand = random.Random(f"hand:{person}"), random.Random(f"hand:{person}:{test}")
    x, parts = 14, []
    for _ in range(shape.randint(5, 8)):
        x += shape.randint(14, 30)
        points = [shape.randint(18, 82) + hand.randint(-3, 3) for _ in range(2)]
        parts.append(f"Q{x - shape.randint(4, 22)} {points[0]} {x + hand.randint(-2, 2)} {points[1]}")
    return f"M12 {shape.randint(40, 70)} {' '.join(parts)} L{x + 20} {shape.randint(50, 66)}"
