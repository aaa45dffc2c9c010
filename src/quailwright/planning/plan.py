"""A plan that meets the goal as surely as asked: drafted on the mean, tried in draws, and again.

The programme (`model`) knows only means. Each draft is carried out in the outlook's own simulation;
where a week of the goal is met too seldom, more eggs are asked of that week, and where too often,
fewer. What is reported comes from fresh draws that no draft was fitted to.
"""

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import Literal

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

from quailwright.flock.state import Clutch, Flock
from quailwright.husbandry import facts
from quailwright.husbandry.age import DAYS_A_WEEK
from quailwright.outlook.forecast import Outlook, Question, forecast
from quailwright.outlook.hatching import HatchTime, PlannedSet, Stay, shares_of_batch
from quailwright.outlook.learning import expit
from quailwright.outlook.light import light_of
from quailwright.outlook.rates import Rates, draw_rates, hatch_shift
from quailwright.planning.kernels import Kernels, kernels
from quailwright.planning.model import (
    Asked,
    Columns,
    PerHen,
    There,
    build,
    feed_price,
    read,
)
from quailwright.planning.problem import (
    Candidate,
    Draft,
    EggSource,
    Problem,
    Set,
    Span,
    candidates,
)
from quailwright.planning.program import Program
from quailwright.planning.solver import Solution, solve

Array = NDArray[np.float64]
Status = Literal["met", "best_effort", "infeasible"]

_DRAFTS_OF_DAYS, _DRAFTS_OF_SIZES = 3, 8
"""Drafts that choose days and sizes, then drafts that only mend sizes."""
_TRIAL_DRAWS = 1600
FINAL_DRAWS = 4000
_EGG = 0.5
"""Eggs wanting in a week below which none are."""
_GAP = 0.03
_SECONDS = 4.0
_SAFE = 0.025
"""Drafts aim so much above the certainty, for what fitting to their own draws flatters them."""
_NEAR = 0.02
"""A chance that falls short of the certainty by no more than this is taken for met."""
_SHORT = 0.02
"""Part of a week's goal that may be wanting on the mean before it is said to be out of reach."""
_CHOSEN_AT_W = 6


@dataclass(frozen=True)
class Plan:
    """A plan and how it does in fresh draws.

    Attributes:
        status: "met" when every week of the goal is met as surely as asked, "best_effort" when the
            goal is in reach on the mean but not so surely, "infeasible" when some weeks are out of
            reach even on the mean.
        draft: what to set and which birds to keep.
        ahead: the outlook with the plan carried out.
        chance_met: by week, NaN where nothing is asked, shape (weeks,).
        chance_overall: mean share of the goal's weeks that are met.
        chance_every_week: share of draws in which every week of the goal is met.
        cost: of each draw, shape (draws,); `parts` by kind on the mean.
        minutes_a_day: by week, shape (weeks,).
        peak: most eggs turned ("incubator"), chicks ("brooder") and grown birds ("pen") at once.
        gap: how far the cost of the draft may lie above the least possible, as a share.
        table_met: mean share of the goal's months with enough table birds; None if none are asked.
        asked, solution: what it was drafted from, and what the solver found.
    """

    problem: Problem
    status: Status
    draft: Draft
    ahead: Outlook
    chance_met: Array
    chance_overall: float
    chance_every_week: float
    table_met: float | None
    cost: Array
    parts: Mapping[str, float]
    minutes_a_day: Array
    peak: Mapping[str, float]
    gap: float
    asked: Asked
    solution: Solution


@dataclass(frozen=True)
class Situation:
    """What a plan starts from: the flock, what is believed of it, and when its hatches are due."""

    flock: Flock
    rates: Rates
    times: Mapping[str, HatchTime]


