"""An entry in words: what kind it is, and what it says, field by field."""

from typing import Any

from quailwright.journal.entries import Entry, as_dict, kind_of

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

_UNITS = {
    "_c": "°C", "_pct": "%", "_m2": "m²", "_w": "W", "_g": "g", "_kcal_kg": "kcal/kg",
    "_h": "h", "_kg": "kg", "_m": "m",
}  # fmt: skip


def told(entry: Entry) -> list[tuple[str, str]]:
    """What an entry says: each field in words, with its value, in the order of the kind."""
    return [
        (field_words(name), _value(value).replace("_", " ") if name == "task" else _value(value))
        for name, value in as_dict(entry).items()
        if name not in _TOLD_ELSEWHERE
    ]


def in_a_line(entry: Entry) -> str:
    """An entry in one line: `eggs collected: long hens, eggs 12`; names stand for themselves."""
    said = ", ".join(
        value if name in _SAYS_ITSELF else f"{name} {value}" for name, value in told(entry)
    )
    return f"{kind_words(kind_of(entry))}{': ' if said else ''}{said}"


def _value(value: Any) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, list):
        return ", ".join(map(_value, value))
    return f"{value:g}" if isinstance(value, float) else str(value)
