"""What is likely to be logged at a place, and the names that entries may speak of."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from typing import Any

from quailwright.flock.state import CLASSES, Flock, Group, Hatch
from quailwright.guide.occasions import may_lay, turns_until
from quailwright.journal.entries import Role


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
        found.append(Entering("feed_given", "Feed", {"place": place}, ("feed", "kg")))
    open_here = [hatch for hatch in flock.hatches_open() if hatch.place == place]
    for hatch in open_here:
        found.extend(of_hatch(hatch, on, len(open_here) > 1))
    return found


def _of_group(group: Group, on: date, several: bool) -> Iterator[Entering]:
    whose = f" of {group.name}" if several else ""
    known = {"group": group.name}
    if may_lay(group, on):
        yield Entering("eggs_collected", f"Eggs{whose}", known, ("eggs", "cracked"))
    classes = tuple(name for name in CLASSES if getattr(group.alive, name))
    yield Entering("birds_died", f"A death{whose}", known, (*classes, "found"))
    yield Entering("birds_counted", f"Head count{whose}", known, classes)
    if group.alive.chicks:
        yield Entering("birds_sexed", f"Sexed{whose}", known, ("hens", "cocks"))
    yield Entering("birds_weighed", f"Weights{whose}", known, ("birds", "total_g"))


def of_hatch(hatch: Hatch, on: date, several: bool = False) -> Iterator[Entering]:
    """What is likely to be logged of a hatch that is not closed; `several` names it in labels."""
    if hatch.closed_at is not None:
        return
    which = f" {hatch.name}" if several else ""
    known = {"hatch": hatch.name}
    if hatch.turning_stopped_at is None:
        yield Entering("eggs_weighed", f"Weigh{which}", known, ("eggs", "total_g"))
        yield Entering("eggs_candled", f"Candle{which}", known, ("clear", "dead"))
    if on >= turns_until(hatch).date() or hatch.hatched:
        yield Entering("chicks_hatched", f"Chicks out{which}", known, ("chicks",))
        stages = ("infertile", "early", "middle", "late", "pipped", "contaminated")
        yield Entering("eggs_opened", f"Eggs opened{which}", known, stages)


_ASKED_FIRST: dict[str, tuple[str, ...]] = {
    "holding": ("name", "timezone", "units"),
    "place": ("floor_m2", "capacity_eggs", "walk_order"),
    "goal": ("eggs_per_week", "table_birds_per_month", "certainty"),
    "eggs_set": ("source", "group"),
    "group": ("hens", "cocks", "chicks", "hatched_on"),
    "birds_died": (*CLASSES, "found"),
    "birds_processed": CLASSES,
    "birds_out": CLASSES,
    "birds_counted": CLASSES,
    "birds_weighed": ("birds", "total_g", "weights_g"),
    "eggs_opened": ("infertile", "early", "middle", "late", "pipped", "contaminated"),
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
    return {
        "place": places,
        "pen": [place.name for place in flock.in_walking_order() if place.role == "pen"],
        "hatch": [] if kind == "eggs_set" else open_hatches,
        "group": groups,
        "to_group": groups,
        "source": list(flock.sources),
        "feed": _feeds(flock),
        "instrument": list(flock.instruments),
        "bird": birds,
        "sire": [name for name in birds if flock.birds[name].sex == "cock"],
        "dam": [name for name in birds if flock.birds[name].sex == "hen"],
        "category": sorted({payment.category for payment in flock.payments}),
    }


def _feeds(flock: Flock) -> list[str]:
    """Feeds, the one given last first."""
    by_use = sorted(flock.feeds.values(), key=lambda stock: stock.last_given or date.min)
    return [stock.name for stock in reversed(by_use)]
