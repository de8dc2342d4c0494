"""Pairing a wearer's screen with a test by a short code.

In memory; with a `secret` a code follows from its test, so that after a restart the screens of open tests go on.
"""

from __future__ import annotations

import hmac
import secrets
import threading
from collections.abc import Callable, Iterable, Iterator
from itertools import count

from sealwright.errors import SealwrightError

ALPHABET = "23456789CDFGHJKMNPQRTVWXY"
"""No pairs that look alike (0 O, 1 I L, 2 Z, 5 S, 8 B) and no vowels, so that no code reads as a word."""
LENGTH = 6
LIFE_MS = 12 * 3_600_000
GUESSES = 12
GUESS_WINDOW_MS = 10 * 60_000


class TooManyGuesses(SealwrightError):
    """Too many wrong codes from one place."""

    code, status = "too-many-guesses", 429


def normal(code: str) -> str:
    """What was typed, without spaces and dashes, in capitals; cut to a sane length."""
    return "".join(c for c in code[:40].upper() if c.isalnum())


def grouped(code: str) -> str:
    """A code as people read it: two groups of three."""
    return f"{code[:3]} {code[3:]}"


class Pairings:
    """Codes of open tests. `now` gives ms; `choose` makes a code (another one in tests).

    `secret`: makes codes follow from their tests; `still_open` names the tests that were open before a restart.
    """

    def __init__(self, now: Callable[[], int], choose: Callable[[], str] | None = None, *, secret: str = "",
                 still_open: Callable[[], Iterable[str]] = tuple) -> None:
        self._now, self._lock = now, threading.RLock()
        self._choose = choose or (lambda: "".join(secrets.choice(ALPHABET) for _ in range(LENGTH)))
        self._secret, self._still_open, self._recalled = secret, still_open, False
        self._tests: dict[str, tuple[str, int]] = {}
        self._codes: dict[str, str] = {}
        self._wrong: dict[str, list[int]] = {}
        self._right: set[tuple[str, str]] = set()

    def code_for(self, test_id: str) -> str:
        """The code of a test: the same until it expires."""
        with self._lock:
            self._expire()
            if test_id not in self._codes:
                code = next(c for c in self._candidates(test_id) if c not in self._tests)
                self._codes[test_id], self._tests[code] = code, (test_id, self._now() + LIFE_MS)
            return self._codes[test_id]

    def test_for(self, code: str) -> str | None:
        """The test a code stands for; None when there is none or it has expired."""
        with self._lock:
            self._expire()
            if normal(code) not in self._tests and not self._recalled:
                self._recalled = True
                for test_id in self._still_open():
                    self.code_for(test_id)
            found = self._tests.get(normal(code))
            return found[0] if found else None

    def close(self, test_id: str) -> None:
        """The test is over: its code opens nothing any more."""
        with self._lock:
            code = self._codes.pop(test_id, None)
            if code:
                del self._tests[code]
                self._right = {pair for pair in self._right if pair[1] != code}

    def guess(self, code: str, client: str) -> str | None:
        """As `test_for`, counting wrong guesses per client address. Raises TooManyGuesses after GUESSES within ten
        minutes, right or wrong, so that nothing can be learnt by going on; a screen already paired carries on.
        """
        code = normal(code)
        with self._lock:
            test = self.test_for(code)
            if test is not None and (client, code) in self._right:
                return test
            now = self._now()
            recent = [at for at in self._wrong.get(client, []) if at > now - GUESS_WINDOW_MS]
            if len(recent) >= GUESSES:
                raise TooManyGuesses("too many wrong codes from here", place="code",
                                     mend="Wait ten minutes, then read the code off the tester's screen")
            if test is None:
                self._wrong[client] = [*recent, now]
            else:
                self._right.add((client, code))
            return test

    def _candidates(self, test_id: str) -> Iterator[str]:
        for attempt in count():
            yield self._derived(test_id, attempt) if self._secret else self._choose()

    def _derived(self, test_id: str, attempt: int) -> str:
        digest = hmac.digest(self._secret.encode(), f"{test_id}/{attempt}".encode(), "sha256")
        number, letters = int.from_bytes(digest[:16], "big"), []
        for _ in range(LENGTH):
            number, letter = divmod(number, len(ALPHABET))
            letters.append(ALPHABET[letter])
        return "".join(letters)

    def _expire(self) -> None:
        now = self._now()
        for test in [t for t, until in self._tests.values() if until <= now]:
            self.close(test)
        self._wrong = {c: times for c, times in self._wrong.items() if times[-1] > now - GUESS_WINDOW_MS}
