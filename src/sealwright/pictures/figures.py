"""The wearer's figures: a drawn person who does what the wearer is asked to do, moving by CSS inside the SVG.

Readable without words from two metres. Where a reader's screen asks for less motion, or `animated` is false, the figure
stands still in a telling pose and arrows show the way.
"""

from __future__ import annotations

from collections.abc import Callable
from math import atan
from math import degrees as degrees_of

from sealwright.errors import NotFound
from sealwright.pictures import figure_parts as p
from sealwright.pictures import figure_states
from sealwright.pictures.figure_parts import HOODED, Drawing, Dress, about, frames, move
from sealwright.pictures.pen import COLOURS, EXERCISE, num
from sealwright.protocols.types import MethodName

# Marks on the light cards (bubble, clock, tick) keep their light colours on dark screens too.
MARK, PAUSE, TICK = (COLOURS[name][0] for name in ("exercise", "dose", "good"))
MIRROR = "matrix(-1 0 0 1 400 0)"


def figure_svg(kind: str, *, animated: bool = True, hood: bool = True, line: bool = False, shut: bool = False) -> str:
    """The figure of one exercise or state as an inline SVG of 400 by 400 units, hidden from screen readers: the line
    beside it says the same. Raises NotFound for an unknown kind.

    Of an exercise and of breaking the seal: `hood` False leaves the hood out, `line` hangs a sampling line at the
    facepiece, `shut` shuts the eyes. A state has its own clothes.
    """
    try:
        body, css = FIGURES[kind](Dress(hood=hood, line=line, shut=shut))
    except KeyError:
        raise NotFound(f"no figure {kind!r}", place="figure", mend=f"Choose one of {', '.join(FIGURES)}") from None
    style = f"<style>{css}{ALWAYS}</style>"
    return ('<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 400 400" preserveAspectRatio="xMidYMax meet" '
            f'class="swf swf-{kind}'
            f'{"" if animated else " swf-still"}" data-figure="{kind}" aria-hidden="true" focusable="false">'
            f"{style}{body}</svg>")


ALWAYS = ("@media (prefers-reduced-motion:reduce){.swf *{animation:none!important}.swf .swf-ghost{opacity:.35}}"
          ".swf-still *{animation:none!important}.swf-ghost{opacity:0}.swf-still .swf-ghost{opacity:.35}")


# --- exercises ------------------------------------------------------------------------------------------------------

def _hooded(face: str, d: Dress = HOODED) -> str:
    return _covered(p.torso() + face, d)


def _covered(person: str, d: Dress) -> str:
    """A person from the front, under the hood if there is one."""
    return p.behind(p.PANE_FRONT) + person + p.hood_front() if d.hood else person


def _breath(d: Dress, kind: str, seconds: float, rise: float, swell: float) -> Drawing:
    """Shoulders rise and lungs fill; the deep breath is slow, large and has arrows."""
    chest, lung, puff = f"swf-{kind}-chest", f"swf-{kind}-lung", f"swf-{kind}-air"
    deep = kind == "deep"
    body = _covered(p.torso(p.lungs(lung), cls=chest) + p.head(kind, dress=d), d)
    if deep:
        body += p.arrow("M40 372V278", (40, 278, -90)) + p.arrow("M360 278V372", (360, 372, 90))
    air = "M268 186Q284 194 268 206M282 176Q306 194 282 216" if deep else "M268 190Q280 196 268 204"
    one = f'<path d="{air}" fill="none" stroke="{EXERCISE}" stroke-width="6" stroke-linecap="round"/>'
    body += p.g(one, p.g(one, at=MIRROR), cls=puff)
    hold = 0.96 if not deep else 0.92
    css = (frames(chest, seconds, {"0%,100%": move(y=0), "45%,55%": move(y=-rise)})
           + frames(lung, seconds, {"0%,100%": move(sx=hold - swell, sy=hold - swell),
                                     "45%,55%": move(sx=1.04, sy=1.04)}, more=about(200, 320))
           + frames(puff, seconds, {"0%,50%": "opacity:0", "70%": "opacity:1", "95%,100%": "opacity:0"}))
    return body, css


