"""Pages that take a recorded trace to fit factors: choose the columns, look at the windows, accept, put on record."""

from __future__ import annotations

import atexit
import secrets
import shutil
import tempfile
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import jinja2
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import QueryParams, UploadFile
from starlette.requests import Request
from starlette.responses import HTMLResponse, RedirectResponse, Response
from starlette.routing import Route

from sealwright.errors import BadInput, Conflict, NotFound, SealwrightError
from sealwright.protocols import CountingProtocol, published, rule_sets
from sealwright.web.hub import Hub

if TYPE_CHECKING:
    from sealwright.assess.measured import Measured
    from sealwright.traces import Mapping, TraceFile
    from sealwright.traces.workup import WorkedUp

MOST_BYTES = 200_000_000
MOST_FILES = 12
COLUMNS = (("time", "Time of each sample"), ("mask", "In the mask"), ("ambient", "In the room"),
           ("value", "One channel that switches"), ("air", "Which air it samples"), ("marks", "Exercise under way"))
WIDTHS = (("wide", 1600), ("middle", 1000), ("narrow", 360))


class TraceDesk:
    """Uploaded files lie in a folder of this process, the newest MOST_FILES of them, and are gone when it ends."""

    def __init__(self, hub: Hub, env: jinja2.Environment) -> None:
        self.hub, self.env = hub, env
        self._folder: Path | None = None
        self._files: dict[str, str] = {}

    def routes(self) -> list[Route]:
        return [
            Route("/traces", self.start, methods=["GET"]),
            Route("/traces", self.take, methods=["POST"]),
            Route("/traces/{token}", self.work, methods=["GET"]),
            Route("/traces/{token}/record", self.record, methods=["POST"]),
        ]

    def _render(self, template: str, /, **values: Any) -> HTMLResponse:
        return HTMLResponse(self.env.get_template(template).render(path="/reckoning", **values))

    async def start(self, request: Request) -> Response:
        return self._render("traces.html", most=MOST_BYTES // 1_000_000)

    async def take(self, request: Request) -> Response:
        """Keep an uploaded file and go on to its columns."""
        async with request.form(max_files=1, max_fields=4) as form:
            given = form.get("file")
            if not isinstance(given, UploadFile) or not given.filename:
                raise BadInput("no file was chosen", place="file", mend="Choose a CSV or Parquet file")
            token = await run_in_threadpool(self._keep, given)
        return RedirectResponse(f"/traces/{token}", status_code=303)

    def _keep(self, given: UploadFile) -> str:
        if self._folder is None:
            self._folder = Path(tempfile.mkdtemp(prefix="sealwright-traces-"))
            atexit.register(shutil.rmtree, self._folder, ignore_errors=True)
        token = secrets.token_urlsafe(12)
        with (self._folder / token).open("wb") as out:
            shutil.copyfileobj(given.file, out)
        self._files[token] = Path(given.filename or "trace").name[:120]
        while len(self._files) > MOST_FILES:
            oldest = next(iter(self._files))
            del self._files[oldest]
            (self._folder / oldest).unlink(missing_ok=True)
        return token

    def _path(self, token: str) -> tuple[Path, str]:
        if token not in self._files or self._folder is None:
            raise NotFound("this file is no longer kept", place="trace", mend="Hand it in again at /traces")
        return self._folder / token, self._files[token]

    async def work(self, request: Request) -> Response:
        """The columns, and once they are chosen the windows and the numbers; a fault stands beside the form."""
        values = await run_in_threadpool(self._work, request.path_params["token"], request.query_params)
        return self._render("trace.html", **values)

    def _work(self, token: str, q: QueryParams) -> dict[str, Any]:
        from sealwright.traces import columns_of

        path, name = self._path(token)
        trouble: SealwrightError | None = None
        try:
            seen = columns_of(path)
        except SealwrightError as error:
            return self._values(token, name, None, q, named(error, path, name))
        found: dict[str, Any] = {}
        if q.get("time"):
            try:
                found = self._reckon(path, name, q)
            except SealwrightError as error:
                trouble = named(error, path, name)
        return self._values(token, name, seen, q, trouble) | found

    def _values(self, token: str, name: str, seen: Any, q: QueryParams, trouble: Any) -> dict[str, Any]:
        chosen = dict(seen.guess) if seen else {}
        chosen |= {k: v for k, v in q.items() if k != "w"}
        return {"token": token, "name": name, "seen": seen, "chosen": chosen, "trouble": trouble, "columns": COLUMNS,
                "protocols": [p for p in published().values() if isinstance(p, CountingProtocol)],
                "rules": list(rule_sets().values()), "worked": None, "picture": None, "factor_picture": None,
                "tests": [t for t in self.hub.ledger.tests(open_only=True, limit=200)
                          if t.protocol == chosen.get("protocol")], "names": self._names()}

    def _names(self) -> dict[str, str]:
        return {w.id: w.name or w.id for w in self.hub.ledger.wearers()}

    def _reckon(self, path: Path, name: str, q: QueryParams) -> dict[str, Any]:
        read, worked = worked_from(path, q)
        return {"worked": worked, "picture": pictures(read, worked, name),
                "factor_picture": factor_pictures(worked.measured, name)}

    async def record(self, request: Request) -> Response:
        """Samples and accepted windows onto the record of an open test."""
        async with request.form(max_files=0, max_fields=400) as form:
            q = QueryParams([(k, str(v)) for k, v in form.multi_items()])
        test = await run_in_threadpool(self._record, request.path_params["token"], q)
        self.hub.heard({test}, self.hub.offset_of(test))
        return RedirectResponse(f"/tests/{test}", status_code=303)

    def _record(self, token: str, q: QueryParams) -> str:
        from sealwright.traces.recording import events_of

        path, _ = self._path(token)
        read, worked = worked_from(path, q)
        test = self.hub.ledger.test(q.get("test", ""))
        told = self.hub.ledger.events(f"test:{test.id}")
        run = next((e for e in told if e.kind == "run-started"), None)
        if run is None:
            raise BadInput("the exercises of this test have not begun", place="test",
                           mend="Lead the test in the room first; then put its trace on record")
        if test.protocol != worked.protocol:
            raise BadInput(f"the test is led by {test.protocol}, the trace was reckoned by {worked.protocol}",
                           place="protocol", mend="Choose the protocol of the test, and look at the windows again")
        if any(e.kind == "samples-taken" for e in told):
            raise Conflict("samples of this test are on record already", place="test",
                           mend="A test holds one recording, for samples on record twice make it void")
        made = events_of(read, worked, test=test.id, by=test.tester, now=self.hub.now(), run_at=run.at)
        self.hub.ledger.append(made)
        return str(test.id)


def named(error: SealwrightError, path: Path, name: str) -> SealwrightError:
    """The fault with the name the user knows the file by."""
    error.place = error.place.replace(str(path), name)
    return error


def mapping_from(q: QueryParams) -> Mapping:
    """The mapping in a query. BadInput names the field."""
    from sealwright.traces import Mapping

    def text(field: str) -> str | None:
        return q.get(field) or None

    unit, time_unit, decimal = text("unit"), text("time_unit") or "s", text("decimal")
    if unit not in (None, "count", "per-cm3") or time_unit not in ("s", "ms", "timestamp") or decimal not in (
            None, ".", ","):
        raise BadInput("none of the choices", place="unit, time unit or decimal", mend="Choose from the lists")
    return Mapping(time=q["time"], mask=text("mask"), ambient=text("ambient"), value=text("value"), air=text("air"),
                   marks=text("marks"), time_unit=time_unit, unit=unit, decimal=decimal,  # type: ignore[arg-type]
                   flow_cm3_min=number(q, "flow"), zone=text("zone"), delimiter=text("delimiter"))


def number(q: QueryParams, field: str) -> float | None:
    """A number or nothing; a decimal comma is fine."""
    text = q.get(field, "").strip().replace(",", ".")
    if not text:
        return None
    try:
        value = float(text)
    except ValueError:
        value = float("nan")
    if not abs(value) < 1e12:
        raise BadInput(f"{text!r} is no number", place=field, mend="Give a number, or leave it empty")
    return value


def worked_from(path: Path, q: QueryParams) -> tuple[TraceFile, WorkedUp]:
    """Read the file and reckon, as a query says."""
    from sealwright.protocols import get
    from sealwright.traces import read_trace
    from sealwright.traces.workup import counting, windows_from, work_up

    protocol = counting(get(q.get("protocol", "")))
    read = read_trace(path, mapping_from(q), from_s=number(q, "from"), to_s=number(q, "to"), most_samples=2_000_000)
    rows = [row.split("|") for row in q.getlist("w") if row.strip("| ")] or list(_window_fields(q))
    given = windows_from(rows, protocol) if rows else None
    own = number(q, "level")
    return read, work_up(read, protocol, kind=q.get("kind", ""), start_s=number(q, "start"), windows=given,
                         rule_set=q.get("rules", ""), own_level=None if own is None else int(own))


def _window_fields(q: QueryParams) -> Sequence[list[str]]:
    """Rows of the table of windows: parallel fields, those without times left out."""
    rows = zip(q.getlist("we"), q.getlist("wa"), q.getlist("ws"), q.getlist("wt"), strict=False)
    return [list(r) for r in rows if r[2].strip() and r[3].strip()]


def pictures(read: TraceFile, worked: WorkedUp, name: str) -> dict[str, str]:
    """The trace with its windows at three widths."""
    from sealwright.pictures.trace import trace_svg
    from sealwright.traces import to_trace

    trace = to_trace(read)
    ambient = None if trace.ambient is trace.mask else trace.ambient.values
    m, unit = worked.measured, "counted in a sample" if read.unit == "count" else "per cm³"
    return {word: trace_svg(trace.mask.t, trace.mask.values, ambient, worked.windows, title=name, width=width,
                            factors=m, pass_level=m.pass_level, unit=unit, purge_s=worked.purge_s, standalone=False)
            for word, width in WIDTHS}


def factor_pictures(measured: Measured, title: str) -> dict[str, str]:
    """The factors on a log axis at three widths."""
    from sealwright.pictures.factors import factor_svg

    return {word: factor_svg(measured, title=title, width=width, pass_level=measured.pass_level, standalone=False)
            for word, width in WIDTHS}
