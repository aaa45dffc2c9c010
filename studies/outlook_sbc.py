"""Simulation-based calibration of what the outlook learns.

Truths are drawn from the prior, records from the truths, and the rank of each truth among draws of
its posterior is kept; if the learning is right, the ranks are uniform (Talts, Betancourt, Simpson,
Vehtari and Gelman 2018, Validating Bayesian inference algorithms with simulation-based
calibration). A chi-square test of the histogram says whether they are. It tells whether the
arithmetic fits the model that it stands for, not whether the model fits birds. The lines "beside
the model" draw truths or records from something the learning does not stand for, to see how much
that costs. Run: `python studies/outlook_sbc.py [SIMULATIONS]`.
"""

import sys
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
from numpy.random import Generator, default_rng
from numpy.typing import NDArray
from scipy import stats  # type: ignore[import-untyped]

from quailwright.flock.cohorts import group_history
from quailwright.flock.history import LaidDay
from quailwright.flock.light import light_of
from quailwright.flock.state import Birds, Change, Flock, Group
from quailwright.husbandry import facts
from quailwright.journal.entries import Holding
from quailwright.outlook.lay import (
    Hens,
    LayBelief,
    Walk,
    Weeks,
    by_row,
    hens,
    learn_lay,
    weeks_of,
)
from quailwright.outlook.learning import Learnt, Prior, Seen, expit, learn
from quailwright.outlook.rates import prior_of_deaths, prior_of_hatch

Array = NDArray[np.float64]

SEED = 20261125
SIMULATIONS = 2000
DRAWS = 4000
KEPT = 99
"""Draws of a posterior that a truth is ranked among, so that there are 100 ranks."""
BINS = 20
SURE = 0.01
"""p-value below which ranks are called not uniform."""
ON = date(2027, 6, 1)

Ranks = Iterator[tuple[str, float]]
"""What was ranked, and its rank from 0 to 1."""


def rank_of(truth: float, draws: Array, rng: Generator) -> float:
    """The rank of a truth among as many draws as are kept, equal ones in random order."""
    kept = rng.choice(draws, KEPT, replace=False)
    below, equal = int((kept < truth).sum()), int((kept == truth).sum())
    return (below + int(rng.integers(0, equal + 1))) / KEPT


def counted(share: float, n: int, likeness: float, rng: Generator) -> int:
    """A beta-binomial count with that likeness."""
    if likeness > 0:
        strength = 1.0 / likeness - 1.0
        share = float(rng.beta(share * strength, (1.0 - share) * strength))
    return int(rng.binomial(n, share))


def log_odds(learnt: Learnt, labels: tuple[str, ...], rng: Generator) -> Array:
    """Draws of the log odds of something with these labels."""
    return learnt.draws(rng, DRAWS).log_odds(labels, rng)


def hatches(rng: Generator) -> Ranks:
    """1 to 12 hatches of 1 to 3 sources in 1 or 2 machines."""
    prior = prior_of_hatch()
    holding, source_sd, machine_sd = (prior.sd * part**0.5 for part in prior.parts)
    usual = prior.mean + holding * rng.standard_normal()
    sources = source_sd * rng.standard_normal(int(rng.integers(1, 4)))
    machines = machine_sd * rng.standard_normal(int(rng.integers(1, 3)))
    records = []
    for number in range(int(rng.integers(1, 13))):
        source = number if number < len(sources) else int(rng.integers(len(sources)))
        machine = int(rng.integers(len(machines)))
        eggs = int(rng.integers(6, 61))
        share = float(expit(np.array(usual + sources[source] + machines[machine])))
        chicks = counted(share, eggs, prior.likeness, rng)
        records.append(Seen((f"source {source}", f"machine {machine}"), chicks, eggs))
    learnt = learn(records, prior)
    first = records[0].labels
    source, machine = (int(label.split()[1]) for label in first)
    own = usual + sources[source] + machines[machine]
    yield "hatch: holding", rank_of(usual, learnt.draws(rng, DRAWS).effects[:, 0], rng)
    yield "hatch: source in its machine", rank_of(own, log_odds(learnt, first, rng), rng)
    new = usual + source_sd * rng.standard_normal() + machine_sd * rng.standard_normal()
    yield "hatch: new source and machine", rank_of(new, log_odds(learnt, ("new", "new"), rng), rng)
    eggs = int(rng.integers(6, 61))
    chicks = counted(float(expit(np.array(own))), eggs, prior.likeness, rng)
    strength = 1.0 / prior.likeness - 1.0
    shares = expit(log_odds(learnt, first, rng))
    further = rng.binomial(eggs, rng.beta(shares * strength, (1.0 - shares) * strength))
    yield "hatch: chicks of the next", rank_of(chicks, further.astype(float), rng)


