"""A plan that meets the goal as surely as asked: drafted on the mean, tried in draws, and again.

The programme (`model`) knows only means. Each draft is carried out in the outlook's own simulation;
how far a week's eggs may be off there says how much more than the goal to ask of that week on the
mean. What is reported comes from fresh draws that no draft was fitted to.
"""

import math
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import Literal

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

from quailwright.flock.light import Light, light_of
from quailwright.flock.state import Clutch, Flock
from quailwright.guide.room import standard_of
from quailwright.husbandry import facts
from quailwright.husbandry.age import DAYS_A_WEEK
from quailwright.language import later, mark
from quailwright.outlook.forecast import Outlook, Question, forecast
from quailwright.outlook.hatching import HatchTime, PlannedSet, Stay, shares_of_batch
from quailwright.outlook.learning import expit
from quailwright.outlook.rates import Rates, draw_rates, hatch_shift
from quailwright.planning.columns import Columns
from quailwright.planning.drafts import read
from quailwright.planning.given import Asked, PerHen, There
from quailwright.planning.hands import minutes_by_day
from quailwright.planning.kernels import Kernels, kernels, lit_share
from quailwright.planning.model import build, feed_price, laid
from quailwright.planning.problem import (
    CHOSEN_AT_W,
    Candidate,
    Draft,
    EggSource,
    Problem,
    Set,
    Span,
    aged,
    candidates,
    chosen_on,
    days_of_hatch,
    of_set,
)
from quailwright.planning.program import Program
from quailwright.planning.solver import Solution, solve

Array = NDArray[np.float64]
Status = Literal["met", "best_effort", "infeasible"]

