"""What happens once: broods growing up, groups coming and going, weather, illness, mishaps."""

from collections.abc import Callable
from datetime import date, timedelta
from math import ceil

from quailwright.exchange.demo import breeders, scenario
from quailwright.exchange.demo.birds import CLASSES, Group, weights_g
from quailwright.exchange.demo.hatching import broods
from quailwright.exchange.demo.world import World
from quailwright.husbandry import facts, growth
from quailwright.husbandry.survival import Sex
from quailwright.journal import entries as kinds


def begin(world: World) -> None:
    """The first day: what there is, and a few hens bought from a neighbour, kept apart a month."""
    for kind, fields in scenario.set_up():
        world.diary.write(kind, **fields)
    world.wash_every_d = facts.value("care.wash_interval_d")
    world.month_done = world.day.month
    for feed in scenario.BAG_KG:
        world.bins[feed] = 0.0
    hatched_on = world.days_ago(scenario.FOUNDERS_AGE_D)
    founders = Group(
        scenario.FIRST_HENS, scenario.FAR_PEN, hatched_on,
        hens=scenario.FOUNDERS_HENS, cocks=scenario.FOUNDERS_COCKS,
    )  # fmt: skip
    world.groups[founders.name] = founders
    world.diary.write(
        kinds.Group, group=founders.name, place=founders.place, hens=founders.hens,
        cocks=founders.cocks, hatched_on=hatched_on, source=scenario.NEIGHBOUR,
        cost=founders.total * scenario.PRICE_PER_HEN, note=scenario.NOTES["founders"],
    )  # fmt: skip
    until = world.day + timedelta(days=int(facts.value("care.quarantine_d")))
    world.diary.write(kinds.Quarantine, place=scenario.FAR_PEN, until=until)


def of_the_day(world: World) -> None:
    """Everything of this day that is not part of the daily round."""
    _end_of_quarantine(world)
    _grow_up(world)
    for days_before, event in _ONCE:
        if days_before == world.days_before:
            event(world)
    for days_before, share, stay in scenario.BACHELORS_EATEN:
        if days_before == world.days_before:
            _take_for_table(world, world.groups[scenario.BACHELORS], share, stay)
    if world.day - world.cold_snap in (timedelta(days=2), timedelta(days=3)):
        _one_chilled(world)
    if world.writes_today and world.day.month != world.month_done:
        _monthly(world)


def _end_of_quarantine(world: World) -> None:
    apart_d = int(facts.value("care.quarantine_d"))
    if world.days_before != scenario.FIRST_DAY - apart_d - 1:
        return
    founders = world.groups[scenario.FIRST_HENS]
    founders.place = scenario.SOUTH_PEN
    world.diary.write(kinds.BirdsMoved, group=founders.name, place=founders.place)
    world.diary.write(
        kinds.Place, place=scenario.FAR_PEN, role="pen", closed=True, note=scenario.NOTES["last"]
    )


# Broods: weighed, sexed, moved to the pens.


def _grow_up(world: World) -> None:
    """Weighs, sexes and moves the broods when they are of age, and weighs them again later."""
    for hatch, brood in broods(world):
        age_d = brood.age_d(world.day)
        if age_d == facts.value("care.sexing_age_d"):
            _weigh(world, brood, None)
            _sex(world, brood)
        if age_d == facts.value("care.move_out_age_d"):
            _move_out(world, brood, hatch.setting)
    for hatch in world.hatches:
        joined = world.groups.get(hatch.setting.hens_join)
        if joined is None or not joined.hens or hatch.brood not in world.groups:
            continue
        age_d = world.groups[hatch.brood].age_d(world.day)
        if age_d in (
            facts.value("care.grow_weigh_age_2_d"),
            facts.value("care.grow_weigh_age_3_d"),
        ):
            _weigh(world, joined, "hen")


def _weigh(world: World, group: Group, sex: Sex | None) -> None:
    of_class = {"hen": group.hens, "cock": group.cocks, None: group.total}[sex]
    sample = min(scenario.SAMPLE_WEIGHED, of_class)
    if sample:
        weights = weights_g(group, world.day, sex or "hen", sample, world.rng)
        world.diary.write(
            kinds.BirdsWeighed, group=group.name, weights_g=weights, sex=sex or "unknown"
        )


def _sex(world: World, brood: Group) -> None:
    cocks = int(world.rng.binomial(brood.chicks, facts.value("survival.cocks_at_hatch")))
    hens = brood.chicks - cocks
    world.diary.write(kinds.BirdsSexed, group=brood.name, hens=hens, cocks=cocks)
    brood.chicks, brood.hens, brood.cocks = 0, hens, cocks


