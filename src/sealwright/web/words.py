"""Words in the wearer's language, out of the .po catalogues under `sealwright/locale`.

The catalogues are read as they stand; nothing is compiled to disk.
"""

from __future__ import annotations

from functools import cache
from gettext import GNUTranslations, NullTranslations
from importlib import resources
from importlib.resources.abc import Traversable
from io import BytesIO

from babel import Locale
from babel.core import negotiate_locale
from babel.messages.mofile import write_mo
from babel.messages.pofile import read_po

SOURCE = "en"
DOMAIN = "wearer"


def mark(message: str) -> str:
    """Names a message for extraction where it is only kept, not yet said."""
    return message


class Words:
    """Says things in one language: `words("Hello")`, `words.count("%(n)d day", "%(n)d days", 3)`."""

    def __init__(self, language: str, catalogue: NullTranslations) -> None:
        self.language, self._catalogue = language, catalogue
        self.direction = Locale.parse(language, sep="-").text_direction

    def __call__(self, message: str, **values: object) -> str:
        said = self._catalogue.gettext(message)
        return said % values if values else said

    def count(self, one: str, many: str, n: int, **values: object) -> str:
        """The plural form for `n`, which is also the value `n`."""
        return self._catalogue.ngettext(one, many, n) % {"n": n, **values}


def _folder() -> Traversable:
    return resources.files("sealwright").joinpath("locale")


def catalogue_of(language: str) -> Traversable:
    """The .po file of a language."""
    return _folder() / language / "LC_MESSAGES" / f"{DOMAIN}.po"


@cache
def available_languages() -> dict[str, str]:
    """Language tag -> its own name for itself, the source language first."""
    found = sorted(d.name for d in _folder().iterdir() if d.is_dir() and not d.name.startswith("_"))
    tags = [SOURCE, *(t for t in found if t != SOURCE)]
    return {t: (Locale.parse(t, sep="-").get_display_name() or t).capitalize() for t in tags}


def closest(wanted: str) -> str:
    """The language there is that comes closest to a BCP 47 tag ("pl-PL" -> "pl"); the source language if none does."""
    tags = [wanted.replace("_", "-"), wanted.replace("_", "-").split("-")[0]]
    return negotiate_locale(tags, list(available_languages()), sep="-") or SOURCE


@cache
def _words(language: str) -> Words:
    if language == SOURCE:
        return Words(language, NullTranslations())
    compiled = BytesIO()
    with catalogue_of(language).open("rb") as file:
        write_mo(compiled, read_po(file, locale=language.replace("-", "_")))
    compiled.seek(0)
    return Words(language, GNUTranslations(compiled))


def words(language: str) -> Words:
    """The words of the closest language there is."""
    return _words(closest(language))
