"""What there is to care for on a day: received eggs, hatches, machines, brooders, groups, pens.

What is planned has occasions of its own (`planned.py`).

An occasion is one thing that rules of its stage apply to. It carries what the rules need to know
of the state, so that the round itself only reads rules and clocks.
"""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta
from math import ceil, floor
from typing import Any

from quailwright.flock.planned import sets_in
from quailwright.flock.state import Flock, Group, Hatch, Place
from quailwright.guide import wording
from quailwright.husbandry import brooding, facts
from quailwright.husbandry.incubation import hatch_day_range
from quailwright.journal.entries import CareStage, Units
from quailwright.journal.moments import zone
from quailwright.language import say

MEMORY = timedelta(days=7)
"""How long after it was too late a missed step is still told of."""
_TOLD_LATE = timedelta(days=60)
"""By how much lots may be out of the order of days."""


@dataclass(slots=True)
class Occasion:
    """One thing to care for.

    Attributes:
        stage: which rules apply.
        place: where it is, or "" for the holding.
        subject: the hatch, group or source it is about, or "".
        since: the moment from which days are counted (setting, hatching, arrival).
        count: birds or eggs there.
        began: the first day on which it could have been cared for here.
        holds: names of conditions that hold.
        words: gives words of the state for the rules' texts, in the language spoken then.
        done: for a kind of entry, the days on which one was logged for this.
        per_place: a place as a whole, for recurring care; a group there has its own steps.
        by_hour: steps fall due at their own instant after `since`; else on a day.
        known_since: the day from which ticks count, where `since` lies ahead.
        entry: fields of the entry that marks its main step as done.
    """

    stage: CareStage
    place: str
    subject: str
    since: datetime
    count: int
    began: date
    holds: frozenset[str] = frozenset()
    words: Callable[[], Mapping[str, str]] = dict
    done: dict[str, list[date]] = field(default_factory=dict)
    per_place: bool = False
    by_hour: bool = False
    known_since: date | None = None
    entry: dict[str, Any] = field(default_factory=dict)

    def age_days(self, on: date) -> int:
        """Whole days from `since` to the end of the day `on`, day 0 being the first."""
        return (on - self.since.date()).days


def elapsed(since: datetime, days: float) -> datetime:
    """The instant `days` times 24 hours after `since`: embryos do not know of clock changes."""
    return (since.astimezone(UTC) + timedelta(days=days)).astimezone(since.tzinfo)


def occasions(flock: Flock, on: date, units: Units) -> Iterator[Occasion]:
    """Everything to care for on the day `on`, from what stands then."""
    yield from _received(flock, on)
    for hatch in flock.hatches.values():
        yield from _of_hatch(hatch, on)
    yield from _machines(flock, on)
    for group in flock.groups_alive():
        yield from _of_group(flock, group, on, units)
    for place in flock.places.values():
        groups = flock.groups_at(place.name)
        if groups:
            yield _place_with_birds(flock, place, groups, on, units)
    if flock.first_day is not None:
        yield _holding(flock, flock.first_day, on)


def egg_store(flock: Flock) -> str:
    """The place where eggs are kept, or ""."""
    return next((p.name for p in flock.places.values() if p.role == "egg_store"), "")


def _received(flock: Flock, on: date) -> Iterator[Occasion]:
    store = egg_store(flock)
    keeps = timedelta(days=facts.value("incubation.storage_best_days"))
    planned = [(one.source, one.on - keeps) for one in sets_in(flock, on, "ahead", "due")]
    for receipt in flock.receipts:
        if receipt.on_hand > 0:
            came = receipt.at.date()
            is_planned = any(receipt.source == source and came >= day for source, day in planned)
            yield Occasion(
                "received",
                store,
                receipt.source,
                receipt.at,
                receipt.on_hand,
                came,
                frozenset(() if is_planned else ("unplanned",)),
                by_hour=True,
            )