def _move_out(world: World, brood: Group, setting: scenario.Setting) -> None:
    """Hens and a few cocks to their pen, hens too many to a buyer, the other cocks apart."""
    pen = world.groups.setdefault(
        setting.hens_join, Group(setting.hens_join, setting.pen, brood.hatched_on)
    )
    hens = min(brood.hens, max(0, scenario.HENS_WANTED - pen.hens))
    cocks_wanted = int((pen.hens + hens) / facts.value("housing.hens_per_cock"))
    cocks = min(brood.cocks, max(0, cocks_wanted - pen.cocks))
    if brood.hens > hens:
        _sell(world, brood, brood.hens - hens)
    _join(world, brood, pen, hens, cocks)
    bachelors = world.groups.setdefault(
        scenario.BACHELORS, Group(scenario.BACHELORS, scenario.BACHELOR_PEN, brood.hatched_on)
    )
    _join(world, brood, bachelors, 0, brood.cocks, note=scenario.NOTES["surplus"])


def _join(world: World, brood: Group, pen: Group, hens: int, cocks: int, note: str = "") -> None:
    if not hens + cocks:
        return
    world.diary.write(
        kinds.BirdsMoved, group=brood.name, place=pen.place, to_group=pen.name,
        hens=hens, cocks=cocks, note=note,
    )  # fmt: skip
    if not pen.total:
        pen.hatched_on = brood.hatched_on
    brood.hens -= hens
    brood.cocks -= cocks
    pen.hens += hens
    pen.cocks += cocks


def _sell(world: World, group: Group, hens: int, paid: float | None = None) -> None:
    income = hens * scenario.PRICE_PER_HEN if paid is None else paid
    world.diary.write(kinds.BirdsOut, group=group.name, use="sold", hens=hens, income=income)
    group.hens -= hens


def _take_for_table(world: World, group: Group, share: float, stay: int) -> None:
    """Some cocks for the table: their live and dressed weight together."""
    cocks = min(ceil(group.cocks * share), group.cocks - stay)
    if cocks <= 0:
        return
    live_g = sum(weights_g(group, world.day, "cock", cocks, world.rng))
    dressed_g = live_g * facts.value("growth.dressed_share")
    world.diary.write(
        kinds.BirdsProcessed, group=group.name, cocks=cocks,
        live_g=round(live_g), dressed_g=round(dressed_g),
    )  # fmt: skip
    group.cocks -= cocks


# What happens on one day only.


def _sell_first_hens(world: World) -> None:
    first = world.groups[scenario.FIRST_HENS]
    income = first.hens * scenario.PRICE_PER_HEN
    breeders.part_with_founders(world)
    if first.hens:
        _sell(world, first, first.hens, income)
    _give_cocks(world, first, first.cocks)


def _give_cocks(world: World, group: Group, cocks: int) -> None:
    if cocks > 0:
        world.diary.write(kinds.BirdsOut, group=group.name, use="given", cocks=cocks)
        group.cocks -= cocks


def _old_hens_go(world: World) -> None:
    old = world.groups[scenario.NORTH_HENS]
    if old.hens > scenario.HENS_KEPT_IN_OLD_PEN:
        _sell(world, old, old.hens - scenario.HENS_KEPT_IN_OLD_PEN)
    _give_cocks(world, old, old.cocks - 1)


def _slower_wash(world: World) -> None:
    world.wash_every_d = scenario.WASH_EVERY_D
    world.diary.write(
        kinds.CareRule, rule="wash", every_days=world.wash_every_d, note=scenario.NOTES["wash"]
    )


def _raise_goal(world: World) -> None:
    world.diary.write(kinds.Goal, **scenario.LATER_GOAL)


def _ring(world: World) -> None:
    """Some of the long pen's birds get rings, and one cock is put with four of the hens."""
    group = world.groups[scenario.LONG_HENS]
    hatch = next(hatch for hatch in world.hatches if hatch.setting.hens_join == group.name)
    for ring in scenario.RINGS:
        world.diary.write(
            kinds.Bird, bird=ring.name, sex=ring.sex, group=group.name, hatch=hatch.name,
            sire=ring.sire, dam=ring.dam, plumage=ring.plumage, genotype=ring.genotype,
            hatched_on=world.groups[hatch.brood].hatched_on,
        )  # fmt: skip
    cocks = [ring.name for ring in scenario.RINGS if ring.sex == "cock"]
    hens = [ring.name for ring in scenario.RINGS if ring.sex == "hen"]
    world.diary.write(kinds.Pairing, pen=group.place, cocks=cocks[:1], hens=hens[:4])


def _weigh_ringed(world: World) -> None:
    age_d = world.groups[scenario.LONG_HENS].age_d(world.day)
    for ring in scenario.RINGS:
        mean_g = growth.mass_g(age_d, "cock" if ring.sex == "cock" else "hen")
        spread_g = mean_g * facts.value("growth.between_bird_cv")
        mass_g = round(float(world.rng.normal(mean_g, spread_g)), 1)
        world.diary.write(kinds.BirdWeighed, bird=ring.name, mass_g=mass_g)


