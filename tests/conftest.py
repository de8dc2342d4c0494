"""What the tests of the whole share: the invented yard, a real server with a clock of its own, a real browser."""

from __future__ import annotations

import shutil
import socket
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import uvicorn

from sealwright.demo.build import build
from sealwright.demo.yard import yard
from sealwright.ledger import Ledger, open_ledger
from sealwright.web.app import make_app

CHROMIUM = shutil.which("chromium") or ("/usr/bin/chromium" if Path("/usr/bin/chromium").exists() else None)
CHROMIUM_ARGS = ["--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-component-update",
                 "--disable-sync", "--no-first-run", "--disable-default-apps"]


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    for item in items:
        if item.get_closest_marker("browser") and CHROMIUM is None:
            item.add_marker(pytest.mark.skip(reason="no chromium on this machine: `make test` fetches it as root"))


class Clock:
    """The server's clock: this machine's, and `ahead_ms` more."""

    ahead_ms = 0

    def __call__(self) -> int:
        return time.time_ns() // 1_000_000 + self.ahead_ms


class Served:
    """The application on a loopback port; stopped and started again it keeps the port."""

    def __init__(self, ledger: Ledger, clock: Clock) -> None:
        self.ledger, self.clock, self.port = ledger, clock, 0
        self._server: uvicorn.Server | None = None
        self.start()

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    def start(self) -> None:
        listening = socket.socket()
        listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listening.bind(("127.0.0.1", self.port))
        listening.listen()
        self.port = listening.getsockname()[1]
        self.app = make_app(self.ledger, org_name=yard().name, now=self.clock)
        config = uvicorn.Config(self.app, log_level="critical", access_log=False, timeout_graceful_shutdown=1)
        self._server, self._listening = uvicorn.Server(config), listening
        self._thread = threading.Thread(target=self._server.run, kwargs={"sockets": [listening]}, daemon=True)
        self._thread.start()
        while not self._server.started:
            time.sleep(0.01)

    def stop(self) -> None:
        if self._server is None:
            return
        self._server.should_exit = True
        self._thread.join(10)
        self._listening.close()
        self._server = None


@pytest.fixture(scope="session")
def yard_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The yard and its year as a closed ledger file, to be copied."""
    file = tmp_path_factory.mktemp("yard") / "yard.db"
    with open_ledger(str(file), org=yard().id) as book:
        build(book, today=time.time_ns() // 1_000_000)
        book.backup(file.with_name("copy.db"))
    return file.with_name("copy.db")


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def demo_ledger(yard_file: Path, tmp_path: Path, clock: Clock) -> Iterator[Ledger]:
    shutil.copy(yard_file, tmp_path / "ledger.db")
    with open_ledger(str(tmp_path / "ledger.db"), org=yard().id, now=clock) as book:
        yield book


@pytest.fixture
def server(demo_ledger: Ledger, clock: Clock) -> Iterator[Served]:
    served = Served(demo_ledger, clock)
    yield served
    served.stop()


@pytest.fixture(scope="module")
def playwright() -> Iterator[Any]:
    """A module at a time: while it runs, nothing else on this thread may start an event loop."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as running:
        yield running


@pytest.fixture(scope="module")
def browser(playwright: Any) -> Iterator[Any]:
    """One Chromium for a module; each test takes a context of its own."""
    found = playwright.chromium.launch(executable_path=CHROMIUM, args=CHROMIUM_ARGS)
    yield found
    found.close()


@pytest.fixture
def hands(browser: Any, server: Served) -> Iterator[Any]:
    """A tester at the room's page in a context of its own, the page's clock in our hand and the server's with it."""
    from tests.browser.tester_hands import Hands

    context = browser.new_context(viewport={"width": 1024, "height": 768})
    made = Hands.at(context, server)
    yield made
    context.close()
    assert made.complaints == []


@pytest.fixture
def room_page(hands: Any) -> Any:
    """The page of the room alone."""
    return hands.page