_ROUNDS = 4
"""Times that days are chosen: of every week, then around the days that were found good, and again
while that helps a goal that is not met."""
_ROUND_HELPS = 0.02
_SIZES = 4
"""Drafts that only mend sizes, after each choice of days."""
_NODES = 10
"""Branches that the solver tries for one choice of days."""
_TRIAL_DRAWS = 1600
FINAL_DRAWS = 4000
_EGG = 0.5
"""Eggs wanting in a week below which none are."""
_GAP = 0.03
_SECONDS = 30.0
_SAFE, _SAFE_PART = 0.025, 0.25
"""Drafts aim so much above the certainty, or this part of what lacks to it, whichever is less."""
_NEAR = 0.02
"""A chance that falls short of the certainty by no more than this is taken for met."""
_WORTH_UPSETTING = 0.02
"""An accepted plan is left for one whose chances fall short by so much less."""
_SHORT = 0.02
"""Part of a week's goal that may be wanting on the mean before it is said to be out of reach."""


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
        minutes_by_day: from tomorrow, shape (7 weeks,).
        peak: most eggs turned ("incubator"), chicks ("brooder") and grown birds ("pen") at once.
        gap: how far the cost of the draft may lie above the least possible, as a share.
        table_met: mean share of the goal's months with enough table birds; None if none are asked.
        asked, solution: what it was drafted from, and what the solver found.
        stopped: whether somebody stopped the search.
        out_of_reach: what falls short even on the mean: "eggs", "hens", "birds for the table".
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
    minutes_by_day: Array
    peak: Mapping[str, float]
    gap: float
    asked: Asked
    solution: Solution
    stopped: bool = False
    out_of_reach: tuple[str, ...] = ()

    @property
    def weeks_asked(self) -> int:
        """Weeks in which something is asked."""
        return int((~np.isnan(self.chance_met)).sum())

    @property
    def busiest_day(self) -> tuple[date, float]:
        """The day with the most minutes, and how many."""
        number = int(np.argmax(self.minutes_by_day))
        return self.problem.on + timedelta(days=1 + number), float(self.minutes_by_day[number])

    @property
    def minutes_a_day(self) -> Array:
        """Minutes of a day on the mean, by week, shape (weeks,)."""
        mean: Array = self.minutes_by_day.reshape(-1, DAYS_A_WEEK).mean(1)
        return mean


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

    Days of a plan accepted before (`Problem.kept`) stay as they are where the goal is met so, with
    other sizes at most. Ctrl-C ends the search with the best plan so far.

    Args:
        rng: the same generator gives the same plan.
        progress: called with the best so far, in words, and how far the search is (0 to 1).
        seconds: the most that the solver may take for one draft; on a machine slow enough to need
            them, the same generator may give another plan.
        rough: quicker and less exact, to try what a change would do.

    Raises:
        KeyboardInterrupt: Ctrl-C before any draft was made.
    """
    search = _Search(situation, problem, rng, progress, seconds, rough)
    stopped = False
    try:
        search.run()
    except KeyboardInterrupt:
        if search.best is None:
            raise
        stopped = True
    return search.plan(stopped)


@dataclass(frozen=True)
class _Tried:
    """A draft that was carried out: by how much it misses the certainty, and what it costs."""

    shortfall: float
    cost: float
    draft: Draft
    asked: Asked
    program: Program
    columns: Columns
    solution: Solution
    is_met: bool = False

    @property
    def rank(self) -> tuple[float, float]:
        return self.shortfall, self.cost


class _Search:
    """Drafts and their trials; `best` is the best so far."""

    def __init__(
        self,
        situation: Situation,
        problem: Problem,
        rng: Generator,
        progress: Callable[[str, float], None] | None,
        seconds: float,
        rough: bool,
    ) -> None:
        self.best: _Tried | None = None
        self._situation, self._problem = situation, problem
        self._progress, self._seconds, self._rough = progress, seconds, rough
        self._draws = _TRIAL_DRAWS // 2 if rough else _TRIAL_DRAWS
        fit, self._trial_seed, self._end_seed = (int(n) for n in rng.integers(0, 2**31, 3))
        self._tell(0.0)
        question = Question(lamp_h=problem.lamp_h)
        base = carried_out(situation, problem, question, fit, self._draws)
        self._asked = asked_of(situation, problem, base, rng)

    def run(self) -> None:
        """The accepted plan as it is, then with other sizes; else chooses days, mends sizes, and
        again."""
        kept = self._problem.kept
        if kept and self._keep_accepted():
            self._leave_out_the_needless()
            return
        accepted = self.best
        self._choose()
        self._tell(0.9)
        self._leave_out_the_needless()
        if accepted is None or self.best is None:
            return
        if accepted.shortfall - self.best.shortfall < _WORTH_UPSETTING:
            self.best = accepted

    def _keep_accepted(self) -> bool:
        """Whether the accepted plan will do, or will with other sizes."""
        kept = self._problem.kept
        days = {one.on for one in kept}
        if all(self._can_be_set(one) for one in kept):
            self._draft(days, as_accepted=True)
            if self._is_good():
                return True
        self._draft(days)
        self._mend_sizes()
        return self._is_good()

    def _can_be_set(self, one: Set) -> bool:
        """Whether an accepted set still fits: its source, its machine, and its day's steps."""
        problem = self._problem
        found = {(c.day, problem.sources[c.source].name) for c in self._asked.candidates}
        machines = {machine.name for machine in problem.room.incubators}
        return (one.on, one.source) in found and one.place in machines

    def _is_good(self) -> bool:
        return self.best is not None and self.best.is_met

    def _choose(self) -> None:
        rounds = 1 if self._rough else _ROUNDS
        before = np.inf
        for turn in range(rounds):
            short = np.inf if self.best is None else self.best.shortfall
            if turn > 1 and (short <= 0.0 or short > before - _ROUND_HELPS):
                return
            before = short
            self._tell(0.05 + 0.8 * turn / rounds)
            if self.best is not None:
                near = {(one.on, one.source) for one in self.best.draft.sets}
                self._asked = _around(self._situation, self._asked, near)
            self._draft(None)
            if self._last is None:
                return
            self._mend_sizes()

    def plan(self, stopped: bool) -> Plan:
        """The best draft, tried in draws that no draft was fitted to."""
        best = self.best
        if best is None:
            draft = Draft((), (), 0.0, self._problem.wanted.eggs.copy())
            unsolved = Solution("none found", np.zeros(0), 0.0, 0.0)
            best = _Tried(1.0, 0.0, draft, self._asked, *build(self._asked), unsolved)
        elif not stopped:
            best = replace(best, draft=replace(best.draft, gap=self._gap(best)))
        draws = FINAL_DRAWS // 4 if self._rough else FINAL_DRAWS
        ahead = trial(self._situation, self._problem, best.asked, best.draft, self._end_seed, draws)
        self._tell(1.0)
        return _plan(self._problem, best, ahead, stopped)

    def _draft(self, held: Collection[date] | None, *, as_accepted: bool = False) -> bool:
        """One draft and its trial; whether the next should ask for something else.

        Args:
            held: days on which eggs are set, with no other; None to choose them.
            as_accepted: whether sizes and culls are those of the accepted plan.
        """
        program, columns = build(self._asked)
        if held is not None:
            _hold(program, columns, self._asked, held)
        if as_accepted:
            _hold_sizes(program, columns, self._asked)
        solution = solve(
            program,
            gap=2 * _GAP if self._rough else _GAP,
            seconds=self._seconds,
            nodes=1 if self._rough else _NODES,
            start=_start(program, self.best),
        )
        if not solution.found:
            self._last = None
            return False
        draft = read(self._asked, columns, solution)
        draft = self._last = replace(draft, laid=laid(program, columns, self._asked, solution))
        if as_accepted:
            kept, culls = self._problem.kept, self._problem.kept_culls
            draft = self._last = replace(draft, sets=kept, culls=culls)
        tried = self._try(draft, program, columns, solution)
        if solution.ended == "stopped":
            raise KeyboardInterrupt
        problem, asked = self._problem, self._asked
        need = _need_again(problem, asked, tried, draft)
        table, hens = _table_again(problem, asked, tried, draft), _hens_again(problem, asked, tried)
        before = [*asked.need, asked.table_birds, asked.breeding_hens]
        self._asked = replace(asked, need=need, table=table, hens=hens)
        return not np.allclose([*need, table, hens], before, rtol=0.003)

    def _try(self, draft: Draft, program: Program, columns: Columns, solution: Solution) -> Outlook:
        problem, asked = self._problem, self._asked
        tried = trial(self._situation, problem, asked, draft, self._trial_seed, self._draws)
        price = feed_price(asked, columns, solution)
        cost = float(_cost(problem, draft, tried, price)[0].mean())
        short = _shortfall(problem, tried, draft)
        rated = _Tried(
            short, cost, draft, asked, program, columns, solution, _is_met(problem, tried, draft)
        )
        if self.best is None or rated.rank < self.best.rank:
            self.best = rated
            self._tell(None)
        return tried

    def _mend_sizes(self) -> None:
        """Drafts on the days of the last, until what is asked of them changes no more."""
        if self._last is None:
            return
        days = {one.on for one in self._last.sets}
        for _ in range(_SIZES):
            if not self._draft(days):
                return

    def _leave_out_the_needless(self) -> None:
        """Tries the best without each of its sets, the smallest first."""
        if self.best is None:
            return
        for one in sorted(self.best.draft.sets, key=lambda a_set: a_set.eggs):
            best = self.best
            if best.shortfall > 0.0:
                return
            sets = tuple(other for other in best.draft.sets if other != one)
            days = {other.on for other in sets}
            culls = tuple(
                cull for cull in best.draft.culls if cull.of != of_set(one.on) or one.on in days
            )
            self._asked = best.asked
            draft = replace(best.draft, sets=sets, culls=culls)
            self._try(draft, best.program, best.columns, best.solution)

    def _gap(self, best: _Tried) -> float:
        """How far the cost of the best may lie above the least, its days chosen freely."""
        held, columns = build(best.asked)
        _hold(held, columns, best.asked, {one.on for one in best.draft.sets})
        cost = solve(held, gap=0.0, seconds=self._seconds, nodes=_NODES).cost
        free, _ = build(best.asked)
        if self._problem.kept or self._rough:
            free = replace(free, whole=[False] * len(free.whole))
        start = _start(free, best)
        found = solve(free, gap=_GAP, seconds=self._seconds, nodes=1, start=start)
        if not found.found or cost <= 0.0:
            return 0.0 if found.found else 1.0
        return min(1.0, max(0.0, (cost - found.bound) / cost))

    def _tell(self, part: float | None) -> None:
        if self._progress is None:
            return
        self._part = part if part is not None else self._part
        self._progress(_in_words(self.best), self._part)

    _last: Draft | None = None
    _part = 0.0


