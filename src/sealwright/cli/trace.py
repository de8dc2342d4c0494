"""`sealwright trace`: from recorded or live particle counts to fit factors."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Literal

import typer

from sealwright.cli import house, say

if TYPE_CHECKING:
    from sealwright.traces.workup import WorkedUp

app = typer.Typer(help="Traces of particle counts: look at the columns, find the windows, reckon fit factors.")
File = Annotated[Path, typer.Argument(metavar="FILE", help="CSV or Parquet.")]
Col = Annotated[str | None, typer.Option(metavar="NAME")]


@app.command()
def columns(file: File, json: house.WantsJson = False) -> None:
    """Show what a file holds: its columns, first rows, and which column is likely which."""
    from sealwright.traces import columns_of

    seen = columns_of(file)
    say.answer(seen, json, lambda: _tell_columns(seen))


@app.command()
def factor(
    file: File,
    protocol: Annotated[str, typer.Option("--protocol", metavar="ID", help="A protocol that counts particles.")],
    kind: Annotated[str, typer.Option("--kind", help="filtering, half or full: which pass level holds.")],
    time: Annotated[str, typer.Option("--time", metavar="COLUMN", help="When each sample ended.")],
    unit: Annotated[Literal["count", "per-cm3"], typer.Option("--unit", help="Particles counted in each sample, or "
                                                                             "particles per cm3.")],
    mask: Annotated[str | None, typer.Option("--mask", metavar="COLUMN", help="Two channels: inside the mask.")] = None,
    ambient: Annotated[str | None, typer.Option("--ambient", metavar="COLUMN",
                                                help="Two channels: the room's air.")] = None,
    value: Annotated[str | None, typer.Option("--value", metavar="COLUMN",
                                              help="One channel that switches between mask and room.")] = None,
    air: Annotated[str | None, typer.Option("--air", metavar="COLUMN", help="One channel: which air a sample is "
                                                                            "from, mask or ambient.")] = None,
    marks: Annotated[str | None, typer.Option("--marks", metavar="COLUMN", help="The exercise under way.")] = None,
    time_unit: Annotated[Literal["s", "ms", "timestamp"], typer.Option("--time-unit", help="Of the time.")] = "s",
    flow: Annotated[float | None, typer.Option("--flow", metavar="CM3/MIN", help="Air drawn through the counter; "
                                               "without it concentrations carry no interval.")] = None,
    zone: Annotated[str | None, typer.Option("--zone", metavar="ZONE", help="Of timestamps that name none, such as "
                                                                            "Europe/London.")] = None,
    decimal: Annotated[str | None, typer.Option("--decimal", help="The decimal mark, . or ,")] = None,
    start: Annotated[float | None, typer.Option("--start", metavar="S", help="Second of the trace at which the first "
                                                "exercise began: the windows are then the score's.")] = None,
    windows: Annotated[Path | None, typer.Option("--windows", metavar="FILE", help="CSV of exercise, air, start_s, "
                                                 "end_s: these windows and no others.")] = None,
    from_s: Annotated[float | None, typer.Option("--from", metavar="S", help="Leave out what lies before.")] = None,
    to_s: Annotated[float | None, typer.Option("--to", metavar="S", help="Leave out what lies after.")] = None,
    rules: Annotated[str, typer.Option("--rules", metavar="ID", help="Another rule set's pass level: us, uk, ca, "
                                                                     "anz.")] = "",
    level: Annotated[int | None, typer.Option("--level", help="Your site's own pass level, if stricter.")] = None,
    svg: Annotated[Path | None, typer.Option("--svg", metavar="FILE", help="Write the trace with its windows.")] = None,
    replace: house.Replace = False,
    json: house.WantsJson = False,
) -> None:
    """Reckon fit factors from a trace: each exercise's, the overall one, and how sure they are.

    Without --marks, --start or --windows the windows are proposed from the data; look at the picture (--svg) before
    you rely on them. Exit 0 when the pass rule is met, 1 when not, 2 when the file cannot be read.
    """
    from sealwright.protocols import get
    from sealwright.traces import Mapping, read_trace
    from sealwright.traces.workup import counting, read_windows, work_up

    found = counting(get(protocol))
    mapping = Mapping(time=time, mask=mask, ambient=ambient, value=value, air=air, marks=marks, time_unit=time_unit,
                      unit=unit, flow_cm3_min=flow, zone=zone, decimal=decimal)  # type: ignore[arg-type]
    given = read_windows(windows, found) if windows else None
    with say.progress("Reading", 100) as seen:
        read = read_trace(file, mapping, from_s=from_s, to_s=to_s, progress=lambda share: seen(round(100 * share)))
    worked = work_up(read, found, kind=kind, start_s=start, windows=given, rule_set=rules, own_level=level)
    if svg:
        house.write(svg, picture(worked, read, str(file.name)).encode("utf-8"), replace=replace)
    say.answer(worked, json, lambda: _tell(worked, svg))
    if not worked.measured.passed:
        raise typer.Exit(1)


def picture(worked: WorkedUp, read: Any, title: str) -> str:
    """The trace with its windows as SVG."""
    from sealwright.pictures.trace import trace_svg
    from sealwright.traces import to_trace

    trace = to_trace(read)
    return trace_svg(trace.mask.t, trace.mask.values, None if trace.ambient is trace.mask else trace.ambient.values,
                     worked.windows, title=title, factors=worked.measured, pass_level=worked.measured.pass_level,
                     purge_s=worked.purge_s)


def _tell_columns(seen: Any) -> None:
    say.line(f"{len(seen.columns)} columns", bold=True)
    say.table(tuple(seen.columns), [tuple(row) for row in seen.rows])


def _tell(worked: WorkedUp, svg: Path | None) -> None:
    from sealwright.assess.summary import numbers

    m = worked.measured
    say.line(f"{say.MARKS['pass' if m.passed else 'fail']} {m.sentence}", bold=True)
    for text in numbers(m):
        say.line(text)
    how = {"given": "as given", "marks": "from the marks in the file", "score": "those of the score",
           "proposed": "proposed from the data: look before you rely on them"}[worked.how]
    say.line(f"  windows: {how}" + (f". {worked.text}" if worked.text else ""))
    say.table(("exercise", "air", "from>", "to>"),
              [(w.title or w.exercise or "room", w.air, f"{w.start_s:.1f} s", f"{w.end_s:.1f} s")
               for w in worked.windows])
    for d in m.doubts:
        say.line(f"  doubt: {d.text}")
    if svg:
        say.line(f"Picture written: {svg}")


@app.command()
def listen(
    to: Annotated[str, typer.Option("--to", metavar="ADDRESS", help="Where the room says samples go, such as "
                                    "http://127.0.0.1:8000/api/tests/t-1/samples?unit=count")],
    serial: Annotated[str | None, typer.Option("--serial", metavar="PORT", help="A serial line; without it, lines "
                                                                                "from standard input.")] = None,
    baud: Annotated[int, typer.Option("--baud", help="Of the serial line.")] = 9600,
    pattern: Annotated[str | None, typer.Option("--pattern", metavar="REGEX", help="How a line is made: a regular "
                                                "expression with the groups t, mask, ambient, value, air. Without "
                                                "it, lines are JSON.")] = None,
    every: Annotated[float, typer.Option("--every", metavar="S", min=0.2, max=30, help="Send as often.")] = 2.0,
    json: house.WantsJson = False,
) -> None:
    """Pass the lines of an instrument on to the live room, until interrupted or the input ends."""
    from sealwright.cli.listening import pass_on

    sent = pass_on(_lines(serial, baud), to, pattern, every)
    say.answer({"sent": sent}, json, lambda: say.line(f"{sent} samples passed on"))


def _lines(serial: str | None, baud: int) -> Iterator[str]:
    import sys

    if serial is None:
        yield from sys.stdin
        return
    from sealwright.traces.live import serial_lines

    yield from serial_lines(serial, baud)
