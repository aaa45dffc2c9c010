"""Figures in the keeper's words and units. SI inside; °F and square feet only here.

Everything comes in the language spoken now.
"""

import math
import re
from collections import defaultdict
from collections.abc import Callable, Mapping
from dataclasses import replace
from datetime import date, datetime

from quailwright.guide.rules import Rule, number, rests
from quailwright.husbandry import facts
from quailwright.journal.entries import Units
from quailwright.language import dated, figure, mark, say, say_many

_SLOT = re.compile(r"\{(?:(?P<form>[cdmnr]):)?(?P<name>[\w.]+)\}")
_KILOGRAMS_IN_A_POUND = 0.45359237
_SQUARE_FEET_IN_A_SQUARE_METRE = 10.7639
_FEET_IN_A_METRE = 3.28084
_INCHES_IN_A_METRE = 39.3701
_CENTIMETRES_IN_A_METRE = 100.0
_SQUARE_CENTIMETRES_IN_A_SQUARE_METRE = 10_000.0
_GRAMS_IN_AN_OUNCE = 28.349523125
_LITRES_IN_A_CUP = 0.2365882365
_CUPS_IN_A_GALLON = 16


def temperature(celsius: float, units: Units) -> str:
    """`37.5 °C` or `99.5 °F`."""
    if units == "us":
        return f"{_to_a_tenth(fahrenheit(celsius))} °F"
    return f"{_to_a_tenth(celsius)} °C"


def _to_a_tenth(number: float) -> str:
    """A number to one decimal, which is left out where it is 0."""
    return figure(number, ".0f" if f"{number:.1f}".endswith(".0") else ".1f")


def heat(celsius: float, units: Units) -> str:
    """Heat to give at chick level: `32.2 °C` or `90 °F`, in whole degrees as keepers set it."""
    if units == "us":
        return f"{figure(fahrenheit(celsius), '.0f')} °F"
    return temperature(celsius, units)


def fahrenheit(celsius: float) -> float:
    """Degrees Fahrenheit (exact by definition)."""
    return celsius * 9 / 5 + 32


def heats(low_c: float, high_c: float, units: Units) -> str:
    """`29.4 to 35 °C` or `85 to 95 °F`."""
    low, high = heat(low_c, units), heat(high_c, units)
    return high if low == high else say("{low} to {high}", low=low[:-3], high=high)


def degrees(celsius: float, units: Units) -> str:
    """A difference of temperature: `2.8 °C` or `5 °F`."""
    if units == "us":
        return f"{_to_a_tenth(celsius * 9 / 5)} °F"
    return f"{figure(celsius, 'g')} °C"


_NUMBER = re.compile(r"-?\d+(?:[.,]\d+)?")


def temperatures_in(text: str, units: Units) -> str:
    """A text in the language spoken now with its temperatures (`12 to 16 °C`) in the keeper's unit.

    English ones are known in any language, as a text may stand there untranslated.
    """
    if units != "us":
        return text

    def in_fahrenheit(found: re.Match[str]) -> str:
        return f"{_NUMBER.sub(_one_in_fahrenheit, found[1])} °F"

    # Say: the words that stand between temperatures, as in "36 to 38 °C", parted by commas
    words = {"to", "and", "or", *say("to, and, or").split(", ")}
    between = "|".join(re.escape(word) for word in sorted(words))
    one = _NUMBER.pattern
    return re.sub(rf"({one}(?:(?:, | (?:{between}) ){one})*) °C\b", in_fahrenheit, text)


def _one_in_fahrenheit(celsius: re.Match[str]) -> str:
    return figure(round(fahrenheit(float(celsius[0].replace(",", "."))), 1), "g")


_IN_US: Mapping[str, tuple[str, Callable[[float], float]]] = {
    "°C": (mark("°F"), fahrenheit),
    "°C/week": (mark("°F/week"), lambda celsius: celsius * 9 / 5),
    "m": (mark("ft"), lambda metres: metres * _FEET_IN_A_METRE),
    "m²": (mark("sq ft"), lambda area_m2: area_m2 * _SQUARE_FEET_IN_A_SQUARE_METRE),
}


def cited(row: facts.Figure, units: Units) -> str:
    """A figure with its conditions, source and certainty, in the keeper's units."""
    if units != "us":
        return row.cite()
    shown = replace(row, conditions=temperatures_in(say(row.conditions), units))
    if row.unit in _IN_US:
        unit, convert = _IN_US[row.unit]
        value, low, high = (
            None if number is None else round(convert(number), 1)
            for number in (row.value, row.low, row.high)
        )
        shown = replace(shown, value=value, low=low, high=high, unit=unit)
    return shown.cite()


def length(metres: float, units: Units) -> str:
    """`0.9 m` or `3 ft`."""
    if units == "us":
        return say("{feet:.0f} ft", feet=metres * _FEET_IN_A_METRE)
    return f"{figure(metres, 'g')} m"


def feed_unit(units: Units) -> str:
    """What feed is weighed in: `kg` or `lb`."""
    return "lb" if units == "us" else "kg"


