"""Invented events for the ledger's tests."""

from __future__ import annotations

from typing import Any

NOW = 1_760_000_000_000
FACEPIECE = {"id": "fp-1", "make": "Harrow", "model": "Lark 2", "material": "silicone", "size": "M", "kind": "half",
             "own": True}


def event(stream: str, id: str, kind: str, data: dict[str, Any] | None = None, at: int = NOW,
          by: str = "a-1") -> dict[str, Any]:
    return {"stream": stream, "id": id, "kind": kind, "at": at, "by": by, "data": data or {}}


def opened(test: str, id: str | None = None, **changed: Any) -> dict[str, Any]:
    data = {"protocol": "uk-bitter", "protocol_version": "1", "wearer": "w-1", "facepiece": FACEPIECE,
            "tester": {"id": "a-1"}, **changed}
    return event(f"test:{test}", id or f"{test}-opened", "opened", data)


def dosed(test: str, id: str, squeezes: int = 5, at: int = NOW) -> dict[str, Any]:
    return event(f"test:{test}", id, "dosed", {"squeezes": squeezes, "act": "first"}, at)


def closed(test: str, id: str | None = None) -> dict[str, Any]:
    return event(f"test:{test}", id or f"{test}-closed", "closed")


def joined(wearer: str, id: str | None = None, **data: Any) -> dict[str, Any]:
    return event(f"wearer:{wearer}", id or f"{wearer}-joined", "wearer-joined", data)


def registered(tester: str, id: str | None = None, **data: Any) -> dict[str, Any]:
    return event(f"account:{tester}", id or f"{tester}-registered", "tester-registered", data)


def some(n: int, test: str = "t-1") -> list[dict[str, Any]]:
    """A test of `n` events, not closed."""
    return [opened(test), *(dosed(test, f"{test}-{i}", at=NOW + i) for i in range(1, n))]
