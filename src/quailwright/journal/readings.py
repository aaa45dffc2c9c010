"""Sensor readings: what an instrument showed at a place. They stand beside the journal, not in it.

A reading is (place, instant, temperature, humidity, instrument), kept as shown: what an instrument
is off by (`instrument` entries) is reckoned with when readings are used, never when they are kept.
One instrument at one place shows one thing at one instant: a repeat is harmless, and where a
second reading of the same instant differs the first one stays. Of readings of long ago some are
left out and others stand for them: see `summaries`.
"""

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from itertools import repeat
from typing import TYPE_CHECKING, Any, NamedTuple

import sqlalchemy as sa

from quailwright.husbandry import facts
from quailwright.language import say

if TYPE_CHECKING:
    from collections.abc import Mapping

    import numpy as np
    from numpy.typing import NDArray

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_MILLISECOND = timedelta(milliseconds=1)
_READ_ROWS = 50_000
_LOOK_UP_ROWS = 5_000
_FEW_ROWS = 1_000

metadata = sa.MetaData()
sensor_table = sa.Table(
    "sensor",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True, autoincrement=True),
    sa.Column("place", sa.String(80), nullable=False),
    sa.Column("instrument", sa.String(80), nullable=False),
    sa.Column("readings", sa.BigInteger, nullable=False, server_default="0"),
    sa.Column("left_out", sa.BigInteger, nullable=False, server_default="0"),
    sa.UniqueConstraint("place", "instrument", name="sensor_place_instrument"),
)
reading_table = sa.Table(
    "reading",
    metadata,
    sa.Column("sensor", sa.Integer, primary_key=True, autoincrement=False),
    sa.Column("at_ms", sa.BigInteger, primary_key=True, autoincrement=False),
    sa.Column("temperature_c", sa.Double),
    sa.Column("humidity_pct", sa.Double),
    sa.Column("stands_for", sa.Integer),
    sa.Column("mean_c", sa.Double),
    sa.Column("mean_pct", sa.Double),
    sqlite_with_rowid=False,
)
"""Rows lie in order of sensor and instant, so that a span is read from one stretch of the file.

`stands_for` is null until the stretch of a reading is thinned; the means are null where it is 1.
A sensor counts what was truly read (`readings`), and how many of these were left out since.
"""

_AT = reading_table.c.at_ms
_STANDS_FOR = reading_table.c.stands_for
# Written out, since they are asked for with each message of a sensor.
_KNOWN = sa.text("SELECT id FROM sensor WHERE place = :place AND instrument = :instrument")
_COUNTED = sa.text("UPDATE sensor SET readings = readings + :written WHERE id = :sensor")
_GIVEN = "sensor, at_ms, temperature_c, humidity_pct"
_COUNT = sa.func.count() + sa.func.coalesce(sa.func.sum(_STANDS_FOR - 1), 0)
"""How many readings rows are or stand for."""


@dataclass(frozen=True, slots=True, eq=False)
class Readings:
    """What one instrument showed at one place, in order of time, as shown.

    Attributes:
        place, instrument: their names; an instrument that nobody named is ''.
        at_ms: instants, milliseconds since 1970-01-01T00:00Z, rising, int64, shape (n,).
        temperature_c: [°C], float64, shape (n,), NaN where not read.
        humidity_pct: relative humidity [%], float64, shape (n,), NaN where not read.
        stands_for: how many readings each stands for: itself, and of long ago those left out up
            to the next, int64, shape (n,); None where each stands for itself.
    """

    place: str
    instrument: str
    at_ms: "NDArray[np.int64]"
    temperature_c: "NDArray[np.float64]"
    humidity_pct: "NDArray[np.float64]"
    stands_for: "NDArray[np.int64] | None" = None


@dataclass(frozen=True, slots=True)
class Kept:
    """How many readings were new, how many were there already, how many were there differently."""

    written: int = 0
    already: int = 0
    differing: int = 0

    def __add__(self, other: "Kept") -> "Kept":
        return Kept(
            self.written + other.written,
            self.already + other.already,
            self.differing + other.differing,
        )


class Extent(NamedTuple):
    """What was read of one instrument at one place: how many readings, the first and the last."""

    place: str
    instrument: str
    readings: int
    first: datetime
    last: datetime


class Latest(NamedTuple):
    """The last reading of one instrument at one place."""

    place: str
    instrument: str
    at: datetime
    temperature_c: float | None
    humidity_pct: float | None