def rest_days(flock: Flock, receipt_source: str) -> float:
    """Days that received eggs rest before setting: longer when they were posted."""
    source = flock.sources.get(receipt_source)
    posted = source is not None and source.route == "shipped"
    key = "incubation.rest_posted_h" if posted else "incubation.rest_h"
    return timedelta(hours=facts.value(key)) / timedelta(days=1)


def hatch_day(hatch: Hatch, at: datetime) -> int:
    """Whole days of 24 hours from setting to `at`: the day of the hatch, day 0 the first."""
    # Two times of one zone are subtracted as the clock shows them, over clock changes too.
    return (at.astimezone(UTC) - hatch.set_at.astimezone(UTC)) // timedelta(days=1)


def misdated_hatchings(hatch: Hatch) -> list[datetime]:
    """Moments for which chicks were logged on a day of the hatch on which none can come."""
    return [at for at, chicks in hatch.hatchings if chicks and not may_hatch_on(hatch, at)]


def may_hatch_on(hatch: Hatch, at: datetime) -> bool:
    """Whether chicks of this hatch can come out at that moment, in whatever machine."""
    first, last = facts.spread("incubation.hatch_day_possible")
    passed = at.astimezone(UTC) - hatch.set_at.astimezone(UTC)
    return timedelta(days=first) <= passed <= timedelta(days=last)


def misdated_words(hatch: Hatch, at: datetime) -> dict[str, object]:
    """What is wrong with the moment for which chicks were logged, as parts of a sentence."""
    first, _, last = hatch_day_range()
    return {
        "day": hatch_day(hatch, at),
        "hatch": hatch.name,
        "first": floor(first),
        "last": ceil(last),
    }


def _of_hatch(hatch: Hatch, on: date) -> Iterator[Occasion]:
    closed = hatch.closed_at is not None
    holds = {"closed"} if closed else set()
    if not closed and hatch.alive > 0:
        holds.add("eggs_left")
    if not closed and not hatch.housed:
        holds.add("not_housed")
    yield Occasion(
        "hatch",
        hatch.place,
        hatch.name,
        hatch.set_at,
        hatch.hatched if closed else max(hatch.alive, 0),
        hatch.set_at.date(),
        frozenset(holds),
        done={
            "eggs_weighed": [at.date() for at, _, _ in hatch.weighed],
            "eggs_candled": [at.date() for at, _, _ in hatch.candled],
            "turning_stopped": _days(hatch.turning_stopped_at),
            "chicks_hatched": [at.date() for at, _ in hatch.hatchings],
            "eggs_opened": _days(hatch.opened_at),
            "hatch_closed": _days(hatch.closed_at),
        },
        by_hour=True,
    )
    if hatch.to_house > 0:
        first = hatch.hatchings[0 if not hatch.housed else -1][0]
        yield Occasion(
            "chicks", hatch.place, hatch.name, first, hatch.to_house, first.date(), by_hour=True
        )


def _days(at: datetime | None) -> list[date]:
    return [] if at is None else [at.date()]


def turns_until(hatch: Hatch) -> datetime:
    """When this hatch's turning stops, or stopped."""
    stop = facts.value("incubation.turning_stop_day")
    return hatch.turning_stopped_at or elapsed(hatch.set_at, stop)


def ends(hatch: Hatch) -> datetime:
    """When this hatch is over, or when nothing more can be awaited of it."""
    last = facts.figure("incubation.open_unhatched_day").high or 0.0
    return hatch.closed_at or elapsed(hatch.set_at, last)


