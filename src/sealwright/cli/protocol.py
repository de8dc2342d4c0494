"""`sealwright protocol`: the test methods, each value with its source."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from sealwright.cli import house, say

if TYPE_CHECKING:
    from sealwright.protocols import Protocol

MOST_BYTES = 1_000_000
READ = {"copy": "read in a copy", "memory": "from memory, verify", "none": ""}
SCALARS = ("required_factor", "abstention", "top_up_every", "washout", "wear", "nebuliser_life", "squeeze_pace",
           "mist_check_after")

app = typer.Typer(help="The test methods: list, show, check one of your own.")


@app.command("list")
def list_(json: house.WantsJson = False) -> None:
    """List the published protocols."""
    from sealwright.protocols import published

    rows = [{"id": p.id, "version": p.version, "title": p.title, "agent": p.agent_name, "rule_set": p.rule_set,
             "levels": [d.level for d in p.doses]} for p in published().values()]
    say.answer(rows, json, lambda: say.table(
        ("protocol", "version", "title", "agent", "levels"),
        [(r["id"], r["version"], r["title"], r["agent"], ", ".join(map(str, r["levels"]))) for r in rows]))


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
    say.table(("what", "value", "source", "read"), [*_values(p), *_doses(p), *_exercises(p), *_solutions(p)])
    say.line("Rules", bold=True)
    say.table(("rule", "in our words", "source", "read"),
              [(name, c.rule, c.source, READ[c.read]) for name, c in [("seal-break", p.seal_break), *p.rules.items()]])
    say.line("Tolerances", bold=True)
    tolerances = [(name, getattr(p.tolerances, name)) for name in p.tolerances.__struct_fields__]
    say.table(("tolerance", "value>", "source"),
              [(name.replace("_", " "), f"{t.value} {t.unit}", t.source) for name, t in tolerances])


def _values(p: Protocol) -> list[tuple[str, str, str, str]]:
    rows = [("for", ", ".join(p.suits.kinds), p.suits.source, READ[p.suits.read])]
    for name in SCALARS:
        value = getattr(p, name)
        rows.append((name.replace("_", " "), f"{value.value} {value.unit}", value.source, READ[value.read]))
    return rows


def _doses(p: Protocol) -> list[tuple[str, str, str, str]]:
    s = p.screening
    first = ("screening", f"{s.rounds} rounds of {s.round_squeezes} squeezes", s.source, READ[s.read])
    return [first, *((f"level {d.level}", f"tasted within {d.upto}: {d.first} squeezes, then {d.top_up}", d.source,
                      READ[d.read]) for d in p.doses)]


def _exercises(p: Protocol) -> list[tuple[str, str, str, str]]:
    return [(f"exercise {n}", f"{e.title}, {e.seconds} s", e.source, READ[e.read])
            for n, e in enumerate(p.exercises, 1)]


def _solutions(p: Protocol) -> list[tuple[str, str, str, str]]:
    rows = []
    for name, recipe in (("screening solution", p.screening_solution), ("test solution", p.test_solution)):
        what = ", ".join(f"{i.amount:g} {i.unit} {i.name}" for i in recipe.ingredients)
        rows.append((name, f"{what} in {recipe.base_ml:g} ml {recipe.base}", recipe.source, READ[recipe.read]))
    return rows