class Bucket(NamedTuple):
    """Readings of one instrument between `start` and `start` + step, plainly averaged."""

    instrument: str
    start: datetime
    readings: int
    temperature_c: float | None
    temperature_low_c: float | None
    temperature_high_c: float | None
    humidity_pct: float | None
    humidity_low_pct: float | None
    humidity_high_pct: float | None


def to_ms(instant: datetime) -> int:
    """An aware instant as milliseconds since 1970-01-01T00:00Z, cut to the millisecond."""
    return (instant - _EPOCH) // _MILLISECOND


def from_ms(at_ms: float) -> datetime:
    """The instant in UTC."""
    return _EPOCH + timedelta(milliseconds=float(at_ms))


# What a reading may be.


def temperature_problem(celsius: float) -> tuple[str, str] | None:
    """What is wrong with a temperature and how to mend it, or None when it may be."""
    low, high = facts.spread("sensors.temperature_possible")
    if low <= celsius <= high:
        return None
    mend = say("If the sensor failed, empty the cell.")
    as_fahrenheit = (celsius - 32) / 1.8
    machine = facts.spread("sensors.unit_machine")
    if machine[0] <= celsius / 10 <= machine[1]:
        mend = say(
            "Was {meant:g} °C meant? If the sensor failed, empty the cell.", meant=celsius / 10
        )
    elif high < celsius and as_fahrenheit <= facts.spread("sensors.unit_pen")[1]:
        mend = say("If it is in °F, say so. If the sensor failed, empty the cell.")
    return (
        say(
            "{celsius:g} °C is not possible: it must be {low:g} to {high:g} °C.",
            celsius=celsius,
            low=low,
            high=high,
        ),
        mend,
    )


def humidity_problem(percent: float) -> tuple[str, str] | None:
    """What is wrong with a relative humidity and how to mend it, or None when it may be."""
    low, high = facts.spread("sensors.humidity_possible")
    if low <= percent <= high:
        return None
    return (
        say(
            "a relative humidity of {percent:g} % is not possible: "
            "it must be {low:g} to {high:g} %.",
            percent=percent,
            low=low,
            high=high,
        ),
        say("If the sensor failed, empty the cell."),
    )


# Keeping them.


def append(
    connection: sa.Connection,
    sensor: int,
    at_ms: Sequence[int],
    temperature_c: Sequence[float | None],
    humidity_pct: Sequence[float | None],
) -> Kept:
    """Adds readings of one sensor, given as columns of one length."""
    if not at_ms:
        return Kept()
    rows = list(zip(repeat(sensor, len(at_ms)), at_ms, temperature_c, humidity_pct, strict=True))
    if connection.dialect.name == "sqlite":
        statement = f"INSERT OR IGNORE INTO reading ({_GIVEN}) VALUES (?, ?, ?, ?)"
        written = connection.exec_driver_sql(statement, rows).rowcount
    elif len(rows) <= _FEW_ROWS:
        written = _insert_into_postgresql(connection, rows)
    else:
        written = _copy_into_postgresql(connection, rows)
    if written:
        connection.execute(_COUNTED, {"sensor": sensor, "written": written})
    if written == len(rows):
        return Kept(written)
    differing = _differing(connection, sensor, rows)
    return Kept(written, len(rows) - written - differing, differing)


def sensor_number(connection: sa.Connection, place: str, instrument: str) -> int:
    """The number of an instrument at a place, which it is given when it has none."""
    known: int | None = connection.execute(
        _KNOWN, {"place": place, "instrument": instrument}
    ).scalar()
    if known is not None:
        return known
    added = connection.execute(sensor_table.insert().values(place=place, instrument=instrument))
    assert added.inserted_primary_key is not None
    return int(added.inserted_primary_key[0])


def _insert_into_postgresql(
    connection: sa.Connection, rows: Sequence[tuple[int, int, float | None, float | None]]
) -> int:
    """For the messages of sensors: a table made for each would fill the database's catalogue."""
    statement = (
        f"INSERT INTO reading ({_GIVEN}) SELECT * FROM unnest(CAST(%s AS integer[]), "
        "CAST(%s AS bigint[]), CAST(%s AS double precision[]), CAST(%s AS double precision[])) "
        "ON CONFLICT DO NOTHING"
    )
    columns = tuple(list(column) for column in zip(*rows, strict=True))
    return connection.exec_driver_sql(statement, columns).rowcount


