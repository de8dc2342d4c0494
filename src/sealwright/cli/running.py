"""`sealwright demo` and `sealwright serve`: the application on this machine."""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from sealwright.cli import house, say

if TYPE_CHECKING:
    from sealwright.demo.build import Built
    from sealwright.ledger import Ledger

LOADED = time.time()
PORT = 8470
LONGEST_START_S = 86_400

Port = Annotated[int, typer.Option("--port", min=1, max=65535, help="The port to listen on; if taken, the next free.")]
Host = Annotated[str, typer.Option("--host", help="The address to listen on; 0.0.0.0 lets other machines in.")]


def demo(
    port: Port = PORT,
    host: Host = "127.0.0.1",
    fresh: Annotated[bool, typer.Option("--fresh", help="Throw the demo's ledger away and build it again.")] = False,
    data: Annotated[Path | None, typer.Option("--data", metavar="FOLDER", help="Where the demo's ledger lies. Else "
                                              "var/demo in a clone, or your user's data folder.")] = None,
    json: house.WantsJson = False,
) -> None:
    """Open an invented yard with a year of tests, and serve it.

    The ledger is built at the first call, ending yesterday, and kept. All people, makers and models are invented.
    """
    from sealwright.demo.yard import yard
    from sealwright.ledger import open_ledger

    folder = data or _demo_folder()
    folder.mkdir(parents=True, exist_ok=True)
    file = folder / "demo.db"
    if fresh:
        for name in ("", "-wal", "-shm"):
            file.with_name(file.name + name).unlink(missing_ok=True)
    with open_ledger(str(file), org=yard().id) as book:
        built = _build(book)
        if not json:
            say.line(f"{built.org_name}, invented: {built.wearers} wearers, {built.tests} tests, "
                     f"{built.events} events in {file}")
        _serve(book, built.org_name, host, port, json)


def serve(
    ledger: house.LedgerUrl, org: house.Org, org_name: house.OrgName = "",
    port: Port = PORT, host: Host = "127.0.0.1", json: house.WantsJson = False,
) -> None:
    """Serve an organisation's ledger, made if it is not there."""
    from sealwright.ledger import open_ledger

    with open_ledger(ledger, org=org) as book:
        _serve(book, org_name or org, host, port, json)


def _demo_folder() -> Path:
    """In a clone beside the code, where it is out of version control; else with the user's data."""
    here = Path.cwd()
    if (here / "src/sealwright/demo").is_dir() and (here / "pyproject.toml").is_file():
        return here / "var/demo"
    from platformdirs import user_data_path

    return user_data_path("sealwright") / "demo"


def _build(book: Ledger) -> Built:
    from datetime import date

    from sealwright.demo.build import build

    with say.progress("Building the yard's year", 100) as seen:
        return build(book, today=date.today(), progress=lambda done, all: seen(done * 100 // all))


def _serve(book: Ledger, org_name: str, host: str, wanted: int, json: bool) -> None:
    from sealwright.web.serve import free_port, serve

    port = free_port(host, wanted)
    address = _address(host, port)
    if not json and port != wanted:
        say.line(f"Port {wanted} is taken; using {port}")
    if not json and host not in ("127.0.0.1", "localhost", "::1"):
        say.line(f"Listening on {host}: whoever can reach this machine can read and write this ledger")
    serve(book, org_name=org_name, host=host, port=port, ready=_announce(address, port, json))


def _address(host: str, port: int) -> str:
    """Where a browser on this machine finds it."""
    shown = {"0.0.0.0": "127.0.0.1", "::": "[::1]"}.get(host, f"[{host}]" if ":" in host else host)
    return f"http://{shown}:{port}/"


def _announce(address: str, port: int, json: bool) -> Callable[[], None]:
    """Asks the server for its first page as a browser would, and says how long all that took."""
    def told() -> None:
        from urllib.request import urlopen

        try:
            with urlopen(address, timeout=30) as page:
                page.read()
        except OSError as error:
            typer.echo(f"sealwright: {address}: the first page was not answered: {error}", err=True)
            return
        seconds = round(time.time() - _started(), 1)
        if json:
            say.as_json({"address": address, "port": port, "first_page_s": seconds})
        else:
            say.line(f"Sealwright is at {address} (stop: Ctrl-C)", bold=True)
            say.line(f"first page answered after {seconds} s")
        sys.stdout.flush()

    return told


def _started() -> float:
    """When the wait began, s since 1970: what SEALWRIGHT_STARTED says (set by make), else when the program loaded."""
    try:
        said = float(os.environ.get("SEALWRIGHT_STARTED", ""))
    except ValueError:
        return LOADED
    return said if 0 <= LOADED - said <= LONGEST_START_S else LOADED
