"""A brief as TOML, from its values: what `brief.read_document` reads back as they were."""

import json
import math
from collections.abc import Iterator, Mapping
from datetime import date
from typing import Any


def brief_text(values: Mapping[str, Any]) -> str:
    """The TOML (1.0) of a document of tables, lists of tables, and values in them.

    Args:
        values: by table. Values are text, whole numbers, finite numbers, bools, dates, and lists
            and mappings of those.

    Raises:
        ValueError: a value that TOML has no form for.
    """
    return "\n".join(_lines(values))


def _lines(values: Mapping[str, Any]) -> Iterator[str]:
    for name, value in values.items():
        if not _is_table(value) and not _is_tables(value):
            yield f"{_text(name)} = {_value(value)}"
    for name, value in values.items():
        if _is_table(value):
            yield from (f"[{_text(name)}]", *_pairs(value), "")
        elif _is_tables(value):
            for one in value:
                yield from (f"[[{_text(name)}]]", *_pairs(one), "")


def _is_table(value: object) -> bool:
    return isinstance(value, Mapping)


def _is_tables(value: object) -> bool:
    return isinstance(value, list) and bool(value) and all(map(_is_table, value))


def _pairs(table: Mapping[str, Any]) -> Iterator[str]:
    return (f"{_text(name)} = {_value(value)}" for name, value in table.items())


def _value(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return _quoted(value)
    if isinstance(value, float) and not math.isfinite(value):
        raise ValueError(f"{value} is not a number to plan with.")
    if isinstance(value, int | float):
        return repr(value)
    if type(value) is date:
        return value.isoformat()
    if isinstance(value, list | tuple):
        return f"[{', '.join(map(_value, value))}]"
    if isinstance(value, Mapping):
        return f"{{{', '.join(_pairs(value))}}}"
    raise ValueError(f"TOML has no form for {value!r}.")


def _text(name: str) -> str:
    """A key: bare where it may be."""
    plain = name.isascii() and name.replace("_", "").replace("-", "").isalnum()
    return name if plain else _quoted(name)


def _quoted(text: str) -> str:
    """A basic string. JSON escapes all that TOML asks to be escaped, but for the delete sign.

    Raises ValueError for half a surrogate pair, which no UTF-8 text holds.
    """
    text.encode()
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")
