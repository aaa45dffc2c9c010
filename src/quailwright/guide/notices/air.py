"""Whether the air of a place has been beyond a limit for long enough, and whether it is back.

One reading alarms nobody: it must be so for the whole of the time, by readings without a gap. No
reading is never an all-clear: what was wrong stays wrong until readings show that it is right.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Literal

from quailwright.flock.climate import corrected
from quailwright.flock.sensor_faults import faults
from quailwright.flock.state import Flock, Hatch
from quailwright.guide.hatch.records import instrument_at
from quailwright.guide.notices.rules import Quantity, Rule, Side
from quailwright.guide.round import day_at
from quailwright.guide.signs.air import limits
from quailwright.husbandry import facts
from quailwright.journal.readings import Latest, Readings, from_ms, to_ms

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

MINUTE_MS = 60_000
_MACHINES = ("incubator", "hatcher")


@dataclass(frozen=True, slots=True)
class Watch:
    """A limit that holds at a place now, by a rule.

    `from_` is the instant before which readings do not count: a machine warms eggs up first.
    """

    rule: Rule
    place: str
    quantity: Quantity
    side: Side
    limit: float
    wait: timedelta
    from_: datetime | None = None


@dataclass(frozen=True, slots=True)
class Verdict:
    """What readings say of a limit: "wrong" since then with the last value, "well", or "unsure".

    "unsure" is everything else: not for long enough, not back for long enough, no reading.
    """

    is_: Literal["wrong", "well", "unsure"]
    since: datetime | None = None
    value: float | None = None


_UNSURE, _WELL = Verdict("unsure"), Verdict("well")


def watches(flock: Flock, rules: Sequence[Rule], now: datetime) -> Iterator[Watch]:
    """Every limit that holds now: at machines with eggs, at brooders by age, and of one's own."""
    by_code = {rule.code: rule for rule in rules if rule.on}
    warming = timedelta(hours=facts.value("notices.warming_h"))
    for place, hatches in machines(flock, now).items():
        warm = min(hatch.set_at for hatch in hatches) + warming
        yield from _limit(by_code.get("machine_cold"), place, warm)
        yield from _limit(by_code.get("machine_hot"), place)
        stops = [hatch.turning_stopped_at for hatch in hatches if hatch.turning_stopped_at]
        if stops:
            yield from _limit(by_code.get("machine_dry"), place, min(stops))
    for place, age in chicks_by_place(flock, now).items():
        low, high = limits(age, None)
        for rule, limit in (
            (by_code.get("brooder_cold"), low), (by_code.get("brooder_hot"), high),
        ):  # fmt: skip
            if rule is not None:
                yield Watch(
                    rule, place, "temperature", rule.side or "below", limit,
                    timedelta(minutes=rule.wait),
                )  # fmt: skip
    for rule in by_code.values():
        if rule.is_own and not is_closed(flock, rule.place):
            yield from _limit(rule, rule.place)


def _limit(rule: Rule | None, place: str, from_: datetime | None = None) -> Iterator[Watch]:
    if rule is not None and rule.quantity and rule.side and rule.limit is not None:
        yield Watch(
            rule, place, rule.quantity, rule.side, rule.limit, timedelta(minutes=rule.wait), from_
        )


def is_closed(flock: Flock, place: str) -> bool:
    """Whether that place is in use no more: what a sensor left there shows harms nobody."""
    known = flock.places.get(place)
    return known is not None and known.closed


def machines(flock: Flock, now: datetime) -> Mapping[str, list[Hatch]]:
    """Machines with eggs that may still hatch, with their hatches.

    A hatch that nobody closed is over when no more chicks can come: its machine may be cold.
    """
    most = timedelta(days=facts.spread("incubation.open_unhatched_day")[1])
    found: dict[str, list[Hatch]] = {}
    for hatch in flock.hatches_open():
        if hatch.alive > 0 and now - hatch.set_at <= most:
            found.setdefault(hatch.place, []).append(hatch)
    return found


def chicks_by_place(flock: Flock, now: datetime) -> Mapping[str, int]:
    """Where chicks are that need heat, with the age of the youngest [d]."""
    on, most = day_at(flock, now), facts.value("brooding.heat_end_age_d")
    found: dict[str, int] = {}
    for group in flock.groups_alive():
        age, place = group.age_days(on), flock.places.get(group.place)
        if age is None or place is None or place.role in (*_MACHINES, "egg_store"):
            continue
        if place.role == "brooder" or age < most:
            found[group.place] = min(age, found.get(group.place, age))
    return found