def brooder_losses(rng: Generator) -> Ranks:
    """1 to 6 batches of chicks in their first week."""
    prior = prior_of_deaths("week_1")
    usual, groups = _groups(prior, int(rng.integers(1, 7)), rng)
    records = []
    for name, odds in groups.items():
        chicks = int(rng.integers(8, 61))
        records.append(Seen((name,), counted(_share(odds), chicks, prior.likeness, rng), chicks))
    learnt = learn(records, prior)
    effects = learnt.draws(rng, DRAWS).effects[:, 0]
    yield "chicks' first week: holding", rank_of(usual, effects, rng)
    name, odds = next(iter(groups.items()))
    yield "chicks' first week: batch", rank_of(odds, log_odds(learnt, (name,), rng), rng)


def deaths(rng: Generator, shared_sd: float) -> Ranks:
    """1 to 4 groups of grown hens over 4 to 104 weeks; weeks that all share are worse or better."""
    prior = prior_of_deaths("adult")
    usual, groups = _groups(prior, int(rng.integers(1, 5)), rng)
    weeks = int(rng.integers(4, 105))
    worse = np.exp(shared_sd * rng.standard_normal(weeks + 1) - shared_sd**2 / 2)
    records, left = [], {}
    for name, odds in groups.items():
        birds, lived, dead = int(rng.integers(5, 61)), 0.0, 0
        for week in range(weeks):
            died = int(rng.binomial(birds, min(1.0, _share(odds) * worse[week])))
            lived += birds - died / 2
            birds, dead = birds - died, dead + died
        left[name] = birds
        records.append(Seen((name,), min(float(dead), lived), lived))
    learnt = learn(records, prior)
    which = " (beside the model: weeks differ)" if shared_sd else ""
    effects = learnt.draws(rng, DRAWS).effects[:, 0]
    yield f"deaths a week: holding{which}", rank_of(usual, effects, rng)
    name, odds = next(iter(groups.items()))
    drawn = log_odds(learnt, (name,), rng)
    yield f"deaths a week: group{which}", rank_of(odds, drawn, rng)
    weekly = np.exp(shared_sd * rng.standard_normal((DRAWS, 4)) - shared_sd**2 / 2)
    chance = np.minimum(1.0, expit(drawn)[:, None] * weekly)
    foretold = rng.binomial(left[name], 1.0 - np.prod(1.0 - chance, axis=1)).astype(float)
    ahead = np.exp(shared_sd * rng.standard_normal(4) - shared_sd**2 / 2)
    died = rng.binomial(left[name], 1.0 - np.prod(1.0 - np.minimum(1.0, _share(odds) * ahead)))
    yield f"deaths of the next 4 weeks: group{which}", rank_of(float(died), foretold, rng)


def _groups(prior: Prior, number: int, rng: Generator) -> tuple[float, dict[str, float]]:
    holding, own = (prior.sd * part**0.5 for part in prior.parts)
    usual = prior.mean + holding * rng.standard_normal()
    return usual, {f"g{n}": usual + own * rng.standard_normal() for n in range(number)}


