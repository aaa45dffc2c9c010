"""Readings of long ago in less room: in each stretch some are kept, which stand for the rest.

A kept reading of a thinned stretch stands for itself and for those left out between it and the next
one kept: how many (`stands_for`), and their means. Which are kept is chosen in `flock.thinning`: so
that the straight line between them tells those left out, and the lowest and the highest are among
them. A stretch is thinned in one transaction, and noted with how far off the line those left out
are (`thinned`), so that what arrives a second time is known again.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, NamedTuple

import sqlalchemy as sa

from quailwright.husbandry import facts
from quailwright.journal import readings
from quailwright.journal.readings import Kept, reading_table, sensor_table

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Instants = NDArray[np.int64]
    Mask = NDArray[np.bool_]

metadata = sa.MetaData()
_thinned = sa.Table(
    "thinned",
    metadata,
    sa.Column("sensor", sa.Integer, primary_key=True, autoincrement=False),
    sa.Column("from_ms", sa.BigInteger, primary_key=True, autoincrement=False),
    sa.Column("until_ms", sa.BigInteger, nullable=False),
    sa.Column("temperature_off_c", sa.Double, nullable=False),
    sa.Column("humidity_off_pct", sa.Double, nullable=False),
    sqlite_with_rowid=False,
)

_ROW = reading_table.c
_COLUMNS = (
    _ROW.at_ms, _ROW.temperature_c, _ROW.humidity_pct, _ROW.stands_for, _ROW.mean_c, _ROW.mean_pct
)  # fmt: skip
# Written out, since it is asked for with each message of a sensor.
_NOTED = sa.text(
    "SELECT from_ms, until_ms, temperature_off_c, humidity_off_pct FROM thinned "
    "WHERE sensor = :sensor AND from_ms <= :last AND from_ms > :earliest AND until_ms > :first "
    "ORDER BY from_ms"
)
_HOUR_MS = 3_600_000
_LONGEST_STRETCH_MS = 24 * _HOUR_MS
"""No stretch is longer, so that those of ten years are not looked through for each message."""
_A_HAIR = 1e-9


class Sensor(NamedTuple):
    """An instrument at a place: readings truly read, those left out, how far it was thinned."""

    number: int
    place: str
    instrument: str
    readings: int
    left_out: int
    thinned_until_ms: int | None

    @property
    def kept(self) -> int:
        """How many of its readings are in the file."""
        return self.readings - self.left_out


@dataclass(frozen=True, slots=True, eq=False)
class Stretches:
    """The rows of whole stretches in which some are not thinned yet, of one sensor.

    Attributes:
        sensor: its number.
        until_ms: end of what was looked through [ms]; look on from there.
        at_ms, temperature_c, humidity_pct: as of `Readings`, shape (n,).
        stands_for: how many each row stands for, int64, shape (n,).
        mean_c, mean_pct: means of what each stands for, NaN where not read, shape (n,).
        before: which were kept when their stretch was thinned before, shape (n,).
    """

    sensor: int
    until_ms: int
    at_ms: "Instants"
    temperature_c: "Floats"
    humidity_pct: "Floats"
    stands_for: "Instants"
    mean_c: "Floats"
    mean_pct: "Floats"
    before: "Mask"


def sensors(connection: sa.Connection) -> list[Sensor]:
    """Every sensor with what there is of it, in order of names."""
    named = sensor_table.c
    newest = (
        sa.select(_thinned.c.until_ms)
        .where(_thinned.c.sensor == named.id)
        .order_by(_thinned.c.from_ms.desc())
        .limit(1)
        .correlate(sensor_table)
        .scalar_subquery()
    )
    statement = sa.select(
        named.id, named.place, named.instrument, named.readings, named.left_out, newest
    ).order_by(named.place, named.instrument)
    return [Sensor(*row) for row in connection.execute(statement)]


# Thinning.


def first_unthinned(
    connection: sa.Connection, sensor: int, from_ms: int | None, until_ms: int
) -> int | None:
    """The first instant [ms] of a span of which the reading is not thinned, or None."""
    raw = sa.select(_ROW.at_ms).where(
        _ROW.sensor == sensor, _ROW.at_ms < until_ms, _ROW.stands_for.is_(None)
    )
    if from_ms is not None:
        raw = raw.where(_ROW.at_ms >= from_ms)
    first: int | None = connection.execute(raw.order_by(_ROW.at_ms).limit(1)).scalar()
    return first


def unthinned(
    connection: sa.Connection,
    sensor: int,
    from_ms: int | None,
    until_ms: int,
    stretch_ms: int,
    most: int,
) -> Stretches | None:
    """The next stretches between two instants that are to be thinned, of about `most` rows.

    Stretches begin at whole multiples of `stretch_ms`; so do `from_ms` and `until_ms`. None when
    all between them are thinned.
    """
    import numpy as np

    first = first_unthinned(connection, sensor, from_ms, until_ms)
    if first is None:
        return None
    begin = first // stretch_ms * stretch_ms
    rows = _rows(connection, sensor, begin, until_ms, most + 1)
    end = until_ms
    if len(rows) > most:
        end = int(rows[-1, 0]) // stretch_ms * stretch_ms
        if end == begin:  # one stretch holds more than that
            end = begin + stretch_ms
            rows = _rows(connection, sensor, begin, end, None)
        rows = rows[rows[:, 0] < end]
    number = rows[:, 0] // stretch_ms
    to_do = np.isin(number, number[np.isnan(rows[:, 3])])
    at, celsius, percent, stands_for, mean_c, mean_pct = rows[to_do].T
    return Stretches(
        sensor,
        end,
        at.astype(np.int64),
        celsius,
        percent,
        np.where(np.isnan(stands_for), 1, stands_for).astype(np.int64),
        np.where(np.isnan(mean_c), celsius, mean_c),
        np.where(np.isnan(mean_pct), percent, mean_pct),
        ~np.isnan(stands_for),
    )


def _rows(
    connection: sa.Connection, sensor: int, from_ms: int, until_ms: int, most: int | None
) -> "Floats":
    import numpy as np

    statement = (
        sa.select(*_COLUMNS)
        .where(_ROW.sensor == sensor, _ROW.at_ms >= from_ms, _ROW.at_ms < until_ms)
        .order_by(_ROW.at_ms)
        .limit(most)
    )
    with readings.raw_rows(connection, statement) as parts:
        found = [np.array(some, dtype=np.float64) for some in parts]
    return np.concatenate(found) if found else np.empty((0, len(_COLUMNS)))


def thin(
    connection: sa.Connection,
    stretches: Stretches,
    stretch_ms: int,
    kept: "Mask",
    off: "tuple[Floats, Floats]",
) -> int:
    """Leaves out the readings of stretches that are not `kept`; returns how many.

    Args:
        kept: which are kept, shape (n,); the first of every stretch is.
        off: furthest that those left out are off the line, temperature [°C] and humidity [%], by
            stretch that has readings, shape (s,).
    """
    import numpy as np

    begins = np.unique(stretches.at_ms // stretch_ms) * stretch_ms
    first = np.flatnonzero(kept)
    count = np.add.reduceat(stretches.stands_for, first)
    means = [
        _mean(values, stretches.stands_for, first)
        for values in (stretches.mean_c, stretches.mean_pct)
    ]
    off_so_far = _off_so_far(connection, stretches, begins, kept)
    spans = [
        {"one": stretches.sensor, "begin": begin, "end": begin + stretch_ms}
        for begin in begins.tolist()
    ]
    for table, at in ((reading_table, _ROW.at_ms), (_thinned, _thinned.c.from_ms)):
        connection.execute(
            table.delete().where(
                table.c.sensor == sa.bindparam("one"),
                at >= sa.bindparam("begin"),
                at < sa.bindparam("end"),
            ),
            spans,
        )
    columns = (
        stretches.at_ms[kept].tolist(),
        _cells(stretches.temperature_c[kept]),
        _cells(stretches.humidity_pct[kept]),
        count.tolist(),
        *(_cells(np.where(count > 1, mean, np.nan)) for mean in means),
    )
    names = [column.name for column in _COLUMNS]
    connection.execute(
        reading_table.insert(),
        [
            {"sensor": stretches.sensor, **dict(zip(names, row, strict=True))}
            for row in zip(*columns, strict=True)
        ],
    )
    connection.execute(
        _thinned.insert(),
        [
            {
                "sensor": stretches.sensor,
                "from_ms": begin,
                "until_ms": begin + stretch_ms,
                "temperature_off_c": warm,
                "humidity_off_pct": damp,
            }
            for begin, warm, damp in zip(
                begins.tolist(),
                (off[0] + off_so_far[0]).tolist(),
                (off[1] + off_so_far[1]).tolist(),
                strict=True,
            )
        ],
    )
    left_out = int(len(kept) - kept.sum())
    connection.execute(
        sensor_table.update()
        .where(sensor_table.c.id == stretches.sensor)
        .values(left_out=sensor_table.c.left_out + left_out)
    )
    return left_out


def _mean(values: "Floats", weights: "Instants", begins: "NDArray[np.intp]") -> "Floats":
    """Weighted means of groups that begin at some numbers, of what was read; NaN of nothing."""
    import numpy as np

    read = ~np.isnan(values)
    total = np.add.reduceat(np.where(read, values * weights, 0.0), begins)
    weight = np.add.reduceat(np.where(read, weights, 0), begins).astype(np.float64)
    mean = np.full(len(begins), np.nan)
    np.divide(total, weight, out=mean, where=weight > 0)
    return mean


def _cells(values: "Floats") -> list[float | None]:
    return [None if value != value else value for value in values.tolist()]


def _off_so_far(
    connection: sa.Connection, stretches: Stretches, begins: "Instants", kept: "Mask"
) -> "tuple[Floats, Floats]":
    """How far off the line that is drawn now those may be that were left out before, by stretch:
    as far as they were off the line drawn then, and as far as the two lines are apart."""
    import numpy as np

    warm, damp = np.zeros(len(begins)), np.zeros(len(begins))
    if not stretches.before.any():
        return warm, damp
    known = _stretches_between(connection, stretches.sensor, int(begins[0]), int(begins[-1]))
    for begin, _, *far in known:
        here = begins == begin
        warm[here], damp[here] = far
    at = stretches.at_ms
    stretch = np.searchsorted(begins, at, side="right") - 1
    for values, off in ((stretches.temperature_c, warm), (stretches.humidity_pct, damp)):
        then, now = (_Line(at[some], values[some], begins) for some in (stretches.before, kept))
        told, drawn = then.at(at, stretch)
        apart = np.where(told, np.abs(drawn - now.at(at, stretch)[1]), 0.0)
        np.maximum.at(off, stretch, apart + np.where(told, off[stretch], 0.0))
    return warm, damp


def _stretches_between(
    connection: sa.Connection, sensor: int, from_ms: int, until_ms: int
) -> list[tuple[int, int, float, float]]:
    """The thinned stretches that hold some instant between two, both of them included."""
    span = {
        "sensor": sensor,
        "first": from_ms,
        "last": until_ms,
        "earliest": from_ms - _LONGEST_STRETCH_MS,
    }
    return [tuple(row) for row in connection.execute(_NOTED, span)]


# What arrives when a stretch is thinned already.


def append(
    connection: sa.Connection,
    place: str,
    instrument: str,
    at_ms: Sequence[int],
    temperature_c: Sequence[float | None],
    humidity_pct: Sequence[float | None],
) -> Kept:
    """Adds readings of one instrument, as `readings.append`, but none that is told already.

    In a thinned stretch that is one that lies between two kept with no gap between them, no
    further off the line than those that were left out there, and neither lower nor higher than
    the stretch's own lowest and highest. It may have been read before or not: it says nothing
    new. All others are kept: an excursion is not lost, and a gap is filled.
    """
    if not at_ms:
        return Kept()
    sensor = readings.sensor_number(connection, place, instrument)
    told = _told(connection, sensor, at_ms, temperature_c, humidity_pct)
    if told is None:
        return readings.append(connection, sensor, at_ms, temperature_c, humidity_pct)
    fresh = [n for n, known in enumerate(told.tolist()) if not known]
    kept = readings.append(
        connection,
        sensor,
        [at_ms[n] for n in fresh],
        [temperature_c[n] for n in fresh],
        [humidity_pct[n] for n in fresh],
    )
    return kept + Kept(already=len(told) - len(fresh))


def _told(
    connection: sa.Connection,
    sensor: int,
    at_ms: Sequence[int],
    temperature_c: Sequence[float | None],
    humidity_pct: Sequence[float | None],
) -> "Mask | None":
    """Which are told already by thinned stretches, shape (n,); None where there are none such."""
    known = _stretches_between(connection, sensor, min(at_ms), max(at_ms))
    if not known:
        return None
    import numpy as np

    begins, ends, *off = (np.array(column) for column in zip(*known, strict=True))
    rows = _rows(connection, sensor, int(begins[0]), int(ends[-1]), None)
    rows = rows[~np.isnan(rows[:, 3])]
    at = np.array(at_ms, dtype=np.int64)
    stretch = np.clip(np.searchsorted(begins, at, side="right") - 1, 0, None)
    told = (at >= begins[stretch]) & (at < ends[stretch]) & ~np.isin(at, rows[:, 0])
    tolerances = facts.value("sensors.thin_temperature_c"), facts.value("sensors.thin_humidity_pct")
    for number, (given, tolerance) in enumerate(
        zip((temperature_c, humidity_pct), tolerances, strict=True), 1
    ):
        values = np.array(given, dtype=np.float64)
        far = np.maximum(off[number - 1], tolerance)[stretch] + _A_HAIR
        line = _Line(rows[:, 0], rows[:, number], begins)
        told &= np.isnan(values) | line.tells(at, stretch, values, far)
    return told


class _Line:
    """The line through the kept readings of one quantity in stretches that begin at some instants.

    Readings are in order of time; NaN where not read.
    """

    def __init__(self, at_ms: "NDArray[Any]", values: "Floats", begins: "Instants") -> None:
        import numpy as np

        read = np.flatnonzero(~np.isnan(values))
        self.instants, self.shown = at_ms[read], values[read]
        self.stretch = np.searchsorted(begins, self.instants, side="right") - 1
        self.stretches = len(begins)

    def at(self, at: "Instants", stretch: "NDArray[np.intp]") -> "tuple[Mask, Floats]":
        """Where two kept readings of one stretch, with no gap between them, tell; and the line."""
        import numpy as np

        if len(self.instants) < 2:
            return np.zeros(len(at), dtype=np.bool_), np.zeros(len(at))
        after = np.searchsorted(self.instants, at)
        told = (after > 0) & (after < len(self.instants))
        after = np.clip(after, 1, len(self.instants) - 1)
        told &= (self.stretch[after - 1] == stretch) & (self.stretch[after] == stretch)
        gap_ms = facts.value("sensors.gap_shortest_h") * _HOUR_MS
        told &= self.instants[after] - self.instants[after - 1] < gap_ms
        return told, np.interp(at, self.instants, self.shown)

    def tells(
        self, at: "Instants", stretch: "NDArray[np.intp]", values: "Floats", far: "Floats"
    ) -> "Mask":
        """Which values it tells: no further off than `far`, none beyond the stretch's own range.

        A value that was not read is not told.
        """
        import numpy as np

        lowest = np.full(self.stretches, np.inf)
        highest = np.full(self.stretches, -np.inf)
        np.minimum.at(lowest, self.stretch, self.shown)
        np.maximum.at(highest, self.stretch, self.shown)
        told, line = self.at(at, stretch)
        told &= (values >= lowest[stretch]) & (values <= highest[stretch])
        told &= np.abs(values - line) <= far
        return told