def needed_from(watches: Sequence[Watch], now: datetime) -> Mapping[str, datetime]:
    """By place, from when on readings are needed."""
    gap = timedelta(minutes=facts.value("notices.gap_min"))
    back = timedelta(minutes=facts.value("notices.back_min"))
    found: dict[str, datetime] = {}
    for watch in watches:
        first = now - max(watch.wait, back) - gap
        found[watch.place] = min(first, found.get(watch.place, first))
    return found


def may_be_wrong(flock: Flock, watch: Watch, latest: Sequence[Latest], now: datetime) -> bool:
    """Whether the last readings of the place leave it open: else no more need be read."""
    early = now + timedelta(minutes=facts.value("notices.early_min"))
    return any(
        one.at > early or _beyond(flock, watch, one) for one in latest if one.place == watch.place
    )


def _beyond(flock: Flock, watch: Watch, one: Latest) -> bool:
    shown = one.temperature_c if watch.quantity == "temperature" else one.humidity_pct
    if shown is None:
        return True
    offset = _offset(watch.quantity)
    known = instrument_at(flock, one.place, one.instrument, offset)
    true = shown - ((getattr(known, offset) if known is not None else None) or 0.0)
    return true < watch.limit if watch.side == "below" else true > watch.limit


def _offset(quantity: Quantity) -> str:
    return "temperature_offset_c" if quantity == "temperature" else "humidity_offset_pct"


def verdict(flock: Flock, watch: Watch, readings: Sequence[Readings], now: datetime) -> Verdict:
    """What the instruments of a place say: wrong where one of them says so.

    An instrument that is silent does not count beside one that is not.
    """
    said = [_of_one(flock, watch, each, now) for each in readings]
    wrong = [each for each in said if each is not None and each.is_ == "wrong"]
    if wrong:
        return min(wrong, key=lambda each: each.since or now)
    heard = [each for each in said if each is not None]
    return _WELL if heard and all(each.is_ == "well" for each in heard) else _UNSURE


def _of_one(flock: Flock, watch: Watch, readings: Readings, now: datetime) -> Verdict | None:
    import numpy as np

    offset = _offset(watch.quantity)
    true = corrected(readings, instrument_at(flock, readings.place, readings.instrument, offset))
    shown = true.temperature_c if watch.quantity == "temperature" else true.humidity_pct
    until = to_ms(now) + facts.value("notices.early_min") * MINUTE_MS
    counts = ~np.isnan(shown) & (true.at_ms <= until)
    if watch.from_ is not None:
        counts &= true.at_ms >= to_ms(watch.from_)
    at, values = true.at_ms[counts], shown[counts]
    spike = "temperature_c" if watch.quantity == "temperature" else "humidity_pct"
    good = ~faults(at, values, facts.value(f"sensors.spike_{spike}")).spikes
    return by_readings(at[good], values[good], watch, to_ms(now))


def by_readings(
    at_ms: "NDArray[np.int64]", values: "NDArray[np.float64]", watch: Watch, now_ms: int
) -> Verdict | None:
    """The verdict of one instrument; None where it has shown nothing of late.

    Args:
        at_ms: instants, rising [ms], shape (n,).
        values: true values, no NaN, no spike, shape (n,).
    """
    gap_ms = facts.value("notices.gap_min") * MINUTE_MS
    if not len(at_ms) or now_ms - int(at_ms[-1]) > gap_ms:
        return None
    sign = 1.0 if watch.side == "below" else -1.0
    inside = sign * (values - watch.limit)
    key = "notices.margin_c" if watch.quantity == "temperature" else "notices.margin_pct"
    if inside[-1] < 0:
        first, readings = _run(at_ms, inside < 0, gap_ms)
        long = timedelta(milliseconds=int(at_ms[-1]) - first) >= watch.wait
        if long and readings >= facts.value("notices.fewest"):
            return Verdict("wrong", from_ms(first), float(values[-1]))
        return _UNSURE
    if inside[-1] >= facts.value(key):
        first, readings = _run(at_ms, inside >= facts.value(key), gap_ms)
        back = int(at_ms[-1]) - first >= facts.value("notices.back_min") * MINUTE_MS
        return _WELL if back and readings >= facts.value("notices.fewest") else _UNSURE
    return _UNSURE


