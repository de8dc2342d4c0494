"""The reference pages are those the code makes; `python docs/reference/make_assess.py` writes them."""

from __future__ import annotations

from pathlib import Path

from sealwright.assess import DEPARTURES, PARTS
from sealwright.assess.method import method_of
from sealwright.assess.reference import findings_page, record_page
from sealwright.protocols import published

REFERENCE = Path(__file__).parents[2] / "docs" / "reference"


def test_the_findings_page_is_current_and_has_every_code() -> None:
    page = (REFERENCE / "findings.md").read_text("utf-8")
    assert page == findings_page()
    assert all(f"| `{code}`" in page for code in DEPARTURES)


def test_no_code_stands_twice() -> None:
    assert sum(len(rows) for rows in PARTS.values()) == len(DEPARTURES)


def test_every_code_used_in_the_checks_is_in_the_table_and_the_other_way_round() -> None:
    source = "".join(p.read_text("utf-8") for p in (Path(__file__).parents[2] / "src/sealwright/assess").glob("*.py")
                     if p.name != "codes.py")
    assert {code for code in DEPARTURES if f'"{code}"' not in source} == set()


def test_the_record_page_is_current() -> None:
    assert (REFERENCE / "test-record.md").read_text("utf-8") == record_page()


def test_every_source_a_code_names_is_in_every_protocol() -> None:
    for protocol in published().values():
        sources = method_of(protocol).sources
        assert sources.keys() == DEPARTURES.keys()
        assert all(sources.values())
