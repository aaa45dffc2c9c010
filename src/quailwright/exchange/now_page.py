"""What sensors show now, laid out and said: for the page and for the terminal."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta, tzinfo

from quailwright.exchange.loss_chart import Mark
from quailwright.exchange.now_shown import (
    STEP,
    InstrumentNow,
    Now,
    PlaceNow,
    ShownDay,
    Verdict,
    Wanted,
    ago,
)
from quailwright.guide import wording
from quailwright.journal.entries import Units
from quailwright.journal.moments import zone
from quailwright.journal.readings import Bucket
from quailwright.language import figure, mark, say

WIDTH, HEIGHT = 360, 120
_LEFT, _RIGHT, _TOP, _BOTTOM = 38, 8, 8, 20
_LEAST_SPAN_C = 1.0
_MOST_TICKS = 4
_HOURS_APART = 6
_TICK = 16
"""Half the width of an hour along the axis: nearer to an end it is left out."""
_HOUR = timedelta(hours=1)


@dataclass(frozen=True, slots=True)
class DayChart:
    """A day of one instrument. Shapes are as an SVG takes them; upward °C (or %), along time.

    Attributes:
        ranges: lowest to highest of each quarter hour, an SVG path.
        line: means, broken where nothing was read, an SVG path.
        wanted: top and height of the band that is wanted; None for none.
        degrees, hours: ticks.
        says: the day in a sentence.
        rows: by hour: time, lowest, mean, highest, humidity.
    """

    ranges: str
    line: str
    wanted: tuple[float, float] | None
    degrees: list[Mark]
    hours: list[Mark]
    says: str
    rows: list[tuple[str, str, str, str, str]]


@dataclass(frozen=True, slots=True)
class InstrumentShown:
    """One instrument in words."""

    name: str
    value: str
    damp: str
    age: str
    stale: bool
    verdict: str
    far: bool
    off: str
    chart: DayChart | None


@dataclass(frozen=True, slots=True)
class PlaceShown:
    """One place in words; `empty`: a machine or brooder with nobody in it."""

    place: str
    known: bool
    wanted: str
    instruments: tuple[InstrumentShown, ...]
    empty: bool = False


@dataclass(frozen=True, slots=True)
class NowPage:
    """The page of what sensors show now."""

    summary: str
    places: tuple[PlaceShown, ...]
    silent: tuple[str, ...]


def now_page(told: Now, units: Units, zone_name: str, charts: bool = True) -> NowPage:
    """What is shown now in words; temperatures in the keeper's unit, times at the holding."""
    here = zone(zone_name or "UTC")
    places = tuple(_place(each, units, here, charts) for each in told.places)
    silent = tuple(
        say("{sensor}: not read since {day}.", sensor=_name(each.place, each.instrument),
            day=wording.full_day(each.at.astimezone(here).date()))
        for each in told.silent
    )  # fmt: skip
    return NowPage(_summary(told), places, silent)


def _name(place: str, instrument: str) -> str:
    return f"{place}, {instrument}" if instrument else place


def _summary(told: Now) -> str:
    shown = [one for each in told.places for one in each.instruments]
    if not shown:
        return say("No sensor has told anything yet.")
    newest = ago(max(min(one.age for one in shown), timedelta(0)))
    off = [
        each.place
        for each in told.places
        if any(one.verdict not in ("well", "") for one in each.instruments)
    ]
    stale = [
        each.place
        for each in told.places
        if any(one.stale for one in each.instruments) and not _empty(each)
    ]
    said = [say("Last reading {ago}.", ago=newest)]
    if off:
        said.append(say("Not as wanted: {places}.", places=", ".join(off)))
    if stale:
        said.append(say("Silent: {places}.", places=", ".join(stale)))
    if not off and not stale:
        said.append(say("All is as wanted."))
    return " ".join(said)


def _empty(each: PlaceNow) -> bool:
    """Whether it is a machine or brooder with nobody in it: its sensor may lie in a drawer."""
    return each.wanted is None and each.role in ("incubator", "hatcher", "brooder")


def _place(each: PlaceNow, units: Units, here: tzinfo, charts: bool) -> PlaceShown:
    wanted = each.wanted
    said = "" if wanted is None else _wanted(wanted, each.role, units)
    if _empty(each):
        said = say("Empty: nobody is in it now.")
    return PlaceShown(
        each.place,
        each.role is not None,
        said,
        tuple(_instrument(one, wanted, units, here, charts) for one in each.instruments),
        _empty(each),
    )