def feed_mass(kilograms: float, units: Units) -> float:
    """Feed in that unit (the pound is exact by definition)."""
    return round(kilograms / _KILOGRAMS_IN_A_POUND, 2) if units == "us" else kilograms


def portion(grams: float, units: Units) -> str:
    """Feed to weigh out, rounded up: `440 g`, `16 oz`."""
    if units == "us":
        return say("{n} oz", n=math.ceil(round(grams / _GRAMS_IN_AN_OUNCE, 6)))
    return f"{portion_g(grams, units):.0f} g"


def portion_g(grams: float, units: Units) -> float:
    """The weight that `portion` tells [g]."""
    step = _GRAMS_IN_AN_OUNCE if units == "us" else 10 if grams >= 50 else 5
    return math.ceil(round(grams / step, 6)) * step


def scoops(grams: float, scoop_g: float) -> str:
    """The same in scoops of so many grams, to the half scoop above: `4 and a half scoops`."""
    halves = math.ceil(round(2 * grams / scoop_g, 6))
    whole, half = divmod(halves, 2)
    if not half:
        return say_many("{n} scoop", "{n} scoops", whole)
    return say("{n} and a half scoops", n=whole) if whole else say("half a scoop")


def filled(litres: float, units: Units) -> str:
    """Water to fill in, rounded up: `1500 ml`, `4 litres`, `7 cups (1.5 litres)`."""
    if units == "us":
        told = say("{litres:.1f} litres", litres=litres)
        cups = math.ceil(round(litres / _LITRES_IN_A_CUP, 6))
        if cups <= _CUPS_IN_A_GALLON:
            return say_many("{n} cup ({litres})", "{n} cups ({litres})", cups, litres=told)
        quarts = math.ceil(round(litres / (4 * _LITRES_IN_A_CUP), 6))
        return say("{n} quarts ({litres})", n=quarts, litres=told)
    if litres > 3:
        return say_many("{n} litre", "{n} litres", math.ceil(round(litres, 6)))
    return say("{n} ml", n=math.ceil(round(litres * 10, 6)) * 100)


def litres_filled(litres: float, units: Units) -> float:
    """The litres that `filled` tells [l]."""
    if units == "us":
        return round(litres, 1)
    step = 1 if litres > 3 else 10
    return math.ceil(round(litres * step, 6)) / step


def grams_of(portion: float, units: Units) -> float:
    """A portion as the keeper weighs it (grams or ounces), in grams."""
    return portion * _GRAMS_IN_AN_OUNCE if units == "us" else portion


def money(amount: float, currency: str) -> str:
    """`-18.50 EUR`; without a currency the bare amount."""
    return f"{figure(amount, '.2f')} {currency}".rstrip()


def counted(number: int, one: str) -> str:
    """`1 hen`, `3 hens`."""
    return f"{number} {one}" if number == 1 else f"{number} {one}s"


def counted_as(number: int, one: str, more: str) -> str:
    """`1 entry`, `3 entries`."""
    return f"{number} {one if number == 1 else more}"


def area(square_metres: float, units: Units) -> str:
    """`0.10 m²` or `1.1 sq ft`."""
    if units == "us":
        return say("{area:.1f} sq ft", area=square_metres * _SQUARE_FEET_IN_A_SQUARE_METRE)
    return say("{area:.2f} m²", area=square_metres)


def floor_each(square_metres: float, units: Units) -> str:
    """Floor for one bird: `450 cm²` or `0.48 sq ft`."""
    if units == "us":
        return say("{area:.2f} sq ft", area=square_metres * _SQUARE_FEET_IN_A_SQUARE_METRE)
    return say("{area:.0f} cm²", area=square_metres * _SQUARE_CENTIMETRES_IN_A_SQUARE_METRE)


def height(metres: float, units: Units) -> str:
    """A height of a pen: `25 cm` or `10 in`; from a metre on `1.8 m` or `5.9 ft`."""
    if units == "us":
        if metres < 1.0:
            return say("{inches:.0f} in", inches=metres * _INCHES_IN_A_METRE)
        return say("{feet:.1f} ft", feet=metres * _FEET_IN_A_METRE)
    if metres < 1.0:
        return say("{centimetres:.0f} cm", centimetres=metres * _CENTIMETRES_IN_A_METRE)
    return f"{figure(metres, '.3g')} m"


def square_metres(area: float, units: Units) -> float:
    """An area as the keeper measures it (square metres or square feet), in square metres."""
    return area / _SQUARE_FEET_IN_A_SQUARE_METRE if units == "us" else area


def both_counts(day: int) -> str:
    """`day 14, the 15th day`: counted from the moment of setting, and by calendar days."""
    return say("day {day}, the {nth} day", day=day, nth=ordinal(day + 1))


def ordinal(number: int) -> str:
    """`15th`."""
    teen = 10 <= number % 100 <= 20
    return say(_ORDINALS[0 if teen or number % 10 > 3 else number % 10], number=number)