def _in_words(best: _Tried | None) -> str:
    if best is None:
        return later("no plan yet")
    sets = len({one.on for one in best.draft.sets})
    if best.shortfall <= 0.0:
        return later(
            "best so far: {sets} sets, cost {cost:.0f}, as sure as asked", sets=sets, cost=best.cost
        )
    return later(
        "best so far: {sets} sets, cost {cost:.0f}, not sure enough yet", sets=sets, cost=best.cost
    )


def _hold(program: Program, columns: Columns, asked: Asked, days: Collection[date]) -> None:
    """Lets eggs be set on these days only, so that only sources and sizes are left to choose."""
    for n, one in enumerate(asked.candidates):
        if one.day not in days:
            program.upper[columns.is_set[n]] = program.upper[columns.eggs[n]] = 0.0
    for (day, _), (filled, eggs) in columns.loads.items():
        if day not in days:
            program.upper[filled] = program.upper[eggs] = 0.0


def _hold_sizes(program: Program, columns: Columns, asked: Asked) -> None:
    """Sets as many eggs on a day from a source as the accepted plan has it."""
    sizes = asked.problem.kept
    for n, one in enumerate(asked.candidates):
        name = asked.problem.sources[one.source].name
        told = sum(kept.eggs for kept in sizes if (kept.on, kept.source) == (one.day, name))
        eggs = min(float(told), program.upper[columns.eggs[n]])
        program.lower[columns.eggs[n]] = program.upper[columns.eggs[n]] = eggs


