"""Figures in the keeper's words and units. SI inside; °F and square feet only here."""

import re
from collections import defaultdict
from collections.abc import Callable, Mapping
from dataclasses import replace
from datetime import date, datetime

from quailwright.guide.rules import Rule, number, rests
from quailwright.husbandry import facts
from quailwright.journal.entries import Units

_SLOT = re.compile(r"\{(?:(?P<form>[cdmnr]):)?(?P<name>[\w.]+)\}")
_KILOGRAMS_IN_A_POUND = 0.45359237
_SQUARE_FEET_IN_A_SQUARE_METRE = 10.7639
_FEET_IN_A_METRE = 3.28084


def temperature(celsius: float, units: Units) -> str:
    """`37.5 °C` or `99.5 °F`."""
    if units == "us":
        return f"{fahrenheit(celsius):.1f}".removesuffix(".0") + " °F"
    return f"{celsius:.1f}".removesuffix(".0") + " °C"


def heat(celsius: float, units: Units) -> str:
    """Heat to give at chick level: `32.2 °C` or `90 °F`, in whole degrees as keepers set it."""
    if units == "us":
        return f"{fahrenheit(celsius):.0f} °F"
    return temperature(celsius, units)


def fahrenheit(celsius: float) -> float:
    """Degrees Fahrenheit (exact by definition)."""
    return celsius * 9 / 5 + 32


def heats(low_c: float, high_c: float, units: Units) -> str:
    """`29.4 to 35 °C` or `85 to 95 °F`."""
    low, high = heat(low_c, units), heat(high_c, units)
    return high if low == high else f"{low[:-3]} to {high}"


def degrees(celsius: float, units: Units) -> str:
    """A difference of temperature: `2.8 °C` or `5 °F`."""
    if units == "us":
        return f"{celsius * 9 / 5:.1f}".removesuffix(".0") + " °F"
    return f"{celsius:g} °C"


_CELSIUS = re.compile(r"(-?\d+(?:\.\d+)?(?:(?:, | to | and | or )-?\d+(?:\.\d+)?)*) °C\b")
_NUMBER = re.compile(r"-?\d+(?:\.\d+)?")


def temperatures_in(text: str, units: Units) -> str:
    """A text with its temperatures (`12 to 16 °C`) in the keeper's unit."""
    if units != "us":
        return text

    def in_fahrenheit(found: re.Match[str]) -> str:
        figures = _NUMBER.sub(lambda one: f"{round(fahrenheit(float(one[0])), 1):g}", found[1])
        return f"{figures} °F"

    return _CELSIUS.sub(in_fahrenheit, text)


_IN_US: Mapping[str, tuple[str, Callable[[float], float]]] = {
    "°C": ("°F", fahrenheit),
    "°C/week": ("°F/week", lambda celsius: celsius * 9 / 5),
    "m": ("ft", lambda metres: metres * _FEET_IN_A_METRE),
    "m²": ("sq ft", lambda area_m2: area_m2 * _SQUARE_FEET_IN_A_SQUARE_METRE),
}


def cited(figure: facts.Figure, units: Units) -> str:
    """A figure with its conditions, source and certainty, in the keeper's units."""
    if units != "us":
        return figure.cite()
    shown = replace(figure, conditions=temperatures_in(figure.conditions, units))
    if figure.unit in _IN_US:
        unit, convert = _IN_US[figure.unit]
        value, low, high = (
            None if number is None else round(convert(number), 1)
            for number in (figure.value, figure.low, figure.high)
        )
        shown = replace(shown, value=value, low=low, high=high, unit=unit)
    return shown.cite()


def length(metres: float, units: Units) -> str:
    """`0.9 m` or `3 ft`."""
    return f"{metres * _FEET_IN_A_METRE:.0f} ft" if units == "us" else f"{metres:g} m"


def feed_unit(units: Units) -> str:
    """What feed is weighed in: `kg` or `lb`."""
    return "lb" if units == "us" else "kg"


def feed_mass(kilograms: float, units: Units) -> float:
    """Feed in that unit (the pound is exact by definition)."""
    return round(kilograms / _KILOGRAMS_IN_A_POUND, 2) if units == "us" else kilograms


def money(amount: float, currency: str) -> str:
    """`-18.50 EUR`; without a currency the bare amount."""
    return f"{amount:.2f} {currency}".rstrip()


def counted(number: int, one: str) -> str:
    """`1 hen`, `3 hens`."""
    return f"{number} {one}" if number == 1 else f"{number} {one}s"