_ORDINALS = (mark("{number}th"), mark("{number}st"), mark("{number}nd"), mark("{number}rd"))


def clock(at: datetime) -> str:
    """`Sun 2 May 20:00`."""
    return f"{weekday(at)} {at:%H:%M}"


def weekday(day: date) -> str:
    """`Sun 2 May`."""
    return dated(day, f"{day:%a} {day.day} {day:%b}", "MMMEd")


def full_day(day: date) -> str:
    """`Sunday 2 May 2027`."""
    return dated(day, f"{day:%A} {day.day} {day:%B} {day.year}", "yMMMMEEEEd")


def when(due: date | datetime, on: date) -> str:
    """A day or an instant as seen from the day `on`: with its year only where that is another."""
    at_hour = isinstance(due, datetime)
    if due.year == on.year:
        return clock(due) if isinstance(due, datetime) else weekday(due)
    if at_hour:
        return say("{day} {hour} {year}", day=weekday(due), hour=f"{due:%H:%M}", year=due.year)
    return say("{day} {year}", day=weekday(due), year=due.year)


def day_and_month(day: date) -> str:
    """`Sunday 2 May`."""
    return dated(day, f"{day:%A} {day.day} {day:%B}", "MMMMEEEEd")


_ON_DAYS = {
    "planned_set": mark("day {days} from the day to set them"),
    "planned_cull": mark("day {days} from the day they go"),
    "hatch": mark("day {days} of the hatch"),
    "received": mark("day {days} after they came"),
    "chicks": mark("day {days} after hatching"),
    "brooder": mark("day {days} of age"),
    "grower": mark("day {days} of age"),
}


def rhythm(rule: Rule) -> str:
    """When a rule comes up: `every day, 3 times`, `day 0, 5, 10, 14 of the hatch`."""
    if rule.every is not None:
        told = [
            say("every day") if rule.every == 1 else say("every {days:g} days", days=rule.every)
        ]
        if rule.times > 1:
            told.append(say("{times} times", times=rule.times))
        if rule.start is not None:
            told.append(say("from day {day:g}", day=rule.start))
        if rule.until is not None:
            told.append(say("until day {day:g}", day=rule.until))
        return ", ".join(told)
    if rests(rule):
        return say("when the eggs have rested")
    days = ", ".join(figure(day, "g") for day in rule.days)
    return say(_ON_DAYS.get(rule.stage, mark("day {days}")), days=days)


def takes(rule: Rule) -> str:
    """How long a rule takes: `2 min and 0.1 for each bird or egg`."""
    if not rule.minutes_each:
        return say("{minutes:g} min", minutes=rule.minutes)
    return say(
        "{minutes:g} min and {each:g} for each bird or egg",
        minutes=rule.minutes,
        each=rule.minutes_each,
    )


def on_whose_word(rule: Rule) -> str:
    """The source of a rule's first figure, else of the rule itself, and how far to trust it."""
    if rule.original is None and rule.yours:
        return say("your own")
    basis = rule.basis()
    source = basis[0].source if basis else rule.source
    text = basis[0].certainty if basis else rule.certainty
    certainty = say(text)
    return f"{source} ({certainty})" if source else certainty


_STAGES = {
    "planned_set": mark("eggs planned to be set"),
    "planned_cull": mark("birds planned to go"),
    "received": mark("eggs that came"),
    "hatch": mark("a hatch under way"),
    "machine": mark("a machine with eggs in it"),
    "chicks": mark("chicks just hatched"),
    "brooder": mark("a brooder"),
    "grower": mark("birds by age"),
    "pen": mark("a pen with birds in it"),
    "holding": mark("the whole holding"),
}


def stage(name: str) -> str:
    """What rules of a stage belong to, in words."""
    return say(_STAGES[name])


def plain(text: str, units: Units) -> str:
    """A rule's text away from any flock: figures put in, the state's words left as `...`."""
    return fill(text, units, defaultdict(lambda: "..."))


def fill(text: str, units: Units, state: Mapping[str, str]) -> str:
    """Says a rule's text, and puts figures and the state's own words into it.

    What is no figure and no word of the state stays as it is: a keeper may write braces too.
    """

    def slot(match: re.Match[str]) -> str:
        try:
            return _slot(match["form"], match["name"], units, state)
        except (KeyError, facts.UnknownFigure):
            return match[0]

    return _SLOT.sub(slot, say(text))


def _slot(form: str | None, name: str, units: Units, state: Mapping[str, str]) -> str:
    match form:
        case "c":
            return temperature(number(name), units)
        case "d":
            return degrees(number(name), units)
        case "m":
            return length(number(name), units)
        case "n":
            return figure(number(name), "g")
        case "r":
            return _range(name)
        case _:
            return state[name]


def _range(key: str) -> str:
    row = facts.figure(key)
    ends = [end for end in (row.low, row.value, row.high) if end is not None]
    low, high = ends[0], ends[-1]
    if low == high:
        return figure(low, "g")
    return say("{low:g} to {high:g}", low=low, high=high)
