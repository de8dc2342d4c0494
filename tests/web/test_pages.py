"""Pages for people: they are there, their links lead somewhere, and no name can become a script."""

from __future__ import annotations

import re
from html.parser import HTMLParser
from urllib.parse import urljoin, urlsplit

import httpx
import pytest

pytestmark = pytest.mark.xdist_group("web-api")
MAIN = ["/", "/room", "/tests", "/wearers", "/testers", "/facepieces", "/protocols", "/protocols/us-bitter",
        "/protocols/us-counting", "/protocols/us-smoke", "/cautions", "/w", "/reckoning", "/reckoning/protection",
        "/reckoning/protection?concentration=3&limit=0.1", "/reckoning/agreement", "/traces"]
HOSTILE = '<script>alert(1)</script>"\'><img src=x onerror=alert(2)>'


class Seen(HTMLParser):
    """Links and files of a page, its elements, what is inside its script elements, and its handler attributes."""

    def __init__(self, text):
        super().__init__()
        self.addresses, self.scripts, self.handlers, self.elements, self._in = set(), [], [], [], None
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        self.elements.append(tag)
        for name, value in attrs:
            if name in ("href", "src"):
                self.addresses.add(value)
            if name.startswith("on") or (value or "").strip().lower().startswith("javascript:"):
                self.handlers.append((tag, name))
        if tag == "script":
            self._in = dict(attrs).get("type", "")

    def handle_endtag(self, tag):
        if tag == "script":
            self._in = None

    def handle_data(self, data):
        if self._in is not None and data.strip() and self._in != "application/json":
            self.scripts.append(data)


@pytest.fixture
def client(server):
    with httpx.Client(base_url=server.url, follow_redirects=True) as made:
        yield made


def test_every_link_on_the_main_pages_answers(client, server):
    tests = [t.id for t in server.ledger.tests(limit=3)]
    pages = [*MAIN, *[f"/tests/{t}" for t in tests], f"/wearers/{server.ledger.wearers()[0].id}"]
    found = {}
    for page in pages:
        answer = client.get(page)
        assert answer.status_code == 200, page
        for address in Seen(answer.text).addresses:
            whole = urlsplit(urljoin(f"{server.url}{page}", address.split("#")[0]))
            assert whole.netloc == urlsplit(server.url).netloc, f"{page} leads away: {address}"
            found.setdefault(whole.path + (f"?{whole.query}" if whole.query else ""), page)
    one_of_a_kind = {}
    for address, page in found.items():
        one_of_a_kind.setdefault(re.sub(r"gr-w?\d+", "…", address), (address, page))
    assert len(one_of_a_kind) > 25
    for address, page in one_of_a_kind.values():
        assert client.get(address).status_code == 200, f"{address}, linked from {page}"


@pytest.mark.parametrize("page", [*MAIN, "/nowhere", "/tests/nobody"])
def test_no_page_has_a_script_or_a_handler_in_it(client, page):
    seen = Seen(client.get(page).text)
    assert seen.scripts == []
    assert seen.handlers == []


@pytest.mark.parametrize("page", ["/nowhere", "/tests/nobody", "/wearers/nobody", "/protocols/nobody",
                                  "/tests/nobody/certificate.pdf"])
def test_what_is_not_there_is_said_on_a_page(client, page):
    answer = client.get(page)
    assert answer.status_code == 404
    assert answer.headers["content-type"].startswith("text/html")
    assert "That did not work" in answer.text
    assert 'href="/"' in answer.text


@pytest.mark.parametrize("level", ["0", "11", "ten", "-10", "9999", "<b>", "²", "١٠"])
def test_a_level_that_is_not_there_is_said_on_a_page(client, level):
    answer = client.get("/protocols/us-bitter", params={"level": level})
    assert answer.status_code == 422
    assert "That did not work" in answer.text
    assert "<b>" not in answer.text


def test_a_hostile_name_stays_a_name(client, server):
    ledger = server.ledger
    test = ledger.tests(limit=1)[0]
    ledger.put_person(test.wearer, HOSTILE, staff_no=HOSTILE)
    ledger.put_person(test.tester, HOSTILE)
    calm = Seen(client.get("/tests/" + ledger.tests(limit=2)[1].id).text).elements.count("img")
    for page in ("/", "/tests", "/wearers", "/testers", f"/wearers/{test.wearer}", f"/tests/{test.id}"):
        text = client.get(page).text
        seen = Seen(text)
        assert HOSTILE not in text
        assert "&lt;script&gt;alert(1)" in text, page
        assert seen.scripts == []
        assert seen.handlers == []
        assert seen.elements.count("img") == calm == 0


def test_a_hostile_name_stays_a_name_in_the_papers(client, server):
    test = next(t for t in server.ledger.tests() if t.result == "pass")
    server.ledger.put_person(test.wearer, HOSTILE + "#panic[x] $ \\ `")
    answer = client.get(f"/tests/{test.id}/certificate.pdf")
    assert answer.status_code == 200
    assert answer.content.startswith(b"%PDF")


def test_a_wearer_put_on_record_by_form_is_there_and_an_empty_name_is_not(client, server):
    form = {"name": "Ottoline Quayside", "language": "en", "site": "Slipway", "role": "rigger"}
    assert client.post("/wearers", data=form).status_code == 200
    assert "Ottoline Quayside" in [w.name for w in server.ledger.wearers()]
    before = server.ledger.count(), server.ledger.heads()
    for wrong in ({**form, "name": " "}, {**form, "language": "xx"}, {**form, "name": "x" * 500},
                  {**form, "name": "a\x00b"}):
        answer = client.post("/wearers", data=wrong)
        assert answer.status_code == 422
        assert "That did not work" in answer.text
    assert (server.ledger.count(), server.ledger.heads()) == before
