"""The breeding story of the demo: rings, parents, weights, hens' own eggs, colours and pairings.

It is written in a book of its own, with random numbers of its own, beside the rest: birds are
ringed, weighed and paired, and none comes or goes by it but the ringed founders when all of them
are sold.
"""

from collections.abc import Callable, Sequence
from datetime import date

from quailwright.exchange.demo import scenario
from quailwright.exchange.demo.birds import BirdClass, Group
from quailwright.exchange.demo.hatch import Hatch
from quailwright.exchange.demo.scenario import Ring
from quailwright.exchange.demo.world import World
from quailwright.husbandry import facts, growth, laying
from quailwright.husbandry.survival import Sex
from quailwright.journal import entries as kinds

_AFTERNOON = "16:00"


def open_book(world: World) -> None:
    """Turns the page of the book of rings."""
    world.ring_book.turn_to(world.day)
    world.ring_book.not_before(_AFTERNOON)
    world.ring_book.by = scenario.KEEPS_THE_RINGS


def of_the_day(world: World) -> None:
    """What is done with rings on this day."""
    for days_before, event in _ONCE:
        if days_before == world.days_before:
            event(world)
    _mind_young(world)


def hatch_of(world: World, setting: int) -> Hatch:
    """The hatch of one of the settings of the scenario."""
    return next(h for h in world.hatches if h.setting is scenario.SETTINGS[setting])


def part_with_founders(world: World) -> None:
    """The ringed founders leave by their rings, when all of their group go.

    The last of a sex leaves by the entry that would have told of the others.
    """
    group = world.groups[scenario.FIRST_HENS]
    for ring in _standing(scenario.FOUNDER_RINGS, group):
        use: kinds.LeftUse = "given" if ring.sex == "cock" else "sold"
        of: BirdClass = "cocks" if ring.sex == "cock" else "hens"
        book = world.diary if getattr(group, of) == 1 else world.ring_book
        book.write(kinds.BirdLeft, bird=ring.name, use=use)
        group.take(of, 1)


def _standing(rings: Sequence[Ring], group: Group) -> list[Ring]:
    """As many of these rings as the group has birds for, the first ones."""
    hens = [ring for ring in rings if ring.sex == "hen"][: group.hens]
    cocks = [ring for ring in rings if ring.sex == "cock"][: group.cocks]
    return [ring for ring in rings if ring in (*hens, *cocks)]


def _ring(
    world: World, ring: Ring, group: Group, hatch: Hatch | None, hatched_on: date, note: str = ""
) -> None:
    world.ring_book.write(
        kinds.Bird, bird=ring.name, sex=ring.sex, group=group.name,
        hatch=None if hatch is None else hatch.name, sire=ring.sire, dam=ring.dam,
        plumage=ring.plumage, genotype=ring.genotype, hatched_on=hatched_on,
        note=scenario.NOTES[note] if note else "",
    )  # fmt: skip


def _weigh(world: World, ring: Ring, group: Group) -> None:
    sex: Sex = "cock" if ring.sex == "cock" else "hen"
    mean_g = growth.mass_g(group.age_d(world.day), sex)
    spread_g = mean_g * facts.value("growth.between_bird_cv")
    mass_g = round(float(world.ring_rng.normal(mean_g, spread_g)), 1)
    world.ring_book.write(kinds.BirdWeighed, bird=ring.name, mass_g=mass_g)


def _ring_founders(world: World) -> None:
    group = world.groups[scenario.FIRST_HENS]
    for ring in _standing(scenario.FOUNDER_RINGS, group):
        _ring(world, ring, group, None, group.hatched_on)


def _ring_second_cock(world: World) -> None:
    hatch = hatch_of(world, scenario.SECOND_COCK_OF)
    group = world.groups[scenario.LONG_HENS]
    hatched_on = world.groups[hatch.brood].hatched_on
    _ring(world, scenario.SECOND_COCK, group, hatch, hatched_on)


def _weigh_second_cock(world: World) -> None:
    _weigh(world, scenario.SECOND_COCK, world.groups[scenario.LONG_HENS])