def _share(odds: float) -> float:
    return float(expit(np.array(odds)))


def _rate(level: Array, share: Array) -> Array:
    """Eggs a hen a day; as the learning has it, a record may show some where none are due."""
    rate: Array = np.maximum(expit(level) * share, facts.value("laying.rate_floor"))
    return rate


@dataclass(frozen=True)
class Truth:
    """What a holding's hens are like: as a row of `Hens`, or from the spread that it stands for."""

    row: int
    usual: float
    walk: Walk


def moved(level: Array, truth: Truth, rng: Generator) -> Array:
    """Levels a week on, as `Walk` says, shape as given."""
    walk = truth.walk
    stays = truth.usual + walk.keeps * (level - truth.usual)
    calm = stays + walk.step * rng.standard_normal(level.shape)
    fallen = stays - rng.exponential(walk.drop_depth, level.shape)
    on = np.where(rng.random(level.shape) < walk.drops, fallen, calm)
    back = (level < truth.usual - walk.drop_depth) & (rng.random(level.shape) < walk.recovers)
    return np.where(back, truth.usual + walk.spread * rng.standard_normal(level.shape), on)


def lay(rng: Generator, beside: bool) -> Ranks:
    """1 or 2 groups of grown hens in full light, counted daily over 3 to 40 weeks."""
    flock = Flock(holding=Holding(id="", at="2026-01-01"))
    weeks, groups = int(rng.integers(3, 41)), int(rng.integers(1, 3))
    first = ON - timedelta(weeks=weeks) + timedelta(days=1)
    light = light_of(flock, first - timedelta(weeks=60), ON + timedelta(weeks=1))
    table = hens(light)
    chances = np.exp(table.before)
    row = int(rng.choice(len(chances), p=chances / chances.sum()))
    usual = float(table.usual[row])
    if beside:
        usual = facts.value("laying.level_logit_mean")
        usual += facts.value("laying.level_logit_holding_sd") * float(rng.standard_normal())
    truth = Truth(row, usual, Walk.of(int(table.restless[row])))
    counts, levels = {}, {}
    for number in range(groups):
        name = f"g{number}"
        counts[name], levels[name] = _group_weeks(name, truth, table, first, weeks, rng)
    belief = learn_lay(counts, light)
    rows = belief.rows(rng, DRAWS)
    which = " (beside the model: usual level of any size)" if beside else ""
    yield f"lay: usual level of the holding{which}", rank_of(usual, table.usual[rows], rng)
    yield f"lay: level of a group{which}", rank_of(levels["g0"], belief.level("g0", rows, rng), rng)
    share = by_row(counts["g0"].share[-1], table)
    number = int(counts["g0"].hens_lived[-1])
    level = moved(np.array(levels["g0"]), truth, rng)
    eggs = counted(float(_rate(level, share[row])), number, truth.walk.icc, rng)
    yield (
        f"lay: eggs of the next week{which}",
        rank_of(eggs, _eggs_ahead(belief, rows, share, number, rng), rng),
    )
    if not beside:
        for name, of in (("restlessness", table.restless), ("decline", table.decline)):
            yield f"lay: {name}", rank_of(float(of[row]), of[rows].astype(float), rng)


def _group_weeks(
    name: str, truth: Truth, table: Hens, first: date, weeks: int, rng: Generator
) -> tuple[Weeks, float]:
    """A group's weeks as they are read from daily counts, and its level at their end."""
    number = int(rng.integers(4, 61))
    hatched = first - timedelta(weeks=int(rng.integers(10, 50)))
    group = Group(name, "pen", alive=Birds(hens=number))
    group.changes.append(Change(first, "in", Birds(hens=number), hatched, hatched))
    history = group_history(group, ON)
    flock = Flock(holding=Holding(id="", at="2026-01-01"))
    light = light_of(flock, first - timedelta(weeks=60), ON + timedelta(weeks=1))
    shares = by_row(weeks_of(history, (), light, ON, weeks).share, table)[:, truth.row]
    level = np.array(truth.usual + truth.walk.spread * rng.standard_normal())
    laid = []
    for week in range(weeks):
        level = moved(level, truth, rng)
        share = float(_rate(level, shares[week]))
        strength = 1.0 / truth.walk.icc - 1.0
        share = float(rng.beta(share * strength, (1.0 - share) * strength))
        for day in range(7):
            eggs = int(rng.binomial(number, share))
            laid.append(LaidDay(first + timedelta(days=7 * week + day), eggs, eggs, 1))
    return weeks_of(history, laid, light, ON, weeks), float(level)


