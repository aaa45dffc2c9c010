"""What readings say of a place: how warm and damp, for how long, and where nothing was read.

Between two readings the air is taken to change evenly; where readings are too far apart to say so
there is a gap, and a gap counts as nothing, neither as cold nor as warm. Readings in which the
sensor was stuck or spiked are told and left out. Limits are in `facts/sensors.csv`.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta, tzinfo
from itertools import pairwise
from typing import TYPE_CHECKING, Any

from quailwright.flock.sensor_faults import HOUR_MS, faults, gap_ms
from quailwright.husbandry import facts
from quailwright.journal.entries import Instrument
from quailwright.journal.findings import Finding
from quailwright.journal.readings import Readings, from_ms, to_ms

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Instants = NDArray[np.int64]
    Mask = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Band:
    """Between `low` and `high` is well; beyond `far_low` and `far_high` is far outside."""

    low: float
    high: float
    far_low: float
    far_high: float


@dataclass(frozen=True, slots=True)
class Gap:
    """A time in which nothing was read."""

    start: datetime
    end: datetime
    hours: float


@dataclass(frozen=True, slots=True)
class Quantity:
    """Temperature [°C] or relative humidity [%] over a span.

    `readings` and `left_out` count those that are at hand: of long ago, the ones kept. `mean`
    weighs by time; `hours_below` and the like say for how long of `hours_covered`. They
    are None without a band. `hours_far` are part of those below and above.
    """

    readings: int
    left_out: int
    hours_covered: float
    mean: float
    lowest: float
    highest: float
    hours_below: float | None = None
    hours_above: float | None = None
    hours_far: float | None = None


@dataclass(frozen=True, slots=True)
class Day:
    """One calendar day at the holding. A mean is None where the day has no two readings."""

    on: date
    readings: int
    hours_covered: float
    temperature_c: float | None
    temperature_low_c: float | None
    temperature_high_c: float | None
    humidity_pct: float | None
    humidity_low_pct: float | None
    humidity_high_pct: float | None


@dataclass(frozen=True, slots=True)
class Climate:
    """What one instrument showed at one place from `start` to `end`."""

    place: str
    instrument: str
    start: datetime
    end: datetime
    readings: int
    hours: float
    hours_covered: float
    temperature: Quantity | None
    humidity: Quantity | None
    gaps: tuple[Gap, ...]
    days: tuple[Day, ...]
    findings: tuple[Finding, ...]


@dataclass(frozen=True, slots=True, eq=False)
class Series:
    """Means over even steps, for reckoning with.

    Attributes:
        start_ms: beginning of each step, ms since 1970-01-01T00:00Z, int64, shape (n,).
        step_s: length of a step [s].
        temperature_c: mean over the read part of the step [°C], shape (n,); NaN in a gap.
        humidity_pct: the same for relative humidity [%].
        temperature_covered: share of the step that readings cover, 0 to 1, shape (n,).
        humidity_covered: the same for humidity.
    """

    start_ms: "Instants"
    step_s: float
    temperature_c: "Floats"
    humidity_pct: "Floats"
    temperature_covered: "Floats"
    humidity_covered: "Floats"


def machine_band() -> Band:
    """The band of temperature of an incubator or hatcher [°C], from `facts/sensors.csv`."""
    low, high = facts.spread("sensors.machine_band")
    far_low, far_high = facts.spread("sensors.machine_far")
    return Band(low, high, far_low, far_high)


def corrected(readings: Readings, instrument: Instrument | None) -> Readings:
    """What was true where the instrument showed `readings`: shown minus what it is off by."""
    if instrument is None:
        return readings
    return replace(
        readings,
        temperature_c=readings.temperature_c - (instrument.temperature_offset_c or 0.0),
        humidity_pct=readings.humidity_pct - (instrument.humidity_offset_pct or 0.0),
    )


def climate(
    readings: Readings,
    start: datetime,
    end: datetime,
    zone: tzinfo,
    band: Band | None = None,
    keep_faults: bool = False,
) -> Climate:
    """Sums up what one instrument showed from `start` to before `end` (aware).

    Args:
        readings: what it showed, at least in that span, in order of time.
        zone: the holding's, for calendar days.
        band: the temperatures to hold the hours against [°C].
        keep_faults: leave stuck and spiking readings in.

    Returns:
        The summary; its findings tell of stuck and spiking readings.
    """
    import numpy as np

    low, high = np.searchsorted(readings.at_ms, [to_ms(start), to_ms(end)])
    at = readings.at_ms[low:high]
    celsius, percent = readings.temperature_c[low:high], readings.humidity_pct[low:high]
    findings: list[Finding] = []
    lines = []
    for name, unit, values, limit in (
        ("temperature", "°C", celsius, facts.value("sensors.spike_temperature_c")),
        ("humidity", "%", percent, facts.value("sensors.spike_humidity_pct")),
    ):
        read = ~np.isnan(values)
        found = faults(at[read], values[read], limit)
        findings += found.findings(name, unit, zone)
        good = read.copy()
        if not keep_faults:
            good[read] = ~found.left_out
        lines.append(_line(at[good], values[good], int(read.sum())))
    warm, damp = lines
    edges, days = _midnights(start, end, zone)
    gaps = _gaps(at, to_ms(start), to_ms(end))
    hours = (to_ms(end) - to_ms(start)) / HOUR_MS
    each = np.ones(len(at)) if readings.stands_for is None else readings.stands_for[low:high]
    return Climate(
        readings.place,
        readings.instrument,
        start,
        end,
        int(each.sum()),
        hours,
        hours - sum(gap.hours for gap in gaps),
        warm.quantity(band),
        damp.quantity(None),
        gaps,
        _by_day(at, each, warm, damp, edges, days),
        tuple(findings),
    )


def series(
    readings: Sequence[Readings],
    start: datetime,
    end: datetime,
    step: timedelta = timedelta(hours=1),
    instruments: Mapping[str, Instrument] | None = None,
    keep_faults: bool = False,
) -> Series:
    """A place's readings as means over even steps from `start` on, the last one ending by `end`.

    Several instruments are averaged step by step, each corrected by its entry in `instruments`
    (`flock.instruments`) if that is given. Where none has readings a step is NaN. Stuck and
    spiking readings are left out unless `keep_faults`.
    """
    import numpy as np

    step_ms = step // timedelta(milliseconds=1)
    first = to_ms(start)
    edges = np.arange(first, to_ms(end) + 1, step_ms, dtype=np.int64)
    columns = []
    for column in ("temperature_c", "humidity_pct"):
        means, shares = [], []
        for each in readings:
            true = corrected(each, (instruments or {}).get(each.instrument))
            values = getattr(true, column)
            read = ~np.isnan(values)
            at, values = true.at_ms[read], values[read]
            if not keep_faults:
                good = ~faults(at, values, facts.value(f"sensors.spike_{column}")).left_out
                at, values = at[good], values[good]
            mean, covered_ms = _line(at, values, len(at)).means(edges)
            means.append(mean)
            shares.append(covered_ms / step_ms)
        columns.append(_averaged(means, shares, len(edges) - 1))
    (warm, warm_share), (damp, damp_share) = columns
    return Series(edges[:-1], step.total_seconds(), warm, damp, warm_share, damp_share)


def _averaged(
    means: "Sequence[Floats]", shares: "Sequence[Floats]", steps: int
) -> "tuple[Floats, Floats]":
    import numpy as np

    if not means:
        return np.full(steps, np.nan), np.zeros(steps)
    table = np.array(means)
    read = ~np.isnan(table)
    count = read.sum(axis=0)
    total = np.where(read, table, 0.0).sum(axis=0)
    average = np.full(steps, np.nan)
    np.divide(total, count, out=average, where=count > 0)
    return average, np.max(np.array(shares), axis=0)


# A line through readings, broken at gaps.


@dataclass(frozen=True, slots=True, eq=False)
class _Line:
    """Values joined by straight lines where no gap lies between them."""

    at_ms: "Instants"
    values: "Floats"
    joined: "Mask"
    read: int

    def quantity(self, band: Band | None) -> Quantity | None:
        """Its summary; None when nothing was read or all was left out."""
        import numpy as np

        values = self.values
        if not len(values):
            return None
        held_ms = np.where(self.joined, np.diff(self.at_ms), 0)
        covered = int(held_ms.sum())
        mean = values.mean()
        if covered:
            mean = float(((values[1:] + values[:-1]) / 2 * held_ms).sum() / covered)
        below = above = far = None
        if band is not None:
            hours = covered / HOUR_MS
            above = self._hours_above(band.high, held_ms)
            below = hours - self._hours_above(band.low, held_ms, at_it=True)
            far = self._hours_above(band.far_high, held_ms)
            far += hours - self._hours_above(band.far_low, held_ms, at_it=True)
        return Quantity(
            len(values),
            self.read - len(values),
            covered / HOUR_MS,
            float(mean),
            float(values.min()),
            float(values.max()),
            below,
            above,
            far,
        )

    def _hours_above(self, limit: float, held_ms: "Instants", at_it: bool = False) -> float:
        """Hours above a limit; with `at_it`, those exactly at it too."""
        import numpy as np

        first, last = self.values[:-1], self.values[1:]
        low, high = np.minimum(first, last), np.maximum(first, last)
        rise = high - low
        flat = (low >= limit) if at_it else (low > limit)
        share = np.where(flat, 1.0, 0.0)
        np.divide(high - limit, rise, out=share, where=rise > 0)
        return float((np.clip(share, 0.0, 1.0) * held_ms).sum() / HOUR_MS)

    def means(self, edges_ms: "Instants") -> "tuple[Floats, Floats]":
        """Mean between each two edges over the part that is covered, NaN where none is; and how
        much that is [ms]."""
        import numpy as np

        total, covered = (np.diff(sums) for sums in self._sums(edges_ms))
        mean = np.full(len(total), np.nan)
        np.divide(total, covered, out=mean, where=covered > 0)
        return mean, covered

    def _sums(self, edges_ms: "Instants") -> "tuple[Floats, Floats]":
        """The line's integral, and the time it covers, from its beginning to each edge."""
        import numpy as np

        at = self.at_ms
        if len(at) < 2:
            nothing = np.zeros(len(edges_ms))
            return nothing, nothing
        held = np.where(self.joined, np.diff(at), 0).astype(np.float64)
        middles = (self.values[1:] + self.values[:-1]) / 2
        total = np.concatenate(([0.0], np.cumsum(middles * held)))
        covered = np.concatenate(([0.0], np.cumsum(held)))
        edges = np.clip(edges_ms, at[0], at[-1])
        piece = np.clip(np.searchsorted(at, edges, side="right") - 1, 0, len(at) - 2)
        into = np.where(self.joined[piece], edges - at[piece], 0).astype(np.float64)
        slope = np.diff(self.values)[piece] / np.diff(at)[piece]
        part = into * (self.values[piece] + slope * into / 2)
        return total[piece] + part, covered[piece] + into


