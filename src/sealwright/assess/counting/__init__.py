"""Particle counts to fit factors, each with how sure it is. Pure; needs NumPy, so import it inside functions."""

from sealwright.assess.counting.shapes import Reading, Stream, Trace, Window
from sealwright.assess.counting.sums import factors

__all__ = ["Reading", "Stream", "Trace", "Window", "factors"]