def _eggs_ahead(
    belief: LayBelief, rows: NDArray[np.int64], share: Array, hen_days: int, rng: Generator
) -> Array:
    """Draws of a further week's eggs, shape (draws,)."""
    level = belief.level("g0", rows, rng)
    eggs = np.zeros(len(rows))
    for row in np.unique(rows):
        here = rows == row
        truth = Truth(
            int(row), float(belief.hens.usual[row]), Walk.of(int(belief.hens.restless[row]))
        )
        chance = _rate(moved(level[here], truth, rng), share[row])
        strength = 1.0 / truth.walk.icc - 1.0
        chance = rng.beta(chance * strength, (1.0 - chance) * strength)
        eggs[here] = rng.binomial(hen_days, chance)
    return eggs


def said(ranks: Array) -> str:
    """In words what is wrong with ranks that are not uniform."""
    inside = float(((ranks > 0.1) & (ranks < 0.9)).mean())
    parts = []
    if abs(float(ranks.mean()) - 0.5) > 2.6 * (1 / 12 / len(ranks)) ** 0.5:
        parts.append("truths lie high" if ranks.mean() > 0.5 else "truths lie low")
    if abs(inside - 0.8) > 2.6 * (0.16 / len(ranks)) ** 0.5:
        parts.append("believed too surely" if inside < 0.8 else "believed too loosely")
    return ", ".join(parts) or "uneven"


def table_of(found: dict[str, list[float]]) -> Iterator[str]:
    """One line for each thing ranked."""
    width = max(len(name) for name in found)
    yield f"{'':{width}}  ranks  mean  in 50%  in 80%  in 90%  chi2({BINS - 1})  p"
    for name, own in found.items():
        ranks = np.array(own)
        edges = np.linspace(0.0, KEPT + 1.0, BINS + 1)
        seen, _ = np.histogram(np.round(ranks * KEPT) + 0.5, edges)
        test = stats.chisquare(seen)
        held = [float((np.abs(ranks - 0.5) <= level / 2).mean()) for level in (0.5, 0.8, 0.9)]
        verdict = f"  NOT UNIFORM: {said(ranks)}" if test.pvalue < SURE else ""
        yield (
            f"{name:{width}}  {len(ranks):5d}  {ranks.mean():.2f}  "
            + "  ".join(f"{share:6.3f}" for share in held)
            + f"  {test.statistic:8.1f}  {test.pvalue:.4f}{verdict}"
        )


def main(arguments: Sequence[str]) -> None:
    """Runs every simulation and prints the table."""
    number = int(arguments[0]) if arguments else SIMULATIONS
    shared_sd = facts.value("forecast.deaths_week_log_sd")
    models: list[Callable[[Generator], Ranks]] = [
        hatches,
        brooder_losses,
        lambda rng: deaths(rng, 0.0),
        lambda rng: deaths(rng, shared_sd),
        lambda rng: lay(rng, False),
        lambda rng: lay(rng, True),
    ]
    found: dict[str, list[float]] = {}
    for model, rng in zip(models, default_rng(SEED).spawn(len(models)), strict=True):
        for _ in range(number):
            for name, rank in model(rng):
                found.setdefault(name, []).append(rank)
    for line in table_of(found):
        print(line)


if __name__ == "__main__":
    main(sys.argv[1:])
