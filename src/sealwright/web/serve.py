"""Running the application on one machine."""

from __future__ import annotations

import socket
from collections.abc import Callable

import uvicorn

from sealwright.errors import BadInput
from sealwright.ledger import Ledger

MOST_FRAME = 100_000
"""bytes of one message over a connection that stays"""


def free_port(host: str, wanted: int, tries: int = 20) -> int:
    """The wanted port, or the next one free. Raises BadInput when none of `tries` is."""
    for port in range(wanted, wanted + tries):
        with socket.socket() as probe:
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            try:
                probe.bind((host, port))
            except OSError:
                continue
            return port
    raise BadInput(f"ports {wanted} to {wanted + tries - 1} are all taken", place="--port", mend="Name a free one")


def serve(ledger: Ledger, *, org_name: str, host: str = "127.0.0.1", port: int = 8470,
          ready: Callable[[], None] | None = None) -> None:
    """Serves until interrupted. `ready` is called in its own thread once the server listens."""
    from sealwright.web.app import make_app

    names = {"localhost", host, socket.gethostname(), f"{socket.gethostname()}.local"}
    app = make_app(ledger, org_name=org_name, hosts=frozenset(n.lower() for n in names))
    config = uvicorn.Config(app, host=host, port=port, log_level="warning",
                            access_log=False, timeout_graceful_shutdown=2, ws_max_size=MOST_FRAME)
    server = _Server(config, ready)
    server.run()


class _Server(uvicorn.Server):
    def __init__(self, config: uvicorn.Config, ready: Callable[[], None] | None) -> None:
        super().__init__(config)
        self._ready = ready

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        await super().startup(sockets)
        if self._ready and self.started:
            import threading

            threading.Thread(target=self._ready, daemon=True).start()