def _wanted(wanted: Wanted, role: str | None, units: Units) -> str:
    low, high = (wording.temperature(each, units) for each in (wanted.low_c, wanted.high_c))
    if role == "brooder":
        return say(
            "{whose}: wanted under the heat {low} to {high}.", whose=wanted.whose, low=low[:-3],
            high=high,
        )  # fmt: skip
    return say("Eggs of {whose}: wanted {low} to {high}.", whose=wanted.whose, low=low[:-3],
               high=high)  # fmt: skip


_VERDICTS: Mapping[Verdict, str] = {
    "well": mark("as wanted"),
    "low": mark("cooler than wanted"),
    "high": mark("warmer than wanted"),
    "far_low": mark("far too cold"),
    "far_high": mark("far too hot"),
    "": "",
}


def _instrument(
    one: InstrumentNow, wanted: Wanted | None, units: Units, here: tzinfo, charts: bool
) -> InstrumentShown:
    age = say("silent: last reading {ago}", ago=ago(one.age)) if one.stale else ago(one.age)
    damp = "" if one.humidity_pct is None else say("{percent:.0f} % humidity",
                                                   percent=one.humidity_pct)  # fmt: skip
    return InstrumentShown(
        one.instrument,
        "" if one.temperature_c is None else wording.temperature(one.temperature_c, units),
        damp,
        age,
        one.stale,
        say(_VERDICTS[one.verdict]),
        one.verdict in ("far_low", "far_high"),
        _off(one, units),
        day_chart(one.day, wanted, units, here) if charts and one.day is not None else None,
    )


def _off(one: InstrumentNow, units: Units) -> str:
    """What it shows itself, where that is not what is told."""
    warm = wording.temperature(one.shown_temperature_c or 0.0, units)
    off_c = one.temperature_c is not None and one.temperature_c != one.shown_temperature_c
    if one.humidity_pct is None or one.humidity_pct == one.shown_humidity_pct:
        return (
            say("It shows {shown} itself; what it is off by is taken off.", shown=warm)
            if off_c
            else ""
        )
    if off_c:
        return say(
            "It shows {shown} and {percent:.0f} % itself; what it is off by is taken off.",
            shown=warm,
            percent=one.shown_humidity_pct,
        )
    return say("It shows {shown:.0f} % itself; what it is off by is taken off.",
               shown=one.shown_humidity_pct)  # fmt: skip


def _temperature(bucket: Bucket) -> tuple[float, float, float] | None:
    low, mean, high = bucket.temperature_low_c, bucket.temperature_c, bucket.temperature_high_c
    return None if low is None or mean is None or high is None else (low, mean, high)


def _humidity(bucket: Bucket) -> tuple[float, float, float] | None:
    low, mean, high = bucket.humidity_low_pct, bucket.humidity_pct, bucket.humidity_high_pct
    return None if low is None or mean is None or high is None else (low, mean, high)


def day_chart(day: ShownDay, wanted: Wanted | None, units: Units, here: tzinfo) -> DayChart | None:
    """The chart of a day; None where there are not two quarter hours to join."""
    warm = [(each, values) for each in day.buckets if (values := _temperature(each))]
    damp = [(each, values) for each in day.buckets if (values := _humidity(each))]
    drawn, of_warmth = (warm, True) if warm else (damp, False)
    if len(drawn) < 2:
        return None
    band = wanted if of_warmth else None
    bottom = min(values[0] for _, values in drawn)
    top = max(values[2] for _, values in drawn)
    if band is not None:
        bottom, top = min(bottom, band.low_c), max(top, band.high_c)
    room = max(_LEAST_SPAN_C - (top - bottom), 0.0) / 2 + (top - bottom) * 0.05
    bottom, top = bottom - room, top + room

    def along(at: datetime) -> float:
        share = (at - day.start) / (day.end - day.start)
        return round(_LEFT + (WIDTH - _LEFT - _RIGHT) * min(max(share, 0.0), 1.0), 1)

    def up(value: float) -> float:
        share = (value - bottom) / (top - bottom)
        return round(HEIGHT - _BOTTOM - (HEIGHT - _TOP - _BOTTOM) * share, 1)

    ranges = line = ""
    before: datetime | None = None
    for bucket, (low, mean, high) in drawn:
        x = along(bucket.start + STEP / 2)
        ranges += f"M{x} {up(low)}V{up(high)}"
        joined = before is not None and bucket.start - before <= 2 * STEP
        line += f"{'L' if joined else 'M'}{x} {up(mean)}"
        before = bucket.start
    return DayChart(
        ranges,
        line,
        None if band is None else (up(band.high_c), round(up(band.low_c) - up(band.high_c), 1)),
        _degrees(bottom, top, up, units, of_warmth),
        _hours(day, along, here),
        _day_says(day, warm, damp, wanted, units, here),
        _rows(day, units, here),
    )


