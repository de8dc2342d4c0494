"""Windows of days: as sound as short ones, and in bounded memory."""

from __future__ import annotations

import tracemalloc

import numpy as np
import pytest

from sealwright.assess.counting import Stream, Trace, Window, measure
from sealwright.assess.counting.spread import _null


@pytest.mark.parametrize("n", [3, 4, 7, 50, 333])
def test_the_closed_form_is_that_of_the_matrices(n: int) -> None:
    """Against the quadratic form written out, as NumPy multiplies it."""
    form = np.eye(n) + np.eye(n, k=1) + np.eye(n, k=-1)
    centre = np.eye(n) - 1 / n
    form = centre @ form @ centre
    path = np.minimum.outer(np.arange(n), np.arange(n)) + 0.5 - np.eye(n) / 6
    white = np.trace(form)
    assert _null(n) == pytest.approx((white, white**2 / (form * form).sum(), (form * path).sum() / white), rel=1e-9)


def test_a_window_of_two_days_takes_no_more_than_its_samples() -> None:
    """40,000 blocks; a matrix of them would take 12 GiB."""
    n = 40_000
    t = 4.0 * np.arange(1, n + 1)
    trace = Trace(mask=Stream(t, np.full(n, 30.0)), ambient=Stream(t, np.full(n, 4000.0)), unit="count",
                  flow_cm3_s=1.0, step_s=4.0)
    windows = [Window(exercise="normal", air=air, start_s=0.0, end_s=4.0 * n) for air in ("mask", "ambient")]
    tracemalloc.start()
    made = measure(trace, windows, pass_level=100, pass_rule="overall")
    most = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert made.overall.factor == pytest.approx(4000 / 30) and most < 200e6
