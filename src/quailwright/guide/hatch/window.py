"""When the chicks come: thermal time from the logged temperature, storage, outages, the machine.

Development runs at a rate that rises in a straight line with temperature; a hatch is due when it is
complete. What is not logged is taken at the usual temperature, and widens the window. A machine
that hatched early before will do so again: its habit is learnt, with a published prior.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import cached_property
from math import hypot
from statistics import NormalDist

from quailwright.guide.hatch.air import Air
from quailwright.guide.hatch.case import Estimate
from quailwright.husbandry import facts
from quailwright.husbandry.incubation import (
    development_rate_per_h,
    outage_delay_h,
    storage_delay_h,
)
from quailwright.husbandry.proportion import QUANTILES

_HOURS_A_DAY = 24.0
_STEPS_A_DAY = 8
_LONGEST_DAYS = 40.0


@dataclass(frozen=True, slots=True)
class HeatLoss:
    """An outage: the day of the hatch on which it began, its hours, and the lowest temperature."""

    day: float
    hours: float
    lowest_c: float | None


@dataclass(frozen=True)
class TimeRecord:
    """What one hatch tells of time.

    Attributes:
        machine: the incubator, to learn its habit by.
        set_at: the moment of setting.
        set_hour_known: whether the time of day was logged.
        air: temperature as logged.
        storage_days: mean days from lay to setting, or None.
        outages: heat failures that were entered.
        thermometer_checked: whether its offset is known.
        hatched_hours: mean hours from setting to the chicks logged, or None.
        chicks: chicks logged.
    """

    machine: str
    set_at: datetime
    set_hour_known: bool
    air: Air
    storage_days: float | None
    outages: Sequence[HeatLoss]
    thermometer_checked: bool
    hatched_hours: float | None = None
    chicks: int = 0

    @cached_property
    def hours_at_hatching(self) -> float:
        """`expected_hours` when the chicks were logged: against which a machine's habit shows."""
        return expected_hours(self, (self.hatched_hours or 0.0) / _HOURS_A_DAY)


def expected_hours(record: TimeRecord, now_days: float) -> float:
    """Mean hours from setting to a chick, by the temperature logged until now and usual after."""
    done, day, width = 0.0, 0.0, 1.0 / _STEPS_A_DAY
    ahead = development_rate_per_h(record.air.recent_c(now_days)) * width * _HOURS_A_DAY
    while done < 1.0 and day < _LONGEST_DAYS:
        middle = day + width / 2
        step = ahead
        if middle <= now_days:
            step = development_rate_per_h(record.air.at(middle)[0]) * width * _HOURS_A_DAY
        if step > 0 and done + step >= 1.0:
            day += width * (1.0 - done) / step
            break
        done += step
        day += width
    cool = [outage for outage in record.outages if not _logged(record.air, outage)]
    delayed = sum(outage_delay_h(outage.hours, outage.lowest_c) for outage in cool)
    risk, dark_h = _hidden_outage(record, now_days)
    return (
        day * _HOURS_A_DAY
        + delayed
        + risk * outage_delay_h(dark_h)
        + storage_delay_h(record.storage_days or 0.0)
    )


def _logged(air: Air, outage: HeatLoss) -> bool:
    """Whether readings cover the outage, so that it is in the temperature already."""
    middle = outage.day + outage.hours / _HOURS_A_DAY / 2
    return any(
        span.day_from <= middle < span.day_to and span.temperature_c is not None
        for span in air.spans
    )


def _hidden_outage(record: TimeRecord, now_days: float) -> tuple[float, float]:
    """The chance that the longest gap in the readings hides an outage, and its length [h].

    A gap in which an outage was entered hides none. One longer than any likely outage is a logger
    that nobody read, with room for one outage.
    """
    last = min(now_days, facts.value("incubation.hatch_day_last"))
    gaps = [
        _HOURS_A_DAY * (end - start)
        for start, end in record.air.gaps(last)
        if not any(start <= outage.day <= end for outage in record.outages)
    ]
    longest = max(gaps, default=0.0)
    return (
        facts.value("incubation.gap_outage_chance"),
        min(longest, facts.value("incubation.gap_outage_longest_h")),
    )


def mean_spread_h(record: TimeRecord, now_days: float) -> float:
    """Spread of a hatch's mean time that readings leave open.

    It holds biology, the delay by storage, hours that nobody logged (all of them where no
    thermometer was ever read out), an outage that a gap may hide, and the hour of setting where
    only the day was logged.
    """
    logged = sum(
        max(0.0, min(span.day_to, now_days) - span.day_from)
        for span in record.air.spans
        if span.temperature_c is not None
    )
    whole = facts.value("incubation.hatch_duration_h") / _HOURS_A_DAY
    dark = max(0.0, min(now_days, whole) - logged) if logged else whole
    usual = facts.value("incubation.temperature") - facts.value("incubation.rate_zero_c")
    hours_a_degree = _HOURS_A_DAY * dark / usual
    unlogged = hours_a_degree * facts.value("incubation.temperature_gap_sd_c")
    risk, dark_h = _hidden_outage(record, now_days)
    hidden = (risk * (1.0 - risk)) ** 0.5 * outage_delay_h(dark_h)
    hour_of_setting = 0.0 if record.set_hour_known else _HOURS_A_DAY / 4
    biology = facts.value("incubation.hatch_mean_sd_h")
    stored = storage_delay_h(record.storage_days or 0.0)
    stored *= facts.value("incubation.hatch_delay_storage_cv")
    return hypot(biology, stored, unlogged, hidden, hour_of_setting)