def _line(at_ms: "Instants", values: "Floats", read: int) -> _Line:
    import numpy as np

    steps = np.diff(at_ms)
    return _Line(at_ms, values, steps <= gap_ms(steps), read)


def _gaps(at_ms: "Instants", start_ms: int, end_ms: int) -> tuple[Gap, ...]:
    """Gaps between readings, and before the first and after the last of the span."""
    import numpy as np

    limit = gap_ms(np.diff(at_ms))
    bounds = np.concatenate(([start_ms], at_ms, [end_ms]))
    apart = np.diff(bounds)
    found = np.flatnonzero(apart > limit) if len(at_ms) else np.array([0])
    return tuple(
        Gap(from_ms(bounds[i]), from_ms(bounds[i + 1]), float(apart[i]) / HOUR_MS) for i in found
    )


# Days.


def _midnights(start: datetime, end: datetime, zone: tzinfo) -> "tuple[Instants, list[date]]":
    """The span cut at the holding's midnights: edges in ms, and the days between them."""
    import numpy as np

    days = []
    edges = [to_ms(start)]
    day = start.astimezone(zone).date()
    while True:
        days.append(day)
        day += timedelta(days=1)
        midnight = to_ms(datetime(day.year, day.month, day.day, tzinfo=zone))
        if midnight >= to_ms(end):
            break
        edges.append(midnight)
    edges.append(to_ms(end))
    return np.array(edges, dtype=np.int64), days


