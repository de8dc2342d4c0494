"""Pieces the figures are put together from: heads from the front and from the side, facepiece, hood, torso, hands.

All are drawn on a board of 400 by 400 with a pen of 6. Colours are CSS variables with light fallbacks; those in
`OWN` belong to the figures alone, and whoever shows them on a dark ground sets the dark ones.
"""

from __future__ import annotations

from math import asin, cos, radians, sin
from typing import NamedTuple

from sealwright.pictures.pen import COLOURS, DOSE, EXERCISE, TASTE, num

OWN: dict[str, tuple[str, str]] = {
    "figure-line": (COLOURS["ink"][0], "#07090b"), "figure-skin": ("#d9a877", "#c4946a"),
    "figure-hair": ("#3a2f2a", "#5d4334"), "figure-cloth": ("#b9c2bd", "#71808a"),
    "figure-mask": ("#ffffff", "#f2efe6"),
    "figure-hood": ("#dfe6e4", "#8fa0a6"), "figure-pane": ("#fdfcf8", "#2b343c"), "figure-card": ("#fffdf7", "#d9d4c7"),
}
"""name -> (light, dark)"""


def _own(name: str) -> str:
    return f"var(--{name},{OWN[name][0]})"


INK, SKIN, HAIR, CLOTH = _own("figure-line"), _own("figure-skin"), _own("figure-hair"), _own("figure-cloth")
MASK, HOOD, PANE, CARD = _own("figure-mask"), _own("figure-hood"), _own("figure-pane"), _own("figure-card")
LINE = f'stroke="{INK}" stroke-width="6" stroke-linecap="round" stroke-linejoin="round"'
INSIDE = "#8a3a44"
MOVE = f'fill="none" stroke="{EXERCISE}" stroke-width="9" stroke-linecap="round" stroke-linejoin="round"'


class Dress(NamedTuple):
    """What the person wears besides the facepiece. `line`: a sampling line at it; `shut`: eyes shut."""

    hood: bool = True
    line: bool = False
    shut: bool = False


HOODED = Dress()
Drawing = tuple[str, str]
"""(SVG inside, CSS of its movement)"""


# --- movement -------------------------------------------------------------------------------------------------------

def frames(name: str, seconds: float, steps: dict[str, str], *, ease: str = "ease-in-out", more: str = "",
           rest: str = "") -> str:
    """A class `name` that runs through `steps` (moment -> declarations) without end; `rest` is how it stands still."""
    body = "".join(f"{moment}{{{css}}}" for moment, css in steps.items())
    return f"@keyframes {name}{{{body}}}.{name}{{animation:{name} {num(seconds)}s {ease} infinite;{rest};{more}}}"


def move(x: float = 0, y: float = 0, *, turn: float = 0, sx: float = 1, sy: float = 1, lean: float = 0) -> str:
    parts = [f"translate({num(x)}px,{num(y)}px)" if x or y else "", f"rotate({num(turn)}deg)" if turn else "",
             f"skewX({num(lean)}deg)" if lean else "", f"scale({num(sx)},{num(sy)})" if (sx, sy) != (1, 1) else ""]
    return "transform:" + (" ".join(t for t in parts if t) or "none")


def about(x: float, y: float) -> str:
    return f"transform-origin:{num(x)}px {num(y)}px"


# --- strokes --------------------------------------------------------------------------------------------------------

def g(*inside: str, cls: str = "", at: str = "") -> str:
    """A group; `cls` names its movement, `at` is a transform."""
    head = (f' class="{cls}"' if cls else "") + (f' transform="{at}"' if at else "")
    return f"<g{head}>{''.join(inside)}</g>"


def shape(d: str, fill: str = "none", more: str = "") -> str:
    return f'<path d="{d}" fill="{fill}" {LINE} {more}/>'


def thin(d: str, width: float = 4, *, colour: str = INK, fill: str = "none") -> str:
    return (f'<path d="{d}" fill="{fill}" stroke="{colour}" stroke-width="{num(width)}" stroke-linecap="round" '
            f'stroke-linejoin="round"/>')


