"""Links lead somewhere, every page is in the index, and certain words stand nowhere in the repository."""

from __future__ import annotations

import subprocess
from pathlib import Path

import pytest
from tests.docs.pages import LINK, PAGES, ROOT, anchors, named, without_code

# Written in halves, so that this file passes its own check.
FORBIDDEN = ["trans" + "cript", "seed " + "document", "seed-" + "document", "py" + "pi.org", "python" + "hosted",
             "npm" + "js.", "crates" + ".io", "proxy.go" + "lang", "conda." + "anaconda"]


@pytest.mark.parametrize("page", PAGES, ids=named)
def test_links_lead_somewhere(page: Path) -> None:
    for target in LINK.findall(without_code(page.read_text("utf-8"))):
        if "://" in target:
            continue
        path, _, anchor = target.partition("#")
        found = (page.parent / path).resolve() if path else page
        assert found.exists(), f"{named(page)}: {target} is not there"
        if anchor:
            assert anchor in anchors(found), f"{named(page)}: no heading for {target}"


def test_every_page_is_in_the_index() -> None:
    index = ROOT / "docs" / "README.md"
    linked = {(index.parent / t.partition("#")[0]).resolve() for t in LINK.findall(index.read_text("utf-8"))}
    missing = [named(p) for p in PAGES if p.is_relative_to(index.parent) and p != index and p not in linked]
    assert missing == []


def repository_files() -> list[Path]:
    asked = ["git", "ls-files", "-z", "--cached", "--others", "--exclude-standard"]
    names = subprocess.run(asked, cwd=ROOT, capture_output=True, text=True, check=True).stdout.split("\0")
    return [ROOT / name for name in names if name and (ROOT / name).is_file()]


@pytest.mark.skipif(not (ROOT / ".git").exists(), reason="not a clone")
def test_no_registry_is_named_and_no_word_about_how_the_text_came_to_be() -> None:
    files = repository_files()
    assert ROOT / "README.md" in files
    found = [f"{path.relative_to(ROOT)}: {word}" for path in files
             for text in [path.read_bytes().decode("utf-8", "replace").lower()] for word in FORBIDDEN if word in text]
    assert found == []


def test_the_readme_begins_with_the_two_commands_and_says_the_cautions() -> None:
    text = " ".join((ROOT / "README.md").read_text("utf-8").replace("*", "").split())
    assert text.index("make run") < text.index("make test") < 200
    for caution in ("breathlessness", "claustrophobia", "asthma", "allergy", "substitute for medical clearance",
                    "not a workplace protection factor", "local code and licensed practice"):
        assert caution in text.lower()
