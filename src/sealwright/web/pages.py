"""Pages for people: what happened, what is on the shelf, how a method goes."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from datetime import UTC, datetime
from typing import Any

import jinja2
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import HTMLResponse, RedirectResponse, Response
from starlette.routing import Route

from sealwright import __version__
from sealwright.assess import Verdict, judge
from sealwright.assess.measured import Factor
from sealwright.assess.pressure import percent
from sealwright.assess.summary import floored, nothing, rounded
from sealwright.errors import BadInput, SealwrightError
from sealwright.insight.hood import Prediction, explanations
from sealwright.ledger import TestRow
from sealwright.pictures.hood import predicted
from sealwright.pictures.performed import performed_from
from sealwright.pictures.score import score_svg
from sealwright.protocols import Protocol, Score, compile_score, get, published, rule_sets
from sealwright.protocols.types import Claim, Recipe, Sourced
from sealwright.web.assets import BUILD, TEMPLATES
from sealwright.web.hub import Hub
from sealwright.web.tracedesk import factor_pictures
from sealwright.web.words import available_languages

KIND_WORDS = {"filtering": "filtering facepiece", "half": "half mask", "full": "full face mask"}
PROTOCOL_ROWS: dict[str, tuple[tuple[str, str], ...]] = {
    "values": (("abstention", "Plain water only before"), ("washout", "Washout after screening"),
               ("wear", "Worn before the test"), ("nebuliser_life", "A filling lasts"),
               ("required_factor", "A pass stands for"), ("top_up_every", "Top-up every"),
               ("stock_life", "Stock solution lasts"), ("odour_life", "Odour solution lasts"),
               ("challenge", "Liquid on the towel"), ("settle", "Vapour fills the chamber in"),
               ("repeat_wait", "Wait before a repeat"), ("flow", "Flow of smoke"), ("purge", "Purge after a switch"),
               ("least_ambient", "Least particles outside"), ("smoke_free", "No smoking before"),
               ("pressure", "Pressure held"), ("inspiratory_flow", "Modelled breathing flow"),
               ("breath_hold", "Breath held"), ("redonnings", "Redonnings")),
    "recipes": (("screening_solution", "Screening solution"), ("test_solution", "Test solution"),
                ("stock_solution", "Stock solution"), ("odour_solution", "Odour solution")),
    "claims": (("blank", "Blank"), ("chamber", "Chamber"), ("challenge", "Challenge"), ("underfoot", "Underfoot"),
                ("cartridges", "Cartridges"), ("whiff", "Screening"),
               ("no_hood", "No hood"), ("filters", "Filters")),
}
"""fields of the classes of protocol, with their words"""
RESULT_MARKS = {"pass": "●", "fail": "✕", "void": "○", "unsuited": "◇", "unfinished": "…"}


def environment(org_name: str) -> jinja2.Environment:
    """Templates with autoescape and the few filters they need."""
    env = jinja2.Environment(loader=jinja2.FileSystemLoader(TEMPLATES), autoescape=True,
                             undefined=jinja2.StrictUndefined, trim_blocks=True, lstrip_blocks=True)
    env.globals |= {"org_name": org_name, "build": BUILD, "version": __version__, "static": f"/static/{BUILD}",
                    "marks": RESULT_MARKS, "kinds": KIND_WORDS}
    env.filters |= {"day": lambda ms: _local(ms).strftime("%-d %b %Y"), "hour": lambda ms: _local(ms).strftime("%H:%M"),
                    "clock": lambda s: f"{'−' if s < 0 else ''}{abs(s) // 60}:{abs(s) % 60:02d}",
                    "factor": lambda x: nothing(x) if x.factor is None else rounded(x.factor),
                    "interval": interval, "overall": overall,
                    "chance": lambda p: "not known" if p is None else percent(p),
                    "iso": lambda ms: datetime.fromtimestamp(ms / 1000, UTC).isoformat()}
    return env


def _local(ms: int) -> datetime:
    return datetime.fromtimestamp(ms / 1000).astimezone()


class Pages:
    """HTML pages. The room and the wearer's screen are elsewhere; these read."""

    def __init__(self, hub: Hub, env: jinja2.Environment, org_name: str) -> None:
        self.hub, self.env, self.org_name = hub, env, org_name

    def routes(self) -> list[Route]:
        return [
            Route("/", self.page(self.home)),
            Route("/room", self.page(self.room)),
            Route("/wearers", self.page(self.wearers)),
            Route("/wearers/{wearer}", self.page(self.wearer)),
            Route("/tests", self.page(self.tests)),
            Route("/tests/{test}", self.page(self.test)),
            Route("/tests/{test}/certificate.pdf", self.certificate),
            Route("/tests/{test}/card.pdf", self.card),
            Route("/facepieces", self.page(self.facepieces)),
            Route("/testers", self.page(self.testers)),
            Route("/protocols", self.page(self.protocols)),
            Route("/protocols/{protocol}", self.page(self.protocol)),
            Route("/protocols/{protocol}/score/{level}.svg", self.score_picture),
            Route("/cautions", self.page(self.cautions)),
            Route("/favicon.ico", self.favicon),
        ]

    def page(self, make: Callable[[Request], tuple[str, dict[str, Any]]]) -> Callable[[Request], Awaitable[Response]]:
        """Renders what `make` returns, (template, values), off the event loop."""
        async def endpoint(request: Request) -> Response:
            def work() -> str:
                template, values = make(request)
                return self.env.get_template(template).render(path=request.url.path, **values)

            return HTMLResponse(await run_in_threadpool(work))

        return endpoint

    def problem(self, error: SealwrightError) -> str:
        return self.env.get_template("problem.html").render(path="", error=error)

    def home(self, request: Request) -> tuple[str, dict[str, Any]]:
        ledger = self.hub.ledger
        return "home.html", {"open": ledger.tests(open_only=True, limit=12), "recent": ledger.tests(limit=12),
                             "count": ledger.count(), "names": self._names()}

    def room(self, request: Request) -> tuple[str, dict[str, Any]]:
        return "room.html", {}

    def wearers(self, request: Request) -> tuple[str, dict[str, Any]]:
        latest: dict[str, Any] = {}
        for row in self.hub.ledger.tests(limit=10_000):
            latest.setdefault(row.wearer, row)
        return "wearers.html", {"languages": available_languages(), "latest": latest,
                                "wearers": self.hub.ledger.wearers()}

    def wearer(self, request: Request) -> tuple[str, dict[str, Any]]:
        wearer = self.hub.ledger.wearer(request.path_params["wearer"])
        return "wearer.html", {"wearer": wearer, "tests": self.hub.ledger.tests(wearer=wearer.id, limit=200)}

    def tests(self, request: Request) -> tuple[str, dict[str, Any]]:
        return "tests.html", {"tests": self.hub.ledger.tests(limit=500), "names": self._names()}

    def facepieces(self, request: Request) -> tuple[str, dict[str, Any]]:
        return "facepieces.html", {"facepieces": self.hub.ledger.facepieces(), "lots": self.hub.ledger.lots(),
                                   "now": self.hub.now()}

    def testers(self, request: Request) -> tuple[str, dict[str, Any]]:
        return "testers.html", {"testers": self.hub.ledger.testers(), "now": self.hub.now()}

    def protocols(self, request: Request) -> tuple[str, dict[str, Any]]:
        rules = sorted(rule_sets().values(), key=lambda r: r.title, reverse=True)
        groups = [(r.title, [p for p in published().values() if p.rule_set == r.id]) for r in rules]
        return "protocols.html", {"groups": [g for g in groups if g[1]], "rules": rules,
                                  "site_levels": self.hub.site_levels()}

    def protocol(self, request: Request) -> tuple[str, dict[str, Any]]:
        protocol = get(request.path_params["protocol"])
        usual = "10" if protocol.method == "taste" else "0"
        score = compile_score(protocol, _level(request.query_params.get("level", usual)))
        return "protocol.html", {"p": protocol, "score": score, "picture": _pictures(protocol, score),
                                 **{group: [row for row in rows if isinstance(getattr(protocol, row[0], None), kind)]
                                    for (group, rows), kind in zip(PROTOCOL_ROWS.items(), (Sourced, Recipe, Claim),
                                                                   strict=True)}}

    def cautions(self, request: Request) -> tuple[str, dict[str, Any]]:
        return "cautions.html", {}

    def test(self, request: Request) -> tuple[str, dict[str, Any]]:
        row = self.hub.ledger.test(request.path_params["test"])
        stored, events = self.hub.told_of(row.id)
        verdict = judge(events)
        protocol = get(row.protocol)
        score = _score_of(protocol, verdict)
        performed = performed_from(events, verdict)
        air = predicted(score, performed) if score and performed else None
        picture = _pictures(protocol, score, performed, air) if score else None
        return "test.html", {"test": row, "verdict": verdict, "p": protocol, "picture": picture, "names": self._names(),
                             "air": explanations(air) if air else (), "stored": stored,
                             "factor_picture": factor_pictures(verdict.measured, "Fit factors")
                             if verdict.measured else None}

    def _names(self) -> dict[str, str]:
        wearers, testers = self.hub.ledger.wearers(), self.hub.ledger.testers()
        return {w.id: w.name or w.id for w in wearers} | {t.id: t.name or t.id for t in testers}

    async def certificate(self, request: Request) -> Response:
        """The one-page record of a test as PDF."""
        from sealwright.evidence import certificate_pdf

        return await self._pdf(request, certificate_pdf, "certificate")

    async def card(self, request: Request) -> Response:
        """The wallet card of a passed test as PDF."""
        from sealwright.evidence import card_pdf

        return await self._pdf(request, card_pdf, "card")

    async def _pdf(self, request: Request, make: Callable[[Any], bytes], kind: str) -> Response:
        from sealwright.evidence.gather import gather

        test = request.path_params["test"]

        def work() -> bytes:
            here = datetime.now().astimezone().tzinfo or UTC
            return make(gather(self.hub.ledger, test, org_name=self.org_name, zone=here))

        pdf = await run_in_threadpool(work)
        return Response(pdf, media_type="application/pdf",
                        headers={"Content-Disposition": f'inline; filename="{kind}-{test}.pdf"'})

    async def score_picture(self, request: Request) -> Response:
        protocol = get(request.path_params["protocol"])
        score = compile_score(protocol, _level(request.path_params["level"]))
        svg = score_svg(score, title=_title(protocol, score), standalone=True)
        return Response(svg, media_type="image/svg+xml")

    async def favicon(self, request: Request) -> Response:
        return RedirectResponse(f"/static/{BUILD}/mark.svg")


