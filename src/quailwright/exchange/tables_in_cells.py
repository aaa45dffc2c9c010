"""What single cells of a keeper's sheet say: days, figures with their units, ticks, and nothing."""

import math
import re
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Literal

from quailwright.exchange import readings_stamps as stamps
from quailwright.exchange.readings_stamps import DateOrder, NotAStamp
from quailwright.exchange.tables_in_grid import Value
from quailwright.journal.moments import FIRST_YEAR, LAST_YEAR
from quailwright.language import say

Decimal = Literal[".", ","]

_NOTHING = {"-", "--", "–", "—", "/", ".", "n/a", "na", "none", "nil", "nenhum", "nenhuma"}  # noqa: RUF001
_UNKNOWN = {"?", "??", "???", "unknown", "not counted", "não sei", "não contado"}
_TICKS = {"x", "✓", "✔", "☑", "✅", "√", "yes", "y", "ok", "done", "true", "1", "sim", "s", "feito"}
_NO_TICKS = {"no", "n", "false", "0", "não", "nao", "✗", "✘", "☐", "❌"}

# Days.

_MONTHS = {
    "january": 1, "february": 2, "march": 3, "april": 4, "may": 5, "june": 6, "july": 7,
    "august": 8, "september": 9, "october": 10, "november": 11, "december": 12,
    "janeiro": 1, "fevereiro": 2, "março": 3, "marco": 3, "abril": 4, "maio": 5, "junho": 6,
    "julho": 7, "agosto": 8, "setembro": 9, "outubro": 10, "novembro": 11, "dezembro": 12,
}  # fmt: skip
_SHORT = ("", "jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
_SHORTEST = 3
_WEEKDAY = re.compile(
    r"(?:mon|tue|wed|thu|fri|sat|sun|seg|ter|qua|qui|sex|s[áa]b|dom)[a-zç-]*\.?,?\s+"
)
_ORDINAL = re.compile(r"(?<=\d)(?:st|nd|rd|th|º|ª|°)(?![a-z])")
_BETWEEN = re.compile(r"(?<=\d)t(?=\d\d:)")
"""The T between day and clock of ISO 8601, in lower case."""
_WORD = re.compile(r"[^\W\d_]+")
_NO_YEAR = (
    re.compile(r"\d{1,2}[-/. ]+[a-z]{3}\Z"),
    re.compile(r"[a-z]{3}[-/. ]+\d{1,2}\Z"),
    re.compile(r"\d{1,2}([-/.])\d{1,2}\Z"),
)
_FIGURES = re.compile(r"\d{1,4}([-/.])\d{1,2}\1\d{1,4}\.?\Z")
_SERIAL_LOW, _SERIAL_HIGH = 25_569, 73_051
"""Day numbers of 1970-01-01 and 2100-01-01 where days count from 1900."""
_DAY_0 = date(1899, 12, 30)


class NotRead(ValueError):
    """A cell that cannot be read: what is wrong and how to mend it, said."""

    def __init__(self, what: str, mend: str) -> None:
        super().__init__(what)
        self.what = what
        self.mend = mend


@dataclass(frozen=True, slots=True)
class Dates:
    """How days are to be read: the order of figures, and the year and month of days without one,
    if told."""

    order: DateOrder | None = None
    year: int | None = None
    epoch_1904: bool = False
    month: int | None = None


def plain_day(text: str) -> str:
    """A day as written, without weekday and ordinals, its month as `stamps` knows it."""
    text = _WEEKDAY.sub("", " ".join(text.casefold().split()), count=1)
    text = _ORDINAL.sub("", text)
    text = _BETWEEN.sub(" ", text)
    return _WORD.sub(_month, text).replace("  ", " ").strip(" ,.")


def _month(word: re.Match[str]) -> str:
    text = word[0]
    if text in ("de", "of", "do"):
        return ""
    if len(text) >= _SHORTEST:
        found = {number for name, number in _MONTHS.items() if name.startswith(text)}
        if text == "sept":
            found = {9}
        if len(found) == 1:
            return _SHORT[found.pop()]
    return text


def in_figures(value: Value) -> str | None:
    """The day in figures, where the order of day, month and year matters; else None."""
    if not isinstance(value, str):
        return None
    day = stamps.split(plain_day(value))[0]
    return day if _FIGURES.match(day) else None


def lacks_year(value: Value) -> bool:
    """Whether a cell names a day without its year."""
    if not isinstance(value, str):
        return False
    day = stamps.split(plain_day(value))[0]
    return any(pattern.match(day) for pattern in _NO_YEAR)


def looks_like_day(value: Value) -> bool:
    """Whether a cell holds a day: a date, or a text that is one in some order and year."""
    if isinstance(value, date):
        return True
    if not isinstance(value, str) or not any(map(str.isdigit, value)):
        return False
    if lacks_year(value):
        return any(map(str.isalpha, value)) or "/" in value
    try:
        day_of(value, Dates("dmy", 2000))
    except NotRead:
        try:
            day_of(value, Dates("mdy", 2000))
        except NotRead:
            return False
    return True


def day_of(value: Value, dates: Dates) -> tuple[date | datetime, str]:
    """The day, or the moment where a time of day stands with it; and a remark, or "".

    Raises NotRead.
    """
    if isinstance(value, date):
        _in_range(value.year)
        return value, ""
    if isinstance(value, bool) or value is None or isinstance(value, time | timedelta):
        raise NotRead(say("this is no day."), say("Write it as 2027-05-02."))
    number = bare_day(value)
    if number is not None:
        return _of_month(number, dates), ""
    if isinstance(value, int | float):
        return _of_serial(value, dates)
    if re.fullmatch(r"\d{5}(?:\.\d+)?", value.strip()):
        return _of_serial(float(value), dates)
    text, clock = stamps.split(plain_day(value))
    if lacks_year(value):
        if dates.year is None:
            raise NotRead(
                say("{given} has no year.", given=stamps.shown(value)),
                say("Say which year the days without one are of, or write it in the cell."),
            )
        parts = re.fullmatch(r"(\d{1,2})([-/.])(\d{1,2})", text)
        if parts is not None and dates.order == "ymd":
            text = f"{dates.year}-{parts[1]}-{parts[3]}"
        else:
            text = f"{text}{parts[2] if parts is not None else ' '}{dates.year}"
    if _FIGURES.match(text) and dates.order is None and len(text.split("-")[0]) != len("2027"):
        order, _ = stamps.settle_order([text])
        if order is None:
            raise NotRead(
                say("{given} may be read in two ways.", given=stamps.shown(value)),
                say("Say whether the day, the month or the year comes first."),
            )
        dates = Dates(order, dates.year)
    try:
        day = stamps.date_as(text, dates.order or "dmy")
        if not clock:
            return day, ""
        since, _ = stamps.clock(clock)
    except NotAStamp as error:
        raise NotRead(error.what, error.mend) from None
    minutes = since // 60_000
    if minutes >= 24 * 60:
        return day, ""
    return datetime.combine(day, time(minutes // 60, minutes % 60)), ""


def bare_day(value: Value) -> int | None:
    """The day of a month, where a cell holds only that; else None."""
    if isinstance(value, str) and re.fullmatch(r"\d{1,2}", value.strip()):
        value = int(value.strip())  # `int` does not take off all that `strip` does
    if isinstance(value, bool) or not isinstance(value, int | float):
        return None
    return int(value) if value in range(1, 32) else None


def _of_month(number: int, dates: Dates) -> date:
    if dates.month is None or dates.year is None:
        raise NotRead(
            say("{number} is a day without its month.", number=number),
            say("Say of which month and year the days are, or write it as 2027-05-02."),
        )
    try:
        return date(dates.year, dates.month, number)
    except ValueError:
        raise NotRead(
            say("{number} is no day of {month}.", number=number,
                month=f"{dates.year}-{dates.month:02}"),
            say("Is the month right?"),
        ) from None  # fmt: skip


def months_named(text: str) -> set[int]:
    """The months that words of a text name, in full or by three letters."""
    found = set()
    for word in map(str.casefold, _WORD.findall(text)):
        short = _month_number(word)
        if short is not None:
            found.add(short)
    return found


def _month_number(word: str) -> int | None:
    known = {n for name, n in _MONTHS.items() if word in (name, name[:_SHORTEST])}
    return known.pop() if len(known) == 1 else None


def _in_range(year: int) -> None:
    if not FIRST_YEAR <= year <= LAST_YEAR:
        raise NotRead(
            say("the year {year} is out of range.", year=year),
            say("Use {first} to {last}.", first=FIRST_YEAR, last=LAST_YEAR),
        )


def _of_serial(number: float, dates: Dates) -> tuple[date, str]:
    if not math.isfinite(number) or not _SERIAL_LOW <= number < _SERIAL_HIGH:
        raise NotRead(say("{given:g} is no day.", given=number), say("Write it as 2027-05-02."))
    if dates.epoch_1904:
        raise NotRead(
            say("{given:g} is a bare day number, and this book counts from 1904.", given=number),
            say("Format the column as dates and save the sheet."),
        )
    day = _DAY_0 + timedelta(days=int(number))
    return day, say("the day number {number} was read as {day}", number=int(number), day=day)


def clock_of(value: Value) -> time:
    """A time of day. Raises NotRead."""
    if isinstance(value, datetime):
        return value.time().replace(second=0, microsecond=0)
    if isinstance(value, time):
        return value.replace(second=0, microsecond=0)
    if isinstance(value, timedelta):
        value = value.total_seconds() / 86_400
    if isinstance(value, float) and 0 <= value < 1:
        minutes = round(value * 24 * 60)
        return time(minutes // 60 % 24, minutes % 60)
    try:
        minutes = stamps.clock(str(value))[0] // 60_000
    except NotAStamp as error:
        raise NotRead(error.what, error.mend) from None
    return time(minutes // 60 % 24, minutes % 60)


# Figures.

_FIGURE = re.compile(
    r"(?P<before>[^\d(+\-\u2212]{0,4}?)\s*(?P<figure>[+\-\u2212]?\s?(?:\d[\d.,' \xa0\u202f]*\d|\d)"
    r"|[+\-\u2212]?[.,]\d+)\s*(?P<unit>[^\d\s(\[;,.:][^\d(\[;,:]{0,15}?)?\.?\s*"
    r"(?P<aside>[(\[;,:].*)?\Z"
)
_LONGEST_FIGURE = 300
_MASSES = {"kg": 1000.0, "kgs": 1000.0, "kilo": 1000.0, "kilos": 1000.0, "g": 1.0, "gr": 1.0,
           "gram": 1.0, "grams": 1.0, "grama": 1.0, "gramas": 1.0,
           "lb": 453.59237, "lbs": 453.59237, "pound": 453.59237, "pounds": 453.59237,
           "oz": 28.349523125, "ounce": 28.349523125, "ounces": 28.349523125}  # fmt: skip
"""Grams in one. The pound and ounce are those of the international agreement of 1959."""
_VOLUMES = {"l": 1.0, "lt": 1.0, "litre": 1.0, "litres": 1.0, "liter": 1.0, "liters": 1.0,
            "litro": 1.0, "litros": 1.0, "ml": 0.001}  # fmt: skip
_DOZENS = {"dozen", "dozens", "doz", "dz", "dúzia", "dúzias", "duzia", "duzias"}
_DOZEN = 12
_UNSIZED = {
    "bag", "bags", "sack", "sacks", "scoop", "scoops", "cup", "cups", "can", "cans", "bucket",
    "buckets", "jug", "jugs", "tub", "tubs", "bale", "bales", "tray", "trays", "carton", "cartons",
    "box", "boxes", "pack", "packs", "flat", "flats", "saco", "sacos", "balde", "baldes", "copo",
    "copos", "medida", "medidas", "cartela", "cartelas", "bandeja", "bandejas", "caixa", "caixas",
    "gal", "gals", "gallon", "gallons", "galão", "galões", "qt", "qts", "quart", "quarts", "pt",
    "pts", "pint", "pints",
}  # fmt: skip
"""Measures whose size the sheet does not tell: gallons, quarts and pints are of two sizes."""
_LIGHTEST_G = 2
"""Below it a bare figure is no bird's weight in grams: from memory, chicks hatch with 6 to 10 g."""
_HOTTEST_C = 50
"""Above it a bare figure is taken for degrees Fahrenheit that nobody said: from memory, weather and
machines for eggs stay below."""
_WORDLESS = {
    "egg", "eggs", "ovo", "ovos", "bird", "birds", "ave", "aves", "chick", "chicks", "hen", "hens",
    "cock", "cocks", "pcs", "pc", "un", "und", "min", "mins", "minutes", "minutos", "%",
    "codorna", "codornas", "codorninhas", "fêmeas", "machos",
}  # fmt: skip
_CELSIUS, _FAHRENHEIT = {"°c", "c", "ºc"}, {"°f", "f", "ºf"}
_CURRENCIES = {"€", "$", "£", "r$", "us$", "eur", "usd", "brl", "gbp"}


@dataclass(frozen=True, slots=True)
class Read:
    """A figure in the unit of its field, and what else the cell said, or ""."""

    figure: float
    aside: str = ""


def is_nothing(value: Value) -> bool:
    """Whether a cell says that there was nothing: blank, a dash."""
    return value is None or (isinstance(value, str) and value.strip().casefold() in _NOTHING)


def is_unknown(value: Value) -> bool:
    """Whether a cell says that nobody knows."""
    return isinstance(value, str) and value.strip().casefold() in _UNKNOWN


def ticked(value: Value) -> bool | None:
    """Whether a cell is a tick; None for what is neither yes nor no."""
    if value is None:
        return False
    if isinstance(value, bool):
        return value
    if isinstance(value, int | float):
        # Another figure is a count of something, and no tick.
        return bool(value) if value in (0, 1) else None
    if not isinstance(value, str):
        return None
    text = value.strip().casefold()
    if text in _TICKS:
        return True
    return False if text in _NO_TICKS or text in _NOTHING else None


_ENDS_IN_UNIT = re.compile(
    r"(?:^|weight|mass|peso|feed|ração|total|water|água|min|max|mín|máx|low|high|temp\w*|each)"
    r"[\s,.:/]*[gGlLfF]\W*\Z",
    re.IGNORECASE,
)
"""A head whose last letter is a unit, and not the name of a pen, as in `Pen G`."""


def unit_in(text: str) -> str:
    """The unit that a heading or a cell names: a key of those known, or ""."""
    words = [text.casefold().strip(), *re.findall(r"[°º]?[^\W\d_]+\$?", text.casefold())]
    bracketed = re.findall(r"[(\[]\s*[°º]?([^\W\d_]+)", text.casefold())
    for word in map(str, (*bracketed, *words)):
        if word in ("g", "l", "f") and word not in bracketed and not _ENDS_IN_UNIT.search(text):
            continue
        if word in _MASSES or word in _VOLUMES or word in _FAHRENHEIT:
            return word
        if word in _DOZENS or (word in _UNSIZED and (word in bracketed or word.endswith("s"))):
            return word
    return ""


def figure_of(value: Value, name: str, headed: str, decimal: Decimal | None) -> Read:
    """The figure in a cell, in the unit of the field `name`.

    Args:
        value: the cell.
        name: a field of a kind, whose ending tells its unit.
        headed: the unit that the heading names, or "".
        decimal: the sign before decimals, where it was told.

    Raises:
        NotRead: it is no single figure, or may be read in two ways.
    """
    if isinstance(value, bool) or not isinstance(value, str | int | float):
        raise NotRead(say("this is no figure."), say("Write a number, or leave the cell empty."))
    if isinstance(value, int | float):
        if not math.isfinite(value):
            raise NotRead(
                say("this is no figure."), say("Write a number, or leave the cell empty.")
            )
        return Read(_in_unit(float(value), headed, name))
    # Reading a longer one would take long, and no figure is.
    found = _FIGURE.match(value.strip()) if len(value) <= _LONGEST_FIGURE else None
    if found is None:
        raise NotRead(
            say("{given} is no single figure.", given=stamps.shown(value)),
            say("Write a number, or leave the cell empty."),
        )
    before = found["before"].strip().casefold()
    unit = (found["unit"] or "").strip().casefold()
    if before and before not in _CURRENCIES:
        raise NotRead(
            say("{given} is no single figure.", given=stamps.shown(value)),
            say("Write a number, or leave the cell empty."),
        )
    known = {
        *_MASSES, *_VOLUMES, *_WORDLESS, *_CELSIUS, *_FAHRENHEIT, *_CURRENCIES, *_DOZENS, *_UNSIZED
    }  # fmt: skip
    aside = (found["aside"] or "").strip(" ()[];,:")
    if unit and unit not in known:
        first, _, rest = unit.partition(" ")
        if first not in known:
            first, rest = "", unit
        unit, aside = first, f"{rest} {aside}".strip()
        if not aside or len(aside) < 2:
            raise NotRead(
                say("{given} is no single figure.", given=stamps.shown(value)),
                say("Write a number, or leave the cell empty."),
            )
    if not _belongs(name, before, unit, aside):
        raise NotRead(
            say("{given} is not only what belongs here.", given=stamps.shown(value)),
            say("Write a number, or leave the cell empty."),
        )
    figure = _number(found["figure"], decimal, value)
    return Read(_in_unit(figure, unit or headed, name), aside)


def _belongs(name: str, before: str, unit: str, aside: str) -> bool:
    """Whether what stands beside a figure may stand beside one of that field: no kilograms of
    eggs, no price of one for what all brought, no second figure of birds."""
    if not name:
        return True
    money = name in ("amount", "spent", "income", "cost") or name.startswith("price_per")
    if money and _OF_ONE.search(aside):
        return False
    if name in ("hens", "cocks", "chicks", "birds") and any(map(str.isdigit, aside)):
        return False
    mass = name in ("kg", "bag_kg") or name.endswith("_g")
    fits = (
        (_MASSES, mass or name == "weights_g" or money),
        (_VOLUMES, name == "litres"),
        (_CELSIUS | _FAHRENHEIT, name.endswith("_c")),
        (_CURRENCIES, money),
    )
    return all(fitting for units, fitting in fits if unit in units or before in units)


_OF_ONE = re.compile(r"^/|\b(each|per|cada)\b")


def _number(text: str, decimal: Decimal | None, given: str) -> float:
    bare = re.sub(r"[' \xa0\u202f]", "", text).replace("\u2212", "-")
    commas, points = bare.count(","), bare.count(".")
    if commas and points:
        last = max(bare.rfind(","), bare.rfind("."))
        sign = bare[last]
        other = "." if sign == "," else ","
        if bare.count(sign) > 1:
            raise _two_ways(given)
        return float(bare.replace(other, "").replace(sign, "."))
    sign = "," if commas else "."
    if commas + points > 1:
        if not re.fullmatch(rf"[+-]?\d{{1,3}}(?:\{sign}\d{{3}})+", bare):
            raise NotRead(
                say("{given} is no single figure.", given=stamps.shown(given)),
                say("Write a number, or leave the cell empty."),
            )
        return float(bare.replace(sign, ""))
    if commas + points == 1 and re.fullmatch(rf"[+-]?[1-9]\d{{0,2}}\{sign}\d{{3}}", bare):
        if decimal is None:
            raise _two_ways(given)
        return float(bare.replace(sign, "." if decimal == sign else ""))
    return float(bare.replace(",", "."))


def _two_ways(given: str) -> NotRead:
    return NotRead(
        say("{given} may be read in two ways.", given=stamps.shown(given)),
        say("Say whether a point or a comma stands before decimals."),
    )


def _in_unit(figure: float, unit: str, name: str) -> float:
    """A figure as the field counts it; a unit that does not belong there changes nothing.

    Raises NotRead for a measure whose size is not told.
    """
    mass = name in ("kg", "bag_kg") or name.endswith("_g") or name == "weights_g"
    if unit in _UNSIZED and (mass or name in ("litres", "eggs", "cracked", "broken")):
        raise NotRead(
            say("{unit} is a measure whose size the sheet does not tell.", unit=unit),
            say("Write how much it is in kilograms, pounds, litres or eggs."),
        )
    if unit in _DOZENS and name in ("eggs", "cracked", "broken"):
        return figure * _DOZEN
    if unit in _MASSES and name in ("kg", "bag_kg"):
        return round(figure * _MASSES[unit] / _MASSES["kg"], 6) if unit != "kg" else figure
    if unit in _MASSES and name == "price_per_kg":
        return round(figure * _MASSES["kg"] / _MASSES[unit], 6) if unit != "kg" else figure
    if unit in _MASSES and mass:
        return round(figure * _MASSES[unit], 6)
    if unit in _VOLUMES and name == "litres":
        return round(figure * _VOLUMES[unit], 6)
    if name in ("mass_g", "weights_g") and not unit and 0 < figure < _LIGHTEST_G:
        raise NotRead(
            say("{figure:g} g is too light for a bird.", figure=figure),
            say("If it is in kilograms, write kg in the head or in the cell."),
        )
    if name.endswith("_c"):
        if unit in _FAHRENHEIT:
            return round((figure - 32) * 5 / 9, 3)
        if figure > _HOTTEST_C:
            raise NotRead(
                say("{figure:g} °C is too hot to be true.", figure=figure),
                say("If it is in Fahrenheit, write °F in the head or in the cell."),
            )
    return figure


def figures_of(value: Value, name: str, headed: str, decimal: Decimal | None) -> str:
    """Several figures in one cell, in the unit of the field, as they would be typed.

    Raises NotRead.
    """
    if isinstance(value, int | float) and not isinstance(value, bool):
        return f"{figure_of(value, name, headed, decimal).figure:.15g}"
    text = str(value).strip()
    parted = r"[;/|\n]|,\s|\s" if re.search(r"\d,\d", text) else r"[;/|\n,]|\s"
    parts = [part for part in re.split(parted, text) if part.strip()]
    read = (figure_of(part, name, headed, decimal) for part in parts)
    return ",".join(f"{each.figure:.15g}" for each in read)
