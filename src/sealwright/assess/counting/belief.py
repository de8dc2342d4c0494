"""What is known of true factors after counting: for each row a distribution of 1 / factor, its quantiles and chances.

Counting: the mid-P gamma distribution for a weighted sum of Poisson counts (Fay & Feuer, Stat. Med. 1997, 16:791; Fay &
Kim, Biom. J. 2017, doi 10.1002/bimj.201600111): half of it takes the counts as they are, half as if one more had come
where it weighs most. Clumping widens it; the error of the ambient mean multiplies it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from sealwright.assess.counting.shapes import Floats
from sealwright.assess.counting.spread import Clumping, Spread

LOW, HIGH = 0.025, 0.975
_SMALL = 0.003
"""An ambient variance below this share of the counting's is added to no node."""
_ABSURD = 30.0
"""No room is off by more than exp of this; keeps broken data within what numbers can hold."""
_NARROW = 0.03
"""A counting variance below this share of the ambient's is taken as that large, lest single nodes show: 1.5 % wider."""


@dataclass(frozen=True, eq=False)
class Rows:
    """Leaks (1 / factor) to be judged, one a row: sum of weight * count over the exercises in it.

    leak: the estimate; chance: sum of weight^2 * count; clump: sum of (weight * count)^2 / blocks; heaviest: the
    largest weight; noise: relative variance of the ambient mean from noise; path: that for a drift of rate 1.
    """

    leak: Floats
    chance: Floats
    clump: Floats
    heaviest: Floats
    noise: Floats
    path: Floats


class Belief:
    """Rows with the spread that holds for all of them."""

    def __init__(self, rows: Rows, clumping: Clumping, drift: Spread) -> None:
        self.rows = rows
        over, self._kappa_weight = _nodes(clumping.freedom)
        self._kappa = clumping.kappa(over)
        if not self._kappa.any():
            self._kappa, self._kappa_weight = np.zeros(1), np.ones(1)
        self._shift, self._shift_weight = self._ambient(drift)
        self._low, self._high = self._gammas()

    def _ambient(self, drift: Spread) -> tuple[Floats, Floats]:
        """Errors of the log ambient mean and their weights, (rows, nodes): normal, its drift part of unsure rate."""
        r = self.rows
        over, weight = _nodes(drift.freedom)
        variance = r.noise[:, None] + drift.value * over * r.path[:, None]
        typical = variance @ weight
        relative = r.chance / np.maximum(r.leak, r.heaviest) ** 2
        if np.all(typical <= _SMALL * relative):
            return np.zeros((len(r.leak), 1)), np.ones((len(r.leak), 1))
        sd = np.sqrt(np.maximum(variance, 1e-16))
        reach = np.linspace(-1, 1, 37) * (4.5 if drift.freedom < 3 else 3.4)
        shift = np.sqrt(np.median(variance, axis=1) + 1e-16)[:, None] * np.sinh(reach) / 2
        density = (np.exp(-0.5 * (shift[:, :, None] / sd[:, None, :]) ** 2) / sd[:, None, :]) @ weight
        density *= np.cosh(reach)
        return np.clip(shift, -_ABSURD, _ABSURD), density / density.sum(axis=1, keepdims=True)

    def _gammas(self) -> tuple[tuple[Floats, Floats], tuple[Floats, Floats]]:
        """Shape and scale of either half, (rows, kappas); a leak of nothing has shape 0: all at nothing."""
        r = self.rows
        ambient = np.einsum("rn,rn->r", self._shift**2, self._shift_weight)
        variance = r.chance[:, None] + self._kappa * r.clump[:, None]
        variance = np.maximum(variance, _NARROW * (ambient * r.leak**2)[:, None])
        with np.errstate(invalid="ignore", divide="ignore"):
            clumped = np.where(r.chance[:, None] > 0, variance / r.chance[:, None], 1.0)
            low = np.where(variance > 0, r.leak[:, None] ** 2 / variance, 0.0), variance / r.leak[:, None]
        more, wide = r.leak + r.heaviest, variance + clumped * r.heaviest[:, None] ** 2
        return low, (more[:, None] ** 2 / wide, wide / more[:, None])

    def below(self, leak: Floats) -> Floats:
        """Probability that the true leak of each row is below `leak` (rows, or rows x any)."""
        return within(self._by_kappa(leak) @ self._kappa_weight)

    def _by_kappa(self, leak: Floats) -> Floats:
        from scipy.special import gammainc

        at = leak.reshape(len(self.rows.leak), -1)[:, :, None, None] * np.exp(self._shift)[:, None, None, :]
        (a, b), (c, d) = ((s[:, None, :, None], z[:, None, :, None]) for s, z in (self._low, self._high))
        with np.errstate(invalid="ignore"):
            lower = np.where(a > 0, gammainc(a, at / b), 1.0)
        both = (lower + gammainc(c, at / d)) / 2
        got: Floats = np.einsum("rxkn,rn->rxk", both, self._shift_weight)
        return got.reshape(*leak.shape, -1)

    def all_below(self, leak: float, which: Floats) -> float:
        """Probability that every row of `which` (booleans) is below. Clumping is shared; the errors of neighbouring
        exercises' ambient means are taken as independent."""
        each = self._by_kappa(np.full(len(self.rows.leak), leak))[which.astype(bool)]
        return float(within(np.prod(each, axis=0) @ self._kappa_weight))

    def ends(self) -> Floats:
        """The 95 % interval of each row's leak, (rows, 2); the lower end is 0 where nothing was counted."""
        from scipy.special import ndtri

        r = self.rows
        want = np.array([ndtri(LOW), ndtri(HIGH)])
        sd = np.repeat(np.sqrt(self._spread())[:, None], 2, axis=1)
        begin = np.log(r.leak + r.heaviest / 2)[:, None] + sd * want
        idle = (r.leak == 0)[:, None] & (want < 0)
        got: Floats = np.where(idle, 0.0, np.exp(_roots(lambda at: np.where(idle, 0.0, self._z(at) - want), begin, sd)))
        return got

    def _z(self, log_leak: Floats) -> Floats:
        from scipy.special import ndtri

        got: Floats = np.clip(ndtri(self.below(np.exp(log_leak))), -37, 8)
        return got

    def _spread(self) -> Floats:
        """Rough relative variance, to begin with."""
        r = self.rows
        kappa = float(self._kappa @ self._kappa_weight)
        counted = (r.chance + kappa * r.clump + r.heaviest**2) / (r.leak + r.heaviest) ** 2
        got: Floats = np.minimum(counted + np.einsum("rn,rn->r", self._shift**2, self._shift_weight), 9.0)
        return got


