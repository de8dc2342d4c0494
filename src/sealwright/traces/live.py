"""Samples as they come: lines of JSON or of text, from standard input or a serial line."""

from __future__ import annotations

import json
import math
import re
import time
import warnings
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import datetime
from functools import lru_cache
from re import _parser  # type: ignore[attr-defined]
from typing import Any, Literal, cast

import msgspec

from sealwright.errors import BadInput

LONGEST_LINE = 2000
"""Characters; a longer line is no sample."""
LONGEST_PATTERN = 500
LONGEST_BY_PATTERN = 400
"""Characters: what a pattern may cost grows with the third power."""
_GROUPS = {"t", "mask", "ambient", "value", "air"}
MOST = 1e12


class Sample(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """One sample. `t`: s, counted from wherever the source counts; `at`: ms since the epoch, if it gave a timestamp;
    both None: it gave no time. `mask` and `ambient`, or `value` with `air` if the source says."""

    t: float | None = None
    at: int | None = None
    mask: float | None = None
    ambient: float | None = None
    value: float | None = None
    air: Literal["mask", "ambient"] | None = None


def parse_line(line: str, pattern: str | None = None) -> Sample:
    """A line to a sample. pattern None: JSON such as {"t": 1.5, "mask": 3, "ambient": 2000} or {"value": 3, "air":
    "mask"}; else a regular expression with the groups t, mask, ambient, value, air, found anywhere in the line.

    t: seconds, or an ISO timestamp with a zone. Raises BadInput where the line is no sample.
    """
    line = line.strip("\r\n\0 \t")
    if len(line) > LONGEST_LINE:
        raise BadInput(f"a line of {len(line)} characters", place="line",
                       mend=f"Send one sample a line, at most {LONGEST_LINE} characters")
    return _sample(_by_json(line) if pattern is None else _by_pattern(line, compile_pattern(pattern)), line)


def _by_json(line: str) -> dict[str, Any]:
    try:
        got = json.loads(line)
    except (ValueError, RecursionError):
        raise _bad(line, "is no JSON", 'Send {"t": 1.5, "mask": 3, "ambient": 2000}, or give a pattern') from None
    if not isinstance(got, dict):
        raise _bad(line, "is no JSON object", 'Send {"t": 1.5, "mask": 3, "ambient": 2000}')
    return got


def _by_pattern(line: str, pattern: re.Pattern[str]) -> dict[str, Any]:
    if len(line) > LONGEST_BY_PATTERN:
        raise BadInput(f"a line of {len(line)} characters", place="line",
                       mend=f"A pattern reads lines of at most {LONGEST_BY_PATTERN}: send JSON, or shorter lines")
    found = pattern.search(line)
    if found is None:
        raise _bad(line, "does not fit the pattern", "Change the pattern, or skip such lines")
    return {k: v for k, v in found.groupdict().items() if v is not None}


@lru_cache(maxsize=16)
def compile_pattern(pattern: str) -> re.Pattern[str]:
    """The user's regular expression; BadInput where it does not compile, names no value, or could run for ever."""
    if len(pattern) > LONGEST_PATTERN:
        raise BadInput(f"a pattern of {len(pattern)} characters", place="pattern",
                       mend=f"Write it in at most {LONGEST_PATTERN}")
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # what a pattern may come to mean in later versions
            made, tree = re.compile(pattern), _parser.parse(pattern)
    except (re.error, RecursionError, OverflowError) as e:
        at = f"pattern, character {e.pos + 1}" if isinstance(e, re.error) and e.pos is not None else "pattern"
        raise BadInput(f"this is no regular expression ({e})", place=at, mend="Mend the pattern there") from None
    _guard(tree)
    names = set(made.groupindex)
    if unknown := names - _GROUPS:
        raise BadInput(f"unknown group {sorted(unknown)[0]!r}", place="pattern",
                       mend="Name groups t, mask, ambient, value, air")
    if not ({"mask", "ambient"} <= names or "value" in names):
        raise BadInput("no group for the value", place="pattern",
                       mend=r"Name groups, such as (?P<mask>[\d.]+) and (?P<ambient>[\d.]+), or (?P<value>[\d.]+)")
    return made


def _guard(tree: Any) -> None:
    """Refuse what may take time beyond all bounds: repeats within repeats, references back, and more than two open
    repeats that are not followed by a sign at which they must end. What is left takes at most about (line)^3 steps.
    """
    _walk(tree, False)
    items = list(_flat(tree))
    loose = sum(_open_repeats([item]) - _ends_at(item, after) for item, after in
                zip(items, [*items[1:], None], strict=False))
    if loose > 2:
        raise BadInput(f"{loose} open repeats (* or +) with no clear end", place="pattern",
                       mend=r"After each write a sign it cannot match, such as [^,]*, or \d+ with a space after it")


def _walk(tree: Any, inside: bool) -> None:
    """BadInput at a repeat within a repeat and at a reference back."""
    for kind, what in tree:
        if str(kind) in ("GROUPREF", "GROUPREF_EXISTS"):
            raise BadInput("a reference back to a group", place="pattern", mend="Write the pattern without it")
        several = _repeats(kind) and int(what[1]) > 1
        if several and inside:
            raise BadInput("a repeat within a repeat, which may take for ever", place="pattern",
                           mend=r"Write (\d+\.)? instead of (\d+\.)+, or spell the parts out")
        for part in _parts(what):
            _walk(part, inside or several)


def _repeats(kind: object) -> bool:
    return str(kind) in ("MAX_REPEAT", "MIN_REPEAT", "POSSESSIVE_REPEAT")


def _parts(what: Any) -> Iterator[Any]:
    """Sub-patterns inside one piece of a parsed pattern."""
    if isinstance(what, _parser.SubPattern):
        yield what
    elif isinstance(what, (tuple, list)):
        for part in what:
            yield from _parts(part)


def _flat(tree: Any) -> Iterator[Any]:
    """The pieces in order, those of plain groups among them."""
    for kind, what in tree:
        if str(kind) == "SUBPATTERN":
            yield from _flat(what[-1])
        else:
            yield kind, what


def _open_repeats(tree: Any) -> int:
    return sum((_repeats(kind) and int(what[1]) - int(what[0]) > 5) + sum(map(_open_repeats, _parts(what)))
               for kind, what in tree)


def _ends_at(item: Any, after: Any) -> bool:
    """Whether an open repeat of one kind of sign must end where the next piece begins, or is the last piece."""
    kind, what = item
    if not _repeats(kind) or int(what[1]) - int(what[0]) <= 5:
        return False
    if after is None:
        return True
    body = list(_flat(what[2]))
    return str(after[0]) == "LITERAL" and len(body) == 1 and _misses(body[0], chr(after[1]))


def _misses(piece: Any, sign: str) -> bool:
    """Whether a piece that stands for one sign surely does not match `sign`."""
    kind, what = str(piece[0]), piece[1]
    if kind in ("LITERAL", "NOT_LITERAL"):
        return bool((chr(what) == sign) == (kind == "NOT_LITERAL"))
    if kind != "IN":
        return False
    negated = str(what[0][0]) == "NEGATE"
    hits = [_hits(str(k), v, sign) for k, v in what[negated:]]
    return any(h is True for h in hits) if negated else all(h is False for h in hits)


def _hits(kind: str, what: Any, sign: str) -> bool | None:
    """None: not known here."""
    if kind == "LITERAL":
        return bool(chr(what) == sign)
    if kind == "RANGE":
        return bool(what[0] <= ord(sign) <= what[1])
    classes = {"CATEGORY_DIGIT": sign.isdigit(), "CATEGORY_WORD": sign.isalnum() or sign == "_",
               "CATEGORY_SPACE": sign.isspace()}
    return classes.get(str(what))


def _sample(found: dict[str, Any], line: str) -> Sample:
    t, at = _time(found.get("t"), line)
    values = {k: _value(found[k], k, line) for k in ("mask", "ambient", "value") if found.get(k) is not None}
    if not ("value" in values or {"mask", "ambient"} <= set(values)):
        raise _bad(line, "holds no value", "Send value, or mask and ambient")
    air = found.get("air")
    if air is not None and (not isinstance(air, str) or air.strip().lower() not in ("mask", "ambient")):
        raise _bad(line, f"names the air {str(air)[:40]!r}", "Send mask or ambient")
    named = cast(Literal["mask", "ambient"] | None, air.strip().lower() if air else None)
    return Sample(t=t, at=at, air=named, **values)


def _time(given: object, line: str) -> tuple[float | None, int | None]:
    """(seconds, ms since the epoch), of which one at most is there."""
    if given is None:
        return None, None
    if isinstance(given, str) and not _plain_number(given):
        try:
            when = datetime.fromisoformat(given.strip())
        except ValueError:
            raise _bad(line, f"has a time that cannot be read, {given[:40]!r}",
                       "Send seconds, or a timestamp such as 2026-02-01T12:00:00.5Z") from None
        if when.tzinfo is None:
            raise _bad(line, f"has a timestamp without a zone, {given[:40]!r}", "End it with Z or an offset (+01:00)")
        return None, round(when.timestamp() * 1000)
    return _number(given, "t", line), None


def _plain_number(text: str) -> bool:
    return bool(re.fullmatch(r"\s*[-+]?(\d+[.,]?\d*|[.,]\d+)([eE][-+]?\d{1,3})?\s*", text, re.A))


def _value(given: object, name: str, line: str) -> float:
    value = _number(given, name, line)
    if value < 0 or value > MOST:
        raise _bad(line, f"has {name} {value:g}", "Skip samples that cannot be")
    return value


def _number(given: object, name: str, line: str) -> float:
    if isinstance(given, str) and _plain_number(given):
        given = float(given.replace(",", "."))
    if isinstance(given, bool) or not isinstance(given, (int, float)) or abs(given) > 1e300 or not math.isfinite(given):
        raise _bad(line, f"has no number for {name}", "Send a plain number")
    return float(given)


def _bad(line: str, found: str, mend: str) -> BadInput:
    seen = "".join(c if c.isprintable() else "□" for c in line[:80])
    return BadInput(f"{seen!r} {found}", place="line", mend=mend)


# A serial line

@dataclass
class Heard:
    """What a serial line gave: lines passed on, lines thrown away (not text, too long, cut by a lost connection), and
    how often it was opened."""

    lines: int = 0
    skipped: int = 0
    opened: int = 0


def serial_lines(port: str, baud: int = 9600, *, heard: Heard | None = None, wait_s: float = 1.0,
                 patience_s: float | None = None, opener: Callable[[str, int], Any] | None = None) -> Iterator[str]:
    """Whole lines of text from a serial port, for as long as it is asked. A lost port is tried again every `wait_s`.

    Lines that are not text are skipped and counted in `heard`; so is what comes before the first line's end after each
    opening, for it may be the tail of a line, and a tail can look like a smaller number. Ends after `patience_s`
    without a port (None: never). Raises BadInput when the port cannot be opened the first time.
    """
    seen, open_port = heard or Heard(), opener or _open
    device = _first(open_port, port, baud)
    seen.opened += 1
    while device is not None:
        with device:
            yield from _lines_of(device, seen)
        device = _again(open_port, port, baud, wait_s, patience_s)
        seen.opened += device is not None


def _open(port: str, baud: int) -> Any:
    import serial

    return serial.Serial(port, baud, timeout=0.2)


def _first(open_port: Callable[[str, int], Any], port: str, baud: int) -> Any:
    import serial

    try:
        return open_port(port, baud)
    except (serial.SerialException, OSError, ValueError) as e:
        raise BadInput(f"the serial port cannot be opened ({e})", place=port,
                       mend="Check the cable, the name of the port, the speed, and that no other program has it") from e


def _again(open_port: Callable[[str, int], Any], port: str, baud: int, wait_s: float, patience_s: float | None) -> Any:
    import serial

    began = time.monotonic()
    while patience_s is None or time.monotonic() - began < patience_s:
        time.sleep(wait_s)
        try:
            return open_port(port, baud)
        except (serial.SerialException, OSError):
            continue
    return None


def _lines_of(device: Any, seen: Heard) -> Iterator[str]:
    """Whole lines until the port is lost."""
    import serial

    rest, drop = b"", True
    while True:
        try:
            rest += device.read(max(1, min(device.in_waiting or 1, 4096)))
        except (serial.SerialException, OSError, TypeError):
            seen.skipped += bool(rest)
            return
        *whole, rest = re.split(rb"[\r\n]+", rest)
        for raw in whole:
            text = None if drop else _text(raw)
            seen.skipped += text is None
            drop = False
            if text:
                seen.lines += 1
                yield text
        if len(rest) > LONGEST_LINE:  # let go of it now: the rest of this line may never end
            rest, drop = b"", True


def _text(raw: bytes) -> str | None:
    """The line as text; "" for an empty one, None for bytes that are none."""
    raw = raw.strip(b"\0 \t")
    if len(raw) > LONGEST_LINE:
        return None
    try:
        text = raw.decode("utf-8")
    except UnicodeDecodeError:
        return None
    return text if all(c.isprintable() or c == "\t" for c in text) else None