def counted_as(number: int, one: str, more: str) -> str:
    """`1 entry`, `3 entries`."""
    return f"{number} {one if number == 1 else more}"


def area(square_metres: float, units: Units) -> str:
    """`0.10 m²` or `1.1 sq ft`."""
    if units == "us":
        return f"{square_metres * _SQUARE_FEET_IN_A_SQUARE_METRE:.1f} sq ft"
    return f"{square_metres:.2f} m²"


def square_metres(area: float, units: Units) -> float:
    """An area as the keeper measures it (square metres or square feet), in square metres."""
    return area / _SQUARE_FEET_IN_A_SQUARE_METRE if units == "us" else area


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


def when(due: date | datetime, on: date) -> str:
    """A day or an instant as seen from the day `on`: with its year only where that is another."""
    text = clock(due) if isinstance(due, datetime) else weekday(due)
    return text if due.year == on.year else f"{text} {due.year}"


def day_and_month(day: date) -> str:
    """`Sunday 2 May`."""
    return f"{day:%A} {day.day} {day:%B}"


_COUNTED_FROM = {
    "planned_set": "from the day to set them",
    "planned_cull": "from the day they go",
    "hatch": "of the hatch",
    "received": "after they came",
    "chicks": "after hatching",
    "brooder": "of age",
    "grower": "of age",
}


def rhythm(rule: Rule) -> str:
    """When a rule comes up: `every day, 3 times`, `day 0, 5, 10, 14 of the hatch`."""
    if rule.every is not None:
        often = "every day" if rule.every == 1 else f"every {rule.every:g} days"
        times = f", {rule.times} times" if rule.times > 1 else ""
        start = "" if rule.start is None else f", from day {rule.start:g}"
        until = "" if rule.until is None else f", until day {rule.until:g}"
        return often + times + start + until
    if rests(rule):
        return "when the eggs have rested"
    days = ", ".join(f"{day:g}" for day in rule.days)
    return f"day {days} {_COUNTED_FROM.get(rule.stage, '')}".rstrip()


def takes(rule: Rule) -> str:
    """How long a rule takes: `2 min and 0.1 for each bird or egg`."""
    each = f" and {rule.minutes_each:g} for each bird or egg" if rule.minutes_each else ""
    return f"{rule.minutes:g} min{each}"


def on_whose_word(rule: Rule) -> str:
    """The source of a rule's first figure, else of the rule itself, and how far to trust it."""
    if rule.original is None and rule.yours:
        return "your own"
    basis = rule.basis()
    source = basis[0].source if basis else rule.source
    certainty = basis[0].certainty if basis else rule.certainty
    return f"{source} ({certainty})" if source else certainty


_STAGES = {
    "planned_set": "eggs planned to be set",
    "planned_cull": "birds planned to go",
    "received": "eggs that came",
    "hatch": "a hatch under way",
    "machine": "a machine with eggs in it",
    "chicks": "chicks just hatched",
    "brooder": "a brooder",
    "grower": "birds by age",
    "pen": "a pen with birds in it",
    "holding": "the whole holding",
}


def stage(name: str) -> str:
    """What rules of a stage belong to, in words."""
    return _STAGES[name]


def plain(text: str, units: Units) -> str:
    """A rule's text away from any flock: figures put in, the state's words left as `...`."""
    return fill(text, units, defaultdict(lambda: "..."))


def fill(text: str, units: Units, state: Mapping[str, str]) -> str:
    """Puts figures and the state's own words into a rule's text.

    What is no figure and no word of the state stays as it is: a keeper may write braces too.
    """

    def slot(match: re.Match[str]) -> str:
        try:
            return _slot(match["form"], match["name"], units, state)
        except (KeyError, facts.UnknownFigure):
            return match[0]

    return _SLOT.sub(slot, text)


def _slot(form: str | None, name: str, units: Units, state: Mapping[str, str]) -> str:
    match form:
        case "c":
            return temperature(number(name), units)
        case "d":
            return degrees(number(name), units)
        case "m":
            return length(number(name), units)
        case "n":
            return f"{number(name):g}"
        case "r":
            return _range(name)
        case _:
            return state[name]


def _range(key: str) -> str:
    figure = facts.figure(key)
    low = figure.value if figure.low is None else figure.low
    high = figure.value if figure.high is None else figure.high
    return f"{low:g}" if low == high else f"{low:g} to {high:g}"
