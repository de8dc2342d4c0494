"""Figures of what the wearer meets in the methods without a taste: a held breath, a jar, a chamber, smoke, a line."""

from __future__ import annotations

from collections.abc import Callable

from sealwright.pictures import figure_parts as p
from sealwright.pictures.figure_parts import Drawing, Dress, frames, move
from sealwright.pictures.pen import COLOURS, EXERCISE, FAINT, num

MARK, PAUSE = (COLOURS[name][0] for name in ("exercise", "dose"))


def hold_breath(d: Dress) -> Drawing:
    """Nothing of the person moves; beside it two bars of pause in a ring that runs out in ten seconds."""
    bars = "".join(f'<rect x="{x}" y="76" width="18" height="56" rx="4" fill="{PAUSE}"/>' for x in (292, 326))
    card = (f'<circle cx="318" cy="104" r="66" fill="{p.CARD}" {p.LINE}/>{bars}'
            f'<circle cx="318" cy="104" r="53" fill="none" stroke="{MARK}" stroke-width="10" pathLength="100" '
            'stroke-dasharray="100" transform="rotate(-90 318 104)" class="swf-hold-breath-ring"/>')
    lips = p.thin("M186 198H214", 6)
    person = p.torso(p.lungs("")) + p.head("hold-breath", through=0.55, dress=d) + lips
    css = frames("swf-hold-breath-ring", 10, {"0%": "stroke-dashoffset:0", "100%": "stroke-dashoffset:100"},
                 ease="linear")
    return p.g(person, at="translate(-46 4)") + card, css


HAND = ("M262 226Q256 196 276 190Q292 186 304 200Q330 190 352 216L384 262L346 300Q300 268 262 226Z",
        "M336 250L398 214V320L362 300Z")


def _hand() -> str:
    """A hand from the right at the facepiece, seen from the side."""
    return p.shape(HAND[0], p.SKIN) + p.shape(HAND[1], p.CLOTH)


def _loose(cls: str) -> str:
    return p.g(p.thin("M234 166Q214 200 226 226M232 196Q220 226 240 244"), cls=cls)


def redon(d: Dress) -> Drawing:
    """The facepiece comes off, then goes on again, by the wearer's own hand."""
    body = (p.side_torso() + p.side_head(mask=False, shut=d.shut) + p.side_straps("swf-redon-worn")
            + p.g(_loose("swf-redon-loose"), p.side_facepiece(), _hand(), cls="swf-redon-piece")
            + p.arrow("M306 84H366", (366, 84, 0)) + p.arrow("M374 128H314", (314, 128, 180)))
    css = (frames("swf-redon-piece", 6, {"0%,16%,84%,100%": "transform:none", "42%,56%": move(70, 8)},
                  rest=move(40, 4))
           + frames("swf-redon-worn", 6, {"0%,14%,88%,100%": "opacity:1", "20%,82%": "opacity:0"}, rest="opacity:0")
           + frames("swf-redon-loose", 6, {"0%,14%,88%,100%": "opacity:0", "20%,82%": "opacity:1"}))
    return body, css


def _off() -> Drawing:
    """The facepiece comes off."""
    body = (p.side_torso() + p.side_head(mask=False) + p.side_straps("swf-off-worn")
            + p.g(_loose("swf-off-loose"), p.side_facepiece(), _hand(), cls="swf-off-piece")
            + p.arrow("M316 112H376", (376, 112, 0)))
    css = (frames("swf-off-piece", 4, {"0%,20%,100%": "transform:none", "60%,88%": move(70, 8)}, rest=move(44, 5))
           + frames("swf-off-worn", 4, {"0%,18%,100%": "opacity:1", "26%,94%": "opacity:0"}, rest="opacity:0")
           + frames("swf-off-loose", 4, {"0%,18%,100%": "opacity:0", "26%,94%": "opacity:1"}))
    return body, css