def arrow(d: str, *tips: tuple[float, float, float], cls: str = "") -> str:
    """A bold line in the colour of movement; each tip is (x, y, degrees clockwise from pointing right)."""
    heads = "".join(f'<path d="M-14 -14 0 0 -14 14" transform="translate({num(x)} {num(y)}) rotate({num(turn)})"/>'
                    for x, y, turn in tips)
    return g(f'<g {MOVE}><path d="{d}"/>{heads}</g>', cls=cls)


def limb(d: str, width: float, fill: str) -> str:
    """An arm or leg along a line: outline below, cloth above."""
    ends = 'fill="none" stroke-linecap="round" stroke-linejoin="round"'
    return (f'<path d="{d}" {ends} stroke="{INK}" stroke-width="{num(width + 12)}"/>'
            f'<path d="{d}" {ends} stroke="{fill}" stroke-width="{num(width)}"/>')


def fist(x: float, y: float, r: float = 14) -> str:
    return f'<circle cx="{num(x)}" cy="{num(y)}" r="{num(r)}" fill="{SKIN}" {LINE}/>'


# --- from the front -------------------------------------------------------------------------------------------------

CENTRE, SKULL, DEPTH = 200.0, 58.0, 68.0
"""x of the head's axis, radius of the skull, distance from the axis to the front of the facepiece."""


def torso(*inside: str, cls: str = "") -> str:
    """Neck, shoulders and chest down to the edge of the board."""
    return g(shape("M176 210V250Q176 262 160 266L112 280Q76 292 70 340L64 412H336L330 340Q324 292 288 280L240 266"
                   "Q224 262 224 250V210Z", CLOTH),
             f'<path d="M176 206V250Q178 280 200 280Q222 280 224 250V206Z" fill="{SKIN}" {LINE}/>', *inside, cls=cls)


def lungs(cls: str) -> str:
    """Two lungs on the chest, in the colour of movement."""
    one = "M188 308Q188 296 178 298Q146 312 138 366Q136 388 154 386Q188 384 188 366Z"
    pair = f'<path d="{one}"/><path d="{one}" transform="matrix(-1 0 0 1 400 0)"/>'
    return g(f'<g fill="{EXERCISE}" stroke="none">{pair}</g>', cls=cls)


def face(parts: str = "", shut: bool = False) -> str:
    """Eyes and brows from the front. `parts` begins the classes of a turning head."""
    def side(sign: int, name: str) -> str:
        x = CENTRE + sign * 23
        brow = thin(f"M{num(x - sign * 11)} 124Q{num(x + sign * 2)} 116 {num(x + sign * 12)} 124", 5)
        eye = (thin(f"M{num(x - 10)} 142Q{num(x)} 152 {num(x + 10)} 142", 5) if shut else
               f'<ellipse cx="{num(x)}" cy="143" rx="5.5" ry="7.5" fill="{INK}"/>')
        return g(eye, brow, cls=f"{parts}-{name}" if parts else "")
    return side(-1, "l") + side(1, "r")


def facepiece(fill_opacity: float = 1, cls: str = "") -> str:
    """A cup over nose and mouth with a fold and a nose bridge."""
    cup = ("M200 148Q214 150 222 162Q246 172 246 192Q240 220 212 228Q200 231 188 228Q160 220 154 192Q154 172 178 162"
           "Q186 150 200 148Z")
    return g(shape(cup, MASK, f'fill-opacity="{num(fill_opacity)}"'), thin("M160 192Q200 176 240 192"),
             thin("M190 157Q200 153 210 157"), cls=cls)


def straps(cls: tuple[str, str] = ("", "")) -> str:
    """Bands, not strokes, so that they can be stretched sideways without growing thick."""
    upper, lower = "M142 134L160 172V179L142 141Z", "M146 176L160 190V197L146 183Z"
    left = f'<path d="{upper}{lower}" fill="{INK}"/>'
    right = f'<path d="{upper}{lower}" fill="{INK}" transform="matrix(-1 0 0 1 400 0)"/>'
    return g(left, cls=cls[0]) + g(right, cls=cls[1])


