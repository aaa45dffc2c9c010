"""The day's round: rules + what stands + what was done, in walking order.

A step done once falls due at its own instant (so many times 24 hours after setting or hatching)
and stays until it is done or too late. A recurring task falls due an interval after it was last
done. A keeper who never ticks a task is not told that it is overdue: the record does not know. For
them it comes up on its plan, counted from the day on which the birds came.
"""

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from functools import cache, partial
from itertools import chain
from typing import Any

from quailwright.flock.state import AirSeen, Flock, Hatch
from quailwright.guide import wording
from quailwright.guide.occasions import (
    MEMORY,
    Occasion,
    elapsed,
    hatch_day,
    heat_words,
    may_lay,
    occasions,
    rest_days,
)
from quailwright.guide.planned import planned_occasions
from quailwright.guide.rules import Rule, rests, rules_at
from quailwright.guide.signs import Sign, signs
from quailwright.husbandry.facts import Figure
from quailwright.journal.entries import KINDS, LONGEST_TASK, Units
from quailwright.journal.moments import until
from quailwright.language import ENGLISH, mark, say, speaking, spoken

LOOK_AHEAD = timedelta(days=7)
_TRUSTED_INTERVALS = 3
"""A recurring task ticked within this many of its intervals is one that the keeper ticks."""
_GRACE = 0.1
"""Share of its interval for which an unticked rare task stays on the round."""


@dataclass(frozen=True, slots=True)
class Task:
    """One thing to do today.

    `due` is an instant for the steps of a hatch, else a date. `tick` holds the fields of the entry
    that marks it as done. `count` says both day counts of a hatch. `once` marks a step, done once.
    `apart` tasks are not counted in the minutes of the round.
    """

    rule: str
    task: str
    why: str
    minutes: float
    due: date | datetime
    overdue_days: int
    caution: str
    place: str
    subject: str = ""
    count: str = ""
    times_left: int = 1
    once: bool = False
    apart: bool = False
    certainty: str = ""
    figures: tuple[Figure, ...] = ()
    printed: str = ""
    tick: dict[str, Any] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Missed:
    """A step that was not done and is now too late, and what to do instead."""

    rule: str
    task: str
    place: str
    subject: str
    was_due: date | datetime
    instead: str


@dataclass(frozen=True, slots=True)
class Held:
    """Something that may not be used or moved yet: a firm no, until the end of that day.

    `what` is `eggs`, `meat` or `birds`, to be said where it is shown. `until` is None while nobody
    has told the date: it is held until somebody does.
    """

    what: str
    of: str
    until: date | None
    because: str


@dataclass(frozen=True, slots=True)
class PlaceRound:
    """The tasks at one place, or for the holding when `place` is empty."""

    place: str
    tasks: tuple[Task, ...]


@dataclass(frozen=True, slots=True)
class Round:
    """The day's round. `minutes` leaves out bigger jobs, which `minutes_apart` sums."""

    on: date
    minutes: float
    minutes_apart: float
    places: tuple[PlaceRound, ...]
    missed: tuple[Missed, ...]
    coming: tuple[Task, ...]
    signs: tuple[Sign, ...]
    withheld: tuple[Held, ...]


def units_of(flock: Flock) -> Units:
    """The keeper's units; metric until they say."""
    return flock.units


def day_at(flock: Flock, on: date | datetime) -> date:
    """The day that `on` means at the holding; an instant falls on the day it has there."""
    return until(on, flock.zone).day


def todays_round(flock: Flock, on: date, air: Sequence[AirSeen] = ()) -> Round:
    """The round of the day `on`. `flock` is what stands then: fold the entries up to `on`.

    `air` is what sensors told of the last days.
    """
    units = units_of(flock)
    tasks: list[Task] = []
    missed: list[Missed] = []
    coming: list[Task] = []
    rules_of = cache(partial(rules_at, changes=flock.care_rules))
    for occasion in chain(occasions(flock, on, units), planned_occasions(flock, on)):
        for rule in rules_of(occasion.place):
            if rule.stage != occasion.stage or not _holds(rule, occasion):
                continue
            if rule.every is not None:
                tasks.extend(_recurring(flock, rule, occasion, on, units))
                continue
            if occasion.stage == "brooder" and occasion.per_place:
                continue
            for step in _steps(flock, rule, occasion, units):
                if step.done or not _belongs(step, occasion):
                    continue
                if step.at.date() > on:
                    if step.at.date() <= on + LOOK_AHEAD:
                        coming.append(_step_task(rule, occasion, step, on, units))
                elif step.too_late is None or on <= step.too_late.date():
                    tasks.append(_step_task(rule, occasion, step, on, units))
                elif on <= (step.too_late + MEMORY).date() and _instead(rule, occasion, on):
                    missed.append(_missed(rule, occasion, step, on, units))
    by_place: dict[str, list[Task]] = {}
    for task in tasks:
        by_place.setdefault(task.place, []).append(task)
    walk = [place.name for place in flock.in_walking_order() if place.name in by_place]
    walk += [""] if "" in by_place else []
    return Round(
        on,
        round(sum(task.minutes for task in tasks if not task.apart), 1),
        round(sum(task.minutes for task in tasks if task.apart), 1),
        tuple(PlaceRound(name, tuple(sorted(by_place[name], key=_in_order))) for name in walk),
        tuple(missed),
        tuple(sorted(coming, key=lambda task: task.due.isoformat())),
        tuple(signs(flock, on, air)),
        tuple(withheld(flock, on)),
    )


