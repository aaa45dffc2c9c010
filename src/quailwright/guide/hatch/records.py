"""From what stands to what the hatch models read: weighings, air, time and evidence."""

from collections.abc import Mapping
from datetime import UTC, datetime, timedelta
from statistics import fmean

from quailwright.flock.state import Clutch, Flock, Hatch
from quailwright.guide.hatch.air import Air
from quailwright.guide.hatch.case import Estimate, HatchCase
from quailwright.guide.hatch.weight import Weighing, WeightRecord
from quailwright.guide.hatch.window import HeatLoss, TimeRecord
from quailwright.guide.occasions import ends, may_hatch_on, turns_until
from quailwright.husbandry import facts
from quailwright.husbandry.egg_water import altitude_factor
from quailwright.journal.entries import Instrument
from quailwright.journal.moments import instant
from quailwright.language import mark

_DAY = timedelta(days=1)
_HOUR = timedelta(hours=1)
AT_SETTING_DAYS = 0.5
"""A weighing so soon after setting is one of the eggs as set."""
_REMEMBERED = 12
"""Earlier hatches that are learnt from: more would say little that is new, and instruments, hens
and machines change with time."""


def days_from_setting(hatch: Hatch, at: datetime) -> float:
    """Days of 24 hours from setting to `at`."""
    return _since_setting(hatch, at) / _DAY


def _since_setting(hatch: Hatch, at: datetime) -> timedelta:
    """The time that passed, whatever clocks did: two times of one zone are subtracted as shown."""
    return at.astimezone(UTC) - hatch.set_at.astimezone(UTC)


def stop_day(hatch: Hatch) -> float:
    """Day on which turning stops, or stopped."""
    return days_from_setting(hatch, turns_until(hatch))


def sources_of(hatch: Hatch) -> frozenset[str]:
    """Whose eggs they are: sources and own groups."""
    return frozenset(c.group or c.source or "" for c in hatch.clutches)


def instrument_at(
    flock: Flock, place: str, name: str, offset: str = "humidity_offset_pct"
) -> Instrument | None:
    """The instrument of a place whose `offset` the keeper logged.

    The one of that name; for readings without a name, or one that nobody logged, the newest there.
    """
    checked = [
        i for i in flock.instruments.values() if i.place == place and getattr(i, offset) is not None
    ]
    named = [i for i in flock.instruments.values() if i.instrument == name]
    if name and named:
        checked = [i for i in named if getattr(i, offset) is not None]
    return max(checked, key=lambda i: instant(i.at, flock.zone), default=None)


def _route(flock: Flock, clutch: Clutch) -> str | None:
    if clutch.group is not None:
        return "own"
    source = flock.sources.get(clutch.source or "")
    return source.route if source is not None else None


def weight_record(flock: Flock, hatch: Hatch, air: Air) -> WeightRecord:
    """What this hatch tells of weight loss."""
    weighings = [
        Weighing(max(0.0, days_from_setting(hatch, at)), eggs, grams)
        for at, eggs, grams in sorted(hatch.weighed)
    ]
    means = [(c.mean_egg_g, c.eggs) for c in hatch.clutches if c.mean_egg_g is not None]
    weighed_at_setting = bool(weighings) and weighings[0].day <= AT_SETTING_DAYS
    if len(means) == len(hatch.clutches) and not weighed_at_setting:
        grams = sum(mean * eggs for mean, eggs in means)
        told = facts.value("egg_water.mean_egg_noise_g")
        weighings.insert(0, Weighing(0.0, hatch.eggs_set, grams, told))
    return WeightRecord(
        hatch.name,
        hatch.set_in,
        sources_of(hatch),
        hatch.eggs_set,
        weighings,
        air,
        _altitude(flock, hatch),
    )


def _altitude(flock: Flock, hatch: Hatch) -> float:
    """How much faster these eggs dry for the height of the place: less for those laid there."""
    height = flock.holding.altitude_m if flock.holding is not None else None
    if height is None:
        return 1.0
    full = altitude_factor(height) - 1.0
    share = facts.value("egg_water.altitude_adapted_share")
    factors = [
        (1.0 + full * (1.0 if _route(flock, clutch) == "shipped" else share), clutch.eggs)
        for clutch in hatch.clutches
    ]
    return sum(factor * eggs for factor, eggs in factors) / max(1, hatch.eggs_set)