def _side(d: Dress, kind: str = "side", degrees: float = 46.0, seconds: float = 8) -> Drawing:
    """A head that turns: each feature moves on a ball round the head's axis, the near ear comes to the front."""
    css, head = "", f"swf-{kind}"

    def swing(name: str, right: str, left: str, more: str, rest: str = "transform:none") -> str:
        steps = {"0%,8%,50%,58%,100%": rest, "20%,40%": right, "70%,90%": left}
        return frames(f"{head}-{name}", seconds, steps, more=more, rest=right)

    def feature(name: str, x: float, radius: float, narrow: bool = True) -> str:
        def pose(way: float) -> str:
            shift, scale = p.turn(x, radius, way)
            return move(shift, sx=scale if narrow else 1)
        return swing(name, pose(degrees), pose(-degrees), about(p.CENTRE + x, 150))

    css += feature("face", 0, 46, narrow=False) + feature("cup", 0, p.DEPTH)
    css += feature("l", -23, p.SKULL) + feature("r", 23, p.SKULL)
    shift, scale = p.turn(0, p.DEPTH, degrees)
    long, gone = move(sx=(shift + 46 * (1 - scale)) / 18 + 1), move(sx=0.02)
    css += swing("sl", long, gone, about(142, 160)) + swing("sr", gone, long, about(258, 160))
    away = "transform:none;opacity:0"
    css += swing("el", move(18) + ";opacity:1", move(-14) + ";opacity:0", "", away)
    css += swing("er", move(14) + ";opacity:0", move(-18) + ";opacity:1", "", away)
    worn = p.facepiece(cls=f"{head}-cup")
    if d.line:  # The foot of the line stays where it is while its top goes with the facepiece.
        lean = degrees_of(atan(p.turn(0, p.DEPTH, degrees)[0] / 194))
        css += swing("tube", move(lean=-lean), move(lean=lean), about(250, 416))
        worn += p.tube(f"{head}-tube")
    body = _hooded(p.ear(-1) + p.ear(1) + p.skull(head, f"{head}-face") + p.ear(-1, f"{head}-el")
                   + p.ear(1, f"{head}-er") + p.face(head, d.shut) + p.straps((f"{head}-sl", f"{head}-sr")) + worn, d)
    return body + p.arrow("M96 336Q200 396 304 336", (96, 336, -150), (304, 336, -30)), css


def _nod(d: Dress) -> Drawing:
    body = p.side_torso() + p.g(p.side_head(shut=d.shut), cls="swf-nod-head")
    body = p.behind(p.PANE_SIDE) + body + p.hood_side() if d.hood else body
    tube = p.tube("swf-nod-tube", "M286 196C310 270 250 300 250 416") if d.line else ""
    body += tube + p.arrow("M352 92Q392 160 352 228", (352, 92, -124), (352, 228, 124))
    css = frames("swf-nod-head", 7, {"0%,8%,50%,58%,100%": "transform:none", "22%,40%": move(turn=-24),
                                      "72%,90%": move(turn=22)}, more=about(186, 214),
                  rest=move(turn=-24))
    if d.line:
        up, down = (move(sx=1, sy=(220 - y) / 220, lean=lean) for y, lean in ((-42, -1), (38, 2)))
        css += frames("swf-nod-tube", 7, {"0%,8%,50%,58%,100%": "transform:none", "22%,40%": up, "72%,90%": down},
                      more=about(250, 416), rest=up)
    return body, css


def _bubble(*inside: str) -> str:
    outline = "M276 20H376Q392 20 392 36V104Q392 120 376 120H318L284 150L290 120H276Q260 120 260 104V36Q260 20 276 20Z"
    return p.g(p.shape(outline, p.CARD), *inside)


def _talk(d: Dress) -> Drawing:
    lines = "".join(p.g(p.thin(f"M282 {y}H{x}", 10, colour=MARK), cls=f"swf-talk-line swf-talk-n{n}")
                    for n, (y, x) in enumerate(((48, 368), (70, 352), (92, 362))))
    person = _hooded(p.head("talk", through=0.55, dress=d) + p.g(p.mouth("open"), cls="swf-talk-mouth"), d)
    css = (frames("swf-talk-mouth", 1.1, {"0%,100%": move(sy=0.25), "25%": move(sy=1.1),
                                           "50%": move(sx=1.2, sy=0.5), "75%": move(sx=0.8, sy=1.2)},
                   more=about(200, 198))
           + frames("swf-talk-line", 3.6, {"0%": "stroke-dashoffset:90", "30%,85%": "stroke-dashoffset:0",
                                            "100%": "stroke-dashoffset:-90"}, more="stroke-dasharray:90 90")
           + ".swf-talk-n1{animation-delay:.5s}.swf-talk-n2{animation-delay:1s}")
    return p.g(person, at="translate(-52 6)") + _bubble(lines), css


