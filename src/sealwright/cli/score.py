"""`sealwright score`: who does what at which second."""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from sealwright.cli import house, say
from sealwright.errors import BadInput

if TYPE_CHECKING:
    from sealwright.protocols import Score

NARROWEST, WIDEST = 60, 160
_AIR = {"ambient": "·", "mask": "═", "hold": "∩"}

app = typer.Typer(help="The score of a test: who does what at which second.")


@app.callback()
def group() -> None:
    """The score of a test: who does what at which second."""


@app.command()
def show(
    protocol: Annotated[str, typer.Argument(metavar="ID", help="The protocol's id.")],
    level: Annotated[int | None, typer.Option("--level", help="Of a taste protocol, the screening level: 10, 20 or 30 "
                                              "in the published ones.")] = None,
    svg: Annotated[Path | None, typer.Option("--svg", metavar="FILE", help="Write the picture of the score.")] = None,
    replace: house.Replace = False,
    json: house.WantsJson = False,
) -> None:
    """Show the score of a protocol (of a taste protocol, at a screening level); seconds from the first exercise."""
    from sealwright.protocols import compile_score, get, taste

    found = get(protocol)
    if level is None and found.method == "taste":
        raise BadInput(f"{found.id} has a score for each screening level", place="--level",
                       mend=f"Choose one of {', '.join(str(d.level) for d in taste(found.id).doses)}")
    score = compile_score(found, level or 0)
    if svg:
        from sealwright.pictures import score_svg

        picture = score_svg(score, title=f"{found.title}, level {level}" if level else found.title, standalone=True)
        house.write(svg, picture.encode("utf-8"), replace=replace)
    say.answer(score, json, lambda: _tell(score, found.title, svg))


def _tell(score: Score, title: str, svg: Path | None) -> None:
    head = f"{title}, level {score.level}: {score.squeezes} squeezes in" if score.level else f"{title}:"
    say.line(f"{head} {say.clock(score.lasts)}", bold=True)
    width = min(max(shutil.get_terminal_size((100, 40)).columns - 1, NARROWEST), WIDEST)
    for text in staff(score, width):
        say.line(text)
    if score.of("sample"):
        say.line("·  room air is sampled    ═  mask air    ∩  breath held")
    say.table(("at>", "lasts>", "who", "act", "squeezes>", "source"),
              [(say.clock(a.at), f"{a.lasts} s", a.who, a.title, a.squeezes or "", a.source) for a in score.acts])
    if svg:
        say.line(f"Picture written: {svg}")


def staff(score: Score, width: int) -> list[str]:
    """The score drawn in `width` columns: squeezes above, exercises as bars, minutes below."""
    first = min(a.at for a in score.acts)
    last = max(a.at + a.lasts for a in score.acts)

    def column(second: int) -> int:
        return (second - first) * (width - 1) // (last - first)

    notes, bars, marks = ([" "] * width for _ in range(3))
    for act in score.acts:
        if act.kind == "exercise":
            _write(bars, column(act.at), _bar(act.title, column(act.at + act.lasts) - column(act.at)))
            _write(marks, column(act.at), say.clock(act.at))
        elif act.kind == "sample":
            _write(notes, column(act.at), _AIR[act.air] * max(1, column(act.at + act.lasts) - column(act.at)))
        elif act.kind == "dose":
            _write(notes, column(act.at), str(act.squeezes))
        elif act.kind == "seal-break":
            _write(bars, column(act.at), "▏⌇")
            _write(marks, column(act.at), say.clock(act.at))
    return ["".join(row).rstrip() for row in (notes, bars, marks)]


def _bar(title: str, room: int) -> str:
    return ("▐" + title[:max(room - 2, 0)]).ljust(room - 1, "░") + " "


def _write(row: list[str], at: int, text: str) -> None:
    for i, c in enumerate(text[:max(len(row) - at, 0)]):
        row[at + i] = c
