"""The reference pages are those the code makes; `python docs/reference/make_assess.py` writes them."""

from __future__ import annotations

from pathlib import Path

from sealwright.assess import DEPARTURES, PARTS
from sealwright.assess.method import method_of
from sealwright.assess.reference import findings_page, record_page
from sealwright.protocols import Protocol, published

REFERENCE = Path(__file__).parents[2] / "docs" / "reference"


def test_the_findings_page_is_current_and_has_every_code() -> None:
    page = (REFERENCE / "findings.md").read_text("utf-8")
    assert page == findings_page()
    assert all(f"| `{code}`" in page for code in DEPARTURES)


def test_no_code_stands_twice() -> None:
    assert sum(len(rows) for rows in PARTS.values()) == len(DEPARTURES)


def test_every_code_used_in_the_checks_is_in_the_table_and_the_other_way_round() -> None:
    """The doubts about samples bear the prefix data- as findings only."""
    source = "".join(p.read_text("utf-8") for p in (Path(__file__).parents[2] / "src/sealwright/assess").rglob("*.py")
                     if p.name != "codes.py")
    assert {code for code in DEPARTURES
            if not any(f'"{name}"' in source for name in (code, code.removeprefix("data-")))} == set()


def test_the_record_page_is_current() -> None:
    assert (REFERENCE / "test-record.md").read_text("utf-8") == record_page()


def test_every_source_a_code_names_is_in_the_protocols_it_may_be_found_by() -> None:
    """What any method may find is cited by every protocol, the rest by those of its own methods at least."""
    cited = {code: {p.method for p in published().values() if _cites(p, code)} for code in DEPARTURES}
    assert {code for code, methods in cited.items() if not methods} == set()
    for part in ("The record", "Donning", "After the test"):
        for row in PARTS[part]:
            assert cited[row.code] >= ({p.method for p in published().values()} - (
                {"counting", "aerosol", "pressure"} if row.code == "taste-taken-back" else set())), row.code
    taste = [row for part, rows in PARTS.items() if part not in ("Vapour and smoke", "The measurement") for row in rows]
    assert all("taste" in cited[row.code] for row in taste)


def _cites(protocol: Protocol, code: str) -> bool:
    try:
        return bool(method_of(protocol).sources[code])
    except (KeyError, AttributeError, IndexError):
        return False