def _start(program: Program, best: _Tried | None) -> dict[int, float]:
    """What is set and filled in the best so far, as a start for another programme."""
    if best is None:
        return {}
    values = best.solution.values
    before = dict(zip(best.program.column_names, values.tolist(), strict=True))
    return {
        column: min(round(before.get(name, 0.0)), program.upper[column])
        for column, name in enumerate(program.column_names)
        if program.whole[column]
    }


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


def trial(
    situation: Situation, problem: Problem, asked: Asked, draft: Draft, seed: int, draws: int
) -> Outlook:
    """A draft carried out in draws; own eggs that it sets are no longer among the eggs."""
    tried = carried_out(situation, problem, question_of(problem, asked, draft), seed, draws)
    own = {source.name for source in problem.sources if source.own}
    eggs = tried.samples["eggs"]
    for one in draft.sets:
        if one.source in own:
            eggs[:, problem.week_of(one.on)] -= one.eggs
    np.maximum(eggs, 0.0, out=eggs)
    return tried


def _aim(problem: Problem) -> float:
    """The chance that drafts aim at: above the certainty, for what fitting to their own draws
    flatters them."""
    sure = problem.wanted.certainty
    return sure + min(_SAFE, _SAFE_PART * (1.0 - sure))


def _met(problem: Problem, tried: Outlook) -> tuple[NDArray[np.int64], NDArray[np.bool_]]:
    """Weeks of the goal in which eggs or hens are asked, and in which draws they are there."""
    wanted = problem.wanted
    none = np.zeros(0, dtype=np.int64)
    of_goal = problem.weeks_of_goal() if wanted.breeding_hens else none
    weeks = np.union1d(np.flatnonzero(wanted.eggs > 0), of_goal).astype(np.int64)
    met = tried.samples["eggs"][:, weeks] >= wanted.eggs[weeks]
    few = tried.samples["hens"][:, weeks] < wanted.breeding_hens
    return weeks, met & ~(few & np.isin(weeks, of_goal))


def _shortfall(problem: Problem, tried: Outlook, draft: Draft) -> float:
    """By how much the weeks of the goal miss the certainty asked, on the mean."""
    weeks, met = _met(problem, tried)
    table = _table_met(problem, tried, draft)
    birds = 0.0 if table is None else max(0.0, problem.wanted.certainty - table)
    if not len(weeks):
        return round(birds, 3)
    missed = np.maximum(0.0, (problem.wanted.certainty + _aim(problem)) / 2 - met.mean(0))
    worst = max(0.0, float(missed.max()) - _NEAR / 2)
    return round(float(missed.mean()) + worst + birds, 3)


def _is_met(problem: Problem, tried: Outlook, draft: Draft) -> bool:
    """Whether every week of the goal is met as surely as asked."""
    _, met = _met(problem, tried)
    table = _table_met(problem, tried, draft)
    least = problem.wanted.certainty - _NEAR
    return bool((met.mean(0) >= least).all()) and (table is None or table >= least)