def make_plan(
    situation: Situation,
    problem: Problem,
    rng: Generator,
    *,
    progress: Callable[[str, float], None] | None = None,
    seconds: float = _SECONDS,
    rough: bool = False,
) -> Plan:
    """The cheapest plan found that meets the goal as surely as asked, or comes nearest.

    Args:
        rng: the same generator gives the same plan.
        progress: called with what is being done and how far it is (0 to 1).
        seconds: the most that the solver may take for one draft.
        rough: quicker and less exact, to try what a change would do.
    """
    of_days, of_sizes = (1, 2) if rough else (_DRAFTS_OF_DAYS, _DRAFTS_OF_SIZES)
    gap, trial_draws = (2 * _GAP, _TRIAL_DRAWS // 2) if rough else (_GAP, _TRIAL_DRAWS)
    fit_seed, trial_seed, end_seed = (int(n) for n in rng.integers(0, 2**31, 3))
    base = carried_out(situation, problem, Question(lamp_h=problem.lamp_h), fit_seed, trial_draws)
    asked = asked_of(situation, problem, base, rng, problem.wanted.certainty)
    best: _Tried | None = None
    start: Array | None = None
    days: Array | None = None
    wanting = False
    for turn in range(of_days + of_sizes):
        if progress is not None:
            progress("drafting and trying", turn / (of_days + of_sizes))
        program, columns = build(asked)
        if turn >= of_days and best is not None and not wanting:
            days = days if days is not None else best.solution.values[columns.is_set].round()
            _hold(program, columns, days)
        else:
            days = None
        solution = solve(program, gap=gap, seconds=seconds, start=start)
        if not solution.found:
            break
        start = solution.values
        draft = read(asked, columns, solution)
        wanting = days is not None and bool((draft.short_weeks > _EGG).any())
        tried = carried_out(
            situation, problem, _question(problem, asked, draft), trial_seed, trial_draws
        )
        price = feed_price(asked, columns, solution)
        cost = float(_cost(problem, draft, tried, price)[0].mean())
        rated = _Tried(_shortfall(problem, tried), cost, draft, asked, solution)
        if best is None or rated.rank < best.rank:
            best = rated
        need = _need_again(problem, asked, tried, draft)
        table = _table_again(problem, asked, tried)
        if np.allclose([*need, table], [*asked.need, asked.table_birds], rtol=0.003):
            break
        asked = replace(asked, need=need, table=table)
    if best is None:
        nothing = Draft((), (), 0.0, problem.wanted.eggs.copy())
        unsolved = Solution("none found", np.zeros(0), 0.0, 0.0)
        best = _Tried(1.0, 0.0, nothing, asked, unsolved)
    else:
        best = _without_the_needless(situation, problem, best, trial_seed, trial_draws)
    question = _question(problem, best.asked, best.draft)
    ahead = carried_out(
        situation, problem, question, end_seed, FINAL_DRAWS // 4 if rough else FINAL_DRAWS
    )
    if progress is not None:
        progress("done", 1.0)
    return _plan(problem, best.draft, best.asked, best.solution, ahead)


@dataclass(frozen=True)
class _Tried:
    """A draft that was carried out: by how much it misses the certainty, and what it costs."""

    shortfall: float
    cost: float
    draft: Draft
    asked: Asked
    solution: Solution

    @property
    def rank(self) -> tuple[float, float]:
        return self.shortfall, self.cost


def _without_the_needless(
    situation: Situation, problem: Problem, best: _Tried, seed: int, draws: int
) -> _Tried:
    """The draft without sets that the goal is met without, the smallest tried first."""
    for one in sorted(best.draft.sets, key=lambda a_set: a_set.eggs):
        if best.rank[0] > 0.0:
            break
        sets = tuple(other for other in best.draft.sets if other != one)
        days = {other.on for other in sets}
        culls = tuple(
            cull for cull in best.draft.culls if cull.of != f"set of {one.on}" or one.on in days
        )
        draft = replace(best.draft, sets=sets, culls=culls)
        question = _question(problem, best.asked, draft)
        tried = carried_out(situation, problem, question, seed, draws)
        price = feed_price(best.asked, build(best.asked)[1], best.solution)
        cost = float(_cost(problem, draft, tried, price)[0].mean())
        fewer = _Tried(_shortfall(problem, tried), cost, draft, best.asked, best.solution)
        if fewer.rank < best.rank:
            best = fewer
    return best


def _hold(program: Program, columns: Columns, days: Array) -> None:
    """Holds the days of the sets, so that only their sizes are left to choose."""
    for column, chosen in zip(columns.is_set, days.tolist(), strict=True):
        program.lower[column] = program.upper[column] = min(chosen, program.upper[column])
        program.whole[column] = False


def carried_out(
    situation: Situation, problem: Problem, question: Question, seed: int, draws: int
) -> Outlook:
    return forecast(
        situation.flock,
        problem.on,
        rng=np.random.default_rng(seed),
        weeks=problem.weeks,
        draws=draws,
        question=question,
        times=situation.times,
        rates=situation.rates,
    )


def _shortfall(problem: Problem, tried: Outlook) -> float:
    """By how much the weeks of the goal miss the certainty asked, on the mean."""
    weeks = np.flatnonzero(problem.wanted.eggs > 0)
    table = _table_met(problem, tried)
    birds = 0.0 if table is None else max(0.0, problem.wanted.certainty - table)
    if not len(weeks):
        return round(birds, 3)
    chance = (tried.samples["eggs"][:, weeks] >= problem.wanted.eggs[weeks]).mean(0)
    missed = np.maximum(0.0, problem.wanted.certainty + _SAFE / 2 - chance)
    worst = max(0.0, float(missed.max()) - _NEAR / 2)
    return round(float(missed.mean()) + worst + birds, 3)


def _need_again(problem: Problem, asked: Asked, tried: Outlook, draft: Draft) -> Array:
    """Eggs to ask of each week on the mean: what was asked, by how far the sure eggs fell short.

    Sure eggs are those that come with the certainty asked. Neighbouring weeks share one birds'
    fate, so the ratio is smoothed over five weeks.
    """
    wanted = problem.wanted.eggs
    asked_for = min(0.995, problem.wanted.certainty + _SAFE)
    sure = np.quantile(tried.samples["eggs"], 1.0 - asked_for, axis=0)
    ratio = np.where(wanted > 0, wanted / np.maximum(sure, 0.2 * np.maximum(wanted, 1.0)), 1.0)
    ratio = np.clip(ratio, 0.8, 1.5)
    width = np.ones(min(_SMOOTH, len(ratio)))
    smooth = np.convolve(ratio, width, "same") / np.convolve(np.ones_like(ratio), width, "same")
    ratio = np.maximum(ratio, smooth)
    # Where eggs were wanting already, asking for more would only shift what is short.
    ratio = np.where(draft.short_weeks > 0.5, np.minimum(ratio, 1.0), ratio)
    found: Array = np.where(wanted > 0, np.maximum(wanted, asked.need * ratio), 0.0)
    return found


_SMOOTH = 5


def _table_again(problem: Problem, asked: Asked, tried: Outlook) -> float:
    """Birds for the table to ask of a month on the mean, as `_need_again` for eggs."""
    wanted = problem.wanted.table_birds_a_month
    months = [tried.left[:, weeks].sum(1) for weeks in _whole_months(problem)]
    if not wanted or not months:
        return asked.table_birds
    asked_for = min(0.995, problem.wanted.certainty + _SAFE)
    sure = float(np.quantile(np.concatenate(months), 1.0 - asked_for))
    ratio = min(1.5, max(0.8, wanted / max(sure, 0.2 * wanted)))
    return max(wanted, asked.table_birds * ratio)


def asked_of(
    situation: Situation, problem: Problem, base: Outlook, rng: Generator, sure: float
) -> Asked:
    flock, rates = situation.flock, situation.rates
    light = rates.light
    until = problem.first_day(problem.weeks + 1)
    light = light_of(flock, light.first, until, problem.lamp_h, problem.on + timedelta(days=1))
    turned, still, busy = _under_way(flock, problem)
    days = candidates(problem, busy)
    hatched = [one.hatches for one in days]
    feed = problem.prices.feed_per_kg
    there = _there(base)
    of_there = kernels(
        rates, light, problem.on, [one.hatched_on for one in there], problem.weeks, feed
    )
    wanted = problem.wanted.eggs
    return Asked(
        problem,
        days,
        kernels(rates, light, problem.on, hatched, problem.weeks, feed),
        [replace(one, lay=_own_level(base, there, of_there, one)) for one in there],
        of_there,
        [per_hen(flock, rates, source, problem, rng, sure) for source in problem.sources],
        wanted * _FIRST_MARGIN,
        turned,
        still,
        problem.wanted.table_birds_a_month * _FIRST_MARGIN,
    )


_FIRST_MARGIN = 1.08
"""The first draft asks for so many times the goal on the mean."""


def _there(base: Outlook) -> list[There]:
    found = []
    groups = [flight.group for flight in base.flights]
    for flight in base.flights:
        hens, cocks = float(flight.hens.mean()), float(flight.cocks.mean())
        if hens + cocks <= 0:
            continue
        if flight.hatch:
            found.append(There((flight.hatch, None), flight.hatch, flight.hatched_on, hens, cocks))
        else:
            key = (flight.group, flight.hatched_on)
            alone = groups.count(flight.group) == 1
            name = flight.group if alone else f"{flight.group} (hatched {flight.hatched_on})"
            found.append(There(key, name, flight.hatched_on, hens, cocks))
    return found


def _own_level(base: Outlook, there: Sequence[There], kernel: Kernels, one: There) -> float:
    """How well a group lays against the kernel, by the outlook of its own."""
    group = _group_of(one)
    eggs = base.eggs_by_group.get(group)
    if eggs is None:
        return 1.0
    expected = np.zeros(len(eggs))
    for n, other in enumerate(there):
        if _group_of(other) == group:
            expected += other.hens * kernel.hens[n] * kernel.eggs[n]
    total = float(expected.sum())
    return float(eggs.sum()) / total if total > 0 else 1.0


def _group_of(one: There) -> str:
    """The name under which the outlook follows it."""
    name, hatched_on = one.key
    return name if hatched_on is not None else f"hatch {name}"


def per_hen(
    flock: Flock,
    rates: Rates,
    source: EggSource,
    problem: Problem,
    rng: Generator,
    sure: float,
) -> PerHen:
    """Eggs of a source to set for each hen kept, so that they come with the certainty `sure`.

    By draws of the hatch, of the chicks' deaths and of the sexes; a straight line through what
    eight and forty eggs give.
    """
    draws = draw_rates(rates, _EGG_DRAWS, rng)
    clutch = Clutch(
        1, None if source.own else source.name, source.name if source.own else None, "",
        None, None, None, None,
    )  # fmt: skip
    shift = hatch_shift(flock, [clutch], problem.on)
    machine = problem.room.incubators[0].name if problem.room.incubators else ""
    fertile, of_fertile = shares_of_batch(draws, [clutch], machine, shift, rng)
    hatch = fertile * of_fertile
    lives = np.ones(_EGG_DRAWS)
    for name, weeks in (("week_1", 1), ("week_2", 1), ("week_3", 1), ("grower", 2), ("adult", 1)):
        weekly = expit(draws.deaths[name].log_odds(("\nnew",), rng))
        lives = lives * (1.0 - weekly) ** weeks
    points = []
    for eggs in _EGGS_TRIED:
        chicks = rng.binomial(eggs, hatch)
        hens = rng.binomial(rng.binomial(chicks, 1 - facts.value("survival.cocks_at_hatch")), lives)
        points.append(float(np.quantile(hens, 1.0 - sure, method="lower")))
    (low, high), (few, many) = _EGGS_TRIED, points
    each = (high - low) / max(many - few, 0.5)
    fixed = max(0.0, high - each * many)
    return PerHen(fixed, each, float(hatch.mean()))


_EGG_DRAWS = 4000
_EGGS_TRIED = (24, 96)


def _under_way(flock: Flock, problem: Problem) -> tuple[Array, Array, list[Span]]:
    """Eggs of hatches under way by day, turned and lying still, and when they need a machine."""
    days = problem.weeks * DAYS_A_WEEK
    turned, still = np.zeros(days), np.zeros(days)
    busy = []
    stop = int(facts.value("incubation.turning_stop_day"))
    last = math.ceil(facts.value("incubation.hatch_day_last"))
    for hatch in flock.hatches_open():
        set_on = hatch.set_at.date()
        if hatch.alive <= 0 or set_on + timedelta(days=last) <= problem.on:
            continue
        lies_from, ends = set_on + timedelta(days=stop), set_on + timedelta(days=last)
        for number in range(days):
            day = problem.on + timedelta(days=number + 1)
            if day < lies_from:
                turned[number] += hatch.alive
            elif day <= ends:
                still[number] += hatch.alive
        if not problem.room.hatchers:
            busy.append(Span(lies_from, ends))
    if not problem.room.hatchers:
        turned = turned + still
    return turned, still, busy


def _question(problem: Problem, asked: Asked, draft: Draft) -> Question:
    """The draft as what would change from tomorrow on."""
    by_name: dict[str, list[Stay]] = {}
    for cull in draft.culls:
        by_name.setdefault(cull.of, []).append(Stay(cull.on, cull.keep_hens, cull.keep_cocks))
    sets = tuple(_planned(problem, one, by_name, draft.sets) for one in draft.sets)
    stay: dict[tuple[str, date | None], tuple[Stay, ...]] = {}
    for one in asked.there:
        own = list(by_name.get(one.name, ()))
        chosen = one.hatched_on + timedelta(weeks=_CHOSEN_AT_W)
        if one.key[1] is None and chosen > problem.on and problem.hens_per_cock:
            own.insert(0, Stay(chosen, None, math.ceil(one.hens / problem.hens_per_cock)))
        if own:
            stay[one.key] = tuple(own)
    return Question(lamp_h=problem.lamp_h, sets=sets, stay=stay)


def _planned(
    problem: Problem, one: Set, by_name: Mapping[str, list[Stay]], sets: Sequence[Set]
) -> PlannedSet:
    """A set of the plan; culls of a day's hens are shared out among its sources."""
    hens_of_day = sum(other.keep_hens for other in sets if other.on == one.on)
    share = one.keep_hens / hens_of_day if hens_of_day else 0.0
    chosen = Candidate(one.on, 0).hatches + timedelta(weeks=_CHOSEN_AT_W)
    later = [
        Stay(stay.on, None if stay.hens is None else round(stay.hens * share), stay.cocks)
        for stay in by_name.get(f"set of {one.on}", ())
    ]
    stay = (Stay(chosen, one.keep_hens, one.keep_cocks), *later)
    return PlannedSet(one.on, one.eggs, one.source, one.place, stay)


def _plan(problem: Problem, draft: Draft, asked: Asked, solution: Solution, ahead: Outlook) -> Plan:
    wanted = problem.wanted.eggs
    eggs = ahead.samples["eggs"]
    goal_weeks = np.flatnonzero(wanted > 0)
    met = eggs[:, goal_weeks] >= wanted[goal_weeks]
    chance = np.full(problem.weeks, np.nan)
    chance[goal_weeks] = met.mean(0) if len(goal_weeks) else []
    short = eggs[:, goal_weeks].mean(0) < (1.0 - _SHORT) * wanted[goal_weeks]
    price = problem.prices.feed_per_kg[2]
    if solution.found:
        price = feed_price(asked, build(asked)[1], solution)
    cost, parts = _cost(problem, draft, ahead, price)
    minutes = _minutes(problem, draft, ahead)
    table = _table_met(problem, ahead)
    sure = bool((chance[goal_weeks] >= problem.wanted.certainty - _NEAR).all())
    enough = table is None or table >= problem.wanted.certainty - _NEAR
    status: Status = "met" if sure and enough else "best_effort"
    table_short = any(
        ahead.left[:, weeks].sum(1).mean() < (1.0 - _SHORT) * problem.wanted.table_birds_a_month
        for weeks in _whole_months(problem)
    )
    if status != "met" and (short.any() or table_short or not solution.found):
        status = "infeasible"
    wanting = np.where(wanted > 0, np.maximum(0.0, wanted - eggs.mean(0)), 0.0)
    draft = replace(draft, short_weeks=wanting)
    return Plan(
        problem,
        status,
        draft,
        ahead,
        chance,
        float(met.mean()) if len(goal_weeks) else 1.0,
        float(met.all(1).mean()) if len(goal_weeks) else 1.0,
        table,
        cost,
        parts,
        minutes,
        _peak(problem, draft, ahead),
        draft.gap,
        asked,
        solution,
    )


def _table_met(problem: Problem, ahead: Outlook) -> float | None:
    """Mean share of the goal's months with enough birds for the table."""
    wanted = problem.wanted
    if not wanted.table_birds_a_month:
        return None
    whole = _whole_months(problem)
    if not whole:
        return None
    met = [ahead.left[:, weeks].sum(1) >= wanted.table_birds_a_month for weeks in whole]
    return float(np.mean(met))


def _whole_months(problem: Problem) -> list[list[int]]:
    """Weeks of each month that the goal holds for as a whole."""
    months: dict[tuple[int, int], list[int]] = {}
    for week in range(problem.weeks):
        day = problem.first_day(week)
        if problem.wanted.first <= day <= problem.wanted.last:
            months.setdefault((day.year, day.month), []).append(week)
    return [weeks for weeks in months.values() if len(weeks) >= _WEEKS_OF_A_MONTH]


_WEEKS_OF_A_MONTH = 4


def _cost(
    problem: Problem, draft: Draft, ahead: Outlook, feed_per_kg: float
) -> tuple[Array, dict[str, float]]:
    prices = problem.prices
    by_name = {source.name: source for source in problem.sources}
    eggs = sum(one.eggs * by_name[one.source].price for one in draft.sets)
    orders = {(one.on, one.source) for one in draft.sets}
    postage = sum(by_name[source].postage for _, source in orders)
    feed = ahead.samples["feed_kg"].sum(1) * feed_per_kg
    hatches = len(orders) * prices.hatch
    minutes = float(_minutes(problem, draft, ahead).sum()) * DAYS_A_WEEK * prices.minute
    total: Array = feed + eggs + postage + hatches + minutes
    parts = {
        "hatching_eggs": float(eggs),
        "postage": float(postage),
        "feed": float(feed.mean()),
        "power_and_bedding": float(hatches),
        "time": minutes,
    }
    return total, parts


def _minutes(problem: Problem, draft: Draft, ahead: Outlook) -> Array:
    """Minutes a day by week on the mean, by what daily care of so many birds and hatches takes."""
    a_bird = facts.value("care.minutes_day_adults") / facts.value("care.flock_of_minutes")
    more = facts.value("care.minutes_day_hatch_and_brooder") - facts.value(
        "care.minutes_day_adults"
    )
    birds = sum(ahead.samples[name].mean(0) for name in ("hens", "cocks", "chicks"))
    minutes = a_bird * np.asarray(birds)
    brooding = timedelta(days=int(facts.value("brooding.time_in_brooder_d")))
    for week in range(problem.weeks):
        first = problem.first_day(week)
        last = first + timedelta(days=DAYS_A_WEEK - 1)
        for day in {one.on for one in draft.sets}:
            one = Candidate(day, 0)
            if one.day <= last and one.hatches + brooding >= first:
                apart = one.hatches > last or one.hatches < first
                minutes[week] += more / 2 if apart else more
    return np.asarray(minutes, dtype=np.float64)


def _peak(problem: Problem, draft: Draft, ahead: Outlook) -> dict[str, float]:
    """Most eggs turned at once, chicks and grown birds at once (as nine in ten draws keep to)."""
    turned: dict[date, int] = {}
    for one in draft.sets:
        own = Candidate(one.on, 0)
        ends = own.stops_turning if problem.room.hatchers else own.cleared + timedelta(days=1)
        for number in range((ends - one.on).days):
            day = one.on + timedelta(days=number)
            turned[day] = turned.get(day, 0) + one.eggs
    grown = ahead.samples["hens"] + ahead.samples["cocks"]
    return {
        "incubator": float(max(turned.values(), default=0)),
        "brooder": float(np.quantile(ahead.samples["chicks"], 0.9, axis=0).max()),
        "pen": float(np.quantile(grown, 0.9, axis=0).max()),
    }