def ear(sign: int, cls: str = "") -> str:
    x = CENTRE + sign * SKULL
    return g(f'<ellipse cx="{num(x)}" cy="156" rx="11" ry="17" fill="{SKIN}" {LINE}/>', cls=cls)


def mouth(kind: str) -> str:
    shapes = {
        "calm": thin("M184 196Q200 203 216 196", 5),
        "glad": thin("M178 190Q200 214 222 190", 6),
        "taste": thin("M181 189Q200 182 219 189Q219 204 200 206Q181 204 181 189Z", fill=INSIDE)
                 + f'<path d="M187 200Q200 195 213 200V222Q212 235 200 235Q188 235 187 222Z" fill="{TASTE}"/>'
                 + thin("M187 200V222Q188 235 200 235Q212 235 213 222V200M200 207V220"),
        "open": f'<ellipse cx="200" cy="198" rx="14" ry="10" fill="{INSIDE}" {LINE}/>',
    }
    return shapes[kind]


def nose() -> str:
    return thin("M201 150L194 172Q198 176 205 174")


def skull(clip: str, turning: str = "") -> str:
    """Hair all round with the face let into it; when `turning`, face and ears move round the axis."""
    ball = f'<ellipse cx="200" cy="152" rx="{num(SKULL)}" ry="76" fill="{HAIR}" {LINE}/>'
    patch = f'<path d="M150 150Q152 116 176 112Q204 116 226 106Q248 118 250 150V240H150Z" fill="{SKIN}"/>'
    return (f'<clipPath id="{clip}"><ellipse cx="200" cy="152" rx="{num(SKULL)}" ry="76"/></clipPath>'
            + ball + f'<g clip-path="url(#{clip})">' + g(patch, cls=turning) + "</g>"
            + f'<ellipse cx="200" cy="152" rx="{num(SKULL)}" ry="76" fill="none" {LINE}/>')


def head(kind: str, *, mask: bool = True, lips: str = "calm", through: float = 1, dress: Dress = HOODED) -> str:
    """A head from the front that does not turn. `through` below 1 lets the mouth show through the facepiece."""
    below = straps() + facepiece(through) if mask else nose() + mouth(lips)
    return g(ear(-1), ear(1), skull(f"swf-{kind}"), face(shut=dress.shut), below, tube() if mask and dress.line else "")


def tube(cls: str = "", d: str = "M200 222C200 300 246 290 250 416") -> str:
    """The sampling line, from a port in the facepiece down and away."""
    x, y = d[1:].split("C")[0].split("Q")[0].split()[:2]
    both = 'fill="none" stroke-linecap="round" stroke-linejoin="round"'
    return g(f'<path d="{d}" {both} stroke="{INK}" stroke-width="13"/>',
             f'<path d="{d}" {both} stroke="{CARD}" stroke-width="5"/>',
             f'<circle cx="{x}" cy="{y}" r="9" fill="{CARD}" {LINE}/>', cls=cls)


def turn(x: float, radius: float, degrees: float) -> tuple[float, float]:
    """A point at `x` from the axis on a ball of `radius`, turned: (shift in px, narrowing)."""
    where = asin(max(-1.0, min(1.0, x / radius)))
    turned = where + radians(degrees)
    return radius * sin(turned) - x, max(0.05, cos(turned) / max(0.2, cos(where)))


PANE_FRONT = ("M138 92Q200 74 262 92Q274 96 274 108V236Q274 246 264 248Q200 256 136 248Q126 246 126 236V108"
              "Q126 96 138 92Z")
PANE_SIDE = "M172 84Q292 66 314 124V230Q270 252 172 252Z"


def behind(pane: str) -> str:
    """What is seen through the window behind the head."""
    return f'<path d="{pane}" fill="{PANE}"/>'