def _need_again(problem: Problem, asked: Asked, tried: Outlook, draft: Draft) -> Array:
    """Eggs to ask of each week on the mean: the goal times what the draft lays in the programme
    over its sure eggs.

    Sure eggs are those that come with the certainty asked. A week that the draft cannot serve asks
    for no more by that: its margin follows from how far its own eggs may be off. Neighbouring weeks
    share one birds' fate, so margins are smoothed over five weeks.
    """
    wanted = problem.wanted.eggs
    sure = np.quantile(tried.samples["eggs"], 1.0 - _aim(problem), axis=0)
    least = np.maximum(_FEW * draft.laid, 1.0)
    margin = np.clip(draft.laid / np.maximum(sure, least), 1.0, 1.0 / _FEW)
    width = np.ones(min(_SMOOTH, len(margin)))
    smooth = np.convolve(margin, width, "same") / np.convolve(np.ones_like(margin), width, "same")
    margin = np.maximum(margin, smooth)
    # Where it is dark, and doubtful whether hens lay at all, more hens make a week no surer.
    margin = np.where(asked.lit < _DARK, 1.0, margin)
    found: Array = wanted * margin
    return found


_FEW = 0.3
"""Sure eggs below this part of those on the mean are not chased further."""
_SMOOTH = 5
_DARK = 0.4
"""Part of a hen's lay that short days leave, below which more hens do not mend a week."""


def _table_again(problem: Problem, asked: Asked, tried: Outlook, draft: Draft) -> float:
    """Birds for the table to ask of a month on the mean, as `_need_again` for eggs."""
    wanted = problem.wanted.table_birds_a_month
    months = [tried.left[:, weeks].sum(1) for weeks in _whole_months(problem, draft)]
    if not wanted or not months:
        return asked.table_birds
    asked_for = _aim(problem)
    sure = float(np.quantile(np.concatenate(months), 1.0 - asked_for))
    ratio = min(1.5, max(0.8, wanted / max(sure, 0.2 * wanted)))
    return max(wanted, asked.table_birds * ratio)


def _hens_again(problem: Problem, asked: Asked, tried: Outlook) -> float:
    """Hens to ask of each week on the mean, as `_need_again` for eggs."""
    wanted, weeks = problem.wanted.breeding_hens, problem.weeks_of_goal()
    if not wanted or not len(weeks):
        return asked.breeding_hens
    hens = tried.samples["hens"][:, weeks]
    sure = np.quantile(hens, 1.0 - _aim(problem), axis=0)
    in_reach = hens.mean(0) >= wanted
    if not in_reach.any():
        return asked.breeding_hens
    ratio = min(1.5, max(0.8, wanted / max(float(sure[in_reach].min()), 0.2 * wanted)))
    return max(wanted, asked.breeding_hens * ratio)


def asked_of(situation: Situation, problem: Problem, base: Outlook, rng: Generator) -> Asked:
    """What the first programme is built from; `base` is the outlook if nothing is set."""
    flock, rates = situation.flock, situation.rates
    turned, still, busy = _under_way(flock, problem)
    days = candidates(problem, busy)
    feed = problem.prices.feed_per_kg
    light = _light(situation, problem)
    there = _there(base)
    of_there = kernels(
        rates,
        light,
        problem.on,
        [one.hatched_on for one in there],
        problem.weeks,
        feed,
        standard_of(flock),
    )
    wanted = problem.wanted.eggs
    return Asked(
        problem,
        days,
        _kernels_of(situation, problem, days),
        [replace(one, lay=_own_level(base, there, of_there, one)) for one in there],
        of_there,
        [per_hen(flock, rates, source, problem, rng) for source in problem.sources],
        wanted * _FIRST_MARGIN,
        turned,
        still,
        busy,
        problem.wanted.table_birds_a_month * _FIRST_MARGIN,
        problem.wanted.breeding_hens * _FIRST_MARGIN,
        lit_share(rates, light, problem.on, problem.weeks),
    )


def _light(situation: Situation, problem: Problem) -> Light:
    until = problem.first_day(problem.weeks + 1)
    first = situation.rates.light.first
    return light_of(situation.flock, first, until, problem.lamp_h, problem.on + timedelta(days=1))


def _kernels_of(situation: Situation, problem: Problem, days: Sequence[Candidate]) -> Kernels:
    return kernels(
        situation.rates,
        _light(situation, problem),
        problem.on,
        [one.hatches for one in days],
        problem.weeks,
        problem.prices.feed_per_kg,
        standard_of(situation.flock),
    )


