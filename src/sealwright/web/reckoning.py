"""Pages that reckon: what protection the air asks for, how well two methods agree. Nothing is put on record."""

from __future__ import annotations

from typing import Any

import jinja2
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import QueryParams, UploadFile
from starlette.requests import Request
from starlette.responses import HTMLResponse, Response
from starlette.routing import Route

from sealwright.errors import BadInput, SealwrightError, TooLarge
from sealwright.web.tracedesk import WIDTHS, number

UNITS = ("mg/m3", "µg/m3", "ppm", "ppb", "f/ml")
MOST_BYTES = 900_000


class Reckoning:
    """Each page holds its form and its answer; a fault stands beside the form."""

    def __init__(self, env: jinja2.Environment) -> None:
        self.env = env

    def routes(self) -> list[Route]:
        return [Route("/reckoning", self.start), Route("/reckoning/protection", self.protection),
                Route("/reckoning/agreement", self.agreement, methods=["GET", "POST"])]

    def _render(self, template: str, /, **values: Any) -> HTMLResponse:
        return HTMLResponse(self.env.get_template(template).render(path="/reckoning", **values))

    async def start(self, request: Request) -> Response:
        return self._render("reckoning.html")

    async def protection(self, request: Request) -> Response:
        values = await run_in_threadpool(protection_of, request.query_params)
        return self._render("protection.html", units=UNITS, **values)

    async def agreement(self, request: Request) -> Response:
        if request.method == "GET":
            return self._render("agreement.html", chosen={}, found=None, trouble=None)
        async with request.form(max_files=1, max_fields=10) as form:
            given = form.get("file")
            chosen = {k: v for k, v in form.items() if isinstance(v, str)}
            raw = await given.read(MOST_BYTES + 1) if isinstance(given, UploadFile) else b""
            name = (given.filename or "") if isinstance(given, UploadFile) else ""
        values = await run_in_threadpool(agreement_of, raw, name, QueryParams(chosen))
        return self._render("agreement.html", chosen=chosen, **values)


def protection_of(q: QueryParams) -> dict[str, Any]:
    """What the form asked and what comes of it."""
    from sealwright.programme import protection as p

    rules = q.get("rules") or "us"
    values: dict[str, Any] = {"chosen": {**q, "rules": rules}, "tables": list(p.tables().values()), "needed": None,
                              "rows": (), "told": None, "picture": None, "trouble": None, "shown": None}
    try:
        shown = values["shown"] = p.table(rules)
        atmosphere: Any = q.get("atmosphere") or "known"
        needed = _needed(q, atmosphere)
        passed_by: Any = q.get("passed_by") or "quantitative"
        form: Any = q.get("form") or None
        found = p.classes_reaching(rules, needed or 1e-9, form=form, passed_by=passed_by)
        values |= {"needed": needed, "rows": [(c, p.usable_factor(c, passed_by)) for c in found]}
        tight = next((c for c in (*found, *shown.classes) if c.tight), shown.classes[0])
        cls = p.equipment(rules, q["class"]) if q.get("class") else tight
        level = p.pass_level_for(cls)
        values |= {"told": p.explain(number(q, "fit_factor"), cls.apf, level).lines(), "cls": cls,
                   "picture": _three(cls, level, number(q, "fit_factor"), needed)}
    except SealwrightError as error:
        values["trouble"] = error
    return values


def _needed(q: QueryParams, atmosphere: Any) -> float | None:
    from sealwright.programme.protection import Amount, needed_factor

    concentration, limit, unit = number(q, "concentration"), number(q, "limit"), q.get("unit") or "mg/m3"
    if atmosphere != "known":
        return needed_factor(Amount(1.0, unit), Amount(1.0, unit), atmosphere=atmosphere)
    if concentration is None and limit is None:
        return None
    if concentration is None or limit is None:
        raise BadInput("one of the two is missing", place="limit" if limit is None else "concentration",
                       mend="Give both, or neither for the whole table")
    return needed_factor(Amount(concentration, unit), Amount(limit, unit), atmosphere=atmosphere)


def _three(cls: Any, level: int, fit_factor: float | None, needed: float | None) -> dict[str, str]:
    from sealwright.pictures.protection import protection_svg

    return {word: protection_svg(apf=cls.apf, pass_level=level, fit_factor=fit_factor, needed=needed,
                                 title=f"{cls.title}: three factors, not one", width=width, standalone=False)
            for word, width in WIDTHS}


def agreement_of(raw: bytes, name: str, q: QueryParams) -> dict[str, Any]:
    """The comparison of an uploaded file of pairs, or why it cannot be read."""
    from sealwright.insight.agreement import compare
    from sealwright.pictures.agreement import agreement_svg
    from sealwright.traces.pairs import pairs_in

    try:
        if not raw:
            raise BadInput("no file was chosen", place="file", mend="Choose a CSV file")
        if len(raw) > MOST_BYTES:
            raise TooLarge("the file is over 900 kB", place=name, mend="Use the command line: `sealwright agreement`")
        level = number(q, "level") or 100.0
        test, reference = q.get("test", "").strip(), q.get("reference", "").strip()
        pairs = list(pairs_in(raw, name, test, reference, "", number(q, "test_level")))
        if not pairs:
            raise BadInput("no pairs", place=name, mend="Give one row a wearing below the heading")
        found = compare(pairs, level, (number(q, "cv") or 0.0) / 100)
    except SealwrightError as error:
        return {"found": None, "trouble": error}
    title = f"{test} against {reference}, pass level {level:g}"
    return {"found": found, "trouble": None, "name": name,
            "picture": {word: agreement_svg(found, pairs, title=title, width=width, standalone=False)
                        for word, width in WIDTHS}}
