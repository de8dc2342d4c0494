"""Live samples: lines of JSON, lines by a user's pattern, and a serial line (a pseudo-terminal stands for it)."""

from __future__ import annotations

import os
import threading
import time
import tty
from collections.abc import Iterator

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sealwright.errors import BadInput
from sealwright.traces.live import (
    LONGEST_BY_PATTERN,
    LONGEST_LINE,
    Heard,
    Sample,
    compile_pattern,
    parse_line,
    serial_lines,
)

PATTERN = r"(?P<t>\d+\.\d) s +in (?P<mask>[\d.,]+) out (?P<ambient>[\d.,]+)"


@pytest.mark.parametrize(("line", "sample"), [
    ('{"t": 1.5, "mask": 3, "ambient": 2000}\r\n', Sample(t=1.5, mask=3, ambient=2000)),
    ('{"t": 2, "value": 3.25, "air": "mask"}', Sample(t=2, value=3.25, air="mask")),
    ('{"value": "3,25", "air": " Ambient "}', Sample(value=3.25, air="ambient")),
    ('{"t": "1970-01-01T00:00:01.5Z", "value": 0, "more": [1]}', Sample(at=1500, value=0)),
    ('{"t": "1970-01-01T01:00:00+01:00", "value": 0}', Sample(at=0, value=0))])
def test_json_lines(line: str, sample: Sample) -> None:
    assert parse_line(line) == sample


def test_lines_by_a_pattern() -> None:
    assert parse_line("# 12.5 s  in 3,5 out 2000\r\n", PATTERN) == Sample(t=12.5, mask=3.5, ambient=2000)
    assert parse_line("A 17", r"(?P<value>\d+)$|x(?P<air>y)") == Sample(value=17)
    assert parse_line("MASK 17", r"(?P<air>\w+) (?P<value>\d+)") == Sample(value=17, air="mask")


@pytest.mark.parametrize(("line", "said"), [
    ("hello", "is no JSON"), ("[1]", "no JSON object"), ("{}", "holds no value"), ('{"mask": 1}', "holds no value"),
    ('{"value": -1}', "has value -1"), ('{"value": true}', "no number for value"), ('{"value": NaN}', "no number"),
    ('{"value": 1e999}', "no number"), ('{"value": 1e300}', "has value 1e+300"), ('{"value": "x"}', "no number"),
    ('{"value": 1, "air": "roof"}', "names the air 'roof'"), ('{"value": 1, "air": 3}', "names the air"),
    ('{"t": "noon", "value": 1}', "cannot be read"), ('{"t": "2026-02-01T12:00:00", "value": 1}', "without a zone"),
    ('{"t": [], "value": 1}', "no number for t"), ("[" * 1900, "is no JSON"), ("x" * 5000, "5000 characters"),
    ('{"value": 1' + "0" * 1500 + "}", "no number")])
def test_lines_that_are_no_samples(line: str, said: str) -> None:
    with pytest.raises(BadInput) as caught:
        parse_line(line)
    assert said in caught.value.found and caught.value.mend


def test_a_line_that_does_not_fit() -> None:
    with pytest.raises(BadInput, match="does not fit the pattern"):
        parse_line("warming up", PATTERN)


@pytest.mark.parametrize(("pattern", "said"), [
    ("(?P<value>", "no regular expression"), ("[", "no regular expression"),
    ("a{1,99999999999}", "no regular expression"), (r"(\d+)", "no group for the value"),
    (r"(?P<mask>\d+)", "no group for the value"),
    (r"(?P<value>\d+)(?P<name>x)", "unknown group 'name'"), ("x" * 501, "501 characters"),
    (r"(?P<value>(\d+)+)$", "repeat within a repeat"), (r"(?P<value>(a|aa)*?\d*)*x", "repeat within a repeat"),
    (r"((?:\w{1,30}){1,30})(?P<value>\d)", "repeat within a repeat"), (r"(a)\1(?P<value>\d)", "reference back"),
    (r"(?:(?=(a+))x)*(?P<value>\d)", "repeat within a repeat"), (r"\d*" * 9 + r"(?P<value>\d)", "open repeats")])
def test_patterns_that_cannot_be_used(pattern: str, said: str) -> None:
    with pytest.raises(BadInput) as caught:
        compile_pattern(pattern)
    assert said in caught.value.found and "pattern" in caught.value.place and caught.value.mend