def hood_front(cls: str = "") -> str:
    """The hood over head and shoulders: cloth with a clear window, a hole before the mouth, a hem below."""
    pane = PANE_FRONT
    cloth = "M96 272V120Q100 40 200 36Q300 40 304 120V272Q250 292 200 290Q150 292 96 272Z"
    glint = thin("M146 128L164 104M146 152L178 108", 5, colour=CARD)
    return g(f'<path d="{cloth}{pane}" fill="{HOOD}" fill-opacity=".86" fill-rule="evenodd" stroke="none"/>',
             shape(cloth), thin(pane), glint, thin("M98 256Q150 276 200 274Q250 276 302 256"), cls=cls)


def nebuliser(cls: str = "") -> str:
    """The tester's nebuliser at the hole of the hood, from the wearer's left, with its mist."""
    puffs = "".join(f'<circle cx="{x}" cy="{y}" r="{r}" fill="{DOSE}" opacity=".75" class="swf-puff swf-p{i}"/>'
                    for i, (x, y, r) in enumerate(((268, 206, 7), (262, 222, 6), (254, 210, 5))))
    body = (shape("M284 214L322 202V226Z", CARD) + shape("M322 190H344V248Q344 262 330 262Q322 262 322 250Z", CARD)
            + shape("M344 202Q392 196 390 224Q390 250 344 238Z", DOSE, 'class="swf-bulb"'))
    return g(body, puffs, cls=cls)


# --- from the side, facing right ------------------------------------------------------------------------------------

def side_head(*, mask: bool = True, shut: bool = False) -> str:
    """Head in profile; it nods about its neck at (186, 214)."""
    profile = ("M154 204Q126 170 128 136Q132 74 196 72Q252 74 256 128L258 140L270 164Q272 170 262 172L261 182"
               "L256 186L259 192L254 206Q250 218 236 214L214 208Q186 222 154 204Z")
    hair = ("M150 200Q126 172 128 136Q132 74 196 72Q244 74 254 112Q232 124 212 118Q206 136 206 152Q200 132 186 140"
            "Q178 150 188 172Q170 178 170 200Z")
    parts = [shape(profile, SKIN), shape(hair, HAIR), thin("M190 148Q204 146 202 162Q198 174 190 172"),
             thin("M231 134Q240 144 249 135", 5) if shut else
             f'<ellipse cx="240" cy="134" rx="5" ry="7.5" fill="{INK}"/>', thin("M230 116Q242 110 250 118", 5)]
    if mask:
        parts += [side_straps(), side_facepiece()]
    else:
        parts.append(thin("M257 188L246 188"))
    return g(*parts)


SIDE_PIECE = ("M252 142Q262 140 268 150Q304 158 302 180Q298 204 262 220Q246 222 236 214Q226 198 230 180"
              "Q236 156 252 142Z")


def side_facepiece() -> str:
    return shape(SIDE_PIECE, MASK) + thin("M234 184Q270 176 298 184")


def side_straps(cls: str = "") -> str:
    return g(thin("M234 166L136 116M230 194Q196 206 150 200"), cls=cls)


def side_torso(cls: str = "") -> str:
    return g(f'<path d="M152 176V252H214V176Z" fill="{SKIN}" {LINE}/>',
             shape("M140 248Q108 262 100 320L96 412H262Q272 340 262 300Q254 262 222 250Q182 270 140 248Z", CLOTH),
             thin("M176 300Q164 340 166 412"), cls=cls)


def hood_side(cls: str = "") -> str:
    """The hood from the side, its window towards the right."""
    cloth = "M92 270V128Q98 40 200 36Q322 40 330 128V262Q270 292 200 288Q140 290 92 270Z"
    pane = PANE_SIDE
    return g(f'<path d="{cloth}{pane}" fill="{HOOD}" fill-opacity=".86" fill-rule="evenodd" stroke="none"/>',
             shape(cloth), thin(pane), thin("M94 254Q140 274 200 272Q270 274 328 246"), cls=cls)
