"""How unevenly the particles come: breathing and sampling in the mask, noise and drift of the room's air."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sealwright.assess.counting.shapes import Floats
from sealwright.assess.counting.sums import Ints, Sums

BLOCK_S = 6.0
"""Batch means in the mask: longer than a breath, so that blocks are nearly independent. Ours."""
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
        got: Floats = np.maximum(0.0, self.seen * over - self.chance)
        return got


def blocks(values: Floats, s: Sums, i: int, step_s: float, block_s: float) -> Floats:
    """Totals of the equal blocks of window i, in time; samples left over at the end are dropped."""
    inside = values[s.first[i]:s.until[i]]
    made = max(1, round(len(inside) * step_s / block_s))
    size = len(inside) // made
    got: Floats = inside[:made * size].reshape(made, size).sum(axis=1) if size else np.zeros(0)
    return got


def clumping(counts: Floats, s: Sums, step_s: float) -> Clumping:
    """From batch means. Each window weighs by how well it shows kappa; freedom by Satterthwaite."""
    made = [blocks(counts, s, i, step_s, BLOCK_S) for i in range(len(s.n))]
    made = [b for b in made if len(b) > 1 and b.sum() > 0]
    if not made:
        return Clumping(0.0, 0.0, 0.0)
    freedom = np.array([len(b) - 1.0 for b in made])
    mean = np.array([b.mean() for b in made])
    seen = np.array([b.var(ddof=1) for b in made]) / mean**2
    weight = freedom * mean
    for _ in range(2):
        kappa = max(0.0, float((weight * (seen - 1 / mean)).sum() / weight.sum()))
        weight = freedom * (mean / (1 + kappa * mean)) ** 2
    parts = weight * (1 / mean + kappa)
    share = weight.sum()
    return Clumping(float((weight * seen).sum() / share), float((weight / mean).sum() / share),
                    float(parts.sum() ** 2 / (parts**2 / freedom).sum()))


def room_noise(counts: Floats, s: Sums, step_s: float) -> tuple[Floats, float]:
    """Relative variance of each ambient window's mean, from differences of neighbouring blocks (drift cancels nearly),
    and its degrees of freedom. Never below that of counting alone."""
    made = [blocks(counts, s, i, step_s, ROOM_BLOCK_S) for i in range(len(s.n))]
    with np.errstate(divide="ignore"):
        chance = 1 / s.total
    steps = [np.diff(b) / b.mean() for b in made if len(b) > 1 and b.sum() > 0]
    if not steps:
        return chance, 0.0
    all_steps = np.concatenate(steps)
    block = float((all_steps**2).mean() / 2)
    return np.maximum(block / np.array([len(b) for b in made]), chance), 2 / 3 * len(all_steps)


def path_weights(plus: tuple[Floats, Floats, Floats], minus: tuple[Floats, Floats, Floats]) -> float:
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
    if len(s.n) < 2:
        return Spread(0.0, 0.0)
    step2 = np.diff(np.log(s.mean)) ** 2
    apart = np.diff((s.start + s.end) / 2) - ((s.end - s.start)[1:] + (s.end - s.start)[:-1]) / 6
    expected = noise[1:] + noise[:-1]
    seen = float((step2 / apart).mean())
    return Spread(max(0.0, seen - float((expected / apart).mean())), float(len(step2)))


def alone(i: Ints | int, start: Floats, end: Floats, weight: Floats | float) -> tuple[Floats, Floats, Floats]:
    """Spans of some windows with their weights, as `path_weights` takes them."""
    at = np.atleast_1d(i)
    return start[at], end[at], np.broadcast_to(np.asarray(weight, dtype=float), at.shape)