def _ringed_hen_dies(world: World) -> None:
    world.diary.write(kinds.BirdLeft, bird=scenario.RINGED_HEN, use="died")
    world.groups[scenario.LONG_HENS].hens -= 1


def _ring_young(world: World) -> None:
    group = world.groups[scenario.SOUTH_HENS]
    hatch = next(hatch for hatch in world.hatches if hatch.setting.hens_join == group.name)
    sire, dam = scenario.PAIR
    for ring in scenario.YOUNG_RINGS[: group.hens]:
        world.diary.write(
            kinds.Bird, bird=ring, sex="hen", group=group.name, hatch=hatch.name, sire=sire,
            dam=dam, hatched_on=group.hatched_on, note=scenario.NOTES["basket"],
        )  # fmt: skip


def _treat(world: World) -> None:
    world.eggs_withheld_until = world.day + timedelta(days=scenario.EGGS_WITHHELD_DAYS)
    world.diary.write(
        kinds.Treated,
        group=scenario.NORTH_HENS,
        product="a coccidiosis treatment the vet prescribed",
        directed_by="the vet",
        eggs_withheld_until=world.eggs_withheld_until,
        meat_withheld_until=world.day + timedelta(days=scenario.MEAT_WITHHELD_DAYS),
        note=scenario.NOTES["treated"],
    )


def _ask_food_office(world: World) -> None:
    """How long eggs keep: asked before the first are sold, and again within the year."""
    world.diary.write(
        kinds.EggRule,
        storage="cool",
        keeps_days=scenario.KEEPS_DAYS,
        checked_on=world.day,
        said_by=scenario.FOOD_OFFICE,
    )


def _hen_missing(world: World) -> None:
    group = world.groups[scenario.NORTH_HENS]
    group.hens -= 1
    world.diary.write(
        kinds.BirdsCounted, group=group.name, hens=group.hens, cocks=group.cocks,
        note=scenario.NOTES["missing"],
    )  # fmt: skip


def _outage(world: World) -> None:
    world.diary.write(
        kinds.Outage, place=scenario.INCUBATOR, minutes=scenario.OUTAGE_MINUTES,
        lowest_c=scenario.OUTAGE_LOWEST_C, note=scenario.NOTES["outage"],
    )  # fmt: skip


def _one_chilled(world: World) -> None:
    """A hen of the largest group is found chilled."""
    group = max(world.alive(), key=lambda group: group.hens)
    world.diary.write(
        kinds.BirdsDied, group=group.name, hens=1, found="chilled", note=scenario.NOTES["cold"]
    )
    group.hens -= 1


_ONCE: tuple[tuple[int, Callable[[World], None]], ...] = (
    *((days_before, _ask_food_office) for days_before in scenario.ASKED_FOOD_OFFICE),
    (scenario.SLOWER_WASH, _slower_wash),
    (scenario.GOAL_RAISED, _raise_goal),
    (scenario.FIRST_HENS_SOLD, _sell_first_hens),
    (scenario.RINGED, _ring),
    (scenario.RINGED_WEIGHED, _weigh_ringed),
    (scenario.RINGED_HEN_DIES, _ringed_hen_dies),
    (scenario.TREATED, _treat),
    (scenario.HEN_MISSING, _hen_missing),
    (scenario.OUTAGE, _outage),
    (scenario.YOUNG_RINGED, _ring_young),
    (scenario.OLD_HENS_GO, _old_hens_go),
)


def _monthly(world: World) -> None:
    """Each month: heads counted, a few hens and the feed weighed, and bills paid."""
    world.month_done = world.day.month
    for group in world.alive():
        counted = {of: getattr(group, of) for of in CLASSES if getattr(group, of)}
        world.diary.write(kinds.BirdsCounted, group=group.name, **counted)
        _weigh(world, group, "hen")
    for feed, stored_kg in world.bins.items():
        world.bins[feed] = round(stored_kg, 1)
        world.diary.write(kinds.FeedCounted, feed=feed, kg=world.bins[feed])
    for category, amount in scenario.MONTHLY_BILLS.items():
        world.diary.write(kinds.Money, amount=amount, category=category)


def weather_days(on: date) -> tuple[date, date]:
    """When the cold snap and the heat wave begin: each in the last such season that is past."""
    latest = on - timedelta(days=scenario.WEATHER_ENDS_BEFORE)
    return (
        scenario.last_before(scenario.COLD_SNAP_BEGINS, latest),
        scenario.last_before(scenario.HEAT_WAVE_BEGINS, latest),
    )