HIP = (112, 284)


def _upper(d: Dress, *arms: str, cls: str = "") -> str:
    """Trunk and hooded head from the side, facing right; turns about the hip."""
    trunk = p.shape("M76 176Q62 232 74 296Q112 314 148 294Q156 236 138 176Q108 152 76 176Z", p.CLOTH)
    if d.hood:
        head = p.g(p.behind(p.PANE_SIDE), p.side_head(), p.hood_side(), at="translate(-14 -2) scale(.6)")
        return p.g(trunk, head, *arms, cls=cls)
    neck = f'<path d="M88 140V168Q104 182 122 170V140Z" fill="{p.SKIN}" {p.LINE}/>'
    tube = p.tube(d="M288 196C300 300 240 290 200 320") if d.line else ""
    head = p.g(p.side_head(shut=d.shut), tube, at="translate(-14 28) scale(.6)")
    return p.g(trunk, neck, head, *arms, cls=cls)


def _bend(d: Dress) -> Drawing:
    legs = p.limb("M112 290L90 470", 44, p.CLOTH) + p.limb("M114 290L142 470", 44, p.CLOTH)
    arm = p.limb("M104 196L128 244L176 186", 24, p.CLOTH) + p.fist(178, 176, 15)
    ghost = p.g(_upper(d), at="rotate(76 112 284)", cls="swf-ghost")
    arm = arm if d.hood else p.limb("M104 196L100 250L112 304", 24, p.CLOTH) + p.fist(112, 308, 15)
    body = (ghost + legs + _upper(d, arm, cls="swf-bend-top")
            + p.arrow("M246 24Q344 70 384 152", (246, 24, -155), (384, 152, 64)))
    return body, frames("swf-bend-top", 7, {"0%,6%,100%": "transform:none", "38%,58%": move(turn=76)},
                         more=about(*HIP))


def _jog(d: Dress, kind: str = "jog", s: float = 1.1, lift: float = 66, swing: float = 35) -> Drawing:
    """On the spot, `s` seconds a pair of steps; stepping is the same with less of all."""
    own, calm = f"swf-{kind}", kind == "step"

    def leg(cls: str) -> str:
        shin = p.g(p.limb("M112 344V398H130", 26, p.CLOTH), cls=f"{own}-shin {cls}")
        return p.g(shin, p.limb("M112 288V344", 32, p.CLOTH), cls=f"{own}-leg {cls}")

    def arm(cls: str) -> str:
        bent = "M104 192L98 246L112 294" if calm else "M104 192L92 244L146 238"
        hand = p.fist(114, 300) if calm else p.fist(154, 236)
        return p.g(p.limb(bent, 22, p.CLOTH), hand, cls=f"{own}-arm {cls}")

    a, b = f"{own}-a", f"{own}-b"
    body = p.g(p.g(arm(b), leg(b), leg(a), _upper(d, arm(a)), cls=f"{own}-all"), at="translate(76 4) scale(.94)")
    body += p.arrow("M44 372V296", (44, 296, -90)) + p.arrow("M356 296V372", (356, 372, 90))
    bob, bent = 2 if calm else 8, lift * 4 / 3
    css = (frames(f"{own}-all", s / 2, {"0%,100%": move(y=bob), "50%": move(y=-bob)})
           + frames(f"{own}-leg", s, {"0%,50%,100%": move(turn=4), "25%": move(turn=-lift), "75%": move(turn=6)},
                    more=about(112, 288), rest=move(turn=-lift))
           + frames(f"{own}-shin", s, {"0%,50%,100%": "transform:none", "25%": move(turn=bent), "75%": move(turn=8)},
                    more=about(112, 344), rest=move(turn=bent))
           + frames(f"{own}-arm", s, {"0%,50%,100%": "transform:none", "25%": move(turn=swing - 1),
                                      "75%": move(turn=-swing - 1)}, more=about(104, 192))
           + f".{b}{{animation-delay:-{num(s / 2)}s}}.{own}-leg.{b},.{own}-shin.{b}{{transform:none}}")
    return body, css