def storage_days(hatch: Hatch) -> float | None:
    """Mean days from lay to setting, where lay dates were logged."""
    known = [(c, c.laid_from or c.laid_to) for c in hatch.clutches]
    if any(laid is None for _, laid in known):
        return None
    total = sum(_stored(hatch, clutch) * clutch.eggs for clutch, _ in known)
    return total / max(1, hatch.eggs_set)


def _stored(hatch: Hatch, clutch: Clutch) -> float:
    first, last = clutch.laid_from or clutch.laid_to, clutch.laid_to or clutch.laid_from
    set_on = hatch.set_at.date()
    return fmean(max(0, (set_on - laid).days) for laid in (first, last) if laid is not None)


def time_record(flock: Flock, hatch: Hatch, air: Air) -> TimeRecord:
    """What this hatch tells of time; chicks logged when none can come tell nothing."""
    told = [(at, count) for at, count in hatch.hatchings if may_hatch_on(hatch, at)]
    chicks = sum(count for _, count in told)
    hours = [_since_setting(hatch, at) / _HOUR * count for at, count in told]
    thermometer = instrument_at(flock, hatch.set_in, "", "temperature_offset_c")
    return TimeRecord(
        hatch.set_in,
        hatch.set_at,
        hatch.set_hour_known,
        air,
        storage_days(hatch),
        outages(flock, hatch),
        thermometer is not None,
        sum(hours) / chicks if chicks else None,
        chicks,
    )


def outages(flock: Flock, hatch: Hatch) -> list[HeatLoss]:
    """Outages at the machine while this hatch was in it."""
    found = []
    for _, entry in flock.outages:
        day = days_from_setting(hatch, instant(entry.at, flock.zone))
        if entry.place in (hatch.set_in, hatch.place) and 0 <= day <= days_from_setting(
            hatch, ends(hatch)
        ):
            found.append(HeatLoss(day, timedelta(minutes=entry.minutes) / _HOUR, entry.lowest_c))
    return found


def hatch_case(
    flock: Flock,
    hatch: Hatch,
    air: Air,
    loss: Estimate | None,
    offset: Estimate | None,
    hours_late: Estimate | None,
    clashed: bool,
    awaited: bool,
) -> HatchCase:
    """This hatch as evidence; what the record does not say stays None."""
    stop = stop_day(hatch)
    own = [flock.groups[c.group] for c in hatch.clutches if c.group in flock.groups]
    ages = [group.age_days(hatch.set_at.date()) for group in own if group.alive.cocks]
    ratios = [group.alive.hens / group.alive.cocks for group in own if group.alive.cocks]
    known_ages = [age for age in ages if age is not None]
    worst = max(outages(flock, hatch), key=lambda outage: outage.hours, default=None)
    hygrometer = instrument_at(flock, hatch.set_in, air.hygrometer)
    routes = {_route(flock, clutch) for clutch in hatch.clutches}
    temperature = air.temperature_between(0.0, stop)
    hatcher_humidity, known_by = _hatcher_humidity(flock, hatch, air, offset)
    return HatchCase(
        hatch.name,
        hatch.set_in,
        tuple(sorted(sources_of(hatch))),
        hatch.eggs_set + hatch.found,
        hatch.hatched,
        hatch.clear,
        hatch.dead,
        dict(hatch.opened),
        hatch.closed_at is not None,
        awaited,
        routes.pop() if len(routes) == 1 else None,
        storage_days(hatch),
        _storage_c(hatch),
        fmean(known_ages) if known_ages else None,
        fmean(ratios) if ratios else None,
        loss,
        corridor(),
        offset,
        hygrometer is not None,
        temperature.mean_c,
        temperature.hours_hot,
        temperature.hours_cold,
        temperature.swing_c,
        temperature.share,
        hatcher_humidity,
        known_by,
        worst.hours if worst is not None else None,
        worst.lowest_c if worst is not None else None,
        worst.day if worst is not None else None,
        _turns_ticked(flock, hatch),
        stop if hatch.turning_stopped_at is not None else None,
        hours_late,
        _spread_hours(hatch),
        clashed,
        _parents_related(flock, hatch),
    )


