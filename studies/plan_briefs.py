"""Plans of invented briefs, carried out in a simulator with rates that no plan knows.

`PYTHONPATH=src python -m studies.plan_briefs --briefs 60 --flocks 200 --seed 1 --jobs 2`

Three questions: is the promised certainty kept; what does it cost against a plan that knew the
rates; and how does it do against a keeper's rule at equal cost. Limits broken on the way are
counted. Each brief is planned as the command plans it; the simulator (`simulated_plan`) is written
apart.
"""

import argparse
import itertools
import json
import time
import traceback
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from datetime import date, timedelta
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
from numpy.random import default_rng
from studies.invented_briefs import Invented, Seller, invent
from studies.known_rates import known, undoubted
from studies.past_flocks import past
from studies.simulated_nature import NEVER, Floats
from studies.simulated_plan import (
    HATCH_D,
    WEEK,
    Course,
    Going,
    Life,
    Setting,
    Truth,
    broken,
    draw_truth,
    live,
)

from quailwright.flock.fold import fold
from quailwright.flock.state import Flock
from quailwright.husbandry import facts
from quailwright.journal.entries import Entry
from quailwright.journal.findings import BadInput
from quailwright.planning.asked import pose
from quailwright.planning.plan import Plan, Situation, make_plan
from quailwright.planning.problem import Problem, chosen_on
from quailwright.planning.ways_out import reasons, ways_out

Row = dict[str, Any]

BANDS = ((0.0, 0.5), (0.5, 0.7), (0.7, 0.85), (0.85, 1.001))
STATUSES = ("met", "best_effort", "infeasible")
CHOSEN_AFTER_D = 17 + 42
"""Days from setting to the day on which birds are chosen: 17 days and six weeks."""


# --- from a brief to a plan, as the command does it ----------------------------------------------


@dataclass(frozen=True)
class Asked:
    """A brief as the program reads it."""

    flock: Flock
    situation: Situation
    problem: Problem


def asked(brief: Invented, entries: Sequence[Entry] | None = None) -> Asked:
    """TOML, read and completed from the journal: `entries`, or the few of the brief.

    Raises:
        ValueError: the program refuses the brief; says why.
    """
    flock = fold(brief.journal() if entries is None else entries, brief.on)
    try:
        posed = pose("brief", brief.toml().encode(), flock, brief.on, {})
    except BadInput as refused:
        raise ValueError("; ".join(f"{f.field}: {f.what}" for f in refused.findings)) from None
    return Asked(posed.situation.flock, posed.situation, posed.problem)


def course_of(brief: Invented, plan: Plan) -> Course:
    """What a keeper does who follows a plan."""
    settings = [
        Setting(
            _number(brief, one.on),
            one.source,
            one.eggs,
            one.place,
            one.keep_hens,
            one.keep_cocks,
            _number(brief, chosen_on(plan.problem, one.on)),
        )
        for one in plan.draft.sets
    ]
    goings = [
        Going(_number(brief, c.on), _of(brief, c.of), c.keep_hens, c.keep_cocks)
        for c in plan.draft.culls
    ]
    return _course(brief, settings, goings)


def _course(brief: Invented, settings: Sequence[Setting], goings: Sequence[Going]) -> Course:
    where = brief.latitude, brief.lamp_h
    return Course(brief.on, brief.weeks, *where, settings, goings, brief.held)


def _number(brief: Invented, day: date) -> int:
    return (day - brief.on).days


def _of(brief: Invented, name: str) -> int | str:
    if name.startswith("set of "):
        return _number(brief, date.fromisoformat(name.split()[2]))
    return name


# --- what came of it -----------------------------------------------------------------------------


@dataclass(frozen=True)
class Outcome:
    """What a plan did on many flocks. First axis: flocks.

    Attributes:
        met: weeks of the goal with eggs enough, shape (flocks, goal weeks).
        met_net: the same of eggs left when own eggs to set are taken off.
        table_met: share of the goal's whole calendar months with birds enough for the table.
        cost: of all weeks; feed_kg: of all weeks.
        brooder_over, pen_over, birds_over, money_over, minutes_over: share of weeks (money: months)
            beyond what the brief allows; 0 where it says nothing.
        excess: by what part floors and birds in all are passed, on the mean of all weeks.
        own_wanting: of the own eggs that are set, those that the group had not laid in
            `OWN_EGGS_KEEP_D` days before, 0 where none are set.
    """

    met: Floats
    met_net: Floats
    table_met: Floats
    cost: Floats
    feed_kg: Floats
    brooder_over: Floats
    pen_over: Floats
    birds_over: Floats
    money_over: Floats
    minutes_over: Floats
    own_wanting: Floats
    excess: Floats


OWN_EGGS_KEEP_D = 14
"""Days that eggs to set are gathered at the most: hatch falls faster from 14 days of storage on
(working default of the storage trials)."""


