"""The press: a certificate's data set in type by typst, one A4 page or the two sides of a wallet card.

Data reach the template as JSON, never as markup, so that nothing in a name is read as code.
"""

from __future__ import annotations

import io
import json
import re
import unicodedata
from functools import cache
from importlib import resources
from typing import Any

import msgspec
import segno

from sealwright.errors import BadInput, Conflict
from sealwright.evidence.numbers import Axis
from sealwright.evidence.record import NO_LEDGER, RESULTS, CertificateData, Signature, drawn_box
from sealwright.pictures import literal, score_svg
from sealwright.pictures.pen import COLOURS

MOST_REMARKS = 6
LOST = "□"
_TURNS = re.compile("[\u061c\u200e\u200f\u202a-\u202e\u2066-\u2069]")
_ROMAN = ("I", "II", "III", "IV", "V", "VI", "VII", "VIII", "IX", "X", "XI", "XII")

_AT_WORK = {
    False: "It says nothing of protection at work: neither a fit factor nor a qualitative pass is a workplace "
           "protection factor, and the assigned protection factor of the class is not raised by it.",
    True: "It says nothing of protection at work: a fit factor is not a workplace protection factor, and however high, "
          "it does not raise the assigned protection factor of the class. The interval speaks of this test alone.",
}
NOT_PROVEN = (
    "It is not medical clearance to wear a respirator.",
    "It holds for this make, model and size alone, worn with the equipment named here.",
    "It ends with any change at the seal: hair, scars, teeth or dentures, surgery to the face, an obvious change of "
    "weight. Test again then, and when your local code says so.",
    "It does not replace the user seal check, every time the facepiece is put on. Local code and the maker's "
    "instructions come first.",
)


def certificate_pdf(data: CertificateData) -> bytes:
    """The record of a test on one A4 page, tagged (PDF/UA-1); the same data give the same bytes."""
    return _set("certificate.typ", _page(data), data)


def card_pdf(data: CertificateData) -> bytes:
    """A wallet card, 85.6 x 54 mm, front and back. Raises Conflict for a test that was not passed."""
    if not data.passed:
        raise Conflict(f"this test has no card: its result is {RESULTS[data.result].lower()}",
                       place=f"test {data.test_id}", mend="Only a pass has a card; print the certificate instead")
    page = _page(data)
    narrow = {k: _breakable(page[k], 11) for k in ("org", "wearer", "face", "size", "worn", "method", "tester")}
    return _set("card.typ", page | narrow, data)


def fit(text: object, most: int = 90) -> str:
    """Text that a page can hold: cut to `most` characters, breakable, without signs that turn the text around it."""
    plain = _TURNS.sub("", str(text))
    plain = "".join(LOST if unicodedata.category(c) in ("Cc", "Cs", "Co", "Cn") else c for c in plain)
    plain = plain if len(plain) <= most else plain[: most - 1].rstrip() + "…"
    return _breakable(plain, 24)


def _breakable(text: str, most: int) -> str:
    """A place to break after every `most` characters of a word, for words longer than a line."""
    return re.sub(rf"([^\s\u200b]{{{most}}})(?=[^\s\u200b])", "\\1\u200b", text)


def _page(d: CertificateData) -> dict[str, Any]:
    return {
        "passed": d.passed, "result": RESULTS[d.result], "reason": fit(d.reason, 240), "org": fit(d.org, 80),
        "next": [fit(n, 160) for n in d.next[:3]], "date": d.date, "time": f"{d.time} {d.zone}",
        "wearer": fit(d.wearer or "name no longer on record", 80), "wearer_id": fit(d.wearer_id, 64),
        "face": fit(f"{d.make} {d.model}", 110), "size": fit(d.size, 50), "kind": d.kind,
        "programme": [[title, rows] for title, rows in _programme(d)],
        "movements": _movements(d),
        "heading": "Quantitative fit test" if d.quantitative else "Qualitative fit test",
        "numbers": _numbers(d), "cautions": [fit(c, 200) for c in d.cautions[:8]] if d.method == "smoke" else [],
        "remarks": _remarks(d), "more": max(len(d.remarks) - MOST_REMARKS, 0),
        "not_proven": [NOT_PROVEN[0], _AT_WORK[d.quantitative], *NOT_PROVEN[1:]],
        "signatures": [_signature(s) for s in d.signatures], "qr": _qr(d.code), "qr_says": f"QR code: {d.code}",
        "test": fit(d.test_id or "no id", 70), "tester": fit(d.tester or d.tester_id, 70),
        "factor": _measured_on_card(d) if d.quantitative else f"{d.required_factor} (qualitative: none measured)",
        "worn": fit(", ".join(d.worn) or "no other protective equipment", 70),
        "method": fit(d.protocol_title, 60), "version": fit(d.protocol, 80),
        "ledger": _ledger(d), "hash": fit(d.ledger_hash, 64), "score": _score(d),
        "score_says": f"The test drawn as a score: {_SCORE_SAYS[_manner(d)]}. Result: {RESULTS[d.result]}",
        "lost": False,
    }