def _mind_young(world: World) -> None:
    """Young birds are ringed and weighed on the day before they move out at four weeks."""
    for hatch in world.hatches:
        if hatch.setting is scenario.SETTINGS[scenario.YOUNG_OF] and hatch.brood in world.groups:
            to_go_d = facts.value("care.move_out_age_d") - world.groups[hatch.brood].age_d(
                world.day
            )
            if to_go_d == 1:
                _weigh_young(world, hatch)
            if to_go_d == 0:
                _rehome_young(world)


def _weigh_young(world: World, hatch: Hatch) -> None:
    """Up to half of a brood get rings, and each of them goes on the scale."""
    brood = world.groups[hatch.brood]
    hens = [ring for ring in scenario.YOUNG if ring.sex == "hen"][: brood.hens // 2]
    cocks = [ring for ring in scenario.YOUNG if ring.sex == "cock"][: brood.cocks // 2]
    world.ringed_young = [*hens, *cocks]
    for ring in world.ringed_young:
        _ring(world, ring, brood, hatch, brood.hatched_on, "basket")
        _weigh(world, ring, brood)


def _rehome_young(world: World) -> None:
    """They live in the south pen now, all cocks but one in the bachelors' pen."""
    south, bachelors = world.groups[scenario.SOUTH_HENS], world.groups[scenario.BACHELORS]
    cocks = [ring for ring in world.ringed_young if ring.sex == "cock"]
    for ring in world.ringed_young:
        group = bachelors if ring in cocks[1:] else south
        world.ring_book.write(kinds.Bird, bird=ring.name, sex=ring.sex, group=group.name)


def _ring_chicks(world: World) -> None:
    """Chicks of one pair, ringed in the brooder; their down shows their colour."""
    hatch = hatch_of(world, scenario.CHICKS_OF)
    brood = world.groups[hatch.brood]
    for ring in scenario.CHICKS[: brood.chicks]:
        _ring(world, ring, brood, hatch, brood.hatched_on, "basket")


def _hens_alone(world: World, rings: Sequence[Ring], age_d: int) -> None:
    """Hens kept alone for some days, one after another, and their eggs counted and weighed."""
    days = scenario.ALONE_D
    for ring in rings:
        eggs = int(world.ring_rng.binomial(days, laying.hen_day_rate(age_d)))
        usual_g = facts.value("laying.egg_mass_g")
        each_g = world.ring_rng.normal(usual_g, usual_g * facts.value("growth.between_bird_cv"))
        total_g = round(eggs * float(each_g), 1) if eggs else None
        world.ring_book.write(
            kinds.HenLaid, bird=ring.name, eggs=eggs, days=days, total_g=total_g,
            note=scenario.NOTES["alone"],
        )  # fmt: skip


def _old_hens_alone(world: World) -> None:
    hens = [ring for ring in scenario.RINGS if ring.name in scenario.PAIRED_HENS]
    _hens_alone(world, hens, world.groups[scenario.LONG_HENS].age_d(world.day))


def _young_hens_alone(world: World) -> None:
    hens = [ring for ring in world.ringed_young if ring.sex == "hen"]
    _hens_alone(world, hens, world.groups[scenario.SOUTH_HENS].age_d(world.day))


def _pair_anew(cock: str) -> Callable[[World], None]:
    def event(world: World) -> None:
        world.ring_book.write(
            kinds.Pairing, pen=scenario.LONG_PEN, cocks=[cock], hens=list(scenario.PAIRED_HENS),
            note=scenario.NOTES["paired"],
        )  # fmt: skip

    return event


_ONCE: tuple[tuple[int, Callable[[World], None]], ...] = (
    (scenario.FOUNDERS_RINGED, _ring_founders),
    (scenario.RINGED, _ring_second_cock),
    (scenario.RINGED_WEIGHED, _weigh_second_cock),
    (scenario.OLD_HENS_ALONE, _old_hens_alone),
    *((days_before, _pair_anew(cock)) for days_before, cock in scenario.PAIRED_ANEW),
    (scenario.YOUNG_HENS_ALONE, _young_hens_alone),
    (scenario.CHICKS_RINGED, _ring_chicks),
)
