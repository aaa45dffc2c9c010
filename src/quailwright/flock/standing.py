"""What stands, set out for a keeper: places with their birds, room, eggs, feed and money."""

from collections import defaultdict
from dataclasses import dataclass
from datetime import date
from typing import Any

from quailwright.flock.planned import (
    PROGRESS,
    Progress,
    count_meant,
    cull_progress,
    culls_in,
    set_progress,
    sets_in,
)
from quailwright.flock.state import CullToDo, Difference, Flock, Group, Hatch, Place, SetToDo


@dataclass(frozen=True, slots=True)
class GroupStanding:
    """A group as it stands. `ledger` accounts for every bird that it ever held."""

    group: str
    chicks: int
    hens: int
    cocks: int
    birds: int
    age_days: int | None
    oldest_age_days: int | None
    hens_per_cock: float | None
    hatches: list[str]
    ledger: dict[str, int]


@dataclass(frozen=True, slots=True)
class HatchStanding:
    """A hatch under way."""

    hatch: str
    place: str
    set_at: str
    set: int
    removed: int
    hatched: int
    alive: int
    to_house: int


@dataclass(frozen=True, slots=True)
class PlaceStanding:
    """A place with what is in it."""

    place: str
    role: str | None
    birds: int
    floor_m2: float | None
    floor_m2_per_bird: float | None
    eggs: int
    capacity_eggs: int | None
    quarantined_until: date | None
    closed: bool
    groups: list[GroupStanding]
    hatches: list[HatchStanding]


@dataclass(frozen=True, slots=True)
class LotStanding:
    """Eggs on hand that one group laid on one day.

    `withheld` by a medicine; `withheld_until` is None, too, while nobody has told the date.
    """

    laid: date
    group: str
    eggs: int
    age_days: int
    withheld_until: date | None
    withheld: bool


@dataclass(frozen=True, slots=True)
class FeedStanding:
    """A feed in the store. `unbought_kg` was given without its buying being logged."""

    feed: str
    stage: str | None
    kg: float
    unbought_kg: float


@dataclass(frozen=True, slots=True)
class PlanStanding:
    """The plan that was accepted last. Its brief is in the journal."""

    accepted_at: str
    certainty: float


@dataclass(frozen=True, slots=True)
class SetStanding:
    """A planned set: `ahead`, `due`, `done` (`set_as` that hatch) or `lapsed`."""

    hatch: str
    on: date
    eggs: int
    place: str
    source: str | None
    group: str | None
    progress: Progress
    set_as: str | None


@dataclass(frozen=True, slots=True)
class CullStanding:
    """A planned cull: how many stay, and how many of the birds meant are there now."""

    on: date
    hatch: str | None
    group: str | None
    hatched_on: date | None
    keep_hens: int | None
    keep_cocks: int | None
    progress: Progress
    hens: int
    cocks: int
    chicks: int


@dataclass(frozen=True, slots=True)
class Standing:
    """Everything that stands on a day."""

    on: date
    holding: str
    totals: dict[str, int]
    places: list[PlaceStanding]
    eggs: dict[str, int]
    lots: list[LotStanding]
    hatching_eggs: list[dict[str, Any]]
    feeds: list[FeedStanding]
    money: dict[str, float]
    differences: list[Difference]
    kept_contradictions: int
    entries: int
    plan: PlanStanding | None
    planned_sets: list[SetStanding]
    planned_culls: list[CullStanding]


