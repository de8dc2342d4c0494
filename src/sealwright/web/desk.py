"""Forms that put wearers, fit testers, facepieces and lots on record, one at a time."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, datetime, time
from typing import Any

import uuid_utils
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route

from sealwright.errors import BadInput
from sealwright.protocols import rule_set, rule_sets
from sealwright.web.hub import SITE, Hub
from sealwright.web.words import available_languages

BY = "desk"
LONGEST = 120


class Desk:
    """POST endpoints of the forms. Each writes one event (and the personal details apart) and goes back to its page."""

    def __init__(self, hub: Hub) -> None:
        self.hub = hub

    def routes(self) -> list[Route]:
        return [Route(f"/{page}", self._endpoint(page, take), methods=["POST"]) for page, take in (
            ("wearers", self.wearer), ("testers", self.tester), ("facepieces", self.facepiece), ("lots", self.lot),
            ("protocols", self.level))]

    def _endpoint(self, page: str, take: Callable[[Form], None]) -> Callable[[Request], Any]:
        async def endpoint(request: Request) -> Response:
            async with request.form(max_files=0, max_fields=20) as data:
                form = Form({k: str(v) for k, v in data.items()})
            await run_in_threadpool(take, form)
            back = "facepieces" if page == "lots" else page
            return RedirectResponse(f"/{back}?added=1", status_code=303)

        return endpoint

    def wearer(self, form: Form) -> None:
        name, staff_no = form.text("name"), form.text("staff_no", needed=False)
        data = {"language": form.one_of("language", tuple(available_languages())),
                "site": form.text("site", needed=False), "role": form.text("role", needed=False)}
        self._person("wearer", "wearer-joined", data, name, staff_no)

    def tester(self, form: Form) -> None:
        until = form.day_end("competent_until", needed=False)
        self._person("account", "tester-registered", {"competent_until_at": until} if until else {}, form.text("name"))

    def facepiece(self, form: Form) -> None:
        data = {k: form.text(k) for k in ("make", "model", "material", "size")}
        data["kind"] = form.one_of("kind", ("filtering", "half", "full"))
        self._append("facepiece", "facepiece-stocked", data)

    def lot(self, form: Form) -> None:
        data = {"agent": form.one_of("agent", ("bitter", "sweet")), "use": form.one_of("use", ("screening", "test")),
                "lot": form.text("lot"), "expires_at": form.day_end("expires")}
        self._append("lot", "lot-received", data)

    def level(self, form: Form) -> None:
        """The site's own pass level: never below the rule set's; left empty, the rule set's holds again."""
        rules = rule_set(form.one_of("rule_set", tuple(rule_sets())))
        kind, text = form.one_of("kind", ("filtering", "half", "full")), form.text("level", needed=False)
        asked = rules.level_for(kind)
        if asked is None:
            raise BadInput(f"{rules.title} has no level for this kind", place="kind", mend="Choose another kind")
        if text and not (text.isascii() and text.isdigit() and len(text) <= 6):
            raise BadInput(f"{text[:40]!r} is no fit factor", place="level",
                           mend="Give a whole number, or leave it empty")
        if text and int(text) < asked.value:
            raise BadInput(f"{text} is below the {asked.value} of {rules.title}", place="level",
                           mend=f"A site may ask for more, never for less: give {asked.value} or more")
        data = {"rule_set": rules.id, "kind": kind, **({"level": int(text)} if text else {})}
        self.hub.ledger.append([{"stream": SITE, "id": f"e-{uuid_utils.uuid7()}", "kind": "pass-level-set",
                                 "at": self.hub.now(), "by": BY, "data": data}])

    def _person(self, kind: str, event: str, data: dict[str, Any], name: str, staff_no: str = "") -> None:
        """The details go first: a name without an event is inert, an event without a name would be nobody."""
        id = str(uuid_utils.uuid7())
        self.hub.ledger.put_person(id, name, staff_no)
        self._append(kind, event, data, id)

    def _append(self, kind: str, event: str, data: dict[str, Any], id: str | None = None) -> None:
        id = id or str(uuid_utils.uuid7())
        self.hub.ledger.append([{"stream": f"{kind}:{id}", "id": f"e-{id}", "kind": event, "at": self.hub.now(),
                                 "by": BY, "data": data}])


class Form:
    """A posted form; every fault names its field."""

    def __init__(self, values: dict[str, str]) -> None:
        self.values = values

    def text(self, field: str, *, needed: bool = True) -> str:
        """A short text without surrounding blanks."""
        value = self.values.get(field, "").strip()
        if needed and not value:
            raise BadInput(f"{field.replace('_', ' ')} is empty", place=field, mend="Go back and fill it in")
        if len(value) > LONGEST or not value.isprintable():
            raise BadInput(f"{field} is too long or holds control characters", place=field,
                           mend=f"Use at most {LONGEST} plain characters")
        return value

    def one_of(self, field: str, choices: tuple[str, ...]) -> str:
        value = self.text(field)
        if value not in choices:
            raise BadInput(f"{value!r} is none of the choices", place=field, mend=f"Choose {', '.join(choices)}")
        return value

    def day_end(self, field: str, *, needed: bool = True) -> int | None:
        """The last millisecond of a day (site's time), from YYYY-MM-DD."""
        value = self.text(field, needed=needed)
        if not value:
            return None
        try:
            day = date.fromisoformat(value)
            return int(datetime.combine(day, time.max).astimezone().timestamp() * 1000)
        except (ValueError, OverflowError) as error:
            raise BadInput(f"{value!r} is no date", place=field, mend="Give the day as YYYY-MM-DD") from error
