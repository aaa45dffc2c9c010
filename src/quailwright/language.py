"""Sentences in the reader's language: every text that a person reads passes through here.

The source is English. A sentence is written where it is needed, with its parts in braces:
`say("{eggs} eggs of {whose}", eggs=12, whose=name)`. The catalogues in `languages/` hold it in
other languages; docs/translation.md tells how they are made. The language is a matter of the
reader and not of the flock, so it is held for the running task and never written down.
"""

import gettext
import os
import re
import string
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from datetime import date
from functools import cache
from numbers import Real
from pathlib import Path
from typing import Final

DOMAIN: Final = "quailwright"
CATALOGUES: Final = Path(__file__).parent / "languages"
ENGLISH: Final = "en"

LANGUAGES: Final[Mapping[str, str]] = {"en": "English", "pt": "Português (Brasil)"}
"""The languages there are, each by its own name; the tags are of BCP 47 and Unicode CLDR."""


class _Stopped(str):
    """A text that ends with the point of a shortened month: a sentence needs no second one."""


@dataclass(frozen=True, slots=True)
class Spoken:
    """A language as it is spoken: its tag, its catalogue, and how it writes a decimal."""

    tag: str
    catalogue: gettext.NullTranslations
    decimal: str = "."
    thousands: str = ","


_english = Spoken(ENGLISH, gettext.NullTranslations())
_spoken: ContextVar[Spoken] = ContextVar("language", default=_english)


@cache
def _spoken_as(tag: str) -> Spoken:
    if tag == ENGLISH:
        return _english
    from babel.numbers import get_decimal_symbol, get_group_symbol

    catalogue = gettext.translation(DOMAIN, CATALOGUES, languages=[tag])
    return Spoken(tag, catalogue, get_decimal_symbol(tag), get_group_symbol(tag))


@contextmanager
def speaking(language: str | Spoken) -> Iterator[None]:
    """Everything said inside is said in this language, a key of `LANGUAGES`. Raises KeyError."""
    if isinstance(language, str):
        if language not in LANGUAGES:
            raise KeyError(language)
        language = _spoken_as(language)
    before = _spoken.set(language)
    try:
        yield
    finally:
        _spoken.reset(before)


class TwoReadings(ValueError):
    """A number as typed that is one in this language and another elsewhere: `1.250`, `1,250`."""


_DECIMAL_COMMA = re.compile(r"-?\d+,\d{1,2}\Z")
_THOUSANDS = re.compile(r"-?\d{1,3}([.,])\d{3}(\1\d{3})*\Z")


def with_point(text: str) -> str:
    """A number as people type it, with a decimal point: `0,5` is a half in every language.

    `1,250`, and `1.250` where thousands are grouped by points, may be either: raises TwoReadings.
    What is no number comes back as it is.
    """
    if _DECIMAL_COMMA.match(text):
        return text.replace(",", ".")
    grouped = _THOUSANDS.match(text)
    if grouped and (grouped[1] == "," or _spoken.get().thousands == "."):
        raise TwoReadings(text)
    return text


def says_commas() -> bool:
    """Whether the language spoken now writes decimals with a comma."""
    return _spoken.get().decimal == ","


def spoken() -> str:
    """The tag of the language that is spoken now."""
    return _spoken.get().tag


def best_of(wanted: Sequence[str]) -> str:
    """The first of these tags (`pt-BR`, `pt_BR.UTF-8`) that is a language here; else English."""
    for tag in wanted:
        known = tag.split(".")[0].replace("_", "-").split("-")[0].lower()
        if known in LANGUAGES:
            return known
    return ENGLISH


def of_terminal(environment: Mapping[str, str] = os.environ) -> str:
    """The language that the terminal asks for, by the rules of GNU gettext."""
    for name in ("LANGUAGE", "LC_ALL", "LC_MESSAGES", "LANG"):
        if environment.get(name):
            return best_of(environment[name].split(":"))
    return ENGLISH


