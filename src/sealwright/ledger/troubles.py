"""What can go wrong with the store itself, beyond what is handed in."""

from __future__ import annotations

from sealwright.errors import SealwrightError


class Unavailable(SealwrightError):
    """The store could not answer now: locked for too long, disk full, file gone. Nothing was half-written."""

    code, status = "unavailable", 503


class Damaged(SealwrightError):
    """What lies in the store cannot be read as it was written."""

    code, status = "damaged", 500
