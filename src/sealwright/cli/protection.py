"""`sealwright protection`: what the air asks for, which classes of equipment reach it, and what a fit factor is not."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Literal, get_args

import typer

from sealwright.cli import house, say
from sealwright.errors import BadInput

if TYPE_CHECKING:
    from sealwright.programme.protection import EquipmentClass, Explained, ProtectionTable

READ = {"copy": "read in a copy", "memory": "from memory, verify", "none": ""}
FormName = Literal["particles", "gas"]
TestName = Literal["qualitative", "quantitative"]
AtmosphereName = Literal["known", "oxygen-deficient", "immediately-dangerous", "unknown"]
Rules = Annotated[str, typer.Option("--rules", metavar="ID", help="Whose assigned protection factors: us or uk.")]


def protection(
    rules: Rules,
    concentration: Annotated[float | None, typer.Option("--concentration", metavar="X", help="What the air holds, "
                                                        "in --unit.")] = None,
    limit: Annotated[float | None, typer.Option("--limit", metavar="Y", help="The exposure limit, in --unit.")] = None,
    unit: Annotated[str, typer.Option("--unit", metavar="UNIT", help="Of both: mg/m3, µg/m3 (or ug/m3), ppm, ppb, "
                                      "f/ml.")] = "mg/m3",
    form: Annotated[str, typer.Option("--form", metavar="FORM", help="Only equipment for particles, or for "
                                      "gas.")] = "",
    passed_by: Annotated[str, typer.Option("--passed-by", metavar="HOW", help="How the wearers were fit-tested: "
                                           "qualitative or quantitative.")] = "quantitative",
    atmosphere: Annotated[str, typer.Option("--atmosphere", metavar="WORD", help="known, oxygen-deficient, "
                                            "immediately-dangerous or unknown.")] = "known",
    explain: Annotated[bool, typer.Option("--explain", help="Tell fit factor, assigned and workplace protection "
                                          "factor apart.")] = False,
    class_id: Annotated[str, typer.Option("--class", metavar="ID", help="With --explain: the class of "
                                          "equipment.")] = "",
    fit_factor: Annotated[float | None, typer.Option("--fit-factor", metavar="FF", help="With --explain: the fit "
                                                     "factor of a test; none for a qualitative one.")] = None,
    pass_level: Annotated[int | None, typer.Option("--pass-level", min=1, help="With --explain: the pass level; that "
                                                   "of the rules where none is given.")] = None,
    svg: Annotated[Path | None, typer.Option("--svg", metavar="FILE", help="Write the picture of the three "
                                             "factors.")] = None,
    replace: house.Replace = False,
    json: house.WantsJson = False,
) -> None:
    """Say how many times the limit the air holds, and which classes of equipment are assigned that much.

    Without a concentration, the whole table. Exit 1 when no class reaches it. Air short of oxygen, immediately
    dangerous or not known is refused: a competent person must decide.
    """
    from sealwright.programme import protection as p

    shown = p.table(rules)
    words = _words(form, passed_by, atmosphere)
    needed = _needed(concentration, limit, unit, words["atmosphere"])
    found = p.classes_reaching(rules, needed or 1e-9, form=words["form"], passed_by=words["passed_by"])
    told, picture = None, None
    if explain or svg:
        cls = p.equipment(rules, class_id) if class_id else next(c for c in (*found, *shown.classes) if c.tight)
        level = pass_level or p.pass_level_for(cls)
        told = p.explain(fit_factor, cls.apf, level)
        picture = _draw(cls, level, fit_factor, needed) if svg else None
    if svg and picture:
        house.write(svg, picture, replace=replace)
    value = {"rules": shown.title, "needed": needed, "classes": found, "explained": told}
    say.answer(value, json, lambda: _tell(shown, needed, found, told, words["passed_by"], svg))
    if not found:
        raise typer.Exit(1)


def _words(form: str, passed_by: str, atmosphere: str) -> dict[str, Any]:
    for name, given, known in (("--form", form, get_args(FormName)), ("--passed-by", passed_by, get_args(TestName)),
                               ("--atmosphere", atmosphere, get_args(AtmosphereName))):
        if given and given not in known:
            raise BadInput(f"unknown word {given!r}", place=name, mend=f"Choose one of {', '.join(known)}")
    return {"form": form or None, "passed_by": passed_by or "quantitative", "atmosphere": atmosphere or "known"}


def _needed(concentration: float | None, limit: float | None, unit: str, atmosphere: Any) -> float | None:
    from sealwright.programme.protection import Amount, needed_factor

    if concentration is None and limit is None and atmosphere == "known":
        return None
    if concentration is None or limit is None:
        if atmosphere == "known":
            raise BadInput("one of the two is missing", place="--limit" if limit is None else "--concentration",
                           mend="Give both, or neither for the whole table")
        concentration = limit = 1.0
    return needed_factor(Amount(concentration, unit), Amount(limit, unit), atmosphere=atmosphere)


def _draw(cls: EquipmentClass, pass_level: int, fit_factor: float | None, needed: float | None) -> bytes:
    from sealwright.pictures.protection import protection_svg

    return protection_svg(apf=cls.apf, pass_level=pass_level, fit_factor=fit_factor, needed=needed,
                          title=f"{cls.title}: three factors, not one").encode("utf-8")


def _tell(shown: ProtectionTable, needed: float | None, found: tuple[EquipmentClass, ...], told: Explained | None,
          passed_by: TestName, svg: Path | None) -> None:
    from sealwright.pictures.protection import figure

    if needed is not None:
        within = " The limit is kept without equipment." if needed <= 1 else ""
        say.line(f"The air holds {figure(needed)} times the limit.{within}", bold=True)
    say.line(f"{shown.title}. {shown.programme}")
    if found:
        say.table(("assigned>", "here at most>", "class", "equipment", "needs", "note", "source", "read"),
                  [_row(c, passed_by) for c in found])
    else:
        say.line("No class in this table reaches it. Bring the concentration down, or ask a competent person.",
                 bold=True)
    for text in [*(f"Not for {what}." for what in shown.not_for), *(told.lines() if told else ())]:
        say.line(f"{text}\n")
    say.line("Whether the filter suits the substance, and equipment is the answer at all, a competent person decides.")
    if svg:
        say.line(f"Picture written: {svg}")


def _row(c: EquipmentClass, passed_by: TestName) -> tuple[object, ...]:
    from sealwright.programme.protection import usable_factor

    may = usable_factor(c, passed_by)
    return (f"{c.apf:,}", f"{may.factor:,}" if may.factor != c.apf else "", c.id, c.title,
            "fit test" if c.tight else "", may.why or c.note, may.source, READ[may.read])
