"""The pen: escaped SVG elements, the house colours, and how much room a text takes."""

from __future__ import annotations

import re
import zlib
from html import escape

COLOURS: dict[str, tuple[str, str]] = {
    "paper": ("#f7f4ec", "#14181d"), "ink": ("#1d2430", "#ece7db"), "faint": ("#6b6f76", "#a9a69c"),
    "rule": ("#cfc8b8", "#3b4149"), "exercise": ("#0f5e63", "#6cc5c1"), "dose": ("#9a5200", "#f0a94b"),
    "taste": ("#a3123f", "#ff8aa5"), "good": ("#2d6a33", "#8fd694"),
}
"""name -> (light, dark)"""


def _var(name: str) -> str:
    return f"var(--{name},{COLOURS[name][0]})"


PAPER, INK, FAINT, RULE = _var("paper"), _var("ink"), _var("faint"), _var("rule")
EXERCISE, DOSE, TASTE, GOOD = _var("exercise"), _var("dose"), _var("taste"), _var("good")
_CONTROL = re.compile("[^\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


def num(value: float) -> str:
    """A coordinate with two places at most, so that the same drawing is the same bytes."""
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def words(text: object) -> str:
    """Text made safe for an XML element or attribute; characters XML does not know become a box."""
    return escape(_CONTROL.sub("□", str(text)), quote=True)


def el(tag: str, *inside: str, **attrs: object) -> str:
    """One element. Attribute names: `_` becomes `-`, a trailing `_` is dropped. None leaves the attribute out."""
    parts = [f'{k.rstrip("_").replace("_", "-")}="{num(v) if isinstance(v, float) else words(v)}"'
             for k, v in attrs.items() if v is not None]
    head = " ".join([tag, *parts])
    return f"<{head}>{''.join(inside)}</{tag}>" if inside else f"<{head}/>"


def text(content: object, x: float, y: float, size: float, **attrs: object) -> str:
    return el("text", words(content), **{"x": float(x), "y": float(y), "font_size": float(size), "fill": INK, **attrs})


def width_of(content: str, size: float, bold: bool = False) -> float:
    """A generous guess in px: which face a reader's machine has is not known here."""
    wide = sum(1.0 if ord(c) > 0x1100 else 0.36 if c in " .,:;'il|!()" else 0.7 if c.isupper() else 0.6
               for c in content)
    return wide * size * (1.12 if bold else 1.0)


def wrap(content: str, size: float, room: float, most: int) -> list[str]:
    """`content` in at most `most` lines of `room` px; what does not fit ends in an ellipsis."""
    lines: list[str] = []
    for word in content.split():
        if lines and width_of(f"{lines[-1]} {word}", size) <= room:
            lines[-1] += f" {word}"
        else:
            lines.append(word)
    if len(lines) > most:
        lines = [*lines[:most - 1], " ".join(lines[most - 1:])]
    return [cut(line, size, room) for line in lines]


def cut(content: str, size: float, room: float) -> str:
    if width_of(content, size) <= room:
        return content
    while content and width_of(content + "…", size) > room:
        content = content[:-1]
    return content.rstrip() + "…"


def clock(seconds: int) -> str:
    """Seconds as m:ss, with a minus before second 0."""
    return f"{'−' if seconds < 0 else ''}{abs(seconds) // 60}:{abs(seconds) % 60:02d}"


def theme(mark: str) -> str:
    """The colours of the SVG with the id `mark`: light, dark where the reader's screen is dark, light on paper."""
    def block(which: int) -> str:
        return f"#{mark}{{" + "".join(f"--{name}:{pair[which]};" for name, pair in COLOURS.items()) + "}"
    return el("style", block(0) + "@media screen and (prefers-color-scheme:dark){" + block(1) + "}")


def literal(svg: str) -> str:
    """The same drawing with the light colours written out, for readers that know no CSS variables (typst)."""
    return re.sub(r"var\(--[a-z]+,(#[0-9a-f]{6})\)", r"\1", svg)


def mark_of(*parts: str) -> str:
    """A short name from the content, so that several drawings can share a page without sharing ids."""
    return f"sw{zlib.crc32(chr(31).join(parts).encode()):08x}"


def document(title: str, told: str, body: str, *, width: float, height: float, standalone: bool,
             **attrs: object) -> str:
    """A whole accessible SVG: `title` is its name, `told` says in words what it shows."""
    mark = mark_of(title, told, body)
    ground = el("rect", width="100%", height="100%", fill=PAPER) if standalone else ""
    return el(
        "svg", el("title", words(title), id=f"{mark}-t"), el("desc", words(told), id=f"{mark}-d"),
        theme(mark) if standalone else "", ground, body,
        xmlns="http://www.w3.org/2000/svg", id=mark, viewBox=f"0 0 {num(width)} {num(height)}", width=float(width),
        height=float(height), role="img", aria_labelledby=f"{mark}-t", aria_describedby=f"{mark}-d",
        font_family="Source Sans Pro, 'Source Sans 3', system-ui, sans-serif" if standalone else None, **attrs)