def _machines(flock: Flock, on: date) -> Iterator[Occasion]:
    running: dict[str, list[Hatch]] = {}
    for hatch in flock.hatches_open():
        if hatch.alive > 0 and hatch.set_at.date() < on <= ends(hatch).date():
            running.setdefault(hatch.place, []).append(hatch)
    for place, hatches in running.items():
        turning = [hatch for hatch in hatches if on < turns_until(hatch).date()]
        first = min(hatch.set_at for hatch in hatches)
        yield Occasion(
            "machine",
            place,
            ", ".join(hatch.name for hatch in hatches),
            first,
            sum(hatch.alive for hatch in turning or hatches),
            first.date() + timedelta(days=1),
            frozenset({"turning"} if turning else ()),
            per_place=True,
        )


def is_brooder(place: Place, youngest_age: int | None) -> bool:
    """Whether birds there are brooded: a brooder, or a place with no role that holds chicks."""
    if place.role is not None:
        return place.role == "brooder"
    brooded = facts.value("brooding.time_in_brooder_d")
    return youngest_age is not None and youngest_age < brooded


def _of_group(flock: Flock, group: Group, on: date, units: Units) -> Iterator[Occasion]:
    age = group.age_days(on)
    if group.youngest is None or age is None:
        return
    since = datetime.combine(group.youngest, time(), tzinfo=zone(flock.zone or "UTC"))
    began = group.since or group.youngest
    done = {
        "birds_sexed": _known(group.sexed_on),
        "birds_weighed": _known(group.weighed_on),
        "eggs_collected": [on] if _has_laid(flock, group) else [],
    }
    yield Occasion(
        "grower",
        group.place,
        group.name,
        since,
        group.alive.total,
        began,
        frozenset(_group_conditions(group)),
        lambda: {"surplus": str(surplus_cocks(group))},
        done,
    )
    place = flock.places[group.place]
    if is_brooder(place, age):
        yield Occasion(
            "brooder",
            group.place,
            group.name,
            since,
            group.alive.total,
            began,
            words=lambda: heat_words(age, units),
        )


def _known(day: date | None) -> list[date]:
    return [] if day is None else [day]


def _has_laid(flock: Flock, group: Group) -> bool:
    """Whether eggs of it were told of; none are older than it is, but for days told late."""
    began = group.since or group.youngest
    earliest = date.min if began is None else began - _TOLD_LATE
    for lot in reversed(flock.lots.values()):
        if lot.laid < earliest:
            return False
        if lot.group == group.name and lot.collected:
            return True
    return False


def _group_conditions(group: Group) -> Iterator[str]:
    alive = group.alive
    if alive.chicks:
        yield "unsexed"
    if alive.hens:
        yield "hens"
    if alive.cocks:
        yield "cocks"
    if alive.hens or alive.chicks:
        yield "hens_or_chicks"
    if surplus_cocks(group) > 0:
        yield "surplus_cocks"