def _around(situation: Situation, asked: Asked, near: Collection[tuple[date, str]]) -> Asked:
    """The same, with every day around those that were found good to choose from."""
    problem = asked.problem
    names = [source.name for source in problem.sources]
    days = candidates(problem, asked.busy, {(day, names.index(name)) for day, name in near})
    return replace(asked, candidates=days, of_sets=_kernels_of(situation, problem, days))


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
            name = flight.group if alone else aged(flight.group, flight.hatched_on)
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
) -> PerHen:
    """What eggs of a source give at the age of choosing, by draws of batches and of deaths."""
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
    hens = hatch * (1.0 - facts.value("survival.cocks_at_hatch")) * lives
    mean = max(float(hens.mean()), _FEWEST_AN_EGG)
    return PerHen(1.0 / mean, float(hatch.mean()), float(hens.std()))


_EGG_DRAWS = 4000
_FEWEST_AN_EGG = 1e-3


def _under_way(
    flock: Flock, problem: Problem
) -> tuple[dict[str, Array], Array, dict[str, list[Span]]]:
    """Eggs of hatches under way: turned by incubator and day, lying in hatchers by day, and when
    they lie still in an incubator. Where no hatcher is, those that lie still count in both."""
    days = problem.weeks * DAYS_A_WEEK
    turned: dict[str, Array] = {}
    still = np.zeros(days)
    busy: dict[str, list[Span]] = {}
    stop, _, last = days_of_hatch()
    for hatch in flock.hatches_open():
        set_on = hatch.set_at.date()
        if hatch.alive <= 0 or set_on + timedelta(days=last) <= problem.on:
            continue
        lies_from, ends = set_on + timedelta(days=stop), set_on + timedelta(days=last)
        in_machine = turned.setdefault(hatch.place, np.zeros(days))
        first = problem.on + timedelta(days=1)
        down, out = max(0, (lies_from - first).days), (ends - first).days + 1
        in_machine[: down if problem.room.hatchers else out] += hatch.alive
        if problem.room.hatchers:
            still[down:out] += hatch.alive
        else:
            busy.setdefault(hatch.place, []).append(Span(lies_from, ends))
    return turned, still, busy


def question_of(problem: Problem, asked: Asked, draft: Draft) -> Question:
    """The draft as what would change from tomorrow on."""
    by_name: dict[str, list[Stay]] = {}
    for cull in draft.culls:
        by_name.setdefault(cull.of, []).append(Stay(cull.on, cull.keep_hens, cull.keep_cocks))
    sets = tuple(_planned(problem, one, by_name, draft.sets) for one in draft.sets)
    stay: dict[tuple[str, date | None], tuple[Stay, ...]] = {}
    for one in asked.there:
        own = list(by_name.get(one.name, ()))
        chosen = one.hatched_on + timedelta(weeks=CHOSEN_AT_W)
        if one.key[1] is None and chosen > problem.on:
            ratio = problem.hens_per_cock
            own.insert(0, Stay(chosen, None, math.ceil(one.hens / ratio) if ratio else 0))
        if own:
            stay[one.key] = tuple(own)
    return Question(lamp_h=problem.lamp_h, sets=sets, stay=stay)


def _planned(
    problem: Problem, one: Set, by_name: Mapping[str, list[Stay]], sets: Sequence[Set]
) -> PlannedSet:
    """A set of the plan; culls of a day's hens are shared out among its sources."""
    hens_of_day = sum(other.keep_hens for other in sets if other.on == one.on)
    share = one.keep_hens / hens_of_day if hens_of_day else 0.0
    chosen = chosen_on(problem, one.on)
    later = [
        Stay(stay.on, None if stay.hens is None else round(stay.hens * share), stay.cocks)
        for stay in by_name.get(of_set(one.on), ())
    ]
    stay = (Stay(chosen, one.keep_hens, one.keep_cocks), *later)
    return PlannedSet(one.on, one.eggs, one.source, one.place, stay)