def _programme(d: CertificateData) -> list[tuple[str, list[list[str]]]]:
    """Titled lists of label and value, as a concert programme names its pieces."""
    whose = "the wearer's own" if d.own else "a test facepiece"
    method = [["Method", fit(d.protocol_title, 60)], ["Protocol", fit(d.protocol, 80)],
              ["Agent", fit(d.agent, 60)], *([label, fit(said, 60)] for label, said in d.conduct),
              ["Pass level", f"fit factor {d.required_factor}" if d.required_factor else "none"],
              ["", d.numbers.rule if d.numbers else "qualitative: no fit factor was measured"],
              ["Level set by", fit(d.required_source, 70)]]
    face = [["Make", fit(d.make, 120)], ["Model", fit(d.model, 120)], ["Size", fit(d.size, 120)],
            ["Material", fit(d.material, 120)], ["Kind", d.kind], ["Whose", whose]]
    face += [["Lot", fit(d.facepiece_lot, 60)]] if d.facepiece_lot else []
    who = [["Name", fit(d.tester or "no longer on record", 70)], ["Account", fit(d.tester_id, 64)],
           ["Competence", d.competence]]
    return [("The facepiece", face), ("Worn with it", _equipment(d)), ("The method", method), ("The kit", _kit(d)),
            ("The tester", who)]


def _kit(d: CertificateData) -> list[list[str]]:
    if d.numbers:
        return [["Instrument", fit(d.numbers.instrument, 60)], ["Calibration", d.numbers.calibration]]
    if d.method == "smoke":
        return [["Agent", "a smoke tube"]]
    kit = [row for x in d.solutions for row in (
        [f"{x.which.title()} solution", fit(f"lot {x.lot}", 60)], ["", x.dates])]
    return kit or [["Solutions", "none on record"]]


def _numbers(d: CertificateData) -> dict[str, Any] | None:
    """What is said of the whole, and where each number stands on the axis beside the exercises."""
    n = d.numbers
    if n is None or n.overall is None or n.measured is None:
        return None
    every = [*n.measured.exercises, n.measured.overall]
    axis = Axis(every, d.required_factor)
    places = {f.exercise: msgspec.to_builtins(axis.place(f)) for f in every}
    return {"overall": [n.overall.factor, n.overall.interval], "chance": n.chance,
            "sentence": fit(n.sentence, 260) if n.sentence != d.reason else "", "level": f"{d.required_factor:,}",
            "rule": n.rule, "places": [places.get(m.exercise) for m in d.movements[:14]],
            "whole": places[n.measured.overall.exercise], "level_at": axis(d.required_factor), "ticks": axis.ticks()}


def _measured_on_card(d: CertificateData) -> str:
    n = d.numbers
    if n is None or n.overall is None:
        return f"{d.required_factor:,}"
    ends = f" (95 %: {n.overall.interval})" if n.overall.interval else ""
    return f"{d.required_factor:,}, {n.rule}. Measured overall: {n.overall.factor}{ends}"


def _equipment(d: CertificateData) -> list[list[str]]:
    missing = [x for x in d.used if x not in d.worn]
    rows = [["In the test", fit(", ".join(d.worn) or "no other protective equipment", 150)]]
    return rows + ([["Not worn", fit(", ".join(missing), 150)]] if missing else [])


def _movements(d: CertificateData) -> list[list[str]]:
    """Number, title, seconds done, factor, its interval; the last two empty where nothing was measured."""
    found = {r.exercise: r for r in d.numbers.rated} if d.numbers else {}
    rows = []
    for i, m in enumerate(d.movements[:14]):
        r = found.get(m.exercise)
        factor, ends = (r.factor, r.interval if r.counts else f"{r.interval}, left out".lstrip(", ")) if r else ("", "")
        rows.append([_ROMAN[i] if i < 12 else str(i + 1), fit(m.title, 40), _kept(m.due, m.done), factor, ends])
    return rows


