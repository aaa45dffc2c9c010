"""The air of each hatch from the readings kept: of the incubator until turning stops, then of the
place where it hatches."""

from datetime import datetime, timedelta

from quailwright.flock.climate import series
from quailwright.flock.state import Flock, Hatch
from quailwright.guide.hatch.air import Air, Span
from quailwright.guide.hatch.records import days_from_setting, instrument_at
from quailwright.guide.occasions import ends, turns_until
from quailwright.journal.readings import from_ms
from quailwright.journal.store import Store

STEP = timedelta(hours=3)
_DAY = timedelta(days=1)


def hatch_airs(store: Store, flock: Flock, now: datetime) -> dict[str, Air]:
    """The air of every hatch that has readings, up to `now`."""
    if not store.reading_extents():
        return {}
    airs = {}
    for hatch in flock.hatches.values():
        air = hatch_air(store, flock, hatch, now)
        if air.spans:
            airs[hatch.name] = air
    return airs


def hatch_air(store: Store, flock: Flock, hatch: Hatch, now: datetime) -> Air:
    """The air of one hatch, as shown; only the thermometer's known offset is told beside it."""
    stop, end = min(turns_until(hatch), now), min(ends(hatch), now)
    spans = _spans(store, hatch, hatch.set_in, hatch.set_at, stop)
    if stop < end:
        spans += _spans(store, hatch, hatch.place, stop, end)
    instrument = instrument_at(flock, hatch.set_in)
    offset = instrument.temperature_offset_c if instrument is not None else None
    return Air(spans, offset or 0.0)


def _spans(store: Store, hatch: Hatch, place: str, start: datetime, end: datetime) -> list[Span]:
    """Means over steps of some hours; a step without readings is left out."""
    if end <= start:
        return []
    readings = store.readings(place, start, end)
    even = series(readings, start, end + STEP, STEP)
    spans = []
    for at_ms, celsius, percent in zip(
        even.start_ms.tolist(), even.temperature_c.tolist(), even.humidity_pct.tolist(), strict=True
    ):
        warm = None if celsius != celsius else celsius
        damp = None if percent != percent else percent
        if warm is not None or damp is not None:
            day = days_from_setting(hatch, from_ms(at_ms))
            spans.append(Span(day, day + STEP / _DAY, warm, damp))
    return spans
