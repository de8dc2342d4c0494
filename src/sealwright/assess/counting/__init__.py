"""Particle counts to fit factors, each with how sure it is. Pure; needs NumPy, so import it inside functions."""

from sealwright.assess.counting.foresight import Outlook, outlook
from sealwright.assess.counting.quality import LEAST_AMBIENT, Limits, quality
from sealwright.assess.counting.results import from_readings, measure
from sealwright.assess.counting.shapes import Reading, Stream, Trace, Window
from sealwright.assess.counting.sums import factors

__all__ = ["LEAST_AMBIENT", "Limits", "Outlook", "Reading", "Stream", "Trace", "Window", "factors", "from_readings",
           "measure", "outlook", "quality"]