def _parents_related(flock: Flock, hatch: Hatch) -> float | None:
    """Inbreeding expected of its chicks; asked for once its eggs tell something to explain."""
    if hatch.closed_at is None and not hatch.opened:
        return None
    from quailwright.flock.pedigree import chicks_inbred

    return chicks_inbred(flock, hatch.name)


def _hatcher_humidity(
    flock: Flock, hatch: Hatch, air: Air, offset: Estimate | None
) -> tuple[Estimate | None, str]:
    """Mean true humidity once turning had stopped, and what it is known by."""
    shown = air.humidity_between(stop_day(hatch), days_from_setting(hatch, ends(hatch)))
    checked = instrument_at(flock, hatch.place, "")
    known_by = mark("a checked hygrometer")
    if checked is None:
        known_by = mark("an unchecked hygrometer")
    if shown is None:
        return None, known_by
    if hatch.place == hatch.set_in and offset is not None:
        known_by = known_by if air.humidity_offset_pct is not None else mark("the weighings")
    elif checked is not None:
        spread = facts.value("egg_water.hygrometer_checked_sd_pct")
        offset = Estimate(checked.humidity_offset_pct or 0.0, spread)
    else:
        offset = Estimate(0.0, facts.value("egg_water.hygrometer_sd_pct"))
    return Estimate(min(100.0, max(0.0, shown - offset.mean)), offset.sd), known_by


def _storage_c(hatch: Hatch) -> float | None:
    known = [(c.storage_c, c.eggs) for c in hatch.clutches if c.storage_c is not None]
    if not known:
        return None
    return sum(c * eggs for c, eggs in known) / sum(eggs for _, eggs in known)


def corridor() -> tuple[float, float]:
    """Weight loss to aim for by the stop of turning, % of the mass when set."""
    return facts.value("incubation.weight_loss_low"), facts.value("incubation.weight_loss_high")


def _turns_ticked(flock: Flock, hatch: Hatch) -> float | None:
    """Share of hand turns that were ticked, or None for a keeper who ticks none (or a machine)."""
    first, last = hatch.set_at.date(), turns_until(hatch).date()
    ticks = [day for day in flock.care.get(("turn_eggs", hatch.set_in), ()) if first < day < last]
    if not ticks:
        return None
    wanted = facts.value("incubation.turns_per_day") * max(1, (last - first).days - 1)
    return min(1.0, len(ticks) / wanted)


def _spread_hours(hatch: Hatch) -> float | None:
    times = [
        _since_setting(hatch, at)
        for at, chicks in hatch.hatchings
        if chicks and may_hatch_on(hatch, at)
    ]
    return (max(times) - min(times)) / _HOUR if len(times) > 1 else None


def clashes(flock: Flock, hatch: Hatch) -> bool:
    """Whether another hatch shared its machine while one lay still and the other was turned."""
    for other in flock.hatches.values():
        if other.name == hatch.name or hatch.set_in not in (other.set_in, other.place):
            continue
        first, second = sorted((hatch, other), key=turns_until)
        together = first.place == second.set_in and second.set_at < ends(first)
        if together and turns_until(first) < min(ends(first), turns_until(second)):
            return True
    return False


def earlier_hatches(flock: Flock, hatch: Hatch) -> list[Hatch]:
    """Hatches set before this one, oldest first."""
    before = [other for other in flock.hatches.values() if other.set_at < hatch.set_at]
    return sorted(before, key=lambda other: other.set_at)


def telling_hatches(flock: Flock, hatch: Hatch) -> list[Hatch]:
    """The newest earlier hatches in the same machine or of the same source, oldest first."""
    sources = sources_of(hatch)
    alike = [
        other
        for other in earlier_hatches(flock, hatch)
        if other.set_in == hatch.set_in or sources_of(other) & sources
    ]
    return alike[-_REMEMBERED:]


Airs = Mapping[str, Air]
"""The air of each hatch, by its name."""


def air_of(airs: Airs, hatch: Hatch) -> Air:
    """The air of a hatch; nothing logged where there is none."""
    return airs.get(hatch.name, Air())