def _shake(d: Dress) -> Drawing:
    """The head turns fast, and the wearer shouts."""
    body, css = _side(d, "shake", 30, 1.4)
    quick = "".join(p.thin(f"M{x} {y}Q{x - 14} 156 {x} {312 - y}", 7, colour=EXERCISE)
                    for x, y in ([(80, 116)] if d.hood else [(104, 116), (80, 128)]))
    rays = "".join(p.thin(ray, 9, colour=MARK) for ray in ("M298 64H372", "M298 88H356", "M298 112H366"))
    burst = ("M276 36L300 40L306 16L328 36L352 12L358 36L390 28L380 60L400 76L382 94L396 124L366 122L352 146L334 128"
             "L304 164L306 128L276 132L282 104L264 84L284 66Z")
    shout = p.g(p.shape(burst, p.CARD), rays, cls="swf-shake-shout")
    css += frames("swf-shake-shout", 0.7, {"0%,100%": "transform:none", "50%": move(sx=1.05, sy=1.05)},
                  more=about(334, 84))
    return p.g(body + quick, at="translate(-46 6)") + shout, css


def _grimace(d: Dress) -> Drawing:
    """Smile and frown in turn behind the facepiece, and as two small faces."""
    def small(x: float, lips: str) -> str:
        return p.g(f'<circle r="44" fill="{p.CARD}" {p.LINE}/>', f'<circle cx="-15" cy="-10" r="5" fill="{p.INK}"/>',
                   f'<circle cx="15" cy="-10" r="5" fill="{p.INK}"/>', p.thin(lips), at=f"translate({num(x)} 62)")

    smile = p.thin("M172 190Q200 222 228 190", 7)
    frown = p.thin("M174 210Q200 180 226 210", 7)
    body = (p.torso() + p.head("grimace", through=0.5, dress=d) + p.g(smile, cls="swf-grimace-a")
            + p.g(frown, cls="swf-grimace-b") + small(60, "M-22 8Q0 32 22 8") + small(340, "M-20 22Q0 0 20 22")
            + p.arrow("M124 44Q200 16 276 44", (124, 44, 160), (276, 44, 20)))
    css = (frames("swf-grimace-a", 3, {"0%,40%,100%": "opacity:1", "50%,90%": "opacity:0"})
           + frames("swf-grimace-b", 3, {"0%,40%,100%": "opacity:0", "50%,90%": "opacity:1"}, rest="opacity:0"))
    return body, css


# --- states ---------------------------------------------------------------------------------------------------------

def _clock(x: float, y: float, r: float) -> str:
    ticks = "".join(f"M{num(x + dx * (r - 6))} {num(y + dy * (r - 6))}l{-8 * dx} {-8 * dy}"
                    for dx, dy in ((1, 0), (0, 1), (-1, 0), (0, -1)))
    return (f'<circle cx="{num(x)}" cy="{num(y)}" r="{num(r)}" fill="{p.CARD}" {p.LINE}/>' + p.thin(ticks)
            + p.g(p.thin(f"M{num(x)} {num(y)}v{num(-r * 0.68)}", 8, colour=MARK), cls="swf-hand-long")
            + p.thin(f"M{num(x)} {num(y)}l{num(r * 0.42)} {num(r * 0.2)}"))


def _clock_css(x: float, y: float) -> str:
    return frames("swf-hand-long", 12, {"0%": "transform:none", "100%": move(turn=360)}, ease="linear",
                   more=about(x, y))


def _wait() -> Drawing:
    body = p.g(p.torso() + p.head("wait", mask=False), at="translate(-46 4)") + _clock(318, 104, 66)
    return body, _clock_css(318, 104)


def _wear() -> Drawing:
    body = p.g(p.torso(cls="swf-wear-chest") + p.head("wear"), at="translate(-46 4)") + _clock(318, 104, 66)
    return body, _clock_css(318, 104) + frames("swf-wear-chest", 4, {"0%,100%": "transform:none", "50%": move(y=-4)})


