"""A tester's hands and eyes in the live room, in a browser whose clock the test moves.

Everything is done as a person does it: Space pressed or held, T, buttons and dialogs clicked. What the page keeps in
`window.room` is read to know when it has finished with the last press, never to work it.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Any

GUARD_MS = 700
SEEN = """() => window.room && JSON.stringify([room.lanes.map((l) => [l.test, l.facts.events.length, l.draft]),
  room.picked, document.querySelector('dialog[open]')?.id])"""


def settled(condition: Callable[[], Any], what: str, within_s: float = 20) -> Any:
    """The first true value of `condition`, looked at again and again in real time."""
    until = time.monotonic() + within_s
    while time.monotonic() < until:
        found = condition()
        if found:
            return found
        time.sleep(0.02)
    raise AssertionError(f"never seen: {what}")


class Hands:
    def __init__(self, page: Any, server: Any) -> None:
        self.page, self.server, self.complaints = page, server, []
        self.stepped_ms = 0
        """How far the test has set the page's wall clock; the server's did not go with it."""
        page.on("pageerror", lambda error: self.complaints.append(str(error)))
        page.on("console", lambda m: m.type == "error" and "Failed to load resource" not in m.text
                and self.complaints.append(m.text))

    @classmethod
    def at(cls, context: Any, server: Any, *, time_ms: int | None = None) -> Hands:
        """Opens the room in a new page of `context`. Without a Worker the room's beat is a timer, which we move."""
        page = context.new_page()
        page.add_init_script("delete window.Worker")
        page.clock.install(time=None if time_ms is None else time_ms / 1000)
        hands = cls(page, server)
        page.goto(f"{server.url}/room")
        hands.ready()
        return hands

    def ready(self) -> None:
        self.page.wait_for_selector("body[data-ready=yes]", timeout=20_000)
        self.step()

    # -- time

    def step(self, ms: int = 200) -> None:
        """Lets the page's clock and the server's go on, every timer firing on its way."""
        self.page.clock.run_for(ms)
        self._together()

    def _together(self) -> None:
        """The server's clock goes with the page's; and the room has put away what it had in hand."""
        now = self.page.evaluate("async () => { await window.room?.busy; return Date.now() }")
        self.server.clock.ahead_ms += now - self.stepped_ms - self.server.clock()

    def wait(self, seconds: float, stride_s: float = 1.0) -> None:
        """Time as it goes by in the room, in strides."""
        left = round(seconds * 1000)
        while left > 0:
            self.step(min(left, round(stride_s * 1000)))
            left -= round(stride_s * 1000)

    def skip(self, seconds: float) -> None:
        """A long wait, in which each timer fires at most once."""
        self.page.clock.fast_forward(round(seconds * 1000))
        self._together()
        self.step()

    # -- eyes

    def see(self, script: str) -> Any:
        return self.page.evaluate(script)

    def text(self, selector: str) -> str:
        found = self.page.query_selector(selector)
        return found.inner_text() if found else ""

    @property
    def title(self) -> str:
        return self.text("#title")

    @property
    def label(self) -> str:
        return self.text("#key .label")

    @property
    def big(self) -> str:
        return self.text("#big")

    @property
    def waiting(self) -> bool:
        return self.page.is_disabled("#key")

    @property
    def running(self) -> dict[str, Any] | None:
        """Second, dose and mist of the run in hand; None when none is in hand."""
        return self.see("""() => { const a = room.act, r = a?.running; return r ? {s: r.s, lasts: r.lasts,
            dose: r.dose && {at: r.dose.at, lasts: r.dose.lasts}, mist: Boolean(r.mistDue),
            letter: a.lane.letter} : null }""")

    def shown(self) -> list[str]:
        """Names of the wearers who have a lane."""
        return self.page.locator(".lane-name").all_inner_texts()

    def kinds(self, lane: int = 0) -> list[str]:
        """Kinds of the events of a lane, as the room has them."""
        return self.see(f"() => room.lanes[{lane}].facts.events.map((e) => e.kind)")

    def test_id(self, lane: int = 0) -> str:
        return self.see(f"() => room.lanes[{lane}].test")

    # -- hands

    def doing(self, act: Callable[[], Any]) -> None:
        """Does something and waits until the room has taken it in."""
        before = self.see(SEEN)
        act()
        settled(lambda: self.see(SEEN) != before, f"an effect ({self.title!r}, {self.label!r})")
        self.step()

    def press(self) -> None:
        self.step(GUARD_MS)
        self.doing(lambda: self.page.keyboard.press("Space"))

    def hold(self) -> None:
        """Holds the key until the room has taken it for a taste."""
        self.step(GUARD_MS)

        def held() -> None:
            self.page.keyboard.down("Space")
            self.step(900)
            self.page.keyboard.up("Space")

        self.doing(held)

    def type(self, key: str) -> None:
        self.step(GUARD_MS)
        self.doing(lambda: self.page.keyboard.press(key))

    def click(self, name: str, within: str = "body") -> None:
        """Clicks the button that says `name`."""
        self.step(GUARD_MS)
        button = self.page.locator(within).get_by_role("button", name=name, exact=False).first
        self.doing(button.click)

    def add(self, wearer: str | None = None, **chosen: str) -> None:
        """A wearer into the room: `wearer` and what else is chosen (piece, protocol, language, tester) by value."""
        self.page.click("#add")
        for field, value in {"wearer": wearer, **chosen}.items():
            if value is not None:
                self.page.select_option(f"#new-{field}", value)
        before = self.see("() => room.lanes.length")
        self.doing(lambda: self.page.click("#new-form button[type=submit]"))
        settled(lambda: self.see(f"() => room.lanes.length > {before} && room.picked === room.lanes.at(-1).test"),
                "the new lane in hand")
        self.step()

    # -- stretches of a test

    def until(self, title: str, *, taste_at: int | None = 7, most: int = 120) -> None:
        """Presses the key, and lets waits pass, until the act in hand has this title."""
        for _ in range(most):
            if self.title == title and not self.waiting:
                return
            if self.waiting:
                self.skip(max(1, self.see("() => ((room.act?.due ?? 0) - room.clock.now()) / 1000") + 1))
            elif self.title == "Sensitivity screening" and self.big == str(taste_at):
                self.hold()
            else:
                self.press()
        raise AssertionError(f"never came to {title!r}: at {self.title!r}, {self.label!r}")

    def begin(self) -> None:
        """The first dose given, the exercises begun."""
        self.until("First dose")
        self.press()

    def work(self, until_s: float) -> None:
        """Gives every dose in its seconds and looks for mist when asked, until second `until_s` of the run in hand."""
        while True:
            run = self.running
            if run is None or run["s"] >= until_s:
                return
            if run["mist"] and self.label == "Mist seen":
                self.press()
                continue
            dose = run["dose"]
            due = dose["at"] + dose["lasts"] if dose else run["lasts"]
            gap = min(due, until_s) - run["s"]
            if gap > 0:
                self.wait(gap + 0.05, stride_s=10)
            elif dose and self.label.endswith(" given"):
                self.press()
            else:
                self.step(500)

    def delivered(self) -> None:
        """Everything is on the server's record, says the room."""
        def seen() -> bool:
            self.step(300)
            kept = self.see("() => room.store.waiting()")
            return not kept and self.text("#status").strip() == "● on record"

        settled(seen, "● on record")

    def sign_and_close(self) -> None:
        self.until("Close the record")
        self.press()
        self.delivered()

    def verdict(self, lane: int = 0) -> str:
        def said() -> str:
            self.step(100)
            return self.text(f".lane:nth-of-type({lane + 1}) .verdict b")

        return settled(said, "a verdict")