def _run(at_ms: "NDArray[np.int64]", holds: "NDArray[np.bool_]", gap_ms: float) -> tuple[int, int]:
    """Since when it holds without a gap up to the last reading [ms], and by how many readings."""
    import numpy as np

    breaks = ~holds
    breaks[:-1] |= np.diff(at_ms) > gap_ms
    found = np.flatnonzero(breaks[:-1]) if len(breaks) else breaks
    first = int(found[-1]) + 1 if len(found) else 0
    return int(at_ms[first]), len(at_ms) - first


# Instruments that send by themselves.


@dataclass(frozen=True, slots=True)
class Heard:
    """An instrument that was heard to send by itself: its last reading, and its usual step [s]."""

    last: datetime
    step_s: float


def hear(
    heard: Mapping[str, Heard], before: Mapping[str, datetime], latest: Sequence[Latest],
    now: datetime,
) -> dict[str, Heard]:  # fmt: skip
    """Who sends by themselves: two readings, each of them fresh when it was first seen.

    Args:
        heard: who did so far, by `sensor_name`.
        before: the last reading of each when it was last looked at.
    """
    fresh = timedelta(minutes=facts.value("notices.gap_min"))
    early = timedelta(minutes=facts.value("notices.early_min"))
    forget = timedelta(days=facts.value("notices.silent_forget_d"))
    found = dict(heard)
    for one in latest:
        name = sensor_name(one)
        last = before.get(name)
        if last is not None and last < one.at and -early <= now - one.at <= fresh:
            step = (one.at - last).total_seconds()
            known = found.get(name)
            # A pause is no usual step: it may lengthen it by half at most.
            usual = step if known is None else min(step, known.step_s * 1.5)
            found[name] = Heard(one.at, min(usual, fresh.total_seconds()))
        elif name in found and now - one.at > forget:
            del found[name]
    return found


def sensor_name(one: Latest) -> str:
    """An instrument at a place, in one word for keeping."""
    return f"{one.place}\t{one.instrument}"


def silent(
    heard: Mapping[str, Heard], latest: Sequence[Latest], rule: Rule, watching_since: datetime,
    now: datetime,
) -> dict[str, datetime]:  # fmt: skip
    """Instruments that sent by themselves and are silent, with their last reading.

    While nobody watched nothing could arrive: it counts from then.
    """
    found = {}
    for one in latest:
        known = heard.get(sensor_name(one))
        if known is None:
            continue
        wait = max(
            timedelta(minutes=rule.wait),
            timedelta(seconds=known.step_s * facts.value("notices.silent_steps")),
        )
        if now - max(one.at, watching_since) > wait:
            found[sensor_name(one)] = one.at
    return found


@dataclass(frozen=True, slots=True)
class ClockOff:
    """An instrument that sends, with instants that are not those of now.

    Attributes:
        first, last: when such a reading first came in, and last.
        readings: how many were seen.
        off: by how much its clock is ahead, or behind (negative).
    """

    first: datetime
    last: datetime
    readings: int
    off: timedelta


def clocks_off(
    known: Mapping[str, ClockOff], before: Mapping[str, datetime], latest: Sequence[Latest],
    now: datetime,
) -> dict[str, ClockOff]:  # fmt: skip
    """Instruments that send one reading after the other, none of them fresh when it came in.

    Nothing of them is watched: who takes them for a watch must be told. A file that is read in now
    and then is none of them, nor is what a broker kept for the hours of a cut.
    """
    fresh = timedelta(minutes=facts.value("notices.gap_min"))
    early = timedelta(minutes=facts.value("notices.early_min"))
    found = {}
    for one in latest:
        name = sensor_name(one)
        last, so_far = before.get(name), known.get(name)
        if so_far is not None and not timedelta(0) <= now - so_far.last <= fresh:
            so_far = None
        came = last is not None and last < one.at
        if came and -early <= now - one.at <= fresh:
            continue
        if came and so_far is None:
            found[name] = ClockOff(now, now, 1, one.at - now)
        elif came and so_far is not None:
            found[name] = replace(so_far, last=now, readings=so_far.readings + 1)
        elif so_far is not None:
            found[name] = so_far
    return found


def matters(flock: Flock, place: str, now: datetime) -> bool:
    """Whether eggs in a machine or chicks depend on that place."""
    return place in machines(flock, now) or place in chicks_by_place(flock, now)