class Said(str):
    """A sentence that is kept, in English, and said in the reader's language when it is read.

    For what outlives its reader: a finding of a fold that several people share. It is a plain
    string everywhere else. `say(it)` says it.
    """

    text: str
    more: str | None
    number: float
    values: Mapping[str, object]

    def here(self) -> str:
        """The sentence in the language spoken now."""
        if self.more is None:
            return say(self.text, **self.values)
        return say_many(self.text, self.more, self.number, **self.values)


def later(text: str, /, **values: object) -> Said:
    """`text` to be kept: English now, the reader's language when `say` is asked for it."""
    return _kept(text, None, 1, values)


def later_many(one: str, many: str, number: float, /, **values: object) -> Said:
    """As `later`, of a number of things: `number` is also to be had as {n}."""
    return _kept(one, many, number, values)


def _kept(one: str, many: str | None, number: float, values: Mapping[str, object]) -> Said:
    text = one if many is None or number == 1 else many
    shown = values if many is None else {"n": number, **values}
    with speaking(_english):  # Parts may be said as they are read.
        kept = Said(text.format(**shown) if shown else text)
    kept.text, kept.more, kept.number, kept.values = one, many, number, values
    return kept


def said_plainly(value: object) -> str:
    """A kept sentence as a plain string, said: what msgspec, which takes no other, asks of a hook.

    Raises NotImplementedError for anything else.
    """
    if isinstance(value, Said):
        return say(value)
    raise NotImplementedError


def mark(text: str) -> str:
    """Puts a text into the catalogues, unchanged: it is said later, by `say(text)`."""
    return text


def say(text: str, /, **values: object) -> str:
    """`text` in the language spoken now, its {parts} filled in as by `str.format`.

    Numbers among the parts are written as that language writes them. A text that no catalogue
    knows, such as a keeper's own words, comes back as it is; without parts, braces stay.
    """
    now = _spoken.get()
    if isinstance(text, Said):
        return str(text) if now is _english else text.here()
    # The empty text is a catalogue's own heading.
    told = now.catalogue.gettext(text) if text else text
    return _filled(now, told, values) if values else told


def say_many(one: str, many: str, number: float, /, **values: object) -> str:
    """As `say`, of a number of things: `number` chooses the form and is also to be had as {n}."""
    now = _spoken.get()
    # A language's plural forms are for whole numbers; 1.5 kg are many.
    whole = int(number) if number == int(number) else 2
    return _filled(now, now.catalogue.ngettext(one, many, whole), {"n": number, **values})


def _filled(now: Spoken, text: str, values: Mapping[str, object]) -> str:
    if now is _english:
        return text.format(**values)
    ends = False
    for name, value in values.items():
        if isinstance(value, _Stopped):
            text = re.sub(rf"\{{{name}\}}\.(?!\.)", f"{{{name}}}", text)
            ends = ends or text.endswith(f"{{{name}}}")
    filled = _Local(now).vformat(text, (), values)
    return _Stopped(filled) if ends else filled


def figure(number: float, spec: str = "") -> str:
    """A number by itself, as `format` writes it, with the decimal sign of the language."""
    now = _spoken.get()
    return format(number, spec) if now is _english else _Local(now).format_field(number, spec)


class _Local(string.Formatter):
    """`str.format` that writes numbers as the language does."""

    def __init__(self, now: Spoken) -> None:
        self._signs = str.maketrans({".": now.decimal, ",": now.thousands})

    def format_field(self, value: object, format_spec: str) -> str:
        shown = format(say(value) if isinstance(value, Said) else value, format_spec)
        return shown.translate(self._signs) if isinstance(value, Real) else shown


def dated(day: date, english: str, skeleton: str) -> str:
    """A date or moment in words: as given in English, else by CLDR's pattern for the skeleton.

    Skeletons are those of Unicode Technical Standard 35, such as `MMMEd` for `Sun 2 May`.
    """
    now = _spoken.get()
    if now.tag == ENGLISH:
        return english
    from babel.dates import format_skeleton

    written = format_skeleton(skeleton, day, locale=now.tag)
    return _Stopped(written) if written.endswith(".") else written
