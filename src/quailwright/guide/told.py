"""An entry in words: what kind it is, and what it says, field by field."""

import re
from collections.abc import Mapping
from functools import cache
from typing import Any

from quailwright.journal.entries import KINDS, Entry, as_dict, kind_of

_TOLD_ELSEWHERE = {"id", "kind", "at", "by", "note", "force", "instead"}


def kind_words(kind: str) -> str:
    """`eggs collected` for `eggs_collected`."""
    return "task done" if kind == "care" else kind.replace("_", " ")


def field_words(name: str) -> str:
    """`storage, °C` for `storage_c`; a field's name as a keeper reads it."""
    for end, unit in _UNITS.items():
        if name.endswith(end) and "_per_" not in name:
            return f"{name.removesuffix(end).replace('_', ' ')}, {unit}"
    return "kg" if name == "kg" else name.replace("_", " ")


_SAYS_ITSELF = ("group", "hatch", "place", "task", "feed", "bird", "source")

_COUNTED = (
    "eggs", "cracked", "broken", "chicks", "hens", "cocks", "birds", "kg", "minutes", "clear",
    "dead", "infertile", "early", "middle", "late", "pipped", "contaminated",
)  # fmt: skip

_UNITS = {
    "_c": "°C", "_pct": "%", "_m2": "m²", "_w": "W", "_g": "g", "_kcal_kg": "kcal/kg",
    "_h": "h", "_kg": "kg", "_m": "m",
}  # fmt: skip


def told(entry: Entry) -> list[tuple[str, str]]:
    """What an entry says: each field in words, with its value, in the order of the kind."""
    return told_fields(as_dict(entry))


def told_fields(fields: Mapping[str, Any]) -> list[tuple[str, str]]:
    """Fields of an entry in words, each with its value."""
    return [
        (field_words(name), _value(value).replace("_", " ") if name == "task" else _value(value))
        for name, value in fields.items()
        if name not in _TOLD_ELSEWHERE
    ]


@cache
def kind_about(kind: str) -> str:
    """What a kind is, as its own docstring says it, without the marks of code."""
    return without_marks(" ".join((KINDS[kind].__doc__ or "").split()))


def without_marks(text: str) -> str:
    """A text for people: a field named in marks of code stands in words."""
    plain = text.replace("`at`", "the entry")
    return re.sub(r"`(\w+)`", lambda name: name[1].replace("_", " "), plain)


def in_a_line(entry: Entry) -> str:
    """An entry in one line: `eggs collected: long hens, 12 eggs`; names stand for themselves."""
    said = ", ".join(_said(name, value) for name, value in told(entry))
    return f"{kind_words(kind_of(entry))}{': ' if said else ''}{said}"


def _said(name: str, value: str) -> str:
    if name in _SAYS_ITSELF:
        return value
    return f"{value} {name}" if name in _COUNTED else f"{name} {value}"


def _value(value: Any) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, list):
        return ", ".join(map(_value, value))
    return f"{value:g}" if isinstance(value, float) else str(value)