def _copy_into_postgresql(
    connection: sa.Connection, rows: Sequence[tuple[int, int, float | None, float | None]]
) -> int:
    """For files of readings: inserting as many takes more than half as long again."""
    connection.exec_driver_sql(
        "CREATE TEMPORARY TABLE IF NOT EXISTS arriving (LIKE reading) ON COMMIT DROP"
    )
    connection.exec_driver_sql("TRUNCATE arriving")
    driver: Any = connection.connection.driver_connection
    with driver.cursor() as cursor, cursor.copy(f"COPY arriving ({_GIVEN}) FROM STDIN") as copy:
        for row in rows:
            copy.write_row(row)
    statement = (
        f"INSERT INTO reading ({_GIVEN}) SELECT {_GIVEN} FROM arriving ON CONFLICT DO NOTHING"
    )
    return connection.exec_driver_sql(statement).rowcount


def _differing(
    connection: sa.Connection,
    sensor: int,
    rows: Sequence[tuple[int, int, float | None, float | None]],
) -> int:
    """How many rows say something else than what is kept of their instant."""
    instants: sa.BindParameter[Sequence[int]] = sa.bindparam(
        "instants", expanding=True, literal_execute=True
    )
    statement = sa.select(_AT, reading_table.c.temperature_c, reading_table.c.humidity_pct).where(
        reading_table.c.sensor == sensor, _AT.in_(instants)
    )
    differing = 0
    for start in range(0, len(rows), _LOOK_UP_ROWS):
        some = rows[start : start + _LOOK_UP_ROWS]
        found = connection.execute(statement, {"instants": [row[1] for row in some]})
        stands = {at: (celsius, percent) for at, celsius, percent in found}
        differing += sum(stands[at] != (celsius, percent) for _, at, celsius, percent in some)
    return differing


# Reading them back. A span holds `from_ms` and ends before `until_ms`; None leaves an end open.


def extents(connection: sa.Connection, place: str | None = None) -> list[Extent]:
    """What there is, by place and instrument, of one place or of all: as many as were read."""
    named = sensor_table.c
    first, last = (
        sa.select(end(_AT))
        .where(reading_table.c.sensor == named.id)
        .correlate(sensor_table)
        .scalar_subquery()
        for end in (sa.func.min, sa.func.max)
    )
    statement = (
        sa.select(named.place, named.instrument, named.readings, first, last)
        .where(named.readings > 0)
        .order_by(named.place, named.instrument)
    )
    if place is not None:
        statement = statement.where(named.place == place)
    return [
        Extent(name, instrument, readings, from_ms(begin), from_ms(end))
        for name, instrument, readings, begin, end in connection.execute(statement)
    ]


def latest(connection: sa.Connection, until_ms: int | None = None) -> list[Latest]:
    """The last reading of every instrument at every place, in order of their names.

    With `until_ms`, the last before that instant.
    """
    named = sensor_table.c
    newest = (
        sa.select(sa.func.max(_AT))
        .where(reading_table.c.sensor == named.id, *_within(None, until_ms))
        .correlate(sensor_table)
        .scalar_subquery()
    )
    statement = (
        sa.select(
            named.place,
            named.instrument,
            _AT,
            reading_table.c.temperature_c,
            reading_table.c.humidity_pct,
        )
        .join(reading_table, (reading_table.c.sensor == named.id) & (newest == _AT))
        .order_by(named.place, named.instrument)
    )
    return [
        Latest(place, instrument, from_ms(at), celsius, percent)
        for place, instrument, at, celsius, percent in connection.execute(statement)
    ]


def count(connection: sa.Connection, place: str, from_ms: int | None, until_ms: int | None) -> int:
    """How many readings of a place were read in a span; of long ago, exact for whole hours."""
    return _sum_of(connection, _COUNT, place, from_ms, until_ms)


def rows(connection: sa.Connection, place: str, from_ms: int | None, until_ms: int | None) -> int:
    """How many readings of a place in a span `read` would give: fewer than were read."""
    return _sum_of(connection, sa.func.count(), place, from_ms, until_ms)


