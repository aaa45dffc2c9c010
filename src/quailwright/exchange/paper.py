"""Sheets to print: the round of some days with boxes to tick, and a card for each place."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta

from quailwright.flock.standing import GroupStanding, PlaceStanding, standing
from quailwright.flock.state import Flock
from quailwright.guide.occasions import elapsed, may_lay, turns_until
from quailwright.guide.round import Held, Round, Task, withheld
from quailwright.guide.rules import rules_at
from quailwright.husbandry.incubation import hatch_day_range
from quailwright.journal.findings import BadInput
from quailwright.language import say, say_many

MOST_DAYS_AHEAD = 60
"""A round further ahead than this would be of birds that are not hatched."""


@dataclass(slots=True)
class Row:
    """A task on the sheet: how many boxes to tick on each day (0: not due), cautions said once."""

    task: str
    minutes: float
    caution: str
    boxes: list[int]


@dataclass(slots=True)
class SheetPlace:
    """A place on the sheet; `place` is "" for what belongs to none. `blanks`: counts to fill in."""

    place: str
    rows: list[Row] = field(default_factory=list)
    blanks: list[str] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class Step:
    """Something done once, on its own day: `overdue` where that day is before the sheet's first."""

    due: date | datetime
    place: str
    subject: str
    count: str
    task: str
    caution: str
    overdue: bool


@dataclass(frozen=True, slots=True)
class Sheet:
    """The round of one day or more on paper, as the record stands now. `feeds`: in the store."""

    days: list[date]
    places: list[SheetPlace]
    steps: list[Step]
    withheld: tuple[Held, ...]
    minutes: float
    feeds: list[str]


def round_sheet(
    flock: Flock, on: date, first: date, days: int, round_of: Callable[[date], Round]
) -> Sheet:
    """The sheet of so many days from `first`, asked for on the day `on`.

    `round_of` gives the round of a day. Raises BadInput for a day that is past or too far ahead.

    A day to come is told as if all was done until then: what is asked for every few days gets its
    next box that many days after the one before.
    """
    if not on <= first <= on + timedelta(days=MOST_DAYS_AHEAD):
        raise BadInput(
            say_many(
                "A round on paper is of today or tomorrow.",
                "A round on paper is of today or of one of the next {n} days.",
                MOST_DAYS_AHEAD,
            )
        )
    dates = [first + timedelta(days=n) for n in range(days)]
    rounds = [round_of(day) for day in dates]
    places: dict[str, SheetPlace] = {}
    rows: dict[tuple[str, str, str, str], Row] = {}
    steps: dict[tuple[str, str, str, str], Step] = {}
    for n, todays in enumerate(rounds):
        for stop in todays.places:
            every = {rule.rule: rule.every for rule in rules_at(stop.place, flock.care_rules)}
            for task in stop.tasks:
                if task.once:
                    # Eggs are weighed on several days, in the same words.
                    once = (task.place, task.subject, task.task, task.due.isoformat())
                    steps.setdefault(once, _step(task, first))
                    continue
                sheet = places.setdefault(stop.place, SheetPlace(stop.place))
                key = (stop.place, task.subject, task.rule, task.task)
                if key not in rows:
                    rows[key] = Row(task.task, task.minutes, task.caution, [0] * days)
                    sheet.rows.append(rows[key])
                before = [at for at, ticks in enumerate(rows[key].boxes) if ticks]
                if not before or n - before[-1] >= (every.get(task.rule) or 1):
                    rows[key].boxes[n] = task.times_left
    ordered = _in_walking_order(flock, places)
    for sheet in ordered:
        sheet.blanks = list(_blanks(flock, sheet.place, first))
    _say_cautions_once(ordered)
    whole = rounds[0]
    return Sheet(
        dates,
        ordered,
        sorted(steps.values(), key=lambda step: (step.due.isoformat(), step.place)),
        tuple({(h.what, h.of, h.until): h for day in rounds for h in day.withheld}.values()),
        whole.minutes,
        [name for name, stock in flock.feeds.items() if stock.kg > 0],
    )


def _step(task: Task, first: date) -> Step:
    return Step(
        task.due,
        task.place,
        task.subject,
        task.count,
        task.task,
        task.caution,
        task.due.isoformat()[:10] < first.isoformat(),
    )


def _in_walking_order(flock: Flock, places: dict[str, SheetPlace]) -> list[SheetPlace]:
    walk = [place.name for place in flock.in_walking_order() if place.name in places]
    return [places[name] for name in (*walk, *(name for name in places if name not in walk))]


def _blanks(flock: Flock, place: str, on: date) -> Iterator[str]:
    """What is counted at a place on most days."""
    groups = flock.groups_at(place)
    for group in groups:
        if may_lay(group, on):
            yield say("eggs of {group}", group=group.name) if len(groups) > 1 else say("eggs")
        yield say("dead of {group}", group=group.name) if len(groups) > 1 else say("dead")


def _say_cautions_once(places: Sequence[SheetPlace]) -> None:
    said: set[str] = set()
    for place in places:
        for row in place.rows:
            if row.caution in said:
                row.caution = ""
            said.add(row.caution)


@dataclass(frozen=True, slots=True)
class CardHatch:
    """A hatch on a place's card, with its dates."""

    hatch: str
    eggs: int
    set_at: datetime
    stop_turning: datetime
    first_chick: datetime


@dataclass(frozen=True, slots=True)
class CardGroup:
    """A group on a place's card; paper keeps the hatching day and not the age."""

    standing: GroupStanding
    hatched_on: date | None


@dataclass(frozen=True, slots=True)
class Card:
    """A place's card."""

    place: PlaceStanding
    groups: list[CardGroup]
    hatches: list[CardHatch]
    held: list[Held]


def place_cards(flock: Flock, on: date) -> list[Card]:
    """A card for every place in use, in the order of the walk, as of the day `on`."""
    first_day, _, _ = hatch_day_range()
    held = [each for each in withheld(flock, on) if each.what != "birds"]
    return [
        Card(
            place,
            [CardGroup(each, flock.groups[each.group].youngest) for each in place.groups],
            [
                CardHatch(
                    hatch.name,
                    hatch.alive,
                    hatch.set_at,
                    turns_until(hatch),
                    elapsed(hatch.set_at, first_day),
                )
                for hatch in flock.hatches_open()
                if hatch.place == place.place
            ],
            [each for each in held if each.of in {group.group for group in place.groups}],
        )
        for place in standing(flock, on).places
        if not place.closed
    ]
