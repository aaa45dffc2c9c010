"""Readings as scripts send and ask for them: taken in from a CSV body, given back as a series."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from quailwright.exchange.json_types import ExtentShape, ReadingsSeries, ReadingsTaken
from quailwright.exchange.readings_csv import Imported, import_csv
from quailwright.exchange.readings_headings import TemperatureUnit
from quailwright.exchange.readings_layout import Told
from quailwright.exchange.readings_stamps import DateOrder
from quailwright.exchange.shapes import findings_shape
from quailwright.flock.booking.known import near
from quailwright.flock.state import Flock
from quailwright.journal.drafts import folder_apart
from quailwright.journal.findings import BadInput
from quailwright.journal.readings import Extent, from_ms
from quailwright.journal.store import Store
from quailwright.language import say

MOST_IN_A_SERIES = 20_000
"""Readings of one answer; of a longer span, means by step are asked for."""


@dataclass(frozen=True, slots=True)
class Sent:
    """A CSV file as a script sends it, and what it says beside the file (as `readings import`)."""

    body: bytes
    place: str
    instrument: str = ""
    timezone: str = ""
    units: TemperatureUnit | None = None
    dates: DateOrder | None = None
    dry_run: bool = False
    new_place: bool = False


def take_in(store: Store, flock: Flock, sent: Sent, now: datetime) -> ReadingsTaken:
    """Takes in the readings of a CSV body, all or none. Raises BadInput and FlockUnusable."""
    known = flock.places.get(sent.place)
    if known is None and not sent.new_place and not store.reading_extents(sent.place):
        unknown = say("The journal knows no place {place}.", place=repr(sent.place))
        meant = near(sent.place, flock.places).strip()
        mend = say("If it is a new one, say new_place=true.")
        raise BadInput(" ".join(filter(None, (unknown, meant, mend))))
    role = None if known is None else known.role
    told = Told(sent.timezone, flock.zone, "", sent.units, sent.dates, role)
    with folder_apart() as folder:
        path = folder / "readings.csv"
        path.write_bytes(sent.body)
        imported = import_csv(store, path, sent.place, sent.instrument, told, sent.dry_run, now)
    return taken_shape(imported, sent.place, sent.instrument, sent.dry_run)


def _utc(moment: datetime | None) -> str | None:
    """A moment in UTC as RFC 3339 writes it, with its Z."""
    return None if moment is None else moment.isoformat().replace("+00:00", "Z")


def taken_shape(imported: Imported, place: str, instrument: str, dry_run: bool) -> ReadingsTaken:
    """`readings import --json`."""
    kept, layout = imported.kept, imported.layout
    return {
        "place": place,
        "instrument": instrument,
        "dry_run": dry_run,
        "written": kept.written,
        "already": kept.already,
        "differing": kept.differing,
        "empty": imported.empty,
        "from": _utc(imported.first),
        "until": _utc(imported.last),
        "read_as": {
            "separator": layout.separator,
            "units": layout.units,
            "dates": layout.dates,
            "timezone": None if layout.zone is None else str(layout.zone),
            "columns": [layout.columns.name(number) for number in layout.used],
        },
        "findings": findings_shape(imported.findings),
    }


def extents_shape(extents: Sequence[Extent]) -> list[ExtentShape]:
    """What readings there are, by place and instrument."""
    return [
        {
            "place": each.place,
            "instrument": each.instrument,
            "readings": each.readings,
            "first": each.first.isoformat(),
            "last": each.last.isoformat(),
        }
        for each in extents
    ]


def series(
    store: Store,
    place: str,
    instrument: str | None,
    start: datetime | None,
    end: datetime | None,
    step_minutes: int,
) -> ReadingsSeries:
    """What instruments at a place showed from `start` to before `end`, as shown.

    With `step_minutes`, means of so many minutes instead, which begin on whole steps of UTC.
    `instrument` None: all; '': the one that nobody named. Raises BadInput where there are none, or
    too many for one answer.
    """
    kept = store.reading_extents(place)
    if not kept:
        raise BadInput(say("There are no readings of {place}.", place=repr(place)))
    last = end or max(each.last for each in kept) + timedelta(milliseconds=1)
    first = start or min(each.first for each in kept)
    if step_minutes:
        steps = (last - first) / timedelta(minutes=step_minutes) * len(kept)
        _refuse_many(int(min(steps, store.reading_rows(place, first, last))))
        means = store.reading_buckets(place, timedelta(minutes=step_minutes), first, last)
        rows = [(m.instrument, m.start, m.temperature_c, m.humidity_pct) for m in means]
    else:
        _refuse_many(store.reading_rows(place, first, last))
        rows = [
            (found.instrument, from_ms(int(at)), celsius, percent)
            for found in store.readings(place, first, last)
            for at, celsius, percent in zip(
                found.at_ms, found.temperature_c.tolist(), found.humidity_pct.tolist(), strict=True
            )
        ]
    shown: dict[str, Any] = {}
    for name, at, celsius, percent in rows:
        if instrument in (None, name):
            told = shown.setdefault(
                name, {"instrument": name, "at": [], "temperature_c": [], "humidity_pct": []}
            )
            told["at"].append(at.isoformat())
            told["temperature_c"].append(_or_none(celsius))
            told["humidity_pct"].append(_or_none(percent))
    return {
        "place": place,
        "from": first.isoformat(),
        "until": last.isoformat(),
        "step_minutes": step_minutes,
        "instruments": list(shown.values()),
    }


def _or_none(value: float | None) -> float | None:
    return None if value is None or math.isnan(value) else value


def _refuse_many(readings: int) -> None:
    if readings > MOST_IN_A_SERIES:
        raise BadInput(
            say(
                "That is {readings:,} readings, and one answer holds {most:,}. Ask for a shorter "
                "span, or for means with step_minutes.",
                readings=readings,
                most=MOST_IN_A_SERIES,
            )
        )
