"""The pages of the documentation and what can be read out of them."""

from __future__ import annotations

import re
from pathlib import Path

ROOT = Path(__file__).parents[2]
PAGES = sorted([*ROOT.glob("*.md"), *(ROOT / "docs").rglob("*.md")])
LINK = re.compile(r"!?\[[^\]]*\]\(([^)\s]+)\)")
FENCED = re.compile(r"^( *)```(\w*)\n(.*?)^\1```$", re.DOTALL | re.MULTILINE)


def named(page: Path) -> str:
    return page.relative_to(ROOT).as_posix()


def without_code(text: str) -> str:
    return re.sub(r"`[^`\n]*`", "", FENCED.sub("", text))


def anchors(page: Path) -> set[str]:
    """Headings as links name them: small letters, spaces as dashes, other signs left out."""
    headings = re.findall(r"^#+ (.+)$", FENCED.sub("", page.read_text("utf-8")), re.MULTILINE)
    return {re.sub(r"[^\w\- ]", "", h.lower()).replace(" ", "-") for h in headings}


def shell_lines(text: str) -> list[str]:
    """The lines of the shell blocks, those that go on joined."""
    blocks = [body for _, language, body in FENCED.findall(text) if language == "sh"]
    return [line.strip() for body in blocks for line in body.replace("\\\n", " ").splitlines() if line.strip()]


def inline_commands(text: str) -> list[str]:
    return re.findall(r"`(sealwright [a-z][^`]*)`", FENCED.sub("", text))
