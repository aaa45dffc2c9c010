"""What is likely to be logged at a place, and the names that entries may speak of."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from typing import Any

from quailwright.flock.state import CLASSES, Flock, Group, Hatch
from quailwright.guide.occasions import may_lay, turns_until
from quailwright.journal.entries import Role, Sex
from quailwright.language import mark, say


@dataclass(frozen=True, slots=True)
class Entering:
    """An entry likely at a place: its kind, the fields known, and those to ask for."""

    kind: str
    label: str
    known: dict[str, Any]
    asks: tuple[str, ...]


def at_hand(flock: Flock, place: str, on: date) -> list[Entering]:
    """What is likely to be logged at a place on a day: of its birds, then of its eggs."""
    groups = flock.groups_at(place)
    several = len(groups) > 1
    found: list[Entering] = []
    for group in groups:
        found.extend(_of_group(group, on, several))
    if groups:
        here = {"place": place}
        found.append(Entering("feed_given", say("Feed"), here, ("feed", "kg")))
        found.append(Entering("water_given", say("Water"), here, ("litres",)))
        known = flock.places.get(place)
        spot = ("spot",) if known is not None and known.role == "brooder" else ()
        asks = ("lowest_c", "highest_c", *spot)
        found.append(Entering("temperature_seen", say("Lowest and highest"), here, asks))
    open_here = [hatch for hatch in flock.hatches_open() if hatch.place == place]
    for hatch in open_here:
        found.extend(of_hatch(hatch, on, len(open_here) > 1))
    return found


def _of_group(group: Group, on: date, several: bool) -> Iterator[Entering]:
    known = {"group": group.name}

    def label(of_one: str, of_several: str) -> str:
        return say(of_several, group=group.name) if several else say(of_one)

    if may_lay(group, on):
        eggs = label(mark("Eggs"), mark("Eggs of {group}"))
        yield Entering("eggs_collected", eggs, known, ("eggs", "cracked"))
    classes = tuple(name for name in CLASSES if getattr(group.alive, name))
    died = label(mark("A death"), mark("A death of {group}"))
    together = ("together",) if group.alive.chicks else ()
    yield Entering("birds_died", died, known, (*classes, "found", *together))
    counted = label(mark("Head count"), mark("Head count of {group}"))
    yield Entering("birds_counted", counted, known, classes)
    if group.alive.chicks:
        sexed = label(mark("Sexed"), mark("Sexed of {group}"))
        yield Entering("birds_sexed", sexed, known, ("hens", "cocks"))
    weighed = label(mark("Weights"), mark("Weights of {group}"))
    yield Entering("birds_weighed", weighed, known, ("birds", "total_g"))


def of_hatch(hatch: Hatch, on: date, several: bool = False) -> Iterator[Entering]:
    """What is likely to be logged of a hatch that is not closed; `several` names it in labels."""
    if hatch.closed_at is not None:
        return
    known = {"hatch": hatch.name}

    def label(of_one: str, of_several: str) -> str:
        return say(of_several, hatch=hatch.name) if several else say(of_one)

    if hatch.turning_stopped_at is None:
        weigh = label(mark("Weigh"), mark("Weigh {hatch}"))
        yield Entering("eggs_weighed", weigh, known, ("eggs", "total_g"))
        candle = label(mark("Candle"), mark("Candle {hatch}"))
        yield Entering("eggs_candled", candle, known, ("clear", "dead"))
    if on >= turns_until(hatch).date() or hatch.hatched:
        out = label(mark("Chicks out"), mark("Chicks out {hatch}"))
        yield Entering("chicks_hatched", out, known, ("chicks",))
        stages = ("infertile", "early", "middle", "late", "pipped", "contaminated")
        opened = label(mark("Eggs opened"), mark("Eggs opened {hatch}"))
        yield Entering("eggs_opened", opened, known, stages)


_ASKED_FIRST: dict[str, tuple[str, ...]] = {
    "holding": ("name", "timezone", "units"),
    "place": ("floor_m2", "capacity_eggs", "walk_order"),
    "goal": ("eggs_per_week", "table_birds_per_month", "certainty"),
    "eggs_set": ("source", "group"),
    "group": ("hens", "cocks", "chicks", "hatched_on"),
    "birds_died": (*CLASSES, "found", "together"),
    "temperature_seen": ("lowest_c", "highest_c", "spot"),
    "contact": ("phone",),
    "birds_processed": CLASSES,
    "birds_out": CLASSES,
    "birds_counted": CLASSES,
    "birds_weighed": ("birds", "total_g", "weights_g"),
    "eggs_opened": ("infertile", "early", "middle", "late", "pipped", "contaminated"),
    "bird": ("group", "sire", "dam", "hatched_on"),
    "care_rule": ("silenced", "place", "every_days"),
}


def asked_first(kind: str) -> tuple[str, ...]:
    """Fields that no rule needs, and without which such an entry says little."""
    return _ASKED_FIRST.get(kind, ())


_ROLES_OF: dict[str, tuple[Role, ...]] = {
    "eggs_set": ("incubator", "hatcher"),
    "turning_stopped": ("hatcher", "incubator"),
}


def known_names(flock: Flock, kind: str) -> dict[str, list[str]]:
    """Names that a kind's fields may hold, by field: what stands, the likeliest first."""
    roles = _ROLES_OF.get(kind)
    places = [
        place.name
        for place in flock.in_walking_order()
        if not place.closed and (roles is None or place.role in roles)
    ]
    open_hatches = [hatch.name for hatch in flock.hatches_open()][::-1]
    groups = [group.name for group in flock.groups_alive()]
    birds = [bird.name for bird in flock.birds.values() if bird.left is None]
    cocks = [name for name in birds if flock.birds[name].sex == "cock"]
    hens = [name for name in birds if flock.birds[name].sex == "hen"]
    return {
        "place": places,
        "pen": [place.name for place in flock.in_walking_order() if place.role == "pen"],
        "hatch": []
        if kind == "eggs_set"
        else list(flock.hatches)[::-1]
        if kind == "bird"
        else open_hatches,
        "group": groups,
        "to_group": groups,
        "source": list(flock.sources),
        "feed": _feeds(flock),
        "instrument": list(flock.instruments),
        "bird": hens if kind == "hen_laid" else birds,
        "sire": _parents(flock, "cock"),
        "dam": _parents(flock, "hen"),
        "cocks": cocks,
        "hens": hens,
        "category": sorted({payment.category for payment in flock.payments}),
    }


def _parents(flock: Flock, sex: Sex) -> list[str]:
    """Ringed birds of a sex, those that live first."""
    some = [bird for bird in flock.birds.values() if bird.sex == sex]
    return [bird.name for bird in sorted(some, key=lambda bird: bird.left is not None)]


def _feeds(flock: Flock) -> list[str]:
    """Feeds, the one given last first."""
    by_use = sorted(flock.feeds.values(), key=lambda stock: stock.last_given or date.min)
    return [stock.name for stock in reversed(by_use)]