def _connect() -> Drawing:
    """The sampling line is put to the facepiece."""
    plug = (p.shape("M306 168H336V198H306Z", p.CARD) + p.thin("M316 168V198")
            + p.g(_line("M336 183C392 186 372 300 376 420")))
    body = (p.side_torso() + p.side_head() + f'<circle cx="298" cy="182" r="9" fill="{p.CARD}" {p.LINE}/>'
            + p.g(plug, cls="swf-connect-plug") + p.arrow("M392 124H332", (332, 124, 180)))
    return body, frames("swf-connect-plug", 4, {"0%,10%,100%": move(40), "50%,88%": move(-2)}, rest=move(18))


def _line(d: str) -> str:
    both = 'fill="none" stroke-linecap="round" stroke-linejoin="round"'
    return (f'<path d="{d}" {both} stroke="{p.INK}" stroke-width="13"/>'
            f'<path d="{d}" {both} stroke="{p.CARD}" stroke-width="5"/>')


# --- vapour ---------------------------------------------------------------------------------------------------------

def _jar(*, lid: bool) -> str:
    """A jar around its own middle; a weak liquid in it."""
    glass = p.shape("M-34 -36H34V40Q34 52 22 52H-22Q-34 52 -34 40Z", p.CARD)
    liquid = f'<path d="M-29 6H29V38Q29 47 20 47H-20Q-29 47 -29 38Z" fill="{MARK}" opacity=".4"/>'
    top = p.shape("M-40 -54H40V-34H-40Z", p.CLOTH) if lid else p.shape("M-40 -44H40V-32H-40Z", p.CARD)
    return glass + liquid + top


def _wisp(d: str, cls: str, width: float = 6) -> str:
    return (f'<path d="{d}" fill="none" stroke="{EXERCISE}" stroke-width="{num(width)}" stroke-linecap="round" '
            f'class="{cls}"/>')


def _smell() -> Drawing:
    """One jar is sniffed, the other stands by, closed."""
    wisps = (_wisp("M182 246Q174 236 184 228Q190 222 184 214", "swf-smell-air")
             + _wisp("M218 246Q226 236 216 228Q210 222 216 214", "swf-smell-air swf-smell-late"))
    hand = p.limb("M70 440Q96 372 158 330", 34, p.CLOTH) + p.fist(168, 322, 20)
    held = p.g(p.g(_jar(lid=False), at="translate(200 296)"), hand, cls="swf-smell-jar")
    body = (p.torso() + p.head("smell", mask=False) + held + wisps
            + p.g(_jar(lid=True), at="translate(346 344)"))
    css = (frames("swf-smell-jar", 5, {"0%,10%,100%": move(y=44), "30%,80%": "transform:none"})
           + frames("swf-smell-air", 1.8, {"0%": "opacity:0;" + move(y=10), "40%": "opacity:1",
                                           "100%": "opacity:0;" + move(y=-14)}, ease="ease-out")
           + ".swf-smell-late{animation-delay:.7s}")
    return body, css


BAG = "M96 44Q60 60 56 120L40 420H360L344 120Q340 60 304 44Z"


def _bag(*, cls: str) -> str:
    """A clear bag over a ring, hung from above, with the wetted towel in it and the vapour that comes from it."""
    glass = (f'<path d="{BAG}" fill="{p.HOOD}" fill-opacity=".32" stroke="none"/>' + p.shape(BAG)
             + p.thin("M316 132L326 300M296 96L302 130", 5, colour=p.CARD))
    ring = (p.thin("M200 0V30", 6) + f'<ellipse cx="200" cy="44" rx="104" ry="14" fill="{p.HOOD}" {p.LINE}/>')
    towel = p.thin("M104 54V82", 5) + p.shape("M86 80H122V150H86Z", p.CARD) + p.thin("M86 104H122", 3)
    air = "".join(_wisp(f"M{x} {y}Q{x - 12} {y + 14} {x} {y + 28}Q{x + 12} {y + 42} {x} {y + 56}", f"{cls} {late}")
                  for x, y, late in ((104, 166, ""), (308, 190, "swf-late-1"), (78, 250, "swf-late-2")))
    return glass + ring + towel + air