def _don() -> Drawing:
    """From the side: the hand brings the facepiece to the face, then the straps go round the head."""
    hand = (p.shape("M262 226Q256 196 276 190Q292 186 304 200Q330 190 352 216L384 262L346 300Q300 268 262 226Z", p.SKIN)
            + p.shape("M336 250L398 214V320L362 300Z", p.CLOTH))
    loose = p.g(p.thin("M234 166Q214 200 226 226M232 196Q220 226 240 244"), cls="swf-don-loose")
    body = (p.side_torso() + p.side_head(mask=False) + p.side_straps("swf-don-worn")
            + p.g(loose, p.side_facepiece(), hand, cls="swf-don-piece") + p.arrow("M376 130H316", (316, 130, 180)))
    css = (frames("swf-don-piece", 5, {"0%,10%,100%": move(64, 6), "45%,88%": "transform:none"}, rest=move(40, 4))
           + frames("swf-don-worn", 5, {"0%,48%": "opacity:0", "56%,90%": "opacity:1", "96%,100%": "opacity:0"},
                     rest="opacity:0")
           + frames("swf-don-loose", 5, {"0%,48%": "opacity:1", "56%,90%": "opacity:0", "96%,100%": "opacity:1"}))
    return body, css


def _hood_moves(kind: str, mask: bool, up: bool) -> Drawing:
    """The hood comes down over the head, or goes up and off."""
    name = f"swf-{kind}-hood"
    body = p.torso() + p.head(kind, mask=mask) + p.g(p.hood_front(), cls=name)
    if up:
        body += p.arrow("M44 210V84", (44, 84, -90)) + p.arrow("M356 210V84", (356, 84, -90))
        steps = {"0%,15%": move(y=0), "60%,85%": move(y=-206), "100%": move(y=0)}
    else:
        body += p.arrow("M44 84V210", (44, 210, 90)) + p.arrow("M356 84V210", (356, 210, 90))
        steps = {"0%,12%": move(y=-206), "55%,88%": move(y=0), "100%": move(y=-206)}
    return body, frames(name, 4, steps, rest=move(y=-170 if up else -110))


def _taste() -> Drawing:
    return _hooded(p.head("taste", mask=False, lips="taste")) + p.nebuliser(), _mist_css()


def _mist_css() -> str:
    return (frames("swf-puff", 1.6, {"0%": "opacity:0;" + move(14), "40%": "opacity:.8",
                                      "100%": "opacity:0;" + move(-40)}, ease="ease-out")
            + ".swf-p1{animation-delay:.3s}.swf-p2{animation-delay:.6s}"
            + frames("swf-bulb", 0.8, {"0%,100%": "transform:none", "50%": move(sx=0.8, sy=0.82)},
                      more=about(346, 222)))


def _hold() -> Drawing:
    return _hooded(p.head("hold")) + p.nebuliser(), _mist_css()


def _hush() -> Drawing:
    bars = "".join(f'<rect x="{x}" y="46" width="16" height="48" rx="4" fill="{PAUSE}"/>' for x in (300, 336))
    person = _hooded(p.head("hush", through=0.55) + p.thin("M184 198H216")) + p.nebuliser()
    return p.g(person, at="translate(-52 6)") + _bubble(bars), _mist_css()


def _hem() -> Drawing:
    """Both hands hold the hem while the dose is given."""
    sleeve = p.shape("M76 412Q40 330 100 282L122 300Q96 340 128 412Z", p.CLOTH)
    hand = f'<ellipse cx="112" cy="276" rx="21" ry="18" fill="{p.SKIN}" {p.LINE}/>'
    arm = p.g(sleeve, hand, p.thin("M102 268V282M112 266V284M122 268V282", 3))
    return _hooded(p.head("hem")) + arm + p.g(arm, at=MIRROR) + p.nebuliser(), _mist_css()


def _stop() -> Drawing:
    return _hood_moves("stop", True, True)


def _glass() -> str:
    return (p.shape("M-22 -34H22L16 34H-16Z", p.CARD)
            + f'<path d="M-18 -6H18L14 30H-14Z" fill="{MARK}" opacity=".6"/>')


def _water() -> Drawing:
    arm = p.g(p.shape("M312 500Q344 330 306 246L276 252Q296 320 232 500Z", p.CLOTH),
              p.g(_glass(), at="translate(268 214) rotate(-34)"),
              p.shape("M262 236Q254 214 276 206Q306 200 310 226Q312 250 292 254Q270 254 262 236Z", p.SKIN),
              p.thin("M272 220Q284 214 296 216M274 232Q286 226 300 230", 3), cls="swf-water-arm")
    body = p.torso() + p.head("water", mask=False, lips="open") + arm
    css = frames("swf-water-arm", 5, {"0%,10%,100%": move(28, 70, turn=16), "40%,70%": move(-26, 4, turn=-6)},
                  more=about(300, 412), rest=move(-26, 4, turn=-6))
    return body, css


