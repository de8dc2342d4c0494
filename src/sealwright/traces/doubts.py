"""What is odd about a trace as a whole: swapped columns, gaps, counts that are none."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

import numpy as np

from sealwright.assess.measured import Doubt
from sealwright.errors import BadInput
from sealwright.traces.mapping import Mapping

if TYPE_CHECKING:
    from sealwright.traces.cells import Floats
    from sealwright.traces.files import TraceFile

SWAPPED = 0.95
"""Share of samples with more in the mask than outside, from which the columns are taken to be swapped. Ours."""
LONG_GAP = 3.0
"""Steps without a sample or value from which it is told. Ours."""


def doubts_about(read: TraceFile, mapping: Mapping, path: str) -> tuple[Doubt, ...]:
    """Doubts worth telling; BadInput where the trace cannot be meant so."""
    for name, values in ((mapping.mask, read.mask), (mapping.ambient, read.ambient), (mapping.value, read.value)):
        if values is not None and np.isnan(values).all():
            raise BadInput("not one value in the whole column", place=f"{path}: column {name!r}",
                           mend="Name another column")
    return (*_swapped(read, mapping, path), *_unnamed(read, mapping, path), *_gaps(read), *_fractions(read, mapping))


def _swapped(read: TraceFile, mapping: Mapping, path: str) -> Iterator[Doubt]:
    if read.mask is None or read.ambient is None:
        return
    with np.errstate(invalid="ignore"):
        both = ~(np.isnan(read.mask) | np.isnan(read.ambient))
        more = float(np.mean(read.mask[both] > read.ambient[both])) if both.any() else 0.0
    if more >= SWAPPED:
        raise BadInput(f"more particles in the mask than outside in {more:.0%} of the samples",
                       place=f"{path}: columns {mapping.mask!r} and {mapping.ambient!r}",
                       mend="Mask and ambient are likely swapped: name them the other way round")
    if more > 0.5:
        yield Doubt(code="mask-above-ambient", text=f"More particles in the mask than outside in {more:.0%} of the "
                    "samples: are the columns swapped?")


def _unnamed(read: TraceFile, mapping: Mapping, path: str) -> Iterator[Doubt]:
    if read.air is None:
        return
    for code, word in ((1, mapping.mask_word), (0, mapping.ambient_word)):
        if not (read.air == code).any():
            raise BadInput(f"the word {word!r} does not occur", place=f"{path}: column {mapping.air!r}",
                           mend="Say which words stand for mask and ambient air (mask_word, ambient_word)")
    if read.value is not None:
        inside, outside = (float(np.nanmedian(v)) if not np.isnan(v).all() else np.nan
                           for v in (read.value[read.air == 1], read.value[read.air == 0]))
        if inside > outside:
            yield Doubt(code="mask-above-ambient", text=f"More particles in the mask ({inside:g}) than outside "
                        f"({outside:g}): are the words swapped?")


def _gaps(read: TraceFile) -> Iterator[Doubt]:
    """The longest stretch without a sample, and the longest without a value."""
    step = read.step_s
    i = int(np.diff(read.t).argmax())
    if read.t[i + 1] - read.t[i] > LONG_GAP * step:
        yield Doubt(code="gap", text=f"No sample for {read.t[i + 1] - read.t[i]:g} s after {read.t[i]:g} s",
                    start_s=float(read.t[i]), end_s=float(read.t[i + 1]))
    for name in ("mask", "ambient", "value"):
        values: Floats | None = getattr(read, name)
        if values is not None and np.isnan(values).any():
            start, until = _longest(np.isnan(values))
            if until - start > LONG_GAP:
                yield Doubt(code="no-values", text=f"No {name} value for {until - start} samples from "
                            f"{read.t[start]:g} s on", start_s=float(read.t[start]), end_s=float(read.t[until - 1]))


def _longest(missing: np.ndarray[tuple[int], np.dtype[np.bool_]]) -> tuple[int, int]:
    """First and after-last index of the longest run of True."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], missing.view(np.int8), [0]])))
    starts, ends = edges[::2], edges[1::2]
    i = int((ends - starts).argmax())
    return int(starts[i]), int(ends[i])


def _fractions(read: TraceFile, mapping: Mapping) -> Iterator[Doubt]:
    if read.unit != "count":
        return
    for name, values in ((mapping.mask, read.mask), (mapping.ambient, read.ambient), (mapping.value, read.value)):
        if values is not None and bool((np.nan_to_num(values) % 1 != 0).any()):
            yield Doubt(code="counts-with-fractions", text=f"The column {name!r} is said to hold counts, yet has "
                        "fractions: is it a concentration?")