def _drift(cls: str) -> str:
    return (frames(cls, 3, {"0%": "opacity:0;" + move(y=-14), "50%": "opacity:1", "100%": "opacity:0;" + move(y=16)},
                   ease="linear") + ".swf-late-1{animation-delay:1s}.swf-late-2{animation-delay:2s}")


def _in_chamber(kind: str, person: str) -> Drawing:
    return person + _bag(cls=f"swf-{kind}-air"), _drift(f"swf-{kind}-air")


def _chamber() -> Drawing:
    """Standing in the chamber while the vapour spreads."""
    return _in_chamber("chamber", p.g(p.torso() + p.head("chamber"), at="translate(22 70) scale(.89)"))


def _through(kind: str, *, out: bool) -> Drawing:
    """Into the chamber, or out of it."""
    person = p.g(p.g(p.torso() + p.head(kind), at="translate(22 70) scale(.89)"), cls=f"swf-{kind}-person")
    body, css = _in_chamber(kind, person)
    body += (p.arrow("M236 372H372", (372, 372, 0)) if out else p.arrow("M372 372H236", (236, 372, 180)))
    away, here = move(230), "transform:none"
    steps = {"0%,14%": here, "64%,86%": away, "100%": here} if out else {"0%,10%": away, "60%,90%": here, "100%": away}
    return body, css + frames(f"swf-{kind}-person", 4, steps, rest=move(90))


# --- smoke ----------------------------------------------------------------------------------------------------------

def _smoke_tube(kind: str, *, many: int) -> str:
    """The tester's smoke tube with its bulb, from the right, and what comes out of it."""
    puffs = "".join(f'<circle cx="{x}" cy="{y}" r="{r}" fill="{FAINT}" opacity=".6" class="swf-{kind}-puff swf-p{i}"/>'
                    for i, (x, y, r) in enumerate(((272, 196, 8), (256, 186, 10), (240, 200, 11), (262, 210, 9),
                                                   (232, 182, 9), (246, 218, 8))[:many]))
    return (p.shape("M290 190H350V214H290L282 202Z", p.CARD) + p.thin("M306 190V214M322 190V214", 3)
            + p.shape("M350 192Q400 178 400 202Q400 228 350 212Z", FAINT) + puffs)


def _puffing(kind: str, far: float) -> str:
    return (frames(f"swf-{kind}-puff", 1.8, {"0%": "opacity:0;" + move(18), "40%": "opacity:.7",
                                             "100%": "opacity:0;" + move(-far)}, ease="ease-out")
            + "".join(f".swf-p{i}{{animation-delay:{num(i * 0.3)}s}}" for i in range(1, 6)))


def _whiff() -> Drawing:
    """Without facepiece, eyes shut, a little smoke from a distance."""
    person = p.g(p.torso() + p.head("whiff", mask=False, dress=Dress(shut=True)), at="translate(-62 4)")
    return person + _smoke_tube("whiff", many=3), _puffing("whiff", 60)


def _smoke() -> Drawing:
    """Eyes shut, the tube follows the edge of the facepiece."""
    person = p.g(p.torso() + p.head("smoke", dress=Dress(shut=True)), at="translate(-46 4)")
    tube = p.g(p.g(_smoke_tube("smoke", many=6), at="translate(-10 -18)"), cls="swf-smoke-tube")
    body = person + tube + p.arrow("M336 126V78", (336, 78, -90)) + p.arrow("M336 250V298", (336, 298, 90))
    css = frames("swf-smoke-tube", 5, {"0%,100%": move(y=-26), "50%": move(y=34)}, rest="transform:none")
    return body, css + _puffing("smoke", 40)


STATES: dict[str, Callable[[], Drawing]] = {
    "off": _off, "connect": _connect, "smell": _smell, "chamber": _chamber,
    "enter": lambda: _through("enter", out=False), "leave": lambda: _through("leave", out=True),
    "whiff": _whiff, "smoke": _smoke,
}
"""kind -> what draws it"""
