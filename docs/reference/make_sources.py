"""Writes sources.md beside itself: every source that protocol files, lists and tables cite, and how each was read."""

from __future__ import annotations

import tomllib
from collections import defaultdict
from collections.abc import Iterator
from importlib import resources
from pathlib import Path
from typing import Any

import msgspec

from sealwright.programme.protection import tables
from sealwright.protocols import published, rule_sets
from sealwright.protocols.types import COMMON_PRACTICE, OURS, Protocol, Source

Cited = tuple[str, str, str, str]
"""(source, how it was read, what cites it, in which file)"""

HEAD = """# Sources

Every source that the protocol files, the rule sets (`rules/`) and the tables of protection factors (`apf/`) cite, and
how we read it. Made by `python docs/reference/make_sources.py`; do not edit by hand.

**What must be verified.** The words and figures below were read in copies and remembered, not in the official prints.
Before you rely on a value, look it up in the published text, in the edition that binds you:

- **copy**: read in a faithful secondary copy of the text. Check it against the official publication.
- **memory**: written down from memory. Nobody has compared it with the text. Check these first.
- **none**: there is no source; it is what the trade does, or our own choice.

A finding prints its source, and the page of a protocol marks what comes from memory; so does the command
`sealwright protocol show`. A passage verified in the published text is changed here by changing `read` (and the value,
if it was wrong) in the protocol file.
"""


def cited() -> list[Cited]:
    """All citations, from all protocol files, rule sets, tables of protection factors and lists."""
    rows = [(found.source, found.read, place, p.id) for p in published().values() for place, found in _in_protocol(p)]
    rows += [(found.source, found.read, place, f"rules/{r.id}") for r in rule_sets().values()
             for field in r.__struct_fields__ for place, found in _below(field, getattr(r, field))]
    rows += [(found.source, found.read, place, f"apf/{t.id}") for t in tables().values()
             for place, found in [("table", t), *_below("ceiling", t.ceiling), *_below("classes", t.classes)]]
    return rows + [(source, "none", place, f"lists/{name}") for name, place, source in _in_lists()]


def _in_protocol(p: Protocol) -> Iterator[tuple[str, Source]]:
    for field in p.__struct_fields__:
        yield from _below(field, getattr(p, field))


def _below(place: str, value: Any) -> Iterator[tuple[str, Source]]:
    if isinstance(value, Source):
        yield place, value
    elif isinstance(value, tuple):
        for i, item in enumerate(value):
            yield from _below(f"{place}.{getattr(item, 'id', None) or getattr(item, 'level', i)}", item)
    elif isinstance(value, dict):
        for name, item in value.items():
            yield from _below(f"{place}.{name}", item)
    elif isinstance(value, msgspec.Struct):
        for field in value.__struct_fields__:
            yield from _below(f"{place}.{field}", getattr(value, field))


def _in_lists() -> Iterator[tuple[str, str, str]]:
    """(file, place, source)"""
    def walk(place: str, table: dict[str, Any]) -> Iterator[tuple[str, str]]:
        for name, value in table.items():
            if name == "source":
                yield place, value
            elif isinstance(value, dict):
                yield from walk(f"{place}.{name}" if place else name, value)
    folder = resources.files("sealwright.protocols").joinpath("lists")
    for file in sorted(folder.iterdir(), key=lambda f: f.name):
        yield from ((file.name, *row) for row in walk("", tomllib.loads(file.read_text("utf-8"))))


def page() -> str:
    """sources.md, whole."""
    found: dict[tuple[str, str], dict[str, set[str]]] = defaultdict(lambda: defaultdict(set))
    for source, read, place, file in cited():
        found[source, read][place].add(file)
    documents = [(k, v) for k, v in sorted(found.items()) if k[0] not in (COMMON_PRACTICE, OURS)]
    count = {read: sum(1 for (_, r), _ in documents if r == read) for read in ("memory", "copy")}
    parts = [HEAD, f"Of {len(documents)} passages cited, {count['memory']} are from memory and {count['copy']} from "
                   "copies; none was read in the official print.\n"]
    for title, source in (("Documents", ""), ("Common practice, without a source", COMMON_PRACTICE),
                          ("Our own choice, settable", OURS)):
        rows = documents if not source else [(k, v) for k, v in sorted(found.items()) if k[0] == source]
        parts.append(_table(title, rows))
    return "\n".join(parts)


def _table(title: str, rows: list[tuple[tuple[str, str], dict[str, set[str]]]]) -> str:
    lines = [f"## {title}\n", "| Source | Read | Cited for | In |", "| --- | --- | --- | --- |"]
    for (source, read), places in rows:
        by_files: dict[str, list[str]] = defaultdict(list)
        for place, files in sorted(places.items()):
            by_files[", ".join(sorted(files))].append(f"`{place}`")
        lines += [f"| {source} | {read} | {', '.join(fields)} | {files} |" for files, fields in by_files.items()]
    return "\n".join(lines) + "\n"


if __name__ == "__main__":
    Path(__file__).with_name("sources.md").write_text(page(), "utf-8")
