"""The one shape in which trouble reaches people: what was found, where, and how to mend it."""

from __future__ import annotations


class SealwrightError(Exception):
    """An error a person can mend. `place` names file, row or field; `mend` says what would do; `status` is for HTTP."""

    code = "error"
    status = 400

    def __init__(self, found: str, *, place: str = "", mend: str = "", code: str | None = None) -> None:
        super().__init__(found)
        self.found, self.place, self.mend = found, place, mend
        if code:
            self.code = code

    def __str__(self) -> str:
        head = f"{self.place}: {self.found}" if self.place else self.found
        return f"{head}. {self.mend}" if self.mend else head

    def as_dict(self) -> dict[str, str]:
        """The body of an API error and of `--json` on the command line."""
        return {"error": self.code, "found": self.found, "place": self.place, "mend": self.mend}


class BadInput(SealwrightError):
    """Something handed in cannot be read or is not allowed by its format."""

    code, status = "bad-input", 422


class NotFound(SealwrightError):
    code, status = "not-found", 404


class Conflict(SealwrightError):
    """What was asked does not fit what is already on record; nothing was changed."""

    code, status = "conflict", 409


class TooLarge(SealwrightError):
    code, status = "too-large", 413
