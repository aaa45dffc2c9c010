"""A language invented for a few sentences, to hold which texts pass through the catalogue."""

import gettext
from collections.abc import Mapping
from functools import cache

from babel.messages.catalog import Catalog
from scripts.catalogue import gathered

from quailwright.language import Spoken


class _Invented(gettext.NullTranslations):
    """A catalogue of a few sentences; of two forms it knows each by its own English."""

    def __init__(self, texts: Mapping[str, str]) -> None:
        super().__init__()
        self._texts = texts

    def gettext(self, message: str) -> str:
        return self._texts.get(message, message)

    def ngettext(self, msgid1: str, msgid2: str, n: int) -> str:
        text = msgid1 if n == 1 else msgid2
        return self._texts.get(text, text)


def invented(texts: Mapping[str, str], tag: str = "xx") -> Spoken:
    """The language of these texts, with a decimal comma; dates in words are those of `tag`."""
    return Spoken(tag, _Invented(texts), decimal=",", thousands=".")


@cache
def gathered_once() -> Catalog:
    """Every text of the sources: reading them takes a second or two. Not to be changed."""
    return gathered()
