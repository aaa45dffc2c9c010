"""What readings say of a place over a span: from the store, through `flock.climate`, to a face."""

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

import msgspec

from quailwright.exchange.shapes import findings_shape
from quailwright.flock.climate import Climate, climate, machine_band
from quailwright.flock.state import Flock
from quailwright.journal.findings import BadInput
from quailwright.journal.moments import zone
from quailwright.journal.readings import Bucket, Extent
from quailwright.journal.store import Store
from quailwright.language import said_plainly, say

MOST_LOOKED_THROUGH = 1_000_000
"""Above so many readings in a span, days are averaged in the database and faults not looked for."""

_USUAL_SPAN = timedelta(days=31)
_DAY = timedelta(days=1)


@dataclass(frozen=True, slots=True)
class Report:
    """What there is of a place, and what it says from `start` to before `end`.

    Each instrument has a `Climate`; where there are too many readings for that, `days` has plain
    means by day of UTC instead.
    """

    place: str
    start: datetime
    end: datetime
    kept: tuple[Extent, ...]
    climates: tuple[Climate, ...]
    days: tuple[Bucket, ...]


def report(
    store: Store, flock: Flock, place: str, start: datetime | None, end: datetime | None
) -> Report:
    """What the readings of a place say; without `start`, of the last 31 days that have any.

    Temperatures of an incubator or hatcher are held against their band. Readings count as shown:
    what an instrument is off by is not taken off.

    Raises BadInput when the place has no readings, or the span is none.
    """
    kept = store.reading_extents(place)
    if not kept:
        others = sorted({extent.place for extent in store.reading_extents()})
        if not others:
            raise BadInput(say("There are no readings of {place!r}.", place=place))
        raise BadInput(
            say(
                "There are no readings of {place!r}. There are readings of {places}.",
                place=place,
                places=", ".join(others),
            )
        )
    end = end or max(extent.last for extent in kept) + timedelta(milliseconds=1)
    start = start or max(end - _USUAL_SPAN, min(extent.first for extent in kept))
    if start >= end:
        raise BadInput(say("--from must be before --until."))
    if store.reading_rows(place, start, end) > MOST_LOOKED_THROUGH:
        days = tuple(store.reading_buckets(place, _DAY, start, end))
        return Report(place, start, end, tuple(kept), (), days)
    role = flock.places[place].role if place in flock.places else None
    band = machine_band() if role in {"incubator", "hatcher"} else None
    here = zone(flock.zone or "UTC")
    climates = tuple(
        climate(readings, start, end, here, band) for readings in store.readings(place, start, end)
    )
    return Report(place, start, end, tuple(kept), climates, ())


def report_shape(told: Report) -> dict[str, Any]:
    """`readings show --json`."""
    return {
        "place": told.place,
        "from": told.start,
        "until": told.end,
        "kept": [extent._asdict() for extent in told.kept],
        "instruments": [
            {
                **msgspec.to_builtins(each, enc_hook=said_plainly),
                "findings": findings_shape(each.findings),
            }
            for each in told.climates
        ],
        "days": [day._asdict() for day in told.days],
    }