def _in_order(task: Task) -> tuple[bool, bool, str]:
    """Steps first, by time, then recurring care in the order of the rules; bigger jobs last."""
    return (task.apart, not task.once, task.due.isoformat() if task.once else "")


def _holds(rule: Rule, occasion: Occasion) -> bool:
    if "closed" in occasion.holds and rule.when != "closed":
        return False
    return not rule.when or rule.when in occasion.holds


# Steps done once.


@dataclass(frozen=True, slots=True)
class Step:
    """One step of a rule for one occasion: when it falls due, and whether it was done.

    `what` is for the reader; `named` is the same in English, by which a `care` entry may name it.
    """

    rule: str
    what: str
    named: str
    day: float
    at: datetime
    too_late: datetime | None
    done: bool


def _steps(flock: Flock, rule: Rule, occasion: Occasion, units: Units) -> Iterator[Step]:
    days = (rest_days(flock, occasion.subject),) if rests(rule) else rule.days
    early = timedelta(days=rule.early)
    others = [day for kind in rule.done_by for day in occasion.done.get(kind, ())]
    for position, day in enumerate(days):
        at = _due_at(occasion, day)
        what = _text(rule, occasion, day, units)
        named = _in_english(what, rule, occasion, day, units)
        counts_from = max((at - early).date(), occasion.known_since or occasion.since.date())
        counts_until = date.max
        too_late = None if rule.too_late is None else at + timedelta(days=rule.too_late)
        if position + 1 < len(days):
            following = _due_at(occasion, days[position + 1]) - early
            counts_until = following.date()
            last = following - timedelta(days=1)
            too_late = last if too_late is None else min(too_late, last)
        ticks = _ticks(flock, (rule.rule, named), occasion.place) + others
        done = any(counts_from <= tick < counts_until for tick in ticks)
        yield Step(rule.rule, what, named, day, at, too_late, done)


def _text(rule: Rule, occasion: Occasion, day: float | None, units: Units) -> str:
    """What the rule asks for, in the language spoken."""
    words = occasion.words() if day is None else _words(occasion, day, units)
    return wording.fill(rule.task, units, words)


def _in_english(text: str, rule: Rule, occasion: Occasion, day: float | None, units: Units) -> str:
    """`text` as the journal names it, whoever reads it in whatever language."""
    if spoken() == ENGLISH:
        return text
    with speaking(ENGLISH):
        return _text(rule, occasion, day, units)


def _due_at(occasion: Occasion, day: float) -> datetime:
    """The instant at which a step of that day falls due; the day's first for birds by age."""
    if occasion.by_hour:
        return elapsed(occasion.since, day)
    return occasion.since + timedelta(days=round(day))


def _words(occasion: Occasion, day: float, units: Units) -> Mapping[str, str]:
    """The state's words, with the heat of the step's own age."""
    words = occasion.words()
    return {**words, **heat_words(max(0, int(day)), units)} if "heat" in words else words


def _belongs(step: Step, occasion: Occasion) -> bool:
    """Whether the step fell due, or could still be done, once the occasion had begun here."""
    return step.too_late is None or step.too_late.date() >= occasion.began


def _step_task(rule: Rule, occasion: Occasion, step: Step, on: date, units: Units) -> Task:
    overdue = max(0, (on - max(step.at.date(), occasion.began)).days)
    count = wording.both_counts(int(step.day)) if occasion.stage == "hatch" else ""
    return Task(
        rule.rule,
        step.what,
        wording.fill(rule.why, units, occasion.words()),
        round(rule.minutes_for(occasion.count), 1),
        step.at if occasion.by_hour else step.at.date(),
        overdue,
        wording.fill(rule.caution_at(occasion.age_days(on)), units, occasion.words()),
        occasion.place,
        occasion.subject,
        count,
        1,
        True,
        rule.apart,
        certainty(rule),
        rule.basis(),
        _printed(rule, units, occasion),
        _tick(rule, occasion, step.named),
    )


