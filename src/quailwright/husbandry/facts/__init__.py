"""Every figure the tool knows of the bird, each with its unit, conditions, source and certainty.

One table a subject lies beside this file. A key is ``subject.key``, as in
``incubation.temperature``. Where sources disagree several rows share a key: the first is the one
the tool uses, and all are kept to be shown.
"""

from __future__ import annotations

import csv
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import Literal, cast, get_args

from quailwright.language import figure as said_figure
from quailwright.language import say

Certainty = Literal["published", "common practice, no source", "from memory", "inferred"]


class UnknownFigure(LookupError):
    """No figure has this key, or the figure is only a range where one number is needed."""

    def __str__(self) -> str:
        return str(self.args[0]) if self.args else ""


@dataclass(frozen=True, slots=True)
class Figure:
    """One figure from one source.

    Attributes:
        key: ``subject.key``.
        value: the figure, or None where the source gives only a range.
        low, high: the range the source gives, either end may be None.
        unit: unit of value, low and high.
        conditions: when the figure holds.
        source: author, year and title; empty for common practice without one.
        certainty: how far to trust it, one of `Certainty`.
        seen: how the source was read.
    """

    key: str
    value: float | None
    low: float | None
    high: float | None
    unit: str
    conditions: str
    source: str
    certainty: Certainty
    seen: str

    def cite(self) -> str:
        """The figure on one line for a keeper: number, unit, conditions, source and certainty."""
        said = [f"{self._amount()}, {say(self.conditions)}."]
        if self.source:
            said.append(say("Source: {source}.", source=self.source))
        certainty = say(self.certainty)
        if self.seen and self.seen != "passed on by keepers":
            how = say(self.seen)
            said.append(say("Certainty: {certainty} ({how}).", certainty=certainty, how=how))
        else:
            said.append(say("Certainty: {certainty}.", certainty=certainty))
        return " ".join(said)

    def _amount(self) -> str:
        unit = "" if self.unit in {"ratio", "count"} else f" {say(self.unit)}"
        match self.low, self.high:
            case None, None:
                bounds = ""
            case low, None:
                bounds = say("at least {low:g}", low=low)
            case None, high:
                bounds = say("at most {high:g}", high=high)
            case low, high:
                bounds = say("{low:g} to {high:g}", low=low, high=high)
        if self.value is None:
            return f"{bounds}{unit}"
        value = said_figure(self.value, "g")
        return f"{value}{unit} ({bounds})" if bounds else f"{value}{unit}"


def figure(key: str) -> Figure:
    """The row that the tool uses by default for `key`, such as ``incubation.temperature``.

    Raises:
        UnknownFigure: no table holds the key; the message names the nearest ones.
    """
    return rows(key)[0]


@cache
def value(key: str) -> float:
    """The number of the default row, in that row's unit.

    Raises:
        UnknownFigure: the key is unknown, or its default row is only a range.
    """
    default = figure(key)
    if default.value is None:
        raise UnknownFigure(f"'{key}' is given only as a range: {default.cite()}")
    return default.value


def rows(key: str) -> tuple[Figure, ...]:
    """Every source's row for `key`, the default first.

    Raises:
        UnknownFigure: no table holds the key; the message names the nearest ones.
    """
    subject = key.partition(".")[0]
    if subject in subjects():
        found = _table(subject).get(key)
        if found:
            return found
    from difflib import get_close_matches  # only needed for a wrong key

    near = get_close_matches(key, keys(), n=3, cutoff=0.5)
    hint = f" Nearest: {', '.join(near)}." if near else ""
    raise UnknownFigure(f"No figure is called '{key}'.{hint}")


@cache
def spread(key: str) -> tuple[float, float]:
    """Lowest and highest number for `key` over every source, ranges included.

    Raises:
        UnknownFigure: no table holds the key.
    """
    numbers = [
        number
        for row in rows(key)
        for number in (row.low, row.value, row.high)
        if number is not None
    ]
    return min(numbers), max(numbers)


def keys(subject: str | None = None) -> tuple[str, ...]:
    """Every key of one subject, or of all, in table order.

    Raises:
        UnknownFigure: there is no table of that subject.
    """
    if subject is None:
        return tuple(key for each in subjects() for key in _table(each))
    if subject not in subjects():
        raise UnknownFigure(f"No table is called '{subject}'. Tables: {', '.join(subjects())}.")
    return tuple(_table(subject))


@cache
def subjects() -> tuple[str, ...]:
    """The subjects that have a table, in alphabetical order."""
    return tuple(
        sorted(
            entry.name.removesuffix(".csv")
            for entry in resources.files(__package__).iterdir()
            if entry.name.endswith(".csv")
        )
    )


@cache
def _table(subject: str) -> dict[str, tuple[Figure, ...]]:
    by_key: dict[str, tuple[Figure, ...]] = {}
    table = resources.files(__package__).joinpath(f"{subject}.csv").read_text(encoding="utf-8")
    for line in csv.DictReader(table.splitlines()):
        key = f"{subject}.{line['key']}"
        row = Figure(
            key=key,
            value=_number(line["value"]),
            low=_number(line["low"]),
            high=_number(line["high"]),
            unit=line["unit"],
            conditions=line["conditions"],
            source=line["source"],
            certainty=_certainty(key, line["certainty"]),
            seen=line["seen"],
        )
        by_key[key] = (*by_key.get(key, ()), row)
    return by_key


def _number(text: str) -> float | None:
    return float(text) if text else None


def _certainty(key: str, text: str) -> Certainty:
    if text not in get_args(Certainty):
        raise ValueError(f"'{key}' has the certainty '{text}', which is not one of the four words.")
    return cast(Certainty, text)