def standing(flock: Flock, on: date) -> Standing:
    """What stands on the day `on`, in the order of the walk. `flock` is folded up to then."""
    groups = list(flock.groups_alive())
    lots = [_lot(flock, key, on) for key, lot in flock.lots.items() if lot.on_hand > 0]
    withheld = sum(lot.eggs for lot in lots if lot.withheld)
    on_hand = sum(lot.eggs for lot in lots)
    money: defaultdict[str, float] = defaultdict(float)
    for payment in flock.payments:
        money[payment.category] += payment.amount
    return Standing(
        on,
        flock.holding.name if flock.holding is not None else "",
        {
            "chicks": sum(group.alive.chicks for group in groups),
            "hens": sum(group.alive.hens for group in groups),
            "cocks": sum(group.alive.cocks for group in groups),
            "birds": sum(group.alive.total for group in groups),
        },
        [_place(flock, place, on) for place in flock.in_walking_order()],
        {"on_hand": on_hand, "withheld": withheld, "free": on_hand - withheld},
        sorted(lots, key=lambda lot: (lot.laid, lot.group)),
        [
            {
                "source": receipt.source,
                "lot": receipt.lot,
                "came": receipt.at.date(),
                "eggs": receipt.on_hand,
                "laid_from": receipt.laid_from,
                "laid_to": receipt.laid_to,
            }
            for receipt in flock.receipts
            if receipt.on_hand > 0
        ],
        [
            FeedStanding(
                stock.name,
                stock.label.stage if stock.label is not None else None,
                round(max(0.0, stock.kg), 3),
                round(max(0.0, -stock.kg), 3),
            )
            for stock in flock.feeds.values()
        ],
        {category: round(amount, 2) for category, amount in sorted(money.items())},
        flock.differences,
        len(flock.findings),
        flock.entries,
        None
        if flock.plan is None
        else PlanStanding(flock.plan.accepted_at.isoformat(), flock.plan.certainty),
        [_planned_set(planned, on) for planned in sets_in(flock, on, *PROGRESS)],
        [_planned_cull(flock, cull, on) for cull in culls_in(flock, on, *PROGRESS)],
    )


def _planned_set(planned: SetToDo, on: date) -> SetStanding:
    return SetStanding(
        planned.hatch,
        planned.on,
        planned.eggs,
        planned.place,
        planned.source,
        planned.group,
        set_progress(planned, on),
        planned.set_as,
    )


def _planned_cull(flock: Flock, cull: CullToDo, on: date) -> CullStanding:
    birds = count_meant(flock, cull, on)
    return CullStanding(
        cull.on,
        cull.hatch,
        cull.group,
        cull.hatched_on,
        cull.keep_hens,
        cull.keep_cocks,
        cull_progress(flock, cull, on),
        birds.hens,
        birds.cocks,
        birds.chicks,
    )


def _place(flock: Flock, place: Place, on: date) -> PlaceStanding:
    groups = flock.groups_at(place.name)
    hatches = [hatch for hatch in flock.hatches_open() if hatch.place == place.name]
    birds = sum(group.alive.total for group in groups)
    room = None if place.floor_m2 is None or not birds else round(place.floor_m2 / birds, 4)
    held = place.quarantined_until
    return PlaceStanding(
        place.name,
        place.role,
        birds,
        place.floor_m2,
        room,
        sum(hatch.alive for hatch in hatches),
        place.capacity_eggs,
        held if held is not None and on <= held else None,
        place.closed,
        [_group(group, on) for group in groups],
        [_hatch(hatch) for hatch in hatches],
    )


def _group(group: Group, on: date) -> GroupStanding:
    alive = group.alive
    return GroupStanding(
        group.name,
        alive.chicks,
        alive.hens,
        alive.cocks,
        alive.total,
        group.age_days(on),
        None if group.oldest is None else (on - group.oldest).days,
        round(alive.hens / alive.cocks, 2) if alive.cocks else None,
        group.hatches,
        {**group.came, **group.gone},
    )


def _hatch(hatch: Hatch) -> HatchStanding:
    return HatchStanding(
        hatch.name,
        hatch.place,
        hatch.set_at.isoformat(),
        hatch.eggs_set,
        hatch.removed,
        hatch.hatched,
        hatch.alive,
        hatch.to_house,
    )


def _lot(flock: Flock, key: tuple[date, str], on: date) -> LotStanding:
    lot = flock.lots[key]
    held = flock.withheld_on(lot.group, lot.laid)
    return LotStanding(
        lot.laid,
        lot.group,
        lot.on_hand,
        (on - lot.laid).days,
        held.eggs_until if held is not None else None,
        held is not None,
    )