def _score_of(protocol: Protocol, verdict: Verdict) -> Score | None:
    """The score by which a test was led; None where a taste test has no level yet or nothing was begun."""
    if protocol.method == "taste":
        return compile_score(protocol, verdict.level) if verdict.level else None
    return compile_score(protocol) if verdict.started_at is not None else None


def _title(protocol: Protocol, score: Score) -> str:
    return f"{protocol.title}, level {score.level}" if score.level else protocol.title


def interval(x: Factor) -> str:
    """The 95 % interval of a factor in words."""
    if x.low is None:
        return "not known"
    return f"{rounded(x.low)} to {rounded(x.high)}" if x.high is not None else f"at least {floored(x.low)}"


def overall(row: TestRow) -> str:
    """The overall factor of a test in a list."""
    if row.factor_milli is not None:
        return rounded(row.factor_milli / 1000)
    return f"at least {floored(row.low_milli / 1000)}" if row.low_milli is not None else "no number"


def _level(text: str) -> int:
    if not (text.isascii() and text.isdigit()) or len(text) > 3:
        raise BadInput(f"{text!r} is no level", place="level", mend="Give a level of the protocol, a whole number")
    return int(text)


def _pictures(protocol: Protocol, score: Score, performed: Any = None,
              air: Prediction | None = None) -> dict[str, str]:
    """The same picture for wide, middling and narrow windows, so that its words stay legible."""
    title = _title(protocol, score)
    widths = {"wide": 1600, "middle": 1000, "narrow": 360}
    return {name: score_svg(score, title=title, performed=performed, width=width, standalone=False,
                            beneath=air)
            for name, width in widths.items()}