def _instead(rule: Rule, occasion: Occasion, on: date) -> str:
    """What can still be done instead of a missed step, or "" when nothing can."""
    if any(occasion.done.get(kind) for kind in rule.moot_by):
        return ""
    if rule.instead_until is None or on <= _due_at(occasion, rule.instead_until).date():
        return rule.instead
    return rule.instead_after


def _missed(rule: Rule, occasion: Occasion, step: Step, on: date, units: Units) -> Missed:
    return Missed(
        rule.rule,
        step.what,
        occasion.place,
        occasion.subject,
        step.at if occasion.by_hour else step.at.date(),
        wording.fill(_instead(rule, occasion, on), units, occasion.words()),
    )


def certainty(rule: Rule) -> str:
    """How far to trust a rule: that of its figures, else its own."""
    basis = rule.basis()
    return basis[0].certainty if basis else rule.certainty


def _printed(rule: Rule, units: Units, occasion: Occasion) -> str:
    """The printed rule's text, when the keeper has changed the rule."""
    if rule.original is None:
        return ""
    return wording.fill(rule.original.task, units, occasion.words())


_NAMES_ITS_SUBJECT = {
    "eggs_weighed": "hatch",
    "eggs_candled": "hatch",
    "turning_stopped": "hatch",
    "chicks_hatched": "hatch",
    "eggs_opened": "hatch",
    "hatch_closed": "hatch",
    "birds_sexed": "group",
    "birds_moved": "group",
    "birds_counted": "group",
    "birds_weighed": "group",
    "eggs_collected": "group",
}


def _tick(rule: Rule, occasion: Occasion, text: str) -> dict[str, Any]:
    """The known fields of the entry that marks the task as done."""
    if not rule.done_by:
        place = {"place": occasion.place} if occasion.place else {}
        # Several sets may be planned: the text says which one is meant.
        by_text = occasion.stage == "planned_set" and len(text) <= LONGEST_TASK
        return {"kind": "care", "task": text if by_text else rule.rule} | place
    kind = rule.done_by[0]
    if occasion.stage in ("planned_set", "planned_cull"):
        fields = KINDS[kind].__struct_encode_fields__
        return {"kind": kind} | {k: v for k, v in occasion.entry.items() if k in fields}
    if kind == "group":
        return {"kind": kind, "hatch": occasion.subject}
    if kind == "eggs_set":
        return {"kind": kind, "source": occasion.subject}
    if kind == "feed_given":
        return {"kind": "care", "task": rule.rule, "place": occasion.place}
    named = _NAMES_ITS_SUBJECT.get(kind)
    single = named is not None and ", " not in occasion.subject
    return {"kind": kind} | ({named: occasion.subject} if named and single else {})


# Recurring care.


def _ticks(flock: Flock, names: tuple[str, str], place: str) -> list[date]:
    """Days on which a `care` entry named this task (its rule or its text), here or at large."""
    found: list[date] = []
    for name in dict.fromkeys(names):
        for where in dict.fromkeys((place, "")):
            found += flock.care.get((name, where), ())
    return found


def _recurring(
    flock: Flock, rule: Rule, occasion: Occasion, on: date, units: Units
) -> Iterator[Task]:
    if rule.every is None or not _recurs(rule, occasion, on):
        return
    text = _text(rule, occasion, None, units)
    named = _in_english(text, rule, occasion, None, units)
    ticks = _ticks(flock, (rule.rule, named), occasion.place)
    others = [day for kind in rule.done_by for day in occasion.done.get(kind, ())]
    left = rule.times - ticks.count(on)
    if left <= 0 or on in others:
        return
    due = _due(rule.every, occasion.began, max([*ticks, *others], default=None), on)
    if due is None or due > on:
        return
    yield Task(
        rule.rule,
        text,
        wording.fill(rule.why, units, occasion.words()),
        round(left * rule.minutes_for(occasion.count), 1),
        due,
        (on - due).days,
        wording.fill(rule.caution_at(occasion.age_days(on)), units, occasion.words()),
        occasion.place,
        occasion.subject,
        "",
        left,
        False,
        rule.apart,
        certainty(rule),
        rule.basis(),
        _printed(rule, units, occasion),
        _tick(rule, occasion, named),
    )


def _recurs(rule: Rule, occasion: Occasion, on: date) -> bool:
    """Whether a recurring rule holds for that occasion on that day, by its age."""
    recurs_here = occasion.per_place or occasion.stage != "brooder"
    age = occasion.age_days(on)
    begun = rule.start is None or rule.start <= age + 1
    over = rule.until is not None and age > rule.until
    return recurs_here and on >= occasion.began and begun and not over