def _degrees(
    bottom: float, top: float, up: Callable[[float], float], units: Units, of_warmth: bool
) -> list[Mark]:
    us = units == "us" and of_warmth
    low, high = (wording.fahrenheit(each) if us else each for each in (bottom, top))
    step = next(
        each for each in (0.5, 1, 2, 5, 10, 20, 50, 100) if (high - low) / each <= _MOST_TICKS
    )
    first = -(-low // step)
    marks = []
    while first * step <= high:
        shown = first * step
        value = (shown - 32) / 1.8 if us else shown
        marks.append(Mark(_LEFT, up(value), figure(shown, "g")))
        first += 1
    return marks


def _hours(day: ShownDay, along: Callable[[datetime], float], here: tzinfo) -> list[Mark]:
    first = day.start.astimezone(here).replace(minute=0, second=0, microsecond=0)
    marks = []
    at = first
    while at <= day.end:
        x = along(at)
        if _LEFT + _TICK < x < WIDTH - _TICK and at.hour % _HOURS_APART == 0:
            marks.append(Mark(x, HEIGHT - _BOTTOM, f"{at:%H:%M}"))
        at += _HOUR
    return marks


def _day_says(
    day: ShownDay,
    warm: list[tuple[Bucket, tuple[float, float, float]]],
    damp: list[tuple[Bucket, tuple[float, float, float]]],
    wanted: Wanted | None,
    units: Units,
    here: tzinfo,
) -> str:
    said = []
    if warm:
        coldest = min(warm, key=lambda one: one[1][0])
        hottest = max(warm, key=lambda one: one[1][2])
        said.append(
            say(
                "In 24 hours from {low} (about {when_low}) to {high} (about {when_high}).",
                low=wording.temperature(coldest[1][0], units),
                when_low=_clock(coldest[0].start, here),
                high=wording.temperature(hottest[1][2], units),
                when_high=_clock(hottest[0].start, here),
            )
        )
        if wanted is not None:
            outside = [1 for _, (_, mean, _) in warm if not wanted.low_c <= mean <= wanted.high_c]
            said.append(
                say("Outside what is wanted for about {hours:.1f} h.",
                    hours=len(outside) * (STEP / _HOUR))
                if outside
                else say("As wanted all the time that was read.")
            )  # fmt: skip
    if damp:
        said.append(
            say("Humidity {low:.0f} to {high:.0f} %.", low=min(v[0] for _, v in damp),
                high=max(v[2] for _, v in damp))
        )  # fmt: skip
    unread = (day.end - day.start) / STEP - len({each.start for each in day.buckets})
    if unread >= _UNREAD_TOLD and (day.usual_step_h or 0.0) <= STEP / _HOUR:
        said.append(say("Not read for about {hours:.0f} h.", hours=unread * (STEP / _HOUR)))
    return " ".join(said)


_UNREAD_TOLD = 4


def _clock(at: datetime, here: tzinfo) -> str:
    return f"{at.astimezone(here):%H:%M}"


def _rows(day: ShownDay, units: Units, here: tzinfo) -> list[tuple[str, str, str, str, str]]:
    """By hour, newest first."""
    hours: dict[datetime, list[Bucket]] = {}
    for each in day.buckets:
        at = each.start.astimezone(here)
        hours.setdefault(at.replace(minute=0, second=0, microsecond=0), []).append(each)
    rows = []
    for at, some in reversed(hours.items()):
        warm = [values for each in some if (values := _temperature(each))]
        damp = [values for each in some if (values := _humidity(each))]
        figures = ["", "", ""]
        if warm:
            shown = (
                min(each[0] for each in warm),
                sum(each[1] for each in warm) / len(warm),
                max(each[2] for each in warm),
            )
            figures = [wording.temperature(each, units) for each in shown]
        percent = figure(sum(each[1] for each in damp) / len(damp), ".0f") if damp else ""
        rows.append((f"{at:%H:%M}", figures[0], figures[1], figures[2], percent))
    return rows
