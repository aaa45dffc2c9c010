"""The air that a hatch lived in, by day from setting: what the instrument showed, gaps as gaps."""

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from math import inf
from statistics import fmean

from quailwright.husbandry import facts
from quailwright.husbandry.egg_water import (
    PASCAL_PER_TORR,
    egg_excess_c,
    saturation_pressure_pa,
)

_STEPS_A_DAY = 4
_HOURS_A_DAY = 24.0


@dataclass(frozen=True, slots=True)
class Span:
    """A stretch of logged air: from one day of the hatch to another, with the means shown there."""

    day_from: float
    day_to: float
    temperature_c: float | None
    humidity_pct: float | None


@dataclass(frozen=True, slots=True)
class VapourDays:
    """Vapour pressure summed over a stretch of days, in torr x day.

    `inside` the egg, `air` the saturated air around it, `shown` what the hygrometer's reading made
    of it. With a hygrometer that shows `b` points too much, the difference that dries the egg is
    `inside - shown + b / 100 * air`.
    """

    inside: float
    air: float
    shown: float

    def difference(self, humidity_offset_pct: float) -> float:
        """The drying difference, torr x day, for an offset in points."""
        return self.inside - self.shown + humidity_offset_pct / 100.0 * self.air


@dataclass(frozen=True, slots=True)
class Warmth:
    """Temperature over a stretch of days, true as far as the thermometer's offset is known.

    Attributes:
        mean_c, swing_c: mean, and the usual difference of a day's highest and lowest; None where
            nothing was logged.
        hours_hot, hours_cold: hours in which it would harm embryos.
        share: share of the stretch that was logged, 0 to 1.
    """

    mean_c: float | None
    hours_hot: float | None
    hours_cold: float | None
    swing_c: float | None
    share: float