def test_the_slowest_patterns_allowed_come_to_an_end() -> None:
    """They are tried on the longest line; without the guard this would take years."""
    for pattern in (r".*.*(?P<value>x)", r"\d*\d*(?P<value>x)$", r"[^,]*,[^,]*,[^,]*,[^,]*,\s*(?P<value>\d+)x"):
        for line in ("1" * LONGEST_BY_PATTERN, "1," * (LONGEST_BY_PATTERN // 2)):
            with pytest.raises(BadInput, match="does not fit"):
                parse_line(line, pattern)
    with pytest.raises(BadInput, match="401 characters"):
        parse_line("1" * 401, r"(?P<value>\d)")


@given(st.text(max_size=300))
def test_any_line_is_a_sample_or_a_named_fault(line: str) -> None:
    for pattern in (None, PATTERN):
        try:
            assert isinstance(parse_line(line, pattern), Sample)
        except BadInput as e:
            assert e.found and e.mend


@given(st.text(alphabet="()[]{}?P<value>+*\\d|.,0123a^$", max_size=60))
def test_any_pattern_is_used_or_refused(pattern: str) -> None:
    try:
        compile_pattern(pattern)
    except BadInput as e:
        assert e.found and e.mend


# The serial line

@pytest.fixture
def line() -> Iterator[tuple[int, str]]:
    """The instrument's end of a serial line, and the name of ours."""
    ours, theirs = os.openpty()
    tty.setraw(ours)
    tty.setraw(theirs)
    yield ours, os.ttyname(theirs)
    for end in (ours, theirs):
        os.close(end)


def talk(end: int, heard: Heard, *pieces: bytes) -> threading.Thread:
    """Write from a thread of its own, once the other end has been opened."""
    def run() -> None:
        while not heard.opened:
            time.sleep(0.005)
        for piece in pieces:
            os.write(end, piece)
            time.sleep(0.02)
    talker = threading.Thread(target=run)
    talker.start()
    return talker


def hear(line: tuple[int, str], most: int, *pieces: bytes) -> tuple[list[str], Heard]:
    heard = Heard()
    lines = serial_lines(line[1], 115200, heard=heard)
    talker = talk(line[0], heard, *pieces)
    got = [next(lines) for _ in range(most)]
    talker.join()
    lines.close()  # type: ignore[attr-defined]
    return got, heard


def test_whole_lines_from_pieces(line: tuple[int, str]) -> None:
    got, heard = hear(line, 3, b'ue": 12}\n{"value"', b": 1}\r", b'\n{"value": 2}\n\n{"val', b'ue": 3}\n')
    assert [parse_line(g).value for g in got] == [1, 2, 3]
    assert (heard.lines, heard.skipped, heard.opened) == (3, 1, 1)  # the tail of a line at the beginning


def test_bytes_that_are_no_text_are_skipped_and_counted(line: tuple[int, str]) -> None:
    long = b"z" * (LONGEST_LINE + 100)
    got, heard = hear(line, 2, b"\n\xff\xfe\x80\n\x01\x02\ngood\n", long, b"\nnext\n")
    assert got == ["good", "next"] and heard.skipped == 4


def test_a_lost_line_is_opened_again() -> None:
    from serial import SerialException

    class Port:
        """Gives its bytes, then is unplugged."""

        in_waiting = 1

        def __init__(self, *given: bytes) -> None:
            self.given = list(given)

        def __enter__(self) -> Port:
            return self

        def __exit__(self, *_: object) -> None:
            self.closed = True

        def read(self, _size: int) -> bytes:
            if not self.given:
                raise SerialException("unplugged")
            return self.given.pop(0)
    first, second = Port(b"\none\ntw"), Port(b"o\nthree\n")
    ports: list[Port | Exception] = [first, SerialException("not there yet"), second]

    def opener(_port: str, _baud: int) -> Port:
        got = ports.pop(0) if ports else SerialException("gone")
        if isinstance(got, Exception):
            raise got
        return got
    heard = Heard()
    assert list(serial_lines("p", 9600, heard=heard, wait_s=0.001, patience_s=0.05, opener=opener)) == ["one", "three"]
    assert (heard.lines, heard.skipped, heard.opened) == (2, 3, 2) and first.closed and second.closed


def test_a_port_that_is_not_there() -> None:
    with pytest.raises(BadInput) as caught:
        next(serial_lines("/dev/tty-none-such", 9600))
    assert caught.value.place == "/dev/tty-none-such" and "cable" in caught.value.mend
