"""From a brief that is complete to the planner's problem, in figures."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta

import numpy as np

from quailwright.flock.light import latitude_of, longitude_of
from quailwright.flock.state import Flock
from quailwright.husbandry import facts
from quailwright.husbandry.age import DAYS_A_WEEK
from quailwright.husbandry.feeding import STAGES
from quailwright.husbandry.photoperiod import natural_hours
from quailwright.journal import entries as kinds
from quailwright.journal.findings import BadInput
from quailwright.language import say
from quailwright.outlook.forecast import learn
from quailwright.outlook.hatching import HatchTime
from quailwright.outlook.report import prices_of
from quailwright.planning.accept import accepted_ahead
from quailwright.planning.brief import (
    NOT_AN_ENTRY,
    Brief,
    Place,
    Source,
    completed,
    read_brief,
    spans_between,
    taken_for_granted,
)
from quailwright.planning.plan import Situation
from quailwright.planning.problem import (
    MOST_WEEKS,
    EggSource,
    Machine,
    Prices,
    Problem,
    Room,
    Wanted,
)


def flock_of(brief: Brief, flock: Flock) -> Flock:
    """The flock with what a complete brief tells of its place and of sources of eggs."""
    told = {
        source.name: kinds.Source(
            id=NOT_AN_ENTRY,
            at=_ALWAYS,
            source=source.name,
            route=source.route,
            price_per_egg=source.price_per_egg,
        )
        for source in brief.sources
        if source.name not in flock.groups
    }
    holding = brief.holding or flock.holding
    zone = (holding.timezone if holding is not None else "") or flock.zone
    return replace(flock, holding=holding, zone=zone, sources={**flock.sources, **told})


_ALWAYS = "2000-01-01"


@dataclass(frozen=True)
class Posed:
    """A brief that can be planned for: what is asked, of what flock, and what nobody told."""

    brief: Brief
    situation: Situation
    problem: Problem
    said: list[str]


def pose(
    name: str,
    data: bytes,
    flock: Flock,
    on: date,
    times: Mapping[str, HatchTime],
    changes: Sequence[str] = (),
    accepted: bool = True,
) -> Posed:
    """What a brief asks on the day `on`, completed from the journal.

    Args:
        name: of the file, for what is said of it.
        data: the brief, TOML.
        flock: folded up to the end of that day.
        times: when hatches under way are due.
        changes: as `brief.read_brief` takes them.
        accepted: whether an accepted plan is to be changed as little as can be.

    Raises:
        BadInput: the brief cannot be read, or something is missing; with every finding.
    """
    read, findings = read_brief(data, changes)
    if read is None or findings:
        raise BadInput(say("{name} cannot be used as it is.", name=say(name)), tuple(findings))
    brief, missing = completed(read, flock, on)
    if missing:
        raise BadInput(say("There is no plan without this:"), tuple(missing))
    whole = flock_of(brief, flock)
    situation = Situation(whole, learn(whole, on), times)
    problem = problem_of(brief, whole, on)
    if accepted:
        sets, culls = accepted_ahead(flock, on)
        problem = replace(problem, kept=sets, kept_culls=culls)
    return Posed(brief, situation, problem, taken_for_granted(brief))


def lamp_cost(flock: Flock, problem: Problem, kwh: float) -> float:
    """What the power of a lamp costs that makes each day `problem.lamp_h` long; 0 where there is
    none, or nobody told where the flock lives."""
    latitude = latitude_of(flock)
    if not problem.lamp_h or latitude is None:
        return 0.0
    days = problem.weeks * DAYS_A_WEEK
    first = problem.on + timedelta(days=1)
    natural = natural_hours(latitude, first, days, longitude_of(flock) or 0.0)
    hours = float(np.maximum(0.0, problem.lamp_h - natural).sum())
    return hours * facts.value("planning.lamp_w") / 1000.0 * kwh


def problem_of(brief: Brief, flock: Flock, on: date) -> Problem:
    """The problem that a complete brief poses on the day `on`.

    Room, prices and sources that nobody told are taken as without limit or cost; `brief`'s own
    `taken_for_granted` says so.
    """
    days = brief.goal.days(on)
    weeks = min(MOST_WEEKS, ((days.last - on).days + DAYS_A_WEEK - 1) // DAYS_A_WEEK)
    firsts = [on + timedelta(days=1 + DAYS_A_WEEK * week) for week in range(weeks)]
    eggs = [
        brief.goal.eggs_per_week_on(first)
        if days.holds(first) and days.holds(first + timedelta(days=DAYS_A_WEEK - 1))
        else 0.0
        for first in firsts
    ]
    last = on + timedelta(weeks=weeks)
    found = Problem(
        on,
        weeks,
        Wanted(
            np.array(eggs),
            brief.goal.table_birds_per_month or 0.0,
            days.first,
            days.last,
            brief.goal.sure,
            brief.goal.breeding_hens or 0.0,
        ),
        tuple(_source(brief, source, on, last) for source in brief.sources),
        _room(brief),
        _prices(brief, flock, on),
        brief.limits.lamp_h,
        brief.limits.absences,
        spans_between(brief.limits.no_hatching, on, last + timedelta(weeks=4)),
        brief.limits.hens_per_cock or 0.0,
        brief.limits.keep_hens_until_w,
    )
    return replace(found, lamp_cost=lamp_cost(flock, found, found.prices.kwh))


def _source(brief: Brief, source: Source, on: date, last: date) -> EggSource:
    tomorrow = on + timedelta(days=1)
    earliest = brief.limits.earliest_eggs if source.route != "own" else None
    return EggSource(
        source.name,
        source.route == "own",
        source.price_per_egg or 0.0,
        source.postage,
        max(1, source.least_eggs),
        source.most_eggs if source.most_eggs is not None else _AS_MANY_AS_WANTED,
        max(tomorrow, earliest or tomorrow, source.first or tomorrow),
        min(last, source.last or last),
    )


_AS_MANY_AS_WANTED = 100_000


def _room(brief: Brief) -> Room:
    most = brief.limits.max_birds
    return Room(
        _machines(brief.places_for("incubator")),
        _machines(brief.places_for("hatcher")),
        _floor(brief.places_for("brooder")),
        _floor(brief.places_for("pen")),
        float("inf") if most is None else float(most),
    )


def _machines(places: Sequence[Place]) -> tuple[Machine, ...]:
    return tuple(
        Machine(place.name, place.capacity_eggs) for place in places if place.capacity_eggs
    )


def _floor(places: Sequence[Place]) -> float:
    """Floor of the places together [m²]; without end where one of them is not told, or none is."""
    floors = [place.floor_m2 for place in places]
    known = [floor for floor in floors if floor is not None]
    return sum(known) if known and len(known) == len(floors) else float("inf")


def _prices(brief: Brief, flock: Flock, on: date) -> Prices:
    prices = brief.prices
    usual = prices.feed_per_kg
    if usual is None:
        usual = prices_of(flock, on).feed_per_kg or 0.0
    by_stage = {feed.stage: feed.price_per_kg for feed in brief.feeds if feed.price_per_kg}
    feed = [by_stage.get(stage) or usual for stage in STAGES]
    brooding_months = facts.value("brooding.time_in_brooder_d") / _DAYS_A_MONTH
    power_kwh = facts.value("planning.hatch_kwh")
    hatch = (prices.kwh or 0.0) * power_kwh + (prices.bedding_per_month or 0.0) * brooding_months
    currency = brief.holding.currency if brief.holding is not None else ""
    return Prices(
        (feed[0], feed[1], feed[2]),
        prices.minute or 0.0,
        hatch,
        brief.limits.budget_per_month,
        brief.limits.minutes_by_weekday,
        currency,
        prices.kwh or 0.0,
    )


_DAYS_A_MONTH = 30.4