def machine_habit(earlier: Sequence[TimeRecord], machine: str, checked: bool = False) -> Estimate:
    """Hours by which this machine hatches later than its readings say (negative: early).

    `checked` says that its thermometer's offset is known, so that less of a habit is expected.
    """
    key = "incubation.hatch_machine_checked_sd_h" if checked else "incubation.hatch_machine_sd_h"
    spread = facts.value(key)
    precision, weighted = 1.0 / spread**2, 0.0
    for record in earlier:
        late = _hours_late(record)
        if record.machine == machine and late is not None and not beyond_habit(record):
            weighted += late.mean / late.sd**2
            precision += 1.0 / late.sd**2
    return Estimate(weighted / precision, precision**-0.5)


def _hours_late(record: TimeRecord) -> Estimate | None:
    """How late its chicks were against its log; None while no chick is logged."""
    if record.hatched_hours is None or not record.chicks:
        return None
    spread = hypot(
        mean_spread_h(record, record.hatched_hours / _HOURS_A_DAY),
        facts.value("incubation.hatch_within_sd_h") / record.chicks**0.5,
        facts.value("incubation.chicks_seen_sd_h"),
    )
    return Estimate(record.hatched_hours - record.hours_at_hatching, spread)


def beyond_habit(record: TimeRecord) -> bool:
    """Whether its chicks came further off their log than any machine's habit explains.

    Most likely a date or the log is wrong: such a hatch teaches nothing.
    """
    late = _hours_late(record)
    if late is None:
        return False
    habits = facts.value("incubation.hatch_machine_sd_h")
    return abs(late.mean) > _BEYOND_CHANCE * hypot(habits, late.sd)


_BEYOND_CHANCE = 4.0
"""Standard deviations beyond which a hatch's time is no habit of its machine."""


@dataclass(frozen=True, slots=True)
class Window:
    """When chicks come out.

    Attributes:
        mean_at: the hatch's expected mean time.
        mean_sd_h: how far that may be off.
        chick_sd_h: spread of a chick's time: of the mean and of chicks about it together.
    """

    mean_at: datetime
    mean_sd_h: float
    chick_sd_h: float

    def quantiles(self) -> dict[str, datetime]:
        """When a chick of this hatch comes: mean and quantiles."""
        return self._around(self.mean_at, self.chick_sd_h)

    def first_of(self, chicks: float) -> dict[str, datetime]:
        """When the first of so many chicks comes (by the mean of a normal's smallest of n)."""
        within = facts.value("incubation.hatch_within_sd_h")
        share = _smallest_of(max(1.0, chicks))
        first = later(self.mean_at, within * NormalDist().inv_cdf(share))
        return self._around(first, hypot(self.mean_sd_h, within / 2))

    def last_of(self, chicks: float) -> datetime:
        """When the last of so many chicks is expected."""
        within = facts.value("incubation.hatch_within_sd_h")
        hours = -within * NormalDist().inv_cdf(_smallest_of(max(1.0, chicks)))
        return whole_minutes(later(self.mean_at, hours))

    def _around(self, centre: datetime, spread_h: float) -> dict[str, datetime]:
        normal = NormalDist(0.0, max(spread_h, 1e-6))
        found = {"mean": whole_minutes(centre)}
        for name, share in QUANTILES.items():
            found[name] = whole_minutes(later(centre, normal.inv_cdf(share)))
        return found


def _smallest_of(count: float) -> float:
    """Share of a normal below which the smallest of `count` lies on average (Blom 1958)."""
    return (1.0 - 0.375) / (count + 0.25)


def later(at: datetime, hours: float) -> datetime:
    """The instant so many hours after `at`, in its zone: embryos do not know of clock changes."""
    return (at.astimezone(UTC) + timedelta(hours=hours)).astimezone(at.tzinfo)


def whole_minutes(at: datetime) -> datetime:
    """The minute of a moment: no chick keeps to the second."""
    return at.replace(second=0, microsecond=0)


def window(record: TimeRecord, earlier: Sequence[TimeRecord], now_days: float) -> Window:
    """When the chicks of this hatch come, from what was known by day `now_days`."""
    habit = machine_habit(earlier, record.machine, record.thermometer_checked)
    hours = expected_hours(record, now_days) + habit.mean
    mean_sd = hypot(mean_spread_h(record, now_days), habit.sd)
    within = facts.value("incubation.hatch_within_sd_h")
    return Window(later(record.set_at, hours), mean_sd, hypot(mean_sd, within))
