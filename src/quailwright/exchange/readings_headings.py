"""What the columns of a table of readings hold, told from their headings.

Headings are taken in the words that loggers and spreadsheets commonly use, in English and some
other languages, in any case, with units in brackets, after an underscore or glued on.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import timedelta
from typing import Literal

from quailwright.language import say

TemperatureUnit = Literal["c", "f"]

_WORDS = re.compile(r"[^\W\d_]+")
_UNIT = re.compile(
    r"""
      (?: [°º\ufffd] | \bdeg(?:ree)?s?[ ._]* ) [ ]* (?P<marked>[cfk]) \b
    | (?P<sign>[℃℉])
    | \b (?P<word>celsius|centigrade|fahrenheit|kelvin) \b
    | (?: ^|[\s_\-/(\[.,] ) (?P<letter>[cfk]) [)\]\s]* $
    | temp(?:erature)? (?P<glued>[cf]) $
    | (?: ^|_ ) (?P<middle>[cf]) _
    """,
    re.VERBOSE,
)
_ZONE = re.compile(r"\b(?:utc|gmt)\s*(?:([+\-\u2212])\s*(\d{1,2})(?::?(\d{2}))?)?")

_TEMPERATURE = {
    "temp", "temps", "temperature", "temperatures", "tempc", "tempf", "temperaturec",
    "temperaturef", "temperatur", "temperatura", "température", "temperatuur",
}  # fmt: skip
_HUMIDITY = {
    "humidity", "humid", "hum", "rh", "relhum", "humidité", "humedad", "humidade", "umidade",
    "umidità", "feuchte", "feuchtigkeit", "luftfeuchte", "luftfeuchtigkeit", "luftvochtigheid",
    "vochtigheid",
}  # fmt: skip
_STAMP = {"timestamp", "datetime", "zeitstempel", "instant", "ts", "when", "epoch", "unixtime",
          "unix", "at"}  # fmt: skip
_DATE = {"date", "datum", "fecha", "data", "day"}
_CLOCK = {"time", "zeit", "uhrzeit", "hora", "ora", "heure", "tijd", "clock"}
_INSTRUMENT = {"instrument", "sensor", "device", "probe", "logger"}
_ZONES = ({"timezone"}, {"tz"}, {"time", "zone"})
_OTHER = {
    "dew", "dewpoint", "vpd", "absolute", "abs", "heat", "index", "wet", "bulb", "battery",
    "target", "setpoint", "set", "max", "min", "maximum", "minimum", "high", "low", "alarm",
    "pressure", "feels", "elapsed", "zone", "timezone", "tz", "duration", "trend",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Columns:
    """Where things stand in a row, by number from 0; and what their headings say of them.

    Several columns may hold a time or a figure: which one counts is for the reader to settle.
    """

    headings: tuple[str, ...]
    stamps: tuple[int, ...] = ()
    dates: tuple[int, ...] = ()
    clocks: tuple[int, ...] = ()
    temperatures: tuple[int, ...] = ()
    humidities: tuple[int, ...] = ()
    instruments: tuple[int, ...] = ()
    zones: tuple[int, ...] = ()

    @property
    def usable(self) -> bool:
        """Whether there is a time, and something read at it."""
        times = self.stamps or self.dates or self.clocks
        return bool(times and (self.temperatures or self.humidities))

    @property
    def known(self) -> int:
        """How many columns are of use."""
        return sum(
            map(
                len,
                (self.stamps, self.dates, self.clocks, self.temperatures, self.humidities),
            )
        )

    def name(self, column: int) -> str:
        """The heading as written, for a sentence."""
        heading = " ".join(self.headings[column].split())[:40]
        return heading or say("column {number}", number=column + 1)


def recognise(headings: Sequence[str]) -> Columns:
    """What each column holds."""
    columns = Columns(tuple(headings))
    for number, heading in enumerate(headings):
        kind = _kind(heading.casefold().strip().strip("'\""))
        if kind is not None:
            columns = replace(columns, **{kind: (*getattr(columns, kind), number)})
    return columns


def _kind(heading: str) -> str | None:
    words = set(_WORDS.findall(heading))
    if words in _ZONES:
        return "zones"
    if words & _OTHER:
        return None
    if words & _HUMIDITY or heading in {"%", "% rh"}:
        return "humidities"
    if words & _TEMPERATURE or heading in {"t", "°c", "°f", "ºc", "ºf", "℃", "℉"}:
        return "temperatures"
    if words & _STAMP or (words & _DATE and words & _CLOCK):
        return "stamps"
    if words & _DATE:
        return "dates"
    if words & _CLOCK:
        return "clocks"
    return "instruments" if heading in _INSTRUMENT else None


def temperature_unit(heading: str) -> Literal["c", "f", "k"] | None:
    """The unit that the heading of a temperature names, or None."""
    found = _UNIT.search(heading.casefold().strip())
    if found is None:
        return None
    said = next(part for part in found.groups() if part is not None)
    return {"℃": "c", "℉": "f"}.get(said, said[0])  # type: ignore[return-value]


def same_but_for_the_unit(first: str, second: str) -> bool:
    """Whether two headings name one figure in two units."""
    bare = {
        " ".join(_WORDS.findall(_UNIT.sub(" ", heading.casefold().strip())))
        for heading in (first, second)
    }
    return len(bare) == 1 and temperature_unit(first) != temperature_unit(second)


def zone_offset(heading: str) -> timedelta | None:
    """The offset from UTC that the heading of a time names (`Time (UTC)`), or None."""
    found = _ZONE.search(heading.casefold())
    if found is None:
        return None
    sign, hours, minutes = found.groups()
    ahead = timedelta(hours=int(hours or 0), minutes=int(minutes or 0))
    return -ahead if sign in {"-", "\u2212"} else ahead