def _plan(problem: Problem, best: _Tried, ahead: Outlook, stopped: bool) -> Plan:
    wanted = problem.wanted
    weeks, met = _met(problem, ahead)
    chance = np.full(problem.weeks, np.nan)
    chance[weeks] = met.mean(0)
    price = problem.prices.feed_per_kg[2]
    if best.solution.found:
        price = feed_price(best.asked, best.columns, best.solution)
    cost, parts = _cost(problem, best.draft, ahead, price)
    table = _table_met(problem, ahead, best.draft)
    eggs = ahead.samples["eggs"].mean(0)
    wanting = np.where(wanted.eggs > 0, np.maximum(0.0, wanted.eggs - eggs), 0.0)
    birds = ahead.samples["hens"] + ahead.samples["cocks"] + ahead.samples["chicks"]
    status, out_of_reach = _status(problem, ahead, best.draft, best.solution.found)
    return Plan(
        problem,
        status,
        replace(best.draft, short_weeks=wanting),
        ahead,
        chance,
        float(met.mean()) if len(weeks) else 1.0 if table is None else table,
        float(met.all(1).mean()) if len(weeks) else 1.0 if table is None else table,
        table,
        cost,
        parts,
        minutes_by_day(problem, best.draft.sets, birds.mean(0)),
        _peak(problem, best.draft, ahead),
        best.draft.gap,
        best.asked,
        best.solution,
        stopped,
        out_of_reach,
    )


def reckoned(plan: Plan, problem: Problem) -> Plan:
    """A plan that was drafted at other prices, told at those of `problem`."""
    price = problem.prices.feed_per_kg[2]
    if plan.solution.found:
        _, columns = build(plan.asked)
        price = feed_price(plan.asked, columns, plan.solution)
    cost, parts = _cost(problem, plan.draft, plan.ahead, price)
    return replace(plan, problem=problem, cost=cost, parts=parts)


def _status(
    problem: Problem, ahead: Outlook, draft: Draft, solved: bool
) -> tuple[Status, tuple[str, ...]]:
    """How the goal is met, and what is out of reach even on the mean."""
    wanted = problem.wanted
    if _is_met(problem, ahead, draft):
        return "met", ()
    eggs, hens = ahead.samples["eggs"].mean(0), ahead.samples["hens"].mean(0)
    short = bool((eggs < (1.0 - _SHORT) * wanted.eggs).any())
    few = bool((hens[problem.weeks_of_goal()] < (1.0 - _SHORT) * wanted.breeding_hens).any())
    table_short = any(
        ahead.left[:, weeks].sum(1).mean() < (1.0 - _SHORT) * wanted.table_birds_a_month
        for weeks in _whole_months(problem, draft)
    )
    lacking = {
        mark("eggs"): short,
        mark("hens"): few,
        mark("birds for the table"): table_short,
    }
    out_of_reach = tuple(name for name, lacks in lacking.items() if lacks)
    return "infeasible" if out_of_reach or not solved else "best_effort", out_of_reach


def _table_met(problem: Problem, ahead: Outlook, draft: Draft) -> float | None:
    """Mean share of the goal's months with enough birds for the table."""
    wanted = problem.wanted
    if not wanted.table_birds_a_month:
        return None
    whole = _whole_months(problem, draft)
    if not whole:
        return None
    met = [ahead.left[:, weeks].sum(1) >= wanted.table_birds_a_month for weeks in whole]
    return float(np.mean(met))


def _whole_months(problem: Problem, draft: Draft) -> list[list[int]]:
    """Weeks of each month that the goal holds for as a whole.

    A week that ends in another month belongs to it if birds of the draft's sets are chosen there
    and none is let go before.
    """
    chosen = {chosen_on(problem, one.on) for one in draft.sets}
    gone = {cull.on for cull in draft.culls}
    months: dict[tuple[int, int], list[int]] = {}
    for week in range(problem.weeks):
        first = problem.first_day(week)
        days = [first + timedelta(days=n) for n in range(DAYS_A_WEEK)]
        busy = [day for day in days if day in chosen | gone]
        day = min(busy, default=first)
        if problem.wanted.first <= first <= problem.wanted.last:
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
    hatches = len({(one.on, one.place) for one in draft.sets}) * prices.hatch
    birds = sum(ahead.samples[name].mean(0) for name in ("hens", "cocks", "chicks"))
    minutes = float(minutes_by_day(problem, draft.sets, np.asarray(birds)).sum()) * prices.minute
    total: Array = feed + eggs + postage + hatches + problem.lamp_cost + minutes
    parts = {
        "hatching_eggs": float(eggs),
        "postage": float(postage),
        "feed": float(feed.mean()),
        "power_and_bedding": float(hatches),
        "light": problem.lamp_cost,
        "time": minutes,
    }
    return total, parts


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