def _roots(f: Callable[[Floats], Floats], at: Floats, slope: Floats) -> Floats:
    """Where the rising f is 0, for each element: secant steps, bounded and kept within what has been bracketed."""
    low, high, z = np.full(at.shape, -np.inf), np.full(at.shape, np.inf), f(at)
    for _ in range(60):
        low, high = np.where(z < 0, at, low), np.where(z < 0, high, at)
        after = at + np.clip(-slope * z, -2.0, 2.0)
        out = ((after <= low) | (after >= high)) & np.isfinite(low + high) & (z != 0)
        after = np.where(out, (low + high) / 2, after)
        fresh = f(after)
        if np.abs(fresh).max() < 1e-7:
            return after
        with np.errstate(invalid="ignore", divide="ignore"):
            secant = (after - at) / (fresh - z)
        slope = np.where(np.isfinite(secant) & (secant > 0), secant, slope)
        at, z = after, fresh
    return at


def within(p: Floats) -> Floats:
    """Probabilities without what rounding added."""
    got: Floats = np.clip(p, 0.0, 1.0)
    return got


def _nodes(freedom: float, n: int = 8) -> tuple[Floats, Floats]:
    """By how much an observed variance may be too small: freedom / chi2, at Gauss-Legendre nodes of the cube root of
    its probability, which are dense where the variance may be much too small."""
    from scipy.special import chdtri

    if freedom <= 0:
        return np.ones(1), np.ones(1)
    x, w = np.polynomial.legendre.leggauss(n)
    s = (1 + x) / 2
    return freedom / chdtri(freedom, 1 - s**3), 3 * s**2 * w / 2