@dataclass(frozen=True)
class Air:
    """Spans of logged air, in order of time; what lies between them nobody knows.

    Attributes:
        spans: the logged stretches; none begins before the last one ended.
        temperature_offset_c: what the thermometer is known to show too much.
        moved_on: day from which the air is that for hatching, which says nothing of the usual one.
        hygrometer: name of the instrument that showed the humidity; '' when nobody named it.
        humidity_offset_pct: what it is known to show too much, None while it is unchecked.
    """

    spans: Sequence[Span] = ()
    temperature_offset_c: float = 0.0
    moved_on: float = inf
    hygrometer: str = ""
    humidity_offset_pct: float | None = None

    @cached_property
    def has_humidity(self) -> bool:
        """Whether any humidity was logged."""
        return any(span.humidity_pct is not None for span in self.spans)

    @cached_property
    def usual_c(self) -> float:
        """Usual true temperature of what was logged, outages left out, or the usual setting."""
        return self._usual_c(-inf, inf)

    def recent_c(self, day: float, within: float = 3.0) -> float:
        """The same of the days before `day`: what the machine, which may drift, will go on with."""
        return self._usual_c(day - within, day)

    def _usual_c(self, day_from: float, day_to: float) -> float:
        known = [
            (span.temperature_c - self.temperature_offset_c, span.day_to - span.day_from)
            for span in self._before_moving
            if span.temperature_c is not None and day_from < span.day_to and span.day_from < day_to
        ]
        if not known:
            return facts.value("incubation.temperature") if day_from == -inf else self.usual_c
        middle = _median(known)
        mean = _mean([(c, d) for c, d in known if abs(c - middle) <= _OF_ONE_SETTING_C])
        return middle if mean is None else mean

    @cached_property
    def _before_moving(self) -> Sequence[Span]:
        """The spans of the machine in which eggs are turned; all where there are no such."""
        return [span for span in self.spans if span.day_from < self.moved_on] or self.spans

    @cached_property
    def usual_humidity_pct(self) -> float:
        """Mean humidity shown, or a middling one where none was logged."""
        mean = _mean([(s.humidity_pct, s.day_to - s.day_from) for s in self._before_moving])
        return facts.value("egg_water.humidity_unknown_pct") if mean is None else mean

    def recent_humidity_pct(self, day: float, within: float = 1.0) -> float:
        """Mean humidity shown in the days before `day`, or the usual one."""
        recent = [
            (span.humidity_pct, min(day, span.day_to) - max(day - within, span.day_from))
            for span in self.spans
            if span.day_to > day - within and span.day_from < day
        ]
        mean = _mean(recent)
        return self.usual_humidity_pct if mean is None else mean

    def at(self, day: float) -> tuple[float, float]:
        """True temperature and humidity shown on a day; the usual ones where nothing was logged."""
        place = bisect_right(self._begins, day) - 1
        if place < 0 or day >= self.spans[place].day_to:
            return self.usual_c, self.usual_humidity_pct
        span = self.spans[place]
        shown = self.usual_humidity_pct if span.humidity_pct is None else span.humidity_pct
        if span.temperature_c is None:
            return self.usual_c, shown
        return span.temperature_c - self.temperature_offset_c, shown

    @cached_property
    def _begins(self) -> list[float]:
        return [span.day_from for span in self.spans]

    def temperature_between(self, day_from: float, day_to: float) -> Warmth:
        """What is known of the temperature between two days."""
        parts = [
            (span.temperature_c - self.temperature_offset_c, first, last)
            for span in self.spans
            for first, last in [(max(day_from, span.day_from), min(day_to, span.day_to))]
            if span.temperature_c is not None and last > first
        ]
        if not parts:
            return Warmth(None, None, None, None, 0.0)
        hot_c = facts.figure("incubation.temperature_harm_high").low
        cold_c = facts.value("incubation.temperature_harm_low")
        hours = [_HOURS_A_DAY * (last - first) for _, first, last in parts]
        by_day: dict[int, list[float]] = {}
        for temperature, first, _ in parts:
            by_day.setdefault(int(first), []).append(temperature)
        logged = sum(hours)
        return Warmth(
            sum(t * h for (t, _, _), h in zip(parts, hours, strict=True)) / logged,
            sum(h for (t, _, _), h in zip(parts, hours, strict=True) if t > (hot_c or t)),
            sum(h for (t, _, _), h in zip(parts, hours, strict=True) if t < cold_c),
            fmean(max(values) - min(values) for values in by_day.values()),
            min(1.0, logged / (_HOURS_A_DAY * max(day_to - day_from, 1e-9))),
        )

    def humidity_between(self, day_from: float, day_to: float) -> float | None:
        """Mean humidity shown between two days, or None."""
        return _mean(
            [
                (span.humidity_pct, min(day_to, span.day_to) - max(day_from, span.day_from))
                for span in self.spans
            ]
        )

    def gaps(self, until_day: float) -> list[tuple[float, float]]:
        """Stretches without a temperature once logging had begun, from day to day."""
        known = [span for span in self.spans if span.temperature_c is not None]
        ends = [span.day_to for span in known]
        begins = [*(span.day_from for span in known[1:]), max([until_day, *ends[-1:]])]
        return [
            (end, min(begin, until_day))
            for end, begin in zip(ends, begins, strict=False)
            if min(begin, until_day) - end > _NO_GAP_D
        ]

    def vapour_days(self, day_from: float, day_to: float) -> VapourDays:
        """What dried the eggs between two days, as logged."""
        return self._summed(day_from, day_to, None)

    def vapour_days_at(self, day_from: float, day_to: float, humidity_pct: float) -> VapourDays:
        """The same if the hygrometer showed `humidity_pct` all the time."""
        return self._summed(day_from, day_to, humidity_pct)

    def _summed(self, day_from: float, day_to: float, humidity_pct: float | None) -> VapourDays:
        steps = max(1, round((day_to - day_from) * _STEPS_A_DAY))
        width = (day_to - day_from) / steps
        inside = air = shown = 0.0
        for step in range(steps):
            day = day_from + (step + 0.5) * width
            temperature, logged = self.at(day)
            temperature = max(temperature, 0.0)  # frozen eggs lose no water worth counting
            around = saturation_pressure_pa(round(temperature, 1)) / PASCAL_PER_TORR
            within = saturation_pressure_pa(round(temperature + egg_excess_c(day), 1))
            inside += width * within / PASCAL_PER_TORR
            air += width * around
            shown += width * around * (logged if humidity_pct is None else humidity_pct) / 100.0
        return VapourDays(inside, air, shown)


_OF_ONE_SETTING_C = 2.0
"""Temperatures this near the middle one belong to one setting and its swing; others to outages."""
_NO_GAP_D = 1e-6


def _median(pairs: Sequence[tuple[float, float]]) -> float:
    """The value with half of the weight on either side."""
    half, below = sum(weight for _, weight in pairs) / 2, 0.0
    for value, weight in sorted(pairs):
        below += weight
        if below >= half:
            return value
    raise ValueError("no values")


def _mean(pairs: Sequence[tuple[float | None, float]]) -> float | None:
    known = [(value, weight) for value, weight in pairs if value is not None and weight > 0]
    total = sum(weight for _, weight in known)
    return sum(value * weight for value, weight in known) / total if total else None
