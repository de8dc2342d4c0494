"""`sealwright protocol`: the test methods, each value with its source."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from sealwright.cli import house, say

if TYPE_CHECKING:
    from sealwright.protocols import Protocol, RuleSet
    from sealwright.protocols.types import Claim

MOST_BYTES = 1_000_000
READ = {"copy": "read in a copy", "memory": "from memory, verify", "none": ""}
app = typer.Typer(help="The test methods: list, show, check one of your own.")


@app.command("list")
def list_(json: house.WantsJson = False) -> None:
    """List the published protocols."""
    from sealwright.protocols import published

    rows = [_row(p) for p in published().values()]
    say.answer(rows, json, lambda: say.table(
        ("protocol", "version", "title", "method", "for", "pass level"),
        [(r["id"], r["version"], r["title"], r["method"], ", ".join(r["kinds"]),
          ", ".join(f"{n:,}" for n in dict.fromkeys(r["pass_levels"].values()))) for r in rows]))


def _row(p: Protocol) -> dict[str, Any]:
    return {"id": p.id, "version": p.version, "title": p.title, "method": p.method, "agent": p.agent_name,
            "rule_set": p.rule_set, "quantitative": p.quantitative, "kinds": list(p.suits.kinds),
            "levels": [d.level for d in getattr(p, "doses", ())],
            "pass_levels": {kind: level.value for kind in p.suits.kinds if (level := p.level_for(kind))}}


@app.command()
def rules(
    rule_set: Annotated[str | None, typer.Argument(metavar="[ID]", help="us, uk, ca or anz; all where none is "
                                                                        "named.")] = None,
    json: house.WantsJson = False,
) -> None:
    """Show whose rules ask what: pass levels for each kind of facepiece, and which methods may show them."""
    from sealwright.protocols import rule_set as one
    from sealwright.protocols import rule_sets

    found = [one(rule_set)] if rule_set else list(rule_sets().values())
    say.answer(found, json, lambda: _tell_all_rules(found))


def _tell_all_rules(found: Sequence[RuleSet]) -> None:
    for r in found:
        _tell_rules(r)


def _tell_rules(r: RuleSet) -> None:
    say.line(f"{r.title} ({r.id})", bold=True)
    counts = "the overall factor" if r.pass_rule.value == "overall" else "every exercise that counts"
    say.line(f"Must reach the level: {counts} [{r.pass_rule.source}]. {r.interval.rule} [{r.interval.source}]")
    say.table(("facepiece", "level>", "methods", "source", "read"),
              [(x.kind, f"{x.value:,}", ", ".join(m.method for m in r.methods_for(x.kind)), x.source, READ[x.read])
               for x in r.levels])
    for m in r.methods:
        if not m.accepted:
            say.line(f"{m.method} is not accepted: {m.rule} [{m.source}]")


@app.command()
def show(
    protocol: Annotated[str, typer.Argument(metavar="ID", help="The protocol's id, as `protocol list` gives it.")],
    toml: Annotated[bool, typer.Option("--toml", help="Print the file itself, to begin one of your own.")] = False,
    json: house.WantsJson = False,
) -> None:
    """Show a protocol: its values, each with its source."""
    from sealwright.protocols import get
    from sealwright.protocols.shelf import source_text

    if toml and not json:
        say.raw(source_text(protocol))
        return
    found = get(protocol)
    say.answer(found, json, lambda: _tell(found))


@app.command()
def check(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="A protocol file of your own, TOML.")],
    json: house.WantsJson = False,
) -> None:
    """Check a protocol file: are its fields all there, and do they agree with each other?"""
    p = protocol_from(file)
    say.answer({"id": p.id, "version": p.version, "good": True}, json,
               lambda: say.line(f"{p.id} version {p.version}: a good protocol file"))


def protocol_from(file: Path) -> Protocol:
    """The protocol in a file. Raises BadInput naming file and field, TooLarge above MOST_BYTES."""
    from sealwright.errors import BadInput
    from sealwright.protocols import parse

    raw = house.read(file, MOST_BYTES, "a protocol file; the published ones have 7 kB")
    try:
        return parse(raw.decode("utf-8"), str(file))
    except UnicodeDecodeError as error:
        raise BadInput(f"not UTF-8 text: {error.reason} at byte {error.start}", place=str(file),
                       mend="Save the file as UTF-8") from None


def _tell(p: Protocol) -> None:
    say.line(f"{p.title} ({p.id}, version {p.version})", bold=True)
    say.line(p.summary)
    for c in p.cautions:
        say.line(f"Caution: {c.rule} [{c.source}]")
    say.table(("what", "value", "source", "read"), list(_values(p)))
    say.line("Rules", bold=True)
    say.table(("rule", "in our words", "source", "read"),
              [(name, c.rule, c.source, READ[c.read]) for name, c in _rules(p)])
    say.line("Tolerances", bold=True)
    tolerances = [(name, getattr(p.tolerances, name)) for name in p.tolerances.__struct_fields__]
    say.table(("tolerance", "value>", "source"),
              [(name.replace("_", " "), f"{t.value} {t.unit}", t.source) for name, t in tolerances])


def _rules(p: Protocol) -> Iterator[tuple[str, Claim]]:
    """Claims that are fields of the protocol, then its rules."""
    from sealwright.protocols.types import Claim

    for name in p.__struct_fields__:
        value = getattr(p, name)
        if isinstance(value, Claim):
            yield name.replace("_", "-"), value
        elif name == "passes":
            yield from ((f"pass-{n}", claim) for n, claim in enumerate(value, 1))
    yield from p.rules.items()


def _values(p: Protocol) -> Iterator[tuple[str, str, str, str]]:
    """What has a value, field by field, whatever the class of protocol."""
    for name in p.__struct_fields__:
        value = getattr(p, name)
        for n, one in enumerate(value if isinstance(value, tuple) else (value,), 1):
            if (said := _said(p, name, one, n)) is not None:
                yield (*said, one.source, READ[one.read])


def _said(p: Protocol, name: str, x: object, n: int) -> tuple[str, str] | None:
    """What it is and its value in words; None for what is told elsewhere."""
    from sealwright.protocols import types as t

    word = name.replace("_", " ")
    if isinstance(x, t.Sourced):
        return word, f"{x.value:,} {x.unit}"
    if isinstance(x, t.Suits):
        return "for", ", ".join(x.kinds)
    if isinstance(x, t.PassLevel):
        return f"pass level, {x.kind}", f"{x.value:,}"
    if isinstance(x, t.PassRuled):
        return word, {"overall": "the overall factor", "each": "every exercise that counts"}[x.value]
    if isinstance(x, t.Screening):
        return word, f"{x.rounds} rounds of {x.round_squeezes} squeezes"
    if isinstance(x, t.Dose):
        return f"level {x.level}", f"tasted within {x.upto}: {x.first} squeezes, then {x.top_up}"
    if isinstance(x, t.Exercise):
        return f"exercise {n}", f"{x.title}, {x.seconds} s{'' if x.counts else ', left out of the overall factor'}"
    if isinstance(x, t.Sample):
        return f"sample {n}", f"{x.air} from {x.at} s for {x.lasts} s"
    if isinstance(x, t.Peak):
        return f"peak, {x.kind}", f"{x.per_mille / 10:g} % of the challenge"
    if isinstance(x, t.Recipe):
        what = ", ".join(f"{i.amount:g} {i.unit} {i.name}" for i in x.ingredients)
        return word, f"{what} in {x.base_ml:g} ml {x.base}"
    return None