def _due(every: float, began: date, last: date | None, on: date) -> date | None:
    """When a recurring task last fell due (or falls due next), or None when it does not now."""
    if every <= 1:
        return on
    ticked = last is not None and last >= began - timedelta(days=every)
    if last is not None and ticked and (on - last).days <= _TRUSTED_INTERVALS * every:
        return last + timedelta(days=round(every))
    turns = int((on - began).days / every)
    if turns < 1:
        return None
    planned = began + timedelta(days=math.ceil(turns * every))
    return planned if (on - planned).days <= _GRACE * every else None


# Hatch steps, and what is withheld.


def hatch_steps(flock: Flock, hatch: Hatch, on: date) -> list[Step]:
    """Every dated step of a hatch, in order of time, with what was done."""
    units = units_of(flock)
    found: list[Step] = []
    for occasion in occasions(flock, on, units):
        if occasion.subject != hatch.name or occasion.stage not in ("hatch", "chicks"):
            continue
        for rule in rules_at(occasion.place, flock.care_rules):
            if rule.stage == occasion.stage and rule.every is None:
                found.extend(_steps(flock, rule, occasion, units))
    return sorted(found, key=lambda step: step.at)


def steps_ahead(
    flock: Flock, on: date, first: date, last: date
) -> Iterator[tuple[Occasion, Rule, Step]]:
    """Every step of what stands on the day `on` that falls due from `first` to `last`, not done."""
    for occasion, rule, step in _dated(flock, occasions(flock, on, units_of(flock)), first, last):
        if not step.done and _holds(rule, occasion):
            yield occasion, rule, step


def dated_steps(
    flock: Flock, on: date, first: date, last: date
) -> Iterator[tuple[Occasion, Rule, Step]]:
    """As `steps_ahead`, of what is planned too, and with the steps that were done."""
    there = chain(occasions(flock, on, units_of(flock)), planned_occasions(flock, on))
    for occasion, rule, step in _dated(flock, there, first, last):
        was_done = step.done and "closed" in occasion.holds
        if (was_done or _holds(rule, occasion)) and _belongs(step, occasion):
            yield occasion, rule, step


def _dated(
    flock: Flock, there: Iterable[Occasion], first: date, last: date
) -> Iterator[tuple[Occasion, Rule, Step]]:
    units = units_of(flock)
    for occasion in there:
        if occasion.per_place:
            continue
        for rule in rules_at(occasion.place, flock.care_rules):
            if rule.stage != occasion.stage or rule.every is not None:
                continue
            for step in _steps(flock, rule, occasion, units):
                if first <= step.at.date() <= last:
                    yield occasion, rule, step


def care_ahead(
    flock: Flock, on: date, least_days: float
) -> Iterator[tuple[Occasion, Rule, date, str]]:
    """Recurring care of `least_days` or longer: when it next falls due, and what it asks for.

    The day lies before `on` where it waits to be done.
    """
    units = units_of(flock)
    for occasion in occasions(flock, on, units):
        for rule in rules_at(occasion.place, flock.care_rules):
            every = rule.every
            if rule.stage != occasion.stage or every is None or every < least_days:
                continue
            if not _recurs(rule, occasion, on) or not _holds(rule, occasion):
                continue
            text = _text(rule, occasion, None, units)
            named = _in_english(text, rule, occasion, None, units)
            others = [day for kind in rule.done_by for day in occasion.done.get(kind, ())]
            ticks = [*_ticks(flock, (rule.rule, named), occasion.place), *others]
            due = _due(every, occasion.began, max(ticks, default=None), on)
            turns = int((on - occasion.began).days / every) + 1
            yield (
                occasion,
                rule,
                due or occasion.began + timedelta(days=math.ceil(turns * every)),
                text,
            )


def day_of_hatch(hatch: Hatch, at: datetime) -> str:
    """Both counts of a hatch's day: `day 14, the 15th day`."""
    return wording.both_counts(hatch_day(hatch, at))


def withheld(flock: Flock, on: date) -> Iterator[Held]:
    """Everything that may not be used or moved on the day `on`."""
    shown: set[tuple[str, str, str, date | None]] = set()
    for held in flock.withholdings:
        group = flock.groups[held.group]
        for what, last in ((mark("eggs"), held.eggs_until), (mark("meat"), held.meat_until)):
            key = (what, held.group, held.product, last)
            bears = group.alive.total and (what == "meat" or may_lay(group, on))
            if key in shown or (on > last if last is not None else not bears):
                continue
            shown.add(key)
            because = (
                say("treated with {product}", product=held.product)
                if last is not None
                else say(
                    "treated with {product}; no date told: ask the vet or read the label, then log "
                    "it",
                    product=held.product,
                )
            )
            yield Held(what, held.group, last, because)
    for place in flock.places.values():
        last = place.quarantined_until
        if last is not None and on <= last:
            yield Held(mark("birds"), place.name, last, say("in quarantine"))
