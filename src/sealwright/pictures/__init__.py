"""Drawings of our own as SVG text: a score, on paper or as performed, and the moving figures of the exercises.

Pure: values in, text out; the same values give the same bytes. Colours are CSS variables with literal fallbacks.
"""

from sealwright.pictures.pen import literal
from sealwright.pictures.performed import Performed, performed_from
from sealwright.pictures.score import score_svg, strip_svg

__all__ = ["Performed", "literal", "performed_from", "score_svg", "strip_svg"]