def _done() -> Drawing:
    tick = (f'<circle cx="322" cy="92" r="62" fill="{p.CARD}" stroke="{TICK}" stroke-width="9"/>'
            + p.g(p.thin("M292 94L314 118L354 66", 15, colour=TICK), cls="swf-done-tick"))
    css = frames("swf-done-tick", 5, {"0%": "stroke-dashoffset:110", "18%,100%": "stroke-dashoffset:0"},
                  more="stroke-dasharray:110")
    return p.g(p.torso() + p.head("done", mask=False, lips="glad"), at="translate(-46 4)") + tick, css


def _break_seal(d: Dress) -> Drawing:
    """A finger lifts the edge of the facepiece; air goes in."""
    finger = p.shape("M330 412Q352 330 312 262L288 232L256 204Q244 196 238 206Q236 214 244 222L262 244Q254 262 268 280"
                     "Q290 300 276 340L262 412Z", p.SKIN)
    face = p.head("break", mask=False) + p.straps() + p.g(p.facepiece(), cls="swf-break-cup")
    body = (_hooded(face + p.g(finger, cls="swf-break-finger"), d)
            + p.arrow("M306 150Q270 160 250 184", (250, 184, 128), cls="swf-break-air"))
    css = (frames("swf-break-cup", 3.4, {"0%,15%,100%": "transform:none", "45%,80%": move(turn=14)},
                   more=about(158, 176), rest=move(turn=14))
           + frames("swf-break-finger", 3.4, {"0%,15%,100%": "transform:none", "45%,80%": move(10, 4)},
                     more=about(330, 412))
           + frames("swf-break-air", 3.4, {"0%,30%,100%": "opacity:0", "50%,80%": "opacity:1"}))
    return body, css


def _seal_check() -> Drawing:
    """Both hands close round the facepiece."""
    hand = ("M110 274Q120 210 152 168Q162 158 170 168L178 162Q188 160 188 172L178 204Q192 196 194 206Q194 216 168 238"
            "Q158 280 142 294Z")
    one = (p.shape("M54 470Q64 320 112 268L146 288Q118 340 122 470Z", p.CLOTH) + p.shape(hand, p.SKIN)
           + p.thin("M170 168L156 204M180 176L166 206", 3))
    pair = p.g(one, cls="swf-check-l") + p.g(p.g(one, at=MIRROR), cls="swf-check-r")
    body = p.torso() + p.head("check") + pair
    css = (frames("swf-check-l", 4, {"0%,10%,100%": move(-34, 26), "40%,75%": "transform:none"})
           + frames("swf-check-r", 4, {"0%,10%,100%": move(34, 26), "40%,75%": "transform:none"}))
    return body, css


STATES: dict[str, Callable[[], Drawing]] = {
    "wait": _wait, "don": _don, "wear": _wear, "seal-check": _seal_check,
    "hood": lambda: _hood_moves("hood", False, False), "hood-mask": lambda: _hood_moves("hood-mask", True, False),
    "taste": _taste, "hold": _hold, "hush": _hush, "hem": _hem, "stop": _stop, "water": _water, "done": _done,
    **figure_states.STATES,
}


def _in_own_clothes(draw: Callable[[], Drawing]) -> Callable[[Dress], Drawing]:
    return lambda _: draw()


FIGURES: dict[str, Callable[[Dress], Drawing]] = {
    "normal": lambda d: _breath(d, "normal", 4, 5, 0.1),
    "deep": lambda d: _breath(d, "deep", 6, 16, 0.28),
    "side": _side, "nod": _nod, "talk": _talk, "bend": _bend, "grimace": _grimace, "jog": _jog, "shake": _shake,
    "step": lambda d: _jog(d, "step", 2, 40, 12), "redon": figure_states.redon,
    "hold-breath": figure_states.hold_breath, "break-seal": _break_seal,
    **{kind: _in_own_clothes(draw) for kind, draw in STATES.items()},
}
"""kind -> what draws it"""
KINDS = tuple(FIGURES)


def dress_of(method: MethodName) -> Dress:
    """What a wearer has on through the exercises of a method: `figure_svg(kind, **dress_of(m)._asdict())`."""
    return _DRESS.get(method, Dress(hood=False, line=True))


_DRESS: dict[MethodName, Dress] = {"taste": HOODED, "vapour": Dress(hood=False), "smoke": Dress(hood=False, shut=True)}