def _sum_of(
    connection: sa.Connection,
    what: sa.ColumnElement[int],
    place: str,
    from_ms: int | None,
    until_ms: int | None,
) -> int:
    statement = sa.select(what).where(
        reading_table.c.sensor.in_(_sensors(connection, place)), *_within(from_ms, until_ms)
    )
    return int(connection.execute(statement).scalar_one())


def read(
    connection: sa.Connection, place: str, from_ms: int | None, until_ms: int | None
) -> list[Readings]:
    """The readings of a place in a span, one value for each instrument that has any."""
    import numpy as np

    found = []
    columns = (_AT, reading_table.c.temperature_c, reading_table.c.humidity_pct, _STANDS_FOR)
    for sensor, instrument in _sensors(connection, place).items():
        statement = (
            sa.select(*columns)
            .where(reading_table.c.sensor == sensor, *_within(from_ms, until_ms))
            .order_by(_AT)
        )
        with raw_rows(connection, statement) as rows:
            parts = [np.array(some, dtype=np.float64) for some in rows]
        if parts:
            at, celsius, percent, stands_for = (
                np.concatenate([part[:, column] for part in parts]) for column in range(4)
            )
            thinned = ~np.isnan(stands_for)
            each = np.where(thinned, stands_for, 1).astype(np.int64) if thinned.any() else None
            found.append(Readings(place, instrument, at.astype(np.int64), celsius, percent, each))
    return found


def buckets(
    connection: sa.Connection,
    place: str,
    step_ms: int,
    from_ms: int | None,
    until_ms: int | None,
    shift_ms: int = 0,
) -> list[Bucket]:
    """Count, mean, lowest and highest by step, reckoned in the database.

    Steps begin at whole multiples of `step_ms` since 1970-01-01T00:00Z, `shift_ms` earlier.
    Every reading counts alike: faults of the sensor are not left out (see `flock.climate`). Of long
    ago counts and means are exact where steps are whole hours of UTC, as are lowest and highest.
    """
    sensors = _sensors(connection, place)
    step = ((_AT + shift_ms) // step_ms).label("step")
    figures = []
    for column, mean in (
        (reading_table.c.temperature_c, reading_table.c.mean_c),
        (reading_table.c.humidity_pct, reading_table.c.mean_pct),
    ):
        # A mean is null where a row stands for itself alone.
        more = sa.func.coalesce(sa.func.sum(mean * _STANDS_FOR), 0.0)
        alone = sa.case((mean.is_(None), column))
        number = sa.func.count(alone) + sa.func.coalesce(
            sa.func.sum(sa.case((mean.is_not(None), _STANDS_FOR))), 0
        )
        total = sa.func.coalesce(sa.func.sum(alone), 0.0) + more
        figures += [total / sa.func.nullif(number, 0), sa.func.min(column), sa.func.max(column)]
    statement = (
        sa.select(reading_table.c.sensor, step, _COUNT, *figures)
        .where(reading_table.c.sensor.in_(sensors), *_within(from_ms, until_ms))
        .group_by(reading_table.c.sensor, step)
        .order_by(reading_table.c.sensor, step)
    )
    return [
        Bucket(sensors[sensor], _instant(number * step_ms - shift_ms), *rest)
        for sensor, number, *rest in connection.execute(statement)
    ]


def _instant(at_ms: int) -> datetime:
    return _EPOCH + timedelta(milliseconds=at_ms)


def _sensors(connection: sa.Connection, place: str) -> "Mapping[int, str]":
    """The instruments that have readings at a place, by their number, in order of name."""
    named = sensor_table.c
    statement = sa.select(named.id, named.instrument).where(named.place == place)
    found = connection.execute(statement.order_by(named.instrument))
    return {number: instrument for number, instrument in found}  # noqa: C416


def _within(from_ms: int | None, until_ms: int | None) -> list[sa.ColumnElement[bool]]:
    bounds = []
    if from_ms is not None:
        bounds.append(reading_table.c.at_ms >= from_ms)
    if until_ms is not None:
        bounds.append(reading_table.c.at_ms < until_ms)
    return bounds


@contextmanager
def raw_rows(
    connection: sa.Connection, statement: sa.Select[Any]
) -> Iterator[Iterator[list[tuple[Any, ...]]]]:
    """The driver's own rows, some at a time: several times faster than rows with names."""
    result = connection.execute(statement)
    cursor: Any = result.cursor
    try:
        yield iter(lambda: cursor.fetchmany(_READ_ROWS), [])
    finally:
        result.close()
