"""What is counted: streams of samples, the windows that matter in them, and values typed in by hand."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import msgspec
import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


class Window(msgspec.Struct, frozen=True, kw_only=True):
    """A stretch of a trace that counts, s. The air of an ambient window is that before or after the mask windows.

    `exercise`: which one was done; of an ambient window "" or the exercise it stands beside.
    `counts` False: left out of the overall factor (grimace).
    """

    exercise: str
    air: Literal["mask", "ambient"]
    start_s: float
    end_s: float
    counts: bool = True
    title: str = ""


@dataclass(frozen=True, eq=False)
class Stream:
    """Samples of one air. `t`: when each sample ended, s, rising; `values`: see `Trace.unit`; NaN: none was had."""

    t: Floats
    values: Floats


@dataclass(frozen=True, eq=False, kw_only=True)
class Trace:
    """Samples in the mask and outside. One counter that switches between them: both are the same Stream.

    unit: particles counted in a sample of `step_s` seconds, or particles per cm3.
    `flow_cm3_s`: air drawn through the counter; None: not known.
    """

    mask: Stream
    ambient: Stream
    unit: Literal["count", "per-cm3"]
    flow_cm3_s: float | None
    step_s: float

    @property
    def per_value(self) -> float | None:
        """Particles counted for a value of 1; None when that cannot be known."""
        if self.unit == "count":
            return 1.0
        return None if self.flow_cm3_s is None else self.flow_cm3_s * self.step_s

    @property
    def concentration(self) -> float | None:
        """Particles per cm3 for a mean value of 1; None when that cannot be known."""
        if self.unit == "per-cm3":
            return 1.0
        return None if self.flow_cm3_s is None else 1.0 / (self.flow_cm3_s * self.step_s)


class Reading(msgspec.Struct, frozen=True, kw_only=True):
    """What was read off an instrument for one exercise: particles counted in so many seconds, or particles per cm3, or
    a bare factor. The first of these three that is there is used."""

    exercise: str
    counts: bool = True
    title: str = ""
    ambient: float | None = None
    mask: float | None = None
    mask_count: int | None = None
    mask_s: float | None = None
    ambient_count: int | None = None
    ambient_s: float | None = None
    factor: float | None = None
