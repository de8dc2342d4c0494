"""How unevenly the particles come: breathing and sampling in the mask, noise and drift of the room's air."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np

from sealwright.assess.counting.shapes import Floats
from sealwright.assess.counting.sums import Sums

BLOCK_S = 4.0
"""Blocks in the mask: with the correlation of neighbours they reach over a breath. Ours."""
_HINT = 0.4
"""Clumping is taken in once it stands out of chance by this many standard errors: since it is never below zero, taking
it in always makes the intervals of plainly random counts too wide. Ours, from simulations."""
ROOM_BLOCK_S = 2.0
"""Batch means outside, where nobody breathes. Ours."""


@dataclass(frozen=True)
class Spread:
    """A variance with its degrees of freedom; 0: it could not be had from the data."""

    value: float
    freedom: float


@dataclass(frozen=True)
class Clumping:
    """Variance of a block's count beyond chance: m + kappa m^2 at mean m, pooled over all mask windows.

    `seen` = kappa + `chance` is what was observed, as a share of the mean squared; `chance` what counting alone makes.
    """

    seen: float
    chance: float
    freedom: float

    def kappa(self, over: Floats) -> Floats:
        """kappa if the observed variance were `over` times too small (or large); never below zero."""
        if self.seen <= self.chance * (1 + _HINT * np.sqrt(2 / max(self.freedom, 1.0))):
            return np.zeros_like(over)
        got: Floats = np.maximum(0.0, self.seen * over - self.chance)
        return got


def blocks(values: Floats, s: Sums, i: int, step_s: float, block_s: float) -> Floats:
    """Totals of the equal blocks of window i, in time; samples left over at the end are dropped."""
    inside = values[s.first[i]:s.until[i]]
    made = max(1, round(len(inside) * step_s / block_s))
    size = len(inside) // made
    got: Floats = inside[:made * size].reshape(made, size).sum(axis=1) if size else np.zeros(0)
    return got


def clumping(counts: Floats, s: Sums, step_s: float, drift: float) -> Clumping:
    """From blocks and how alike neighbours are, so that unevenness longer than a block is not missed.

    What a room drifting at the rate `drift` (per s) makes is taken out: it is in the ambient mean's error already. Each
    window weighs by how well it shows kappa; freedom by Satterthwaite.
    """
    made = [blocks(counts, s, i, step_s, BLOCK_S) for i in range(len(s.n))]
    made = [b for b in made if len(b) > 2 and b.sum() > 0]
    if not made:
        return Clumping(0.0, 0.0, 0.0)
    scale, freedom, wander = np.array([_null(len(b)) for b in made]).T
    mean = np.array([b.mean() for b in made])
    seen = np.array([_long_run(b) for b in made]) / scale / mean**2 - wander * drift * BLOCK_S
    weight = freedom * mean
    for _ in range(2):
        kappa = max(0.0, float((weight * (seen - 1 / mean)).sum() / weight.sum()))
        weight = freedom * (mean / (1 + kappa * mean)) ** 2
    parts = weight * (1 / mean + kappa)
    share = weight.sum()
    return Clumping(float((weight * seen).sum() / share), float((weight / mean).sum() / share),
                    float(parts.sum() ** 2 / (parts**2 / freedom).sum()))


def _long_run(b: Floats) -> float:
    """Squares of the deviations and twice the products of neighbours: variance with its correlation of lag one."""
    d = b - b.mean()
    return float(d @ d + 2 * d[1:] @ d[:-1])


@cache
def _null(n: int) -> tuple[float, float, float]:
    """What `_long_run` is on average for n independent blocks of variance 1, and its degrees of freedom; then, as a
    share of the first, what it is for the block means of a Brownian path of rate 1 per block. n: 3 or more.

    In closed form, from the row sums of the matrices: those themselves would not fit for a record of days."""
    at = np.arange(n, dtype=float)
    near = np.full(n, 3.0)  # row sums of the form of ones on and beside the diagonal, before its means are taken off
    near[[0, -1]] -= 1
    total = near.sum()
    white = n - total / n
    squares = 3 * n - 2 - 2 * near @ near / n + (total / n) ** 2
    means = (at * (at + 1) / 2 + at * (n - 1 - at) + n / 2 - 1 / 6) / n  # of the path's min(i, j) + 1/2 - (i == j) / 6
    path = at.sum() + n / 3 + 2 * at[:-1].sum() + n - 1 - 2 * near @ means + means.mean() * total
    return float(white), float(white**2 / squares), float(path / white)


def room_noise(counts: Floats, s: Sums, step_s: float) -> tuple[Floats, float]:
    """Relative variance of each ambient window's mean, from differences of neighbouring blocks (drift cancels nearly),
    and its degrees of freedom. Never below that of counting alone."""
    made = [blocks(counts, s, i, step_s, ROOM_BLOCK_S) for i in range(len(s.n))]
    chance = 1 / np.maximum(s.total, 1.0)
    steps = [np.diff(b) / b.mean() for b in made if len(b) > 1 and b.sum() > 0]
    if not steps:
        return chance, 0.0
    all_steps = np.concatenate(steps)
    block = float((all_steps**2).mean() / 2)
    return np.maximum(block / np.array([len(b) for b in made]), chance), 2 / 3 * len(all_steps)


def path_variance(plus: tuple[Floats, Floats, Floats], minus: tuple[Floats, Floats, Floats]) -> float:
    """Variance, per unit of a Brownian path's rate, of (weighted means over some spans) - (over others).

    plus, minus: starts, ends, weights; the weights of each add up to the same. With G the running integral of the
    weight density, the variance is the integral of G^2. Two ends against the middle between them: duration / 12.
    """
    start, end = (np.concatenate([plus[k], minus[k]]) for k in (0, 1))
    density = np.concatenate([plus[2], -minus[2]]) / (end - start)
    knots = np.unique(np.concatenate([start, end]))
    width = np.diff(knots)
    middle = knots[:-1] + width / 2
    rate = density @ ((start[:, None] <= middle) & (middle <= end[:, None]))
    g = np.concatenate([[0.0], np.cumsum(rate * width)])
    return float((width * (g[1:] ** 2 + g[1:] * g[:-1] + g[:-1] ** 2)).sum() / 3)


def drift(s: Sums, noise: Floats) -> Spread:
    """Rate of the room's air as a Brownian path of its logarithm, per s, from neighbouring windows' means."""
    lit = np.flatnonzero(s.total > 0)
    s, noise = s.kept(lit), noise[lit]
    follows = s.start[1:] >= s.end[:-1]
    if not follows.any():
        return Spread(0.0, 0.0)
    step2 = np.diff(np.log(s.mean)) ** 2
    apart = np.diff((s.start + s.end) / 2) - ((s.end - s.start)[1:] + (s.end - s.start)[:-1]) / 6
    expected = noise[1:] + noise[:-1]
    rate = ((step2 - expected) / np.where(follows, apart, 1.0))[follows]
    return Spread(max(0.0, float(rate.mean())), float(len(rate)))