def _kept(due: int, done: int) -> str:
    if done >= due:
        return f"{done} s"
    return f"{done} of {due} s" if done else f"not done (of {due} s)"


def _remarks(d: CertificateData) -> list[list[str]]:
    return [[r.severity, r.when, fit(r.text, 150), fit(r.source, 70)] for r in d.remarks[:MOST_REMARKS]]


def _ledger(d: CertificateData) -> str:
    return f"entry {d.ledger_n}" if d.ledger_n is not None else NO_LEDGER


_SCORE_SAYS = {
    "taste": "exercises as bars in time, doses due as rings and given as filled notes, marks below",
    "notice": "exercises as bars in time, what was noticed below them",
    "sampled": "exercises as bars in time, below them when the air of the room and of the mask was sampled",
    "held": "exercises as bars in time, below them when the breath was held and the leak read",
}


def _manner(d: CertificateData) -> str:
    return {"taste": "taste", "vapour": "notice", "smoke": "notice", "pressure": "held"}.get(d.method, "sampled")


def _score(d: CertificateData) -> str:
    """The score as performed, in colours and type that typst knows."""
    if d.score is None or d.performed is None:
        return ""
    svg = score_svg(d.score, title="The score as performed", width=900, performed=d.performed, standalone=False,
                    heading=False)
    white = literal(svg).replace(COLOURS["paper"][0], "#ffffff")
    return white.replace("<svg ", '<svg font-family="Source Sans Pro" ', 1)


def _signature(s: Signature) -> dict[str, str]:
    return {"role": s.role, "name": fit(s.name, 60), "when": s.when, "why": s.why, "svg": _drawing(s.path)}


def _drawing(path: str) -> str:
    box = drawn_box(path) if path else None
    if box is None:
        return ""
    x, y, w, h = box
    pen = max(w / 90, h / 30, 1.0)
    return (f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="{x:.1f} {y:.1f} {w:.1f} {h:.1f}" width="{w:.1f}" '
            f'height="{h:.1f}"><path d="{path}" fill="none" stroke="#1d2430" stroke-width="{pen:.2f}" '
            'stroke-linecap="round" stroke-linejoin="round"/></svg>')


def _qr(code: str) -> str:
    out = io.BytesIO()
    segno.make(code, error="m", micro=False).save(out, kind="svg", xmldecl=False, border=4, scale=4, light="#ffffff")
    return out.getvalue().decode()


# Setting the type

@cache
def _template(name: str) -> bytes:
    return resources.files("sealwright.evidence").joinpath(name).read_bytes()


@cache
def _faces(system: bool) -> Any:
    import typst
    from font_source_sans_pro import font_directory

    return typst.Fonts(include_system_fonts=system, include_embedded_fonts=True, font_paths=[font_directory])


def _set(template: str, page: dict[str, Any], data: CertificateData) -> bytes:
    """Typst with our own typefaces; with the machine's for a script they lack; with boxes for what none can print."""
    import typst

    system, told = False, json.dumps(page, ensure_ascii=False)
    for _ in range(24):
        try:
            pdf: bytes = typst.compile(
                _template(template), format="pdf", font_paths=_faces(system), sys_inputs={"data": told},
                pdf_standards=["ua-1"], timestamp=max(data.tested_at // 1000, 0))
            return pdf
        except typst.TypstError as error:
            lost = re.search(r'the text `"(.+?)"` could not be displayed', str(error))
            if lost is None:
                raise
        if system:
            told = _boxed(told, lost[1])
        system = True
    raise BadInput("too many scripts that no typeface on this machine holds", place=f"test {data.test_id}",
                   mend="Install typefaces for the scripts of these names and print again")


def _boxed(told: str, lost: str) -> str:
    """`told` with a box for each letter of the scripts in `lost`."""
    scripts = {unicodedata.name(c, "?").split()[0] for c in lost if ord(c) > 127} - {"LATIN", "GREEK", "CYRILLIC"}
    gone = {c for c in told if ord(c) > 127 and (c in lost or unicodedata.name(c, "?").split()[0] in scripts)}
    for c in gone - {LOST, "…", "\u200b"}:
        told = told.replace(c, LOST)
    return told.replace('"lost": false', '"lost": true')
