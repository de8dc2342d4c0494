"""The reference pages on findings and test records, written from the tables and types in code."""

from __future__ import annotations

from typing import Any

from sealwright.assess.codes import PARTS, Departure
from sealwright.assess.events import KINDS
from sealwright.assess.record import FORMAT, record_schema
from sealwright.protocols.types import COMMON_PRACTICE, OURS

_FINDINGS = f"""# Findings

Every departure that judging a test may find. Made from `sealwright.assess.codes`; do not edit by hand.

Severity: **note**, for the record; **minor**, the test stands; **major**, the test stands but a lead should look;
**void**, no pass can be claimed. A finding has its code, severity, words, source, instants (`at`, `until`, in ms) and
`at_s`, whole seconds from the first exercise.

How severe a departure is, is our choice throughout: the documents cited give rules, not severities. The column Source
names what a finding cites: values and rules of the protocol file, which bear paragraph and document and how they were
read; "ours" is written on the finding as "{OURS}" and "common" as "{COMMON_PRACTICE}". A second source is
that of the limit.

The result of a taste, vapour or smoke test is decided in this order:

1. **fail**: a taste (smell, reaction) stands that was marked at or after the first dose (the exposure, or the start of
   the run, whichever is earlier), by recorded order or by its time. It fails whatever else happened, even when marked
   after the seal was broken: answer the seal break with its own question, and withdraw a wrong tap in time.
2. **unsuited**: not tasted in all squeezes of the screening (not noticed without a facepiece), unless a finding marked
   * puts the screening in doubt; then void.
3. **unfinished**: the record has no end yet.
4. **void**: a finding of severity void.
5. **pass**: otherwise.

The result of a quantitative test (counting, generated aerosol, controlled negative pressure) is decided in this order:

1. **unfinished**: readings are not complete, and it was neither stopped nor closed.
2. **fail**, even if stopped early: what was measured leaves no way to reach the level, whatever the other exercises
   would give, and nothing but the missing part (`stopped`, save for a failed kit, `exercise-missing`, `exercise-short`,
   `reading-missing`) voids the test. By the overall factor that is so once the sum of 1/FF exceeds the number of
   exercises that count divided by the level; by each exercise, once one is below it.
3. **void**: a finding of severity void, or no number.
4. **pass** or **fail** by the measured values and the rule of the rule set: the overall factor, number of exercises
   that count divided by the sum of 1/FF, or every exercise that counts, must be at the level or above. The grimace does
   not count. Where nothing was counted in the mask, a single particle is taken in its place. The 95 % interval and the
   chance are told and never change the result: the rules go by the measured value.

The level is that of the rule set (the protocol's own, or another one named in the record), or the site's own where that
is stricter. Samples of the record go before factors typed beside them. Which samples belong to which exercise is as the
score has it, or as the tester accepted; on one channel the first seconds after each change of air (`purge` of the
protocol) are left out, save in windows drawn by hand.

"Half": where a time asked for (abstention, washout, filling of the chamber) was not kept, the departure is major, and
void below half of that time.

Times of doses: a dose is tapped when it has been given. It is early when tapped before its second in the score,
late when tapped after that second and the time its squeezes take; the tolerances are counted from there."""

_RECORD = f"""# Test record

A test recorded elsewhere, for `sealwright test assess`. Made from `sealwright.assess.events`; do not edit by hand.
JSON Schema: [test-record.schema.json](test-record.schema.json).

```json
{{"format": "{FORMAT}", "events": [
  {{"id": "t1-001", "kind": "opened", "at": 1790000000000, "by": "u-1", "data": {{"protocol": "us-bitter"}}}}
]}}
```

(The `data` of the example is cut short.) Events stand in recorded order, each with an `id` of its own, `kind`, `at`
(whole milliseconds since 1970-01-01 UTC), `by` (the account that recorded it) and `data`. Unknown fields are refused.
Names that end in `_at` are instants too. Times that run backwards are not refused but found.

A dose is recorded when it has been given; `act` is `dose-0` for the first dose and `dose-30`, `dose-60` … for the
top-up of that second. Samples are recorded in stretches, one event each; a reading once for each exercise, the last one
counting. Names that end in `_milli` are thousandths. Fields marked ? may be left out."""


def findings_page() -> str:
    """docs/reference/findings.md."""
    parts = [_FINDINGS]
    for title, rows in PARTS.items():
        parts.append(f"\n## {title}\n\n| Code | Severity | Meaning | Source |\n| --- | --- | --- | --- |")
        parts.extend(_finding_row(row) for row in rows)
    return "\n".join(parts) + "\n"


def _finding_row(row: Departure) -> str:
    doubt = " *" if row.doubts_screening else ""
    return f"| `{row.code}`{doubt} | {' or '.join(row.severities)} | {row.meaning} | {', '.join(row.source)} |"


def record_page() -> str:
    """docs/reference/test-record.md."""
    defs: dict[str, Any] = record_schema()["$defs"]
    parts = [_RECORD, "\n## Kinds of event\n\n| Kind | Meaning | Fields of `data` |\n| --- | --- | --- |"]
    for kind, data in KINDS.items():
        parts.append(f"| `{kind}` | {_doc(data)} | {_fields(defs[data.__name__])} |")
    parts.append("\n## Parts of events\n\n| Part | Meaning | Fields |\n| --- | --- | --- |")
    for name in ("Facepiece", "Tester", "Span"):
        parts.append(f"| {name} | {defs[name]['description']} | {_fields(defs[name])} |")
    return "\n".join(parts) + "\n"


def _doc(data: type) -> str:
    return " ".join((data.__doc__ or "").split())


def _fields(schema: dict[str, Any]) -> str:
    required = set(schema.get("required", ()))
    return "; ".join(f"`{name}`{'' if name in required else '?'} {_type(of)}"
                     for name, of in schema["properties"].items()) or "none"


def _type(schema: dict[str, Any]) -> str:
    """A type in few words."""
    if "$ref" in schema:
        return str(schema["$ref"]).rsplit("/", 1)[-1]
    if "anyOf" in schema:
        return " or ".join(_type(s) for s in schema["anyOf"] if s.get("type") != "null")
    if "enum" in schema:
        return " / ".join(str(v) or "(empty)" for v in schema["enum"])
    if schema["type"] == "array":
        return f"list of {_type(schema['items'])}"
    if schema["type"] == "object":
        return "true or false by id"
    if str(schema.get("description", "")).startswith("milliseconds"):
        return "instant"
    low, high = schema.get("minimum"), schema.get("maximum")
    bounds = f" {low} to {high}" if low is not None and high is not None else ""
    return {"string": "text", "integer": "whole number", "boolean": "true or false"}[schema["type"]] + bounds