def _by_day(
    at: "Instants",
    each: "NDArray[Any]",
    warm: _Line,
    damp: _Line,
    edges: "Instants",
    days: Sequence[date],
) -> tuple[Day, ...]:
    import numpy as np

    counts = np.diff(np.concatenate(([0], np.cumsum(each)))[np.searchsorted(at, edges)])
    warm_mean, warm_ms = warm.means(edges)
    damp_mean, damp_ms = damp.means(edges)
    warm_ends, damp_ends = (_lows_and_highs(line, edges) for line in (warm, damp))
    return tuple(
        Day(
            day,
            int(counts[i]),
            float(max(warm_ms[i], damp_ms[i])) / HOUR_MS,
            _or_none(warm_mean[i]),
            *warm_ends[i],
            _or_none(damp_mean[i]),
            *damp_ends[i],
        )
        for i, day in enumerate(days)
        if counts[i]
    )


def _lows_and_highs(line: _Line, edges: "Instants") -> list[tuple[float | None, float | None]]:
    import numpy as np

    bounds = np.searchsorted(line.at_ms, edges)
    return [
        (float(some.min()), float(some.max()))
        if len(some := line.values[low:high])
        else (None,) * 2
        for low, high in pairwise(bounds)
    ]


def _or_none(value: Any) -> float | None:
    return None if value != value else float(value)