def carry_out(brief: Invented, course: Course, lives: Sequence[Life]) -> Outcome:
    """Scores futures of a plan."""
    rows = [_score(brief, course, one) for one in lives]
    return Outcome(**{name: np.array([row[name] for row in rows]) for name in rows[0]})


def _score(brief: Invented, course: Course, life: Life) -> Row:
    wanted = brief.wanted
    goal = wanted > 0
    eggs = np.asarray(life.by_week("eggs").sum(1), dtype=float)
    own = np.zeros(brief.weeks)
    for one in course.settings:
        if brief.routes.get(one.source) == "own":
            own[(one.day - 1) // WEEK] += one.eggs
    minutes = minutes_a_day(course, life)
    birds = life.hens + life.cocks + life.chicks
    months = _months(brief)
    money = _money(brief, course, life)
    spent = np.array([money[days].sum() for days in months])
    minute_cost = minutes.sum() * brief.minute
    return {
        "met": eggs[goal] >= wanted[goal],
        "met_net": (eggs - own)[goal] >= wanted[goal],
        "table_met": _table_met(brief, life),
        "cost": money.sum() + minute_cost,
        "feed_kg": life.feed_kg.sum(),
        "brooder_over": _over(life.brooder_m2, brief.brooder_m2),
        "pen_over": _over(life.pen_m2, brief.pen_m2),
        "birds_over": _over(birds, brief.most_birds),
        "money_over": 0.0 if brief.budget is None else float((spent > brief.budget).mean()),
        "minutes_over": _over(minutes, brief.minutes_a_day),
        "own_wanting": _own_wanting(brief, course, life),
        "excess": _excess(life.brooder_m2, brief.brooder_m2)
        + _excess(life.pen_m2, brief.pen_m2)
        + _excess(birds, brief.most_birds),
    }


def _excess(daily: Any, limit: float | None) -> float:
    """By what part a limit is passed, on the mean of all weeks (of each, the worst day)."""
    if limit is None:
        return 0.0
    return float(np.maximum(0.0, daily.reshape(-1, WEEK).max(1) / limit - 1.0).mean())


def _own_wanting(brief: Invented, course: Course, life: Life) -> float:
    """Part of the own eggs to set that are not there; before today hens laid as in the first week.

    Eggs of the days between two sets are counted once only.
    """
    asked_for = wanting = 0
    taken: dict[str, int] = {}
    for one in sorted(course.settings, key=lambda each: each.day):
        if brief.routes.get(one.source) != "own":
            continue
        pairs = zip(life.broods, life.eggs_of, strict=True)
        laid = np.zeros(WEEK * brief.weeks)
        for brood, eggs in pairs:
            laid += eggs if brood.key == one.source else 0
        before: Floats = np.concatenate((np.full(OWN_EGGS_KEEP_D, laid[:WEEK].mean()), laid))
        first = max(one.day - 1, taken.get(one.source, 0))
        there = float(before[first : one.day - 1 + OWN_EGGS_KEEP_D].sum())
        asked_for += one.eggs
        wanting += max(0, one.eggs - int(there))
        taken[one.source] = one.day - 1 + OWN_EGGS_KEEP_D
    return wanting / asked_for if asked_for else 0.0


def _over(daily: Any, limit: float | None) -> float:
    """Share of weeks in which a limit is passed on any day."""
    if limit is None:
        return 0.0
    return float((daily.reshape(-1, WEEK).max(1) > limit + 1e-9).mean())


def minutes_a_day(course: Course, life: Life) -> Floats:
    """Care by day: 5 minutes for 40 birds, and 15 in all while eggs and chicks are tended, half of
    the difference for each (common practice, no source)."""
    a_bird = facts.value("care.minutes_day_adults") / facts.value("care.flock_of_minutes")
    more = facts.value("care.minutes_day_hatch_and_brooder") - facts.value(
        "care.minutes_day_adults"
    )
    days = np.arange(1, WEEK * course.weeks + 1)
    tended = np.zeros(days.size, dtype=bool)
    for one in course.settings:
        tended |= (days >= one.day) & (days <= one.day + HATCH_D[1])
    birds = life.hens + life.cocks + life.chicks
    minutes: Floats = a_bird * birds + more / 2 * tended + more / 2 * life.brooding
    return minutes


def _money(brief: Invented, course: Course, life: Life) -> Floats:
    """Cash spent on each day from tomorrow on."""
    money: Floats = life.feed_kg * brief.feed_per_kg
    sellers = {one.name: one for one in brief.sellers}
    brooding = facts.value("brooding.time_in_brooder_d") / 30.4
    hatch = facts.value("planning.hatch_kwh") * brief.kwh + brief.bedding * brooding
    for one in course.settings:
        money[one.day - 1] += one.eggs * (
            sellers[one.source].price if one.source in sellers else 0.0
        )
    for day, source in sorted({(one.day, one.source) for one in course.settings}):
        money[day - 1] += sellers[source].postage if source in sellers else 0.0
    for day in {one.day for one in course.settings}:
        money[day - 1] += hatch
    return money


def _months(brief: Invented) -> list[slice]:
    """Days of each calendar month, as slices of a daily series."""
    days = [brief.on + timedelta(days=n) for n in range(1, WEEK * brief.weeks + 1)]
    firsts = [0, *(n for n, day in enumerate(days) if day.day == 1 and n), len(days)]
    return [slice(a, b) for a, b in itertools.pairwise(firsts)]


def _table_met(brief: Invented, life: Life) -> float:
    """Share of the whole calendar months of the goal with birds enough for the table."""
    if not brief.table_a_month:
        return float("nan")
    found = []
    for days in _months(brief):
        first = brief.on + timedelta(days=1 + days.start)
        following = brief.on + timedelta(days=1 + days.stop)
        whole = first.day == 1 and following.day == 1
        if whole and brief.first <= first and following <= brief.last + timedelta(days=1):
            found.append(int(life.left[days].sum()) >= brief.table_a_month)
    return float(np.mean(found)) if found else float("nan")


# --- a keeper's rule -----------------------------------------------------------------------------

EVERY_W = (3, 4, 6, 8, 12, 26, 104)
RULE_TRIES = 10
EQUAL = 0.05
"""How far costs may lie apart that count as equal."""
OFTENER = 0.01
"""Share of weeks by which a rule may pass a limit oftener than the plan."""
OVER = ("brooder", "pen", "birds", "money", "minutes")
MOST_TIMES = 8.0
HATCH_MEANS = {"collected": "incubation.hatch_of_set", "shipped": "incubation.hatch_of_set_shipped"}


def rule(brief: Invented, every_w: int, full_first: bool, times: float) -> Course:
    """The same number of eggs every so many weeks, from whom a hen costs least, on the next day
    that no absence and no month without hatching stands against. Hens are kept for a year.

    Args:
        full_first: the first set is to bring all the hens at once.
        times: of the size that the means ask for.
    """
    until_w = float(brief.keep_until_w or 52)
    lays_from = facts.value("planning.hen_at_lay_w")
    seller, eggs_a_hen = _cheapest(brief)
    flock = brief.eggs_a_week / WEEK / facts.value("planning.lay_for_sizing")
    settings: list[Setting] = []
    goings = []
    last = (brief.last - brief.on).days - int(WEEK * lays_from) - 18
    own_until = _held_until(brief, until_w)
    day = 1
    while day <= max(1, last):
        found = next((d for d in range(day, day + WEEK * every_w) if _fits(brief, d)), None)
        if found is not None:
            hens = flock * every_w / (until_w - lays_from)
            if full_first and not settings:
                hens = flock
                if brief.held and own_until > found + 18 + WEEK * lays_from:
                    hens = max(hens, flock - sum(one.hens for one in brief.held))
            settings += _into(brief, found, seller, round(hens * eggs_a_hen * times))
            goings.append(Going(found + 18 + int(WEEK * until_w), found, 0, 0))
        day = (day if found is None else found) + WEEK * every_w
    goings += [
        Going(max(1, held.hatched + int(WEEK * until_w)), held.group, 0, 0) for held in brief.held
    ]
    return _course(brief, settings, sorted(goings, key=lambda one: one.day))


def _held_until(brief: Invented, until_w: float) -> int:
    return max((one.hatched + int(WEEK * until_w) for one in brief.held), default=0)


def _cheapest(brief: Invented) -> tuple[Seller, float]:
    """From whom a hen costs least by published means, and the eggs that one takes."""
    lives = 0.9
    found = []
    for one in brief.sellers:
        eggs = 2.0 / facts.value(HATCH_MEANS[one.route]) / lives
        found.append((eggs * one.price + one.postage / 15.0, one.name, one, eggs))
    _, _, seller, eggs = min(found)
    return seller, eggs


def _fits(brief: Invented, day: int) -> bool:
    course = _course(brief, [Setting(day, "", 1, brief.machines[0].name)], [])
    return not [said for said in broken(course, brief.limits) if not said.startswith("machine")]


def _into(brief: Invented, day: int, seller: Seller, eggs: int) -> Iterator[Setting]:
    """Eggs of a day, into the incubators as far as these and the hatchers hold them."""
    most = seller.most or NEVER
    left = min(max(eggs, seller.least), most, brief.limits.hatchers_eggs or NEVER)
    for name, room in brief.limits.incubators.items():
        part = min(left, room)
        left -= part
        if part > 0:
            # All hens stay; of cocks as many for the hens that are looked for as in the plan.
            ratio = _hens_per_cock(brief)
            cocks = max(1, round(part * 0.6 * 0.9 / 2 / ratio)) if ratio else 0
            yield Setting(day, seller.name, part, name, None, cocks, day + CHOSEN_AFTER_D)


@cache
def _hens_per_cock(brief: Invented) -> float:
    return asked(brief).problem.hens_per_cock


def best_rule(brief: Invented, truths: Sequence[Truth], plan: Outcome, seed: int) -> Row:
    """The best rule of a few at the cost of a plan, scored on all flocks.

    The choice is made on the first `RULE_TRIES`, among rules that are fair: they cost as much as
    the plan or less, pass floors and other limits no oftener and no further, and give birds for the
    table nearly as often. If there is none, among all.
    """
    few = truths[:RULE_TRIES]
    tried = []
    for every_w in EVERY_W:
        for full_first in (False, True):
            times = _at_cost(brief, every_w, full_first, few, plan, seed)
            outcome = _on_all(brief, rule(brief, every_w, full_first, times), few, seed)
            fair = _as_dear(outcome, plan) and _within(outcome, plan) and _feeds(outcome, plan)
            tried.append((fair, float(outcome.met.mean()), every_w, full_first, times))
    fair, _, every_w, full_first, times = max(tried)
    outcome = _on_all(brief, rule(brief, every_w, full_first, times), truths, seed)
    return {
        "every_w": every_w,
        "full_first": full_first,
        "times": times,
        "fair": fair,
        "met": float(outcome.met.mean()),
        "cost": float(outcome.cost.mean()),
        "over": overs(outcome),
    }


def overs(outcome: Outcome) -> Row:
    """Mean share of weeks (money: months) beyond each limit."""
    return {name: float(getattr(outcome, f"{name}_over").mean()) for name in OVER}


def _as_dear(one: Outcome, plan: Outcome) -> bool:
    return float(one.cost.mean()) <= (1.0 + EQUAL) * float(plan.cost.mean())


def _within(one: Outcome, plan: Outcome) -> bool:
    of_plan = overs(plan)
    oftener = any(share > of_plan[name] + OFTENER for name, share in overs(one).items())
    return not oftener and float(one.excess.mean()) <= float(plan.excess.mean()) + OFTENER


def _feeds(one: Outcome, plan: Outcome) -> bool:
    """Whether it gives birds for the table nearly as often; true where none are asked for."""
    return not float(np.mean(one.table_met)) < float(np.mean(plan.table_met)) - EQUAL


def _at_cost(
    brief: Invented,
    every_w: int,
    full_first: bool,
    truths: Sequence[Truth],
    plan: Outcome,
    seed: int,
) -> float:
    """The greatest size at which the rule costs no more than the plan and keeps within limits as
    well as it, by halving."""

    def does(times: float) -> bool:
        outcome = _on_all(brief, rule(brief, every_w, full_first, times), truths, seed)
        return float(outcome.cost.mean()) <= float(plan.cost.mean()) and _within(outcome, plan)

    low, high = 0.0, 1.0
    while does(high) and high < MOST_TIMES:
        low, high = high, 2.0 * high
    for _ in range(6):
        middle = (low + high) / 2.0
        low, high = (middle, high) if does(middle) else (low, middle)
    return low or high


def _on_all(brief: Invented, course: Course, truths: Sequence[Truth], seed: int) -> Outcome:
    lives = [
        live(default_rng([seed, brief.number, n]), truth, course) for n, truth in enumerate(truths)
    ]
    return carry_out(brief, course, lives)


# --- a plan that knew the rates ------------------------------------------------------------------


def beside_known(
    brief: Invented, plan: Plan, truths: Sequence[Truth], seed: int, futures: int
) -> list[Row]:
    """For some true flocks: the plan, and one made by somebody who knew their rates, both carried
    out in the same futures."""
    return [
        _both(brief, {"": plan, "knew": _knowing(brief, truth, seed)}, truth, seed, futures)
        for truth in truths
    ]


def beside_learnt(brief: Invented, weeks: int, seed: int, futures: int) -> Row:
    """One true flock with so many weeks of records: planned for by those, by the few entries that
    tell only what lives, and by somebody who knew the rates."""
    rng = default_rng([seed, brief.number, weeks])
    truth = draw_truth(rng, {one.name: one.route for one in brief.sellers} | {"own": "own"})
    with_birds, truth, entries = past(rng, brief, truth, weeks)
    plans = {"knew": _knowing(with_birds, truth, seed)}
    for name, journal in (("", None), ("learnt", entries)):
        what = asked(with_birds, journal)
        plans[name] = make_plan(what.situation, what.problem, default_rng(seed))
    return _both(with_birds, plans, truth, seed, futures) | {"number": brief.number}


def _knowing(brief: Invented, truth: Truth, seed: int) -> Plan:
    """The plan of somebody who knew the rates of a flock."""
    what = asked(brief)
    names = [m.name for m in brief.machines if m.role == "incubator"]
    rates = known(what.situation.rates, what.flock, truth, _course(brief, [], []), names)
    with undoubted(truth.nature):
        return make_plan(replace(what.situation, rates=rates), what.problem, default_rng(seed))


def _both(brief: Invented, plans: Mapping[str, Plan], truth: Truth, seed: int, futures: int) -> Row:
    """What plans did for one true flock, in the same futures; names before an underscore."""
    row: Row = {}
    for name, plan in plans.items():
        course = course_of(brief, plan)
        lives = [live(default_rng([seed, brief.number, n]), truth, course) for n in range(futures)]
        outcome = carry_out(brief, course, lives)
        row[name or "plan"] = {
            "status": plan.status,
            "promised": float(plan.chance_overall),
            "met": float(outcome.met.mean()),
            "cost": float(outcome.cost.mean()),
            "cost_told": float(plan.cost.mean()),
        }
    return row


# --- one brief -----------------------------------------------------------------------------------


@dataclass(frozen=True)
class Options:
    """How much is done for each brief."""

    flocks: int
    seed: int
    known: int
    futures: int
    ways: bool = False


def study(number: int, options: Options) -> Row:
    """All about one brief. Whatever goes wrong inside the planner is told, not raised."""
    brief = invent(number, options.seed)
    head: Row = {"number": number, "kind": brief.kind, "certainty": brief.certainty}
    try:
        return head | _study(brief, options)
    except Exception:
        return head | {"crash": traceback.format_exc()}


def _study(brief: Invented, options: Options) -> Row:
    began = time.perf_counter()
    try:
        what = asked(brief)
    except ValueError as refused:
        return {"refused": str(refused)}
    if not np.array_equal(what.problem.wanted.eggs, brief.wanted):
        raise AssertionError("The program reads other weeks of the goal than the brief says.")
    rng = default_rng(options.seed)
    plan = make_plan(what.situation, what.problem, rng)
    ways = ways_out(what.situation, plan, rng) if options.ways and plan.status != "met" else []
    why = reasons(what.situation, plan, ways)
    planned = time.perf_counter()
    course = course_of(brief, plan)
    truths = true_flocks(brief, options.flocks, options.seed)
    outcome = _on_all(brief, course, truths, options.seed)
    row: Row = {
        "status": plan.status,
        "sets": len(plan.draft.sets),
        "goings": len(plan.draft.culls),
        "promised": float(plan.chance_overall),
        "met": float(outcome.met.mean()),
        "met_net": float(outcome.met_net.mean()),
        "met_se": float(outcome.met.mean(1).std() / len(truths) ** 0.5),
        "promised_by_week": plan.chance_met[brief.wanted > 0].tolist(),
        "met_by_week": outcome.met.mean(0).tolist(),
        "every_week_promised": float(plan.chance_every_week),
        "every_week": float(outcome.met.all(1).mean()),
        "table_promised": plan.table_met,
        "table": float(np.nanmean(outcome.table_met)) if brief.table_a_month else None,
        "cost_told": float(plan.cost.mean()),
        "cost": float(outcome.cost.mean()),
        "cost_inside": _inside(plan.cost, outcome.cost),
        "feed_told": float(plan.ahead.samples["feed_kg"].sum(1).mean()),
        "feed": float(outcome.feed_kg.mean()),
        "broken": broken(course, brief.limits) + _orders_broken(brief, course),
        "over": overs(outcome),
        "excess": float(outcome.excess.mean()),
        "own_wanting": float(outcome.own_wanting.mean()),
        "own_set": sum(1 for one in course.settings if brief.routes[one.source] == "own"),
        "reasons": why,
        "ways": [(way.what, way.status, way.chance, way.cost_more) for way in ways],
        "plan": [
            f"{s.on} {s.eggs} {s.source} {s.place} {s.keep_hens}+{s.keep_cocks}"
            for s in plan.draft.sets
        ],
        "let_go": [f"{c.on} {c.of} {c.keep_hens} {c.keep_cocks}" for c in plan.draft.culls],
        "gap": float(plan.gap),
        "seconds": planned - began,
    }
    if plan.draft.sets:
        row["rule"] = best_rule(brief, truths, outcome, options.seed)
    if options.known and plan.status != "infeasible":
        some = truths[: options.known]
        row["known"] = beside_known(brief, plan, some, options.seed, options.futures)
    row["seconds_in_all"] = time.perf_counter() - began
    return row


def true_flocks(brief: Invented, number: int, seed: int) -> list[Truth]:
    """So many true flocks that a keeper with this brief might have."""
    return [
        draw_truth(default_rng([seed, brief.number, n, 7]), brief.routes) for n in range(number)
    ]


def _inside(told: Floats, came: Floats) -> float:
    low, high = np.quantile(told, (0.1, 0.9))
    return float(((came >= low) & (came <= high)).mean())


def _orders_broken(brief: Invented, course: Course) -> list[str]:
    """Orders of fewer or more eggs than a seller sends."""
    said = []
    for one in brief.sellers:
        orders: dict[int, int] = {}
        for setting in course.settings:
            if setting.source == one.name:
                orders[setting.day] = orders.get(setting.day, 0) + setting.eggs
        for day, eggs in orders.items():
            if not one.least <= eggs <= (one.most or NEVER):
                when = brief.on + timedelta(days=day)
                said.append(f"order: {eggs} eggs of {one.name} on {when}, {one.least} the least")
    return said


# --- all of them ---------------------------------------------------------------------------------


def run(numbers: Sequence[int], options: Options, jobs: int) -> list[Row]:
    """Every brief of these numbers; the same figures whatever the jobs."""
    if jobs == 1:
        return [_said(study(number, options)) for number in numbers]
    with ProcessPoolExecutor(jobs) as pool:
        work = [pool.submit(study, number, options) for number in numbers]
        return [_said(one.result()) for one in work]


def run_learnt(numbers: Sequence[int], options: Options, weeks: int, jobs: int) -> list[Row]:
    """Some briefs again, of keepers under a lamp who have had birds for so many weeks."""
    with ProcessPoolExecutor(jobs) as pool:
        work = [pool.submit(_learnt, number, options, weeks) for number in numbers]
        return [row for one in work if (row := one.result())]


def _learnt(number: int, options: Options, weeks: int) -> Row:
    brief = replace(invent(number, options.seed), held=())
    brief = replace(brief, lamp_h=brief.lamp_h or 15.0)
    try:
        return beside_learnt(brief, weeks, options.seed, options.futures)
    except Exception:
        traceback.print_exc()
        return {}


def _said(row: Row) -> Row:
    print(_line(row), flush=True)
    return row


def _line(row: Row) -> str:
    head = f"{row['number']:>3} {row['kind']:22} {row['certainty']:.2f}"
    if "status" not in row:
        return f"{head} {'refused' if 'refused' in row else 'CRASH'}"
    over = ", ".join(f"{name} {share:.0%}" for name, share in row["over"].items() if share > 0)
    rule_met = f"{row['rule']['met']:.2f}" if "rule" in row else "   -"
    knew = [k["plan"]["cost"] / k["knew"]["cost"] for k in row.get("known", ())]
    ratio = f"{np.mean(knew):.2f}" if knew else "   -"
    return (
        f"{head} {row['status']:11} sets {row['sets']:>2} promised {row['promised']:.2f} "
        f"met {row['met']:.2f} rule {rule_met} cost {row['cost']:6.0f} "
        f"told {row['cost_told']:6.0f} "
        f"knew x{ratio} {row['seconds']:3.0f} s "
        f"{'BROKEN ' + str(len(row['broken'])) if row['broken'] else ''} "
        f"{'over: ' + over if over else ''}"
    )


def summary(rows: Sequence[Row], learnt: Sequence[Row] = ()) -> Row:
    """The tables."""
    done = [row for row in rows if "status" in row]
    goal = [row for row in done if row["promised_by_week"]]
    return {
        "briefs": len(rows),
        "refused": sum("refused" in row for row in rows),
        "crashes": sum("crash" in row for row in rows),
        "status": {name: sum(row["status"] == name for row in done) for name in STATUSES},
        "kept": _kept(goal),
        "kept_by_status": {
            name: _kept([row for row in goal if row["status"] == name]) for name in STATUSES
        },
        "kept_by_kind": _by(goal, "kind", _kept),
        "kept_by_band": {
            f"{low:g}-{min(1.0, high):g}": _band(goal, low, high) for low, high in BANDS
        },
        "table": _table(done),
        "cost_against_told": _spread([r["cost"] / r["cost_told"] for r in done if r["cost_told"]]),
        "cost_inside_80": float(np.mean([row["cost_inside"] for row in done])),
        "feed_against_told": _spread([r["feed"] / r["feed_told"] for r in done if r["feed_told"]]),
        "known": _known([one for row in done for one in row.get("known", ())]),
        "learnt": _known(learnt),
        "rule": _rules([row for row in done if "rule" in row]),
        "broken": [f"{row['number']}: {said}" for row in done for said in row["broken"]],
        "over": {
            name: _spread([row["over"][name] for row in done if row["over"][name] > 0])
            for name in OVER
        },
        "own": {
            "briefs": sum(row["own_set"] > 0 for row in done),
            "wanting": _spread([row["own_wanting"] for row in done if row["own_set"]]),
            "met": _mean([row["met"] for row in done if row["own_set"]]),
            "met_net": _mean([row["met_net"] for row in done if row["own_set"]]),
        },
        "every_week": {
            "promised": _mean([row["every_week_promised"] for row in goal]),
            "met": _mean([row["every_week"] for row in goal]),
        },
        "seconds_a_plan": _spread([row["seconds"] for row in done]),
    }


def _by(rows: Sequence[Row], name: str, of: Callable[[Sequence[Row]], Row]) -> Row:
    return {
        value: of([row for row in rows if row[name] == value])
        for value in dict.fromkeys(row[name] for row in rows)
    }


def _kept(rows: Sequence[Row]) -> Row:
    """Promised against met, by brief and by week; points are hundredths."""
    if not rows:
        return {"briefs": 0}
    gap = np.array([row["met"] - row["promised"] for row in rows])
    weeks = np.concatenate(
        [np.array(row["met_by_week"]) - np.array(row["promised_by_week"]) for row in rows]
    )
    return {
        "briefs": len(rows),
        "promised": float(np.mean([row["promised"] for row in rows])),
        "met": float(np.mean([row["met"] for row in rows])),
        "points": float(100 * gap.mean()),
        "points_error": float(100 * gap.std() / len(rows) ** 0.5),
        "points_off_a_brief": float(100 * np.abs(gap).mean()),
        "points_off_a_week": float(100 * np.abs(weeks).mean()),
    }


def _band(rows: Sequence[Row], low: float, high: float) -> Row:
    promised = np.concatenate([np.array(row["promised_by_week"]) for row in rows] or [np.zeros(0)])
    met = np.concatenate([np.array(row["met_by_week"]) for row in rows] or [np.zeros(0)])
    inside = (promised >= low) & (promised < high)
    if not inside.any():
        return {"weeks": 0}
    return {
        "weeks": int(inside.sum()),
        "promised": float(promised[inside].mean()),
        "met": float(met[inside].mean()),
        "points": float(100 * (met - promised)[inside].mean()),
    }


def _table(rows: Sequence[Row]) -> Row:
    asked_for = [
        row
        for row in rows
        if row["table_promised"] is not None
        and row["table"] is not None
        and np.isfinite(row["table"])
    ]
    if not asked_for:
        return {"briefs": 0}
    promised = float(np.mean([row["table_promised"] for row in asked_for]))
    met = float(np.mean([row["table"] for row in asked_for]))
    return {"briefs": len(asked_for), "promised": promised, "met": met}


def _known(pairs: Sequence[Row]) -> Row:
    """Costs against those of plans that knew the rates; of all, and of those that say they meet the
    goal on both sides, between which alone the costs are like for like."""
    if not pairs:
        return {"flocks": 0}
    found: Row = {"flocks": len(pairs)}
    for name in ("plan", "learnt", "knew"):
        some = [one for one in pairs if name in one]
        if not some:
            continue
        both = [one for one in some if one[name]["status"] == one["knew"]["status"] == "met"]
        found[name] = {
            "met": float(np.mean([one[name]["met"] for one in some])),
            "promised": float(np.mean([one[name]["promised"] for one in some])),
            "ratio": _spread(
                [one[name]["cost"] / one["knew"]["cost"] for one in some if one["knew"]["cost"] > 0]
            ),
            "ratio_both_met": _spread([one[name]["cost"] / one["knew"]["cost"] for one in both]),
        }
    return found


def _rules(rows: Sequence[Row]) -> Row:
    if not rows:
        return {"briefs": 0}
    equal = [row for row in rows if row["rule"]["fair"]]

    def of(some: Sequence[Row]) -> Row:
        if not some:
            return {"briefs": 0}
        return {
            "briefs": len(some),
            "plan_met": float(np.mean([row["met"] for row in some])),
            "rule_met": float(np.mean([row["rule"]["met"] for row in some])),
            "plan_better": float(np.mean([row["met"] >= row["rule"]["met"] for row in some])),
            "cost_of_rule": float(np.mean([row["rule"]["cost"] / row["cost"] for row in some])),
        }

    unfair = [row for row in rows if not row["rule"]["fair"]]
    return {"fair": of(equal), "no fair rule": of(unfair)} | {
        name: of([row for row in equal if row["status"] == name]) for name in STATUSES
    }


def _mean(values: Sequence[float]) -> float:
    return float(np.mean(values)) if values else float("nan")


def _spread(values: Sequence[float]) -> Row:
    if not values:
        return {"n": 0}
    low, middle, high = np.quantile(values, (0.1, 0.5, 0.9))
    return {
        "n": len(values),
        "mean": float(np.mean(values)),
        "q10": float(low),
        "q50": float(middle),
        "q90": float(high),
    }


def print_summary(told: Mapping[str, Any]) -> None:
    """The tables as plain text."""
    print(
        f"\n{told['briefs']} briefs, {told['refused']} refused, {told['crashes']} crashes; "
        + ", ".join(f"{n} {name}" for name, n in told["status"].items())
    )
    print("\nPromised and met, % of weeks of the goal, points between; off: mean size of the gap")
    lines = [("all", told["kept"])]
    lines += list(told["kept_by_status"].items()) + list(told["kept_by_kind"].items())
    for name, row in lines:
        if row["briefs"]:
            print(
                f"  {name:24} n {row['briefs']:>3}  {100 * row['promised']:5.1f} "
                f"{100 * row['met']:5.1f}  {row['points']:+5.1f} ± {2 * row['points_error']:.1f}  "
                f"off {row['points_off_a_brief']:.1f} a brief, "
                f"{row['points_off_a_week']:.1f} a week"
            )
    for name, row in told["kept_by_band"].items():
        if row["weeks"]:
            print(
                f"  weeks promised {name:9} n {row['weeks']:>4}  {100 * row['promised']:5.1f} "
                f"{100 * row['met']:5.1f}  {row['points']:+5.1f}"
            )
    if told["table"]["briefs"]:
        table = told["table"]
        print(f"  table birds {table['briefs']} briefs: {table['promised']:.2f} {table['met']:.2f}")
    every = told["every_week"]
    print(f"  every week of the goal: promised {every['promised']:.2f}, met {every['met']:.2f}")
    own = told["own"]
    if own["briefs"]:
        print(
            f"  own eggs set in {own['briefs']} briefs; not there of them: "
            f"{_words(own['wanting'])}; met {own['met']:.2f}, and {own['met_net']:.2f} when they "
            "are taken off"
        )
    print(f"\nCost carried out over told: {_words(told['cost_against_told'])}")
    print(f"  inside the 80 % told: {told['cost_inside_80']:.0%}")
    print(f"  feed carried out over told: {_words(told['feed_against_told'])}")
    for name in ("known", "learnt"):
        _print_known(told[name], "no records" if name == "known" else "birds there")
    print("A keeper's rule, best of a few:")
    for name, row in told["rule"].items():
        if isinstance(row, dict) and row["briefs"]:
            print(
                f"  {name:14} n {row['briefs']:>3} plan {row['plan_met']:.2f} "
                f"rule {row['rule_met']:.2f}, plan as good or better in {row['plan_better']:.0%}, "
                f"cost of the rule x{row['cost_of_rule']:.2f}"
            )
    print(f"Limits broken by date or size: {len(told['broken'])}")
    for said in told["broken"]:
        print(f"  {said}")
    for name, row in told["over"].items():
        print(f"  {name}: share of weeks over, of briefs with any: {_words(row)}")
    print(f"Seconds a plan: {_words(told['seconds_a_plan'])}")


def _print_known(knew: Mapping[str, Any], which: str) -> None:
    if not knew["flocks"]:
        return
    print(f"\nBeside a plan that knew the rates, {knew['flocks']} flocks, {which}:")
    for name in ("plan", "learnt", "knew"):
        if name in knew:
            row = knew[name]
            print(f"  {name:8} promised {row['promised']:.2f} met {row['met']:.2f}")
            if name != "knew":
                print(f"    cost over its: {_words(row['ratio'])}")
                print(f"    where both meet the goal: {_words(row['ratio_both_met'])}")


def _words(row: Mapping[str, float]) -> str:
    if not row["n"]:
        return "none"
    return (
        f"mean {row['mean']:.2f}, {row['q10']:.2f} / {row['q50']:.2f} / {row['q90']:.2f} "
        f"(10, 50, 90 %; n {row['n']})"
    )


def main(arguments: Sequence[str] | None = None) -> None:
    """Reads the options, studies, and prints."""
    reader = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    reader.add_argument("--briefs", type=int, default=60, help="how many briefs")
    reader.add_argument("--flocks", type=int, default=200, help="true flocks of each brief")
    reader.add_argument("--known", type=int, default=1, help="of these, how many are known")
    reader.add_argument("--learnt", type=int, default=12, help="briefs tried with records too")
    reader.add_argument("--weeks", type=int, default=78, help="weeks of those records")
    reader.add_argument("--futures", type=int, default=40, help="futures of each known flock")
    reader.add_argument("--seed", type=int, default=1)
    reader.add_argument("--jobs", type=int, default=1, help="processes at work")
    reader.add_argument("--only", type=int, nargs="*", help="these briefs instead")
    reader.add_argument("--ways", action="store_true", help="look for ways out too")
    reader.add_argument("--json", type=Path, help="also write the figures to this file")
    reader.add_argument("--quick", action="store_true", help="8 briefs, 40 flocks, none known")
    chosen = reader.parse_args(arguments)
    options = Options(chosen.flocks, chosen.seed, chosen.known, chosen.futures, chosen.ways)
    numbers = chosen.only or list(range(chosen.briefs))
    if chosen.quick:
        options, numbers = replace(options, flocks=40, known=0), numbers[:8]
        chosen.learnt = 0
    rows = run(numbers, options, chosen.jobs)
    learnt = run_learnt(numbers[: chosen.learnt], options, chosen.weeks, chosen.jobs)
    told = summary(rows, learnt)
    print_summary(told)
    if chosen.json is not None:
        text = json.dumps(_plain({"summary": told, "briefs": rows, "learnt": learnt}), indent=1)
        chosen.json.write_text(text + "\n", encoding="utf-8")


def _plain(value: Any) -> Any:
    """For JSON, which has no NaN."""
    if isinstance(value, dict):
        return {key: _plain(each) for key, each in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(each) for each in value]
    return None if isinstance(value, float) and np.isnan(value) else value


if __name__ == "__main__":
    main()
