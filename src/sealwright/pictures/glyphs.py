"""Small drawings of our own: one glyph a movement, one shape a mark. Each fits a square of 20 around the origin."""

from __future__ import annotations

from sealwright.pictures.pen import EXERCISE, INK, PAPER, el

_MOVES: dict[str, str] = {
    "normal": "M-9 1 q3 -5 6 0 t6 0 t6 0",
    "deep": "M-9 7 C-5 7 -5 -8 0 -8 S5 7 9 7",
    "side": "M4 0 a4 4.6 0 1 1 -8 0 a4 4.6 0 1 1 8 0 M-6.5 -4 L-10 0 L-6.5 4 M6.5 -4 L10 0 L6.5 4",
    "nod": "M4 0 a4 4.2 0 1 1 -8 0 a4 4.2 0 1 1 8 0 M-4 -7 L0 -10 L4 -7 M-4 7 L0 10 L4 7",
    "talk": "M-9 -7 H9 V4 H0 L-5 9 V4 H-9 Z M-5 -3.5 H5 M-5 0.5 H2",
    "bend": "M8.5 -1 a3 3 0 1 1 -6 0 a3 3 0 1 1 6 0 M2.5 -3 Q-6 -9 -6 0 V9 M-2 -5.5 L1 5",
    "grimace": "M9 0 a9 9 0 1 1 -18 0 a9 9 0 1 1 18 0 M-5 -4 L-2 -2.5 M5 -4 L2 -2.5 "
               "M-5 4 l2.5 -2 l2.5 2 l2.5 -2 l2.5 2",
    "jog": "M4.5 -7 a2.6 2.6 0 1 1 -5.2 0 a2.6 2.6 0 1 1 5.2 0 M1 -4 L-1 2 L4 5 L2.5 10 "
           "M-1 2 L-5 6 L-9 5 M-7 -2 L0 -3 L6 0",
    "shake": "M3.6 0 a3.6 4.2 0 1 1 -7.2 0 a3.6 4.2 0 1 1 7.2 0 M-6 -6 Q-8.4 0 -6 6 M-9 -4 Q-10.2 0 -9 4 "
             "M6 -6 Q8.4 0 6 6 M9 -4 Q10.2 0 9 4",
    "redon": "M-4 -3 Q0 -6 4 -3 V2 Q0 5.5 -4 2 Z M-9 -1 A9 8 0 0 1 7.5 -4.5 M8.6 -8.6 L7.6 -4.2 L3.4 -5.6 "
             "M9 1 A9 8 0 0 1 -7.5 4.5 M-8.6 8.6 L-7.6 4.2 L-3.4 5.6",
    "step": "M3 -7 a2.6 2.6 0 1 1 -5.2 0 a2.6 2.6 0 1 1 5.2 0 M0.4 -4 V2 L4.5 4 V8 H6.5 M0.4 2 L-1.5 9.5 H0.5 "
            "M-4 1 L0.4 -2.5 L4 0.5",
}


def glyph(movement: str, x: float, y: float, size: float = 20) -> str:
    """The movement of an exercise, in line; nothing for a movement not known here."""
    path = _MOVES.get(movement)
    if path is None:
        return ""
    return el("path", d=path, fill="none", stroke=EXERCISE, stroke_width=1.8, stroke_linecap="round",
              stroke_linejoin="round", transform=f"translate({x:.2f} {y:.2f}) scale({size / 20:.3g})", class_="glyph")


_MARKS: dict[str, str] = {
    "taste": "M0 -7.5 L7.5 0 L0 7.5 L-7.5 0 Z",
    "touched": "M-5.5 -5.5 H5.5 V5.5 H-5.5 Z M-5.5 -5.5 L5.5 5.5 M5.5 -5.5 L-5.5 5.5",
    "stopped": "M-6 -6 H6 V6 H-6 Z",
    "seal-break": "M-3 -5.8 A6.5 6.5 0 1 0 5.8 3 M0.5 -0.5 L6 -6",
    "away": "M-7 -6 H7 V6 H-7 Z M-7 1 L0 -6 M-4 6 L7 -5 M3 6 L7 2",
    "mist": "M-6 4.5 v0.01 M0 4.5 v0.01 M6 4.5 v0.01 M-3 -0.5 v0.01 M3 -0.5 v0.01 M0 -5 v0.01",
}
_FILLED = ("taste", "stopped")


def mark(shape: str, x: float, y: float, colour: str = INK) -> str:
    """Taste: a filled diamond. Touched: a crossed box. Stopped: a filled box. Seal break: a ring broken open.

    Mist: dots. Away: a hatched box.
    """
    return el("path", d=_MARKS[shape], transform=f"translate({x:.2f} {y:.2f})", stroke=colour, stroke_linecap="round",
              stroke_width=3.4 if shape == "mist" else 2.0, fill=colour if shape in _FILLED else PAPER,
              fill_opacity=None if shape in (*_FILLED, "touched", "away") else 0, class_="sign")