def surplus_cocks(group: Group) -> int:
    """Cocks more than one to the fewest hens that keepers give a cock; one stays in any case."""
    fewest = facts.figure("housing.hens_per_cock").low or facts.value("housing.hens_per_cock")
    return max(0, group.alive.cocks - max(1, int(group.alive.hens // fewest)))


def heat_words(age: int, units: Units) -> dict[str, str]:
    """Words for the heat that chicks of this age in days want."""
    low, high = brooding.heat_range_c(age)
    return {
        "heat": wording.heat(brooding.heat_c(age), units),
        "heat_range": wording.heats(low, high, units),
    }


def _place_with_birds(
    flock: Flock, place: Place, groups: list[Group], on: date, units: Units
) -> Occasion:
    youngest = max((g.youngest for g in groups if g.youngest is not None), default=None)
    age = None if youngest is None else max(0, (on - youngest).days)
    began = min(group.placed or on for group in groups)
    brooded = is_brooder(place, age)
    midnight = datetime.combine(
        youngest if brooded and youngest else began, time(), tzinfo=zone(flock.zone or "UTC")
    )
    counted = [group.counted_on for group in groups]
    collected = [on] if any((on, group.name) in flock.lots for group in groups) else []
    return Occasion(
        "brooder" if brooded else "pen",
        place.name,
        ", ".join(group.name for group in groups),
        midnight,
        sum(group.alive.total for group in groups),
        began,
        frozenset({"laying"} if any(may_lay(group, on) for group in groups) else ()),
        lambda: heat_words(age or 0, units),
        {
            "feed_given": flock.care.get(("feed_given", place.name), []),
            "birds_counted": [day for day in [_latest(counted)] if day is not None],
            "birds_weighed": [
                day for day in [_latest([g.weighed_on for g in groups])] if day is not None
            ],
            "eggs_collected": collected,
        },
        per_place=True,
    )


def _latest(days: list[date | None]) -> date | None:
    return max((day for day in days if day is not None), default=None)


def may_lay(group: Group, on: date) -> bool:
    """Whether there may be eggs to collect: hens (or birds not sexed) old enough, or of any age."""
    age = group.age_days(on)
    earliest, _ = facts.spread("laying.first_egg_age_d")
    return bool(group.alive.hens or group.alive.chicks) and (age is None or age >= earliest)


def _holding(flock: Flock, first_day: date, on: date) -> Occasion:
    stocks = flock.feeds.values()
    counted = _latest([stock.counted_on for stock in stocks])
    holds = {"feed_bought"} if any(stock.bought_kg for stock in stocks) else set()
    return Occasion(
        "holding",
        "",
        "",
        datetime.combine(first_day, time(), tzinfo=zone(flock.zone or "UTC")),
        0,
        first_day,
        frozenset(holds | set(lamp_conditions(flock, on))),
        words=lambda: lamp_words(flock),
        done={"feed_counted": _known(counted)},
        per_place=True,
    )


TIMER_SET_RIGHT = "timer_after_outage"
"""The rule that is ticked once the timer was found or set right."""


def lamp_conditions(flock: Flock, on: date) -> Iterator[str]:
    """Whether there is a timer to look at, and whether its clock is to be doubted."""
    holding = flock.holding
    if holding is None or holding.rests_in_winter or not any(flock.groups_alive()):
        return
    told = lamp_told(flock) is not None
    if not told and holding.light_target_h is None:
        return
    since = timer_doubted_since(flock, on)
    right = _latest(list(flock.care.get((TIMER_SET_RIGHT, ""), ())))
    if since is not None and (right is None or right < since):
        yield "timer_doubted"
    elif told and (right is None or on - right >= MEMORY):
        yield "lamp"


def timer_doubted_since(flock: Flock, on: date) -> date | None:
    """The last day of this week on which power failed or clocks changed, or None."""
    failed = [day for day, _ in flock.outages if timedelta(0) <= on - day < MEMORY]
    ahead = (on - timedelta(days=n) for n in range(MEMORY.days))
    changed = next((day for day in ahead if clock_change(flock.zone, day)), None)
    return _latest([*failed, changed])


def clock_change(zone_name: str, on: date) -> timedelta:
    """By how much clocks there went forward (back: below 0) in the night before a day's noon."""
    if not zone_name:
        return timedelta(0)
    before, after = (
        datetime.combine(day, time(12), tzinfo=zone(zone_name)).utcoffset() or timedelta(0)
        for day in (on - timedelta(days=1), on)
    )
    return after - before


def lamp_words(flock: Flock) -> dict[str, str]:
    """The lamp's times as a rule's text names them."""
    told = lamp_told(flock)
    if told is None:
        return {"lamp_times": say("on and off as you set it")}
    return {"lamp_times": say("on {on}, off {off}", on=told[0], off=told[1])}


def lamp_told(flock: Flock) -> tuple[str, str] | None:
    """When the lamp goes on and off (`05:30`), where both are told; the same twice is no lamp."""
    holding = flock.holding
    if holding is None or holding.lamp_on is None or holding.lamp_off is None:
        return None
    return None if holding.lamp_on == holding.lamp_off else (holding.lamp_on, holding.lamp_off)
