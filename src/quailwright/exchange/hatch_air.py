"""The air of hatches from the readings kept: of the incubator until turning stops, then of the
place where they hatch."""

from collections.abc import Iterable, Sequence
from datetime import datetime, timedelta

from quailwright.flock.climate import series
from quailwright.flock.state import Flock, Hatch
from quailwright.guide.hatch.air import Air, Span
from quailwright.guide.hatch.records import days_from_setting, instrument_at, telling_hatches
from quailwright.guide.occasions import ends, turns_until
from quailwright.journal.entries import Instrument
from quailwright.journal.readings import Readings, from_ms
from quailwright.journal.store import Store

STEP = timedelta(hours=3)
_DAY = timedelta(days=1)


def hatch_airs(store: Store, flock: Flock, hatch: Hatch, now: datetime) -> dict[str, Air]:
    """The air, up to `now`, of a hatch and of the earlier ones that tell of it."""
    airs = {}
    for each in (hatch, *telling_hatches(flock, hatch)):
        air = hatch_air(store, flock, each, now)
        if air.spans:
            airs[each.name] = air
    return airs


def hatch_air(store: Store, flock: Flock, hatch: Hatch, now: datetime) -> Air:
    """The air of one hatch: temperature as far as it is known, humidity as shown.

    Several thermometers are averaged, each less what it is known to show too much. Of several
    hygrometers one that was checked is read; else their mean.
    """
    stop, end = min(turns_until(hatch), now), min(ends(hatch), now)
    turning = store.readings(hatch.set_in, hatch.set_at, stop) if hatch.set_at < stop else []
    hatching = store.readings(hatch.place, stop, end) if stop < end else []
    damp, hygrometer = _hygrometer(flock, hatch.set_in, turning)
    checked = instrument_at(flock, hatch.set_in, hygrometer) if damp else None
    later_damp, _ = _hygrometer(flock, hatch.place, hatching)
    spans = _spans(flock, hatch, hatch.set_at, stop, turning, damp)
    spans += _spans(flock, hatch, stop, end, hatching, later_damp)
    return Air(
        spans,
        moved_on=days_from_setting(hatch, turns_until(hatch)),
        hygrometer=hygrometer,
        humidity_offset_pct=checked.humidity_offset_pct if checked is not None else None,
    )


def reading_counts(store: Store, hatches: Iterable[Hatch], now: datetime) -> list[int]:
    """How many readings tell of each hatch's air up to `now`: they are only ever added to."""
    counts = []
    for each in hatches:
        stop, end = min(turns_until(each), now), min(ends(each), now)
        turning = store.reading_count(each.set_in, each.set_at, stop) if each.set_at < stop else 0
        hatching = store.reading_count(each.place, stop, end) if stop < end else 0
        counts.append(turning + hatching)
    return counts


def _hygrometer(
    flock: Flock, place: str, readings: Sequence[Readings]
) -> tuple[list[Readings], str]:
    """The readings of humidity to go by, and the name of the one instrument that took them."""
    damp = [each for each in readings if (each.humidity_pct == each.humidity_pct).any()]
    checked = [each for each in damp if instrument_at(flock, place, each.instrument) is not None]
    own = [each for each in checked if each.instrument in flock.instruments]
    chosen = (own or checked)[:1] or damp
    return chosen, chosen[0].instrument if len(chosen) == 1 else ""


def _spans(
    flock: Flock,
    hatch: Hatch,
    start: datetime,
    end: datetime,
    readings: Sequence[Readings],
    damp: Sequence[Readings],
) -> list[Span]:
    """Means over steps of some hours; a step without readings is left out."""
    if end <= start or not readings:
        return []
    thermometers = {each.instrument: _thermometer(flock, each) for each in readings}
    known = {name: entry for name, entry in thermometers.items() if entry is not None}
    warmth = series(readings, start, end + STEP, STEP, known)
    damp_air = series(damp, start, end + STEP, STEP)
    spans = []
    for at_ms, celsius, percent in zip(
        warmth.start_ms.tolist(),
        warmth.temperature_c.tolist(),
        damp_air.humidity_pct.tolist(),
        strict=True,
    ):
        warm = None if celsius != celsius else celsius
        shown = None if percent != percent else percent
        if warm is not None or shown is not None:
            first = from_ms(at_ms)
            last = min(first + STEP, end)
            day_from, day_to = days_from_setting(hatch, first), days_from_setting(hatch, last)
            spans.append(Span(day_from, day_to, warm, shown))
    return spans


def _thermometer(flock: Flock, readings: Readings) -> Instrument | None:
    return instrument_at(flock, readings.place, readings.instrument, "temperature_offset_c")
