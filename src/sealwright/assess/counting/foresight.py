"""After each exercise: is the outcome already certain, and what must the rest be?"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Literal

import msgspec

from sealwright.assess.measured import PassRule
from sealwright.errors import BadInput

ROUNDING = 1e-12
"""Sums that differ by this share are equal: seven exercises of exactly the level reach it."""


class Outlook(msgspec.Struct, frozen=True, kw_only=True):
    """`certain`: what no further exercise can change. `needed`: the harmonic mean (rule "overall") or the least value
    (rule "each") that the exercises still to come must reach; None when nothing is open."""

    certain: Literal["fail", "pass", ""]
    needed: float | None = None
    text: str


def outlook(factors_so_far: Sequence[float], remaining: int, *, pass_level: int, pass_rule: PassRule) -> Outlook:
    """Of the exercises that count only. A factor may be infinite (nothing counted), never zero.

    Overall rule, 29 CFR 1910.134 App. A I.C.2(b)(8) (from memory): n / sum(1/FF) against the level. A fit factor is at
    least 1, since a mask brings no particles in that the room has not.
    """
    if remaining < 0 or not all(f > 0 for f in factors_so_far):
        raise BadInput(f"Fit factors {list(factors_so_far)} with {remaining} to come", place="factors",
                       mend="Give factors above zero and the number of exercises still to come")
    if pass_rule == "each":
        return _each(factors_so_far, remaining, pass_level)
    return _overall(factors_so_far, remaining, pass_level)


def _each(factors: Sequence[float], remaining: int, level: int) -> Outlook:
    if any(f < level for f in factors):
        n = sum(f < level for f in factors)
        return Outlook(certain="fail",
                       text=f"Fails for certain: {_exercises(n)} below {level}, and each must reach it.")
    if not remaining:
        return Outlook(certain="pass", text=f"Passes: every exercise reached {level}.")
    return Outlook(certain="", needed=float(level),
                   text=f"Open: {'each of ' * (remaining > 1)}the {_exercises(remaining)} to come must reach {level}.")


def _overall(factors: Sequence[float], remaining: int, level: int) -> Outlook:
    n = len(factors) + remaining
    allowed, used = n / level * (1 + ROUNDING), math.fsum(1 / f for f in factors)
    if used > allowed:
        return Outlook(certain="fail", text=_lost(remaining, level))
    if used + remaining <= allowed:
        return Outlook(certain="pass", text=f"Passes: nothing to come can bring the overall factor below {level}."
                       if remaining else f"Passes: the overall factor reached {level}.")
    left = n / level - used
    if left <= n / level * ROUNDING:
        return Outlook(certain="", text="Open, but no more may leak in the exercises to come.")
    needed = remaining / left
    return Outlook(certain="", needed=needed, text=f"Open: the {_exercises(remaining)} to come must average "
                   f"{math.ceil(needed - 1e-9)} or more (harmonic mean) for an overall factor of {level}.")


def _lost(remaining: int, level: int) -> str:
    if not remaining:
        return f"Fails: the overall factor stayed below {level}."
    return (f"Fails for certain: even if nothing leaked in the {_exercises(remaining)} to come, the overall factor "
            f"would stay below {level}.")


def _exercises(n: int) -> str:
    return f"{n} exercise" if n == 1 else f"{n} exercises"
