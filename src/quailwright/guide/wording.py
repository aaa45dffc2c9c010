"""Figures in the keeper's words and units. SI inside; °F and square feet only here."""

import re
from collections import defaultdict
from collections.abc import Mapping
from datetime import date, datetime

from quailwright.guide.rules import number
from quailwright.husbandry import facts
from quailwright.journal.entries import Units

_SLOT = re.compile(r"\{(?:(?P<form>[cnr]):)?(?P<name>[\w.]+)\}")
_SQUARE_FEET_IN_A_SQUARE_METRE = 10.7639


def temperature(celsius: float, units: Units) -> str:
    """`37.5 °C` or `99.5 °F`."""
    if units == "us":
        return f"{fahrenheit(celsius):.1f}".removesuffix(".0") + " °F"
    return f"{celsius:.1f}".removesuffix(".0") + " °C"


def fahrenheit(celsius: float) -> float:
    """Degrees Fahrenheit (exact by definition)."""
    return celsius * 9 / 5 + 32


def temperatures(low_c: float, high_c: float, units: Units) -> str:
    """`29 to 35 °C`, or in °F."""
    low = temperature(low_c, units)
    return f"{low[:-3]} to {temperature(high_c, units)}"


def area(square_metres: float, units: Units) -> str:
    """`0.10 m²` or `1.1 sq ft`."""
    if units == "us":
        return f"{square_metres * _SQUARE_FEET_IN_A_SQUARE_METRE:.1f} sq ft"
    return f"{square_metres:.2f} m²"


def both_counts(day: int) -> str:
    """`day 14, the 15th day`: counted from the moment of setting, and by calendar days."""
    return f"day {day}, the {ordinal(day + 1)} day"


def ordinal(number: int) -> str:
    """`15th`."""
    teen = 10 <= number % 100 <= 20
    return f"{number}{'th' if teen else {1: 'st', 2: 'nd', 3: 'rd'}.get(number % 10, 'th')}"


def clock(at: datetime) -> str:
    """`Sun 2 May 20:00`."""
    return f"{weekday(at)} {at:%H:%M}"


def weekday(day: date) -> str:
    """`Sun 2 May`."""
    return f"{day:%a} {day.day} {day:%b}"


def full_day(day: date) -> str:
    """`Sunday 2 May 2027`."""
    return f"{day:%A} {day.day} {day:%B} {day.year}"


def plain(text: str, units: Units) -> str:
    """A rule's text away from any flock: figures put in, the state's words left as `...`."""
    return fill(text, units, defaultdict(lambda: "..."))


def fill(text: str, units: Units, state: Mapping[str, str]) -> str:
    """Puts figures and the state's own words into a rule's text.

    Raises KeyError for a word that the state lacks, facts.UnknownFigure for a key.
    """

    def slot(match: re.Match[str]) -> str:
        name = match["name"]
        match match["form"]:
            case "c":
                return temperature(number(name), units)
            case "n":
                return f"{number(name):g}"
            case "r":
                return _range(name)
            case _:
                return state[name]

    return _SLOT.sub(slot, text)


def _range(key: str) -> str:
    figure = facts.figure(key)
    low = figure.value if figure.low is None else figure.low
    high = figure.value if figure.high is None else figure.high
    return f"{low:g}" if low == high else f"{low:g} to {high:g}"
