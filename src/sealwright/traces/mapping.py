"""Which column of a file holds what, as the user says it."""

from __future__ import annotations

from typing import Literal

import msgspec

from sealwright.errors import BadInput

TimeUnit = Literal["s", "ms", "timestamp"]
Unit = Literal["count", "per-cm3"]


class Mapping(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Names of columns. Two channels at once: `mask` and `ambient`; one that alternates: `value`, with `air` if known.

    unit: particles counted in each sample, or particles per cm3. flow_cm3_min: air drawn through the counter.
    air: says with `mask_word` or `ambient_word` what is sampled; any other word: neither (purge). marks: the exercise
    under way. delimiter, decimal: guessed when None. zone: of timestamps that name none, such as Europe/London.
    """

    time: str
    mask: str | None = None
    ambient: str | None = None
    value: str | None = None
    air: str | None = None
    time_unit: TimeUnit = "s"
    unit: Unit | None = None
    flow_cm3_min: float | None = None
    delimiter: str | None = None
    decimal: Literal[".", ","] | None = None
    zone: str | None = None
    mask_word: str = "mask"
    ambient_word: str = "ambient"
    marks: str | None = None

    @property
    def two_channels(self) -> bool:
        return self.value is None

    @property
    def numbers(self) -> tuple[str, ...]:
        """Columns of numbers beside the time."""
        return tuple(c for c in (self.mask, self.ambient, self.value) if c is not None)

    @property
    def words(self) -> tuple[str, ...]:
        return tuple(c for c in (self.air, self.marks) if c is not None)

    def check(self) -> None:
        """BadInput when the mapping cannot be meant so."""
        if self.unit is None:
            raise BadInput("no unit is given for the values", place="mapping.unit",
                           mend='Say unit "count" (particles counted in each sample) or "per-cm3" (particles per cm3)')
        if self.unit not in ("count", "per-cm3"):
            raise BadInput(f"unknown unit {self.unit!r}", place="mapping.unit", mend='Say "count" or "per-cm3"')
        self._check_columns()
        self._check_signs()
        if self.flow_cm3_min is not None and not 0 < self.flow_cm3_min < 1e6:
            raise BadInput(f"a flow of {self.flow_cm3_min:g} cm3/min", place="mapping.flow_cm3_min",
                           mend="Give the air drawn through the counter in cm3/min, such as 100")

    def _check_columns(self) -> None:
        if self.value is not None and (self.mask is not None or self.ambient is not None):
            raise BadInput("both one alternating channel and a channel of its own are named", place="mapping.value",
                           mend="Name either value, or mask and ambient")
        if self.value is None and (self.mask is None or self.ambient is None):
            missing = "ambient" if self.mask is not None else "mask"
            raise BadInput(f"no column for {missing}", place=f"mapping.{missing}",
                           mend="Name the columns of mask and ambient, or that of value for one alternating channel")
        if self.air is not None and self.value is None:
            raise BadInput("which air is sampled is said of one alternating channel only", place="mapping.air",
                           mend="Leave air out, or name the channel as value")
        if self.air is not None and _plain(self.mask_word) == _plain(self.ambient_word):
            raise BadInput(f"mask and ambient are both written {self.mask_word!r}", place="mapping.mask_word",
                           mend="Give two different words")
        named = [self.time, *self.numbers, *self.words]
        if twice := next((c for c in named if named.count(c) > 1), None):
            raise BadInput(f"the column {twice!r} is named for two things", place="mapping",
                           mend="Name each column once")

    def _check_signs(self) -> None:
        if self.delimiter is not None and (len(self.delimiter) != 1 or self.delimiter in '"\r\n\0'
                                           or ord(self.delimiter) > 127):
            raise BadInput(f"{self.delimiter!r} cannot part columns", place="mapping.delimiter",
                           mend="Give one character, such as , or ;")
        if self.decimal not in (None, ".", ","):
            raise BadInput(f"{self.decimal!r} is no decimal mark", place="mapping.decimal", mend="Give . or ,")
        if self.zone is not None:
            zone_of(self.zone)


def _plain(word: str) -> str:
    return word.strip().casefold()


def zone_of(name: str) -> object:
    """The time zone; BadInput when there is none of that name."""
    from zoneinfo import ZoneInfo

    try:
        return ZoneInfo(name)
    except (OSError, ValueError, LookupError):
        raise BadInput(f"no time zone {name!r}", place="mapping.zone",
                       mend="Name it by place, such as Europe/London, or UTC") from None
