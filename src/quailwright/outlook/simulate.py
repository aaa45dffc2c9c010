"""The weeks ahead, draw by draw: birds die, chicks come and grow up, hens lay, all eat.

Every draw has rates of its own and follows all groups together, so that a bad hatch has fewer hens,
fewer eggs and less feed in the same draw.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

from quailwright.flock.cohorts import GroupHistory, class_ages, hatched
from quailwright.flock.light import Light, lay_share
from quailwright.husbandry import facts
from quailwright.husbandry.age import DAYS_A_WEEK
from quailwright.husbandry.feeding import STAGES, Stage, intake_of_g_per_day
from quailwright.husbandry.growth import mass_g
from quailwright.husbandry.survival import Sex
from quailwright.outlook.hatching import Coming
from quailwright.outlook.lay import Hens, Walk, by_row, curves
from quailwright.outlook.learning import expit
from quailwright.outlook.rates import RateDraws, cock_shift

Array = NDArray[np.float64]
Whole = NDArray[np.int64]

QUANTITIES = ("eggs", "hens", "cocks", "chicks", "deaths", "feed_kg", "live_kg")


@dataclass(frozen=True, slots=True)
class Leaving:
    """Birds that are to go: at the start of `week` no more than so many stay; None: all stay."""

    week: int
    hens: int | None
    cocks: int | None


@dataclass(frozen=True, slots=True)
class Going:
    """The same of several flights together, by their number: the first named go first."""

    week: int
    flights: tuple[int, ...]
    hens: int | None
    cocks: int | None


@dataclass(frozen=True)
class Flight:
    """Birds that are followed together: one cohort of one group, or the chicks of one hatch.

    Attributes:
        group: whose level of lay and deaths they share; for chicks to come, a name of their own.
        hatched_on: their hatching day, known or taken.
        hens, cocks: to begin with, shape (draws,); chicks not sexed yet are shared out.
        comes: the week in which they come, shape (draws,); 0 for birds that are there.
        hatch: whose chicks they are, '' for birds that are there.
        leaves: when some of them go.
        watched: hatch whose hens at 8 weeks these birds count among.
        seen: hens on record over those that live, shape (draws,): some died without a word, and
            what is known of a group's lay is known of hens on record.
        told: hens and cocks that are known as such, chicks not.
        if_asked: whether they come of eggs that are only asked about; such flights stand last.
    """

    group: str
    hatched_on: date
    hens: Whole
    cocks: Whole
    comes: Whole
    hatch: str = ""
    leaves: tuple[Leaving, ...] = ()
    watched: str = ""
    seen: Array | None = None
    told: tuple[int, int] = (0, 0)
    if_asked: bool = False


@dataclass(frozen=True)
class Ahead:
    """What the draws show.

    Attributes:
        weeks: quantities by draw and week, each of shape (draws, weeks): eggs laid in the week;
            living hens, cocks and chicks (not told apart yet) at its end; deaths in it; feed [kg];
            live weight of all birds at its end [kg].
        hens_at_8_weeks: by hatch, hens alive at 8 weeks of age, shape (draws,).
        eggs_by_group: mean eggs by group, shape (weeks,) each.
        left: birds that went as planned, shape (draws, weeks).
        feed_by_stage: feed [kg] by the stage of the birds that use it, (draws, weeks) each.
    """

    weeks: Mapping[str, Array]
    hens_at_8_weeks: Mapping[str, Whole]
    eggs_by_group: Mapping[str, Array]
    left: Array
    feed_by_stage: Mapping[Stage, Array]


def flights_of(draws: RateDraws, on: date, rng: Generator) -> list[Flight]:
    """The birds that are there on the evening of `on`."""
    number = len(draws)
    cocks_at_hatch = facts.value("survival.cocks_at_hatch")
    found = []
    for name, history in draws.rates.histories.items():
        whole = {
            kind: _whole([getattr(cohort, kind) for cohort in history.cohorts])
            for kind in ("chicks", "hens", "cocks")
        }
        for index, cohort in enumerate(history.cohorts):
            chicks = whole["chicks"][index]
            young_cocks = rng.binomial(chicks, cocks_at_hatch, number)
            hens = whole["hens"][index] + chicks - young_cocks
            cocks = whole["cocks"][index] + young_cocks
            told = whole["hens"][index], whole["cocks"][index]
            now = np.zeros(number, dtype=np.int64)
            lives = _lives_untold(draws, history, cohort.came_on, on, rng)
            alive = rng.binomial(hens, lives)
            cocks = rng.binomial(cocks, lives)
            seen = hens / np.maximum(1, alive)
            found.append(Flight(name, hatched(cohort), alive, cocks, now, seen=seen, told=told))
    return found


def _lives_untold(
    draws: RateDraws, history: GroupHistory, came_on: date, on: date, rng: Generator
) -> Array:
    """Chance that a bird on record has not died since the last count without a word, (draws,)."""
    since = max(came_on, history.group.counted_on or came_on)
    weeks = min((on - since).days / DAYS_A_WEEK, _YEAR_W)
    weekly = expit(draws.deaths["adult"].log_odds((history.group.name,), rng))
    return np.asarray(np.exp(-weekly * (1.0 - draws.told) * weeks), dtype=np.float64)


_YEAR_W = 52
"""Birds that nobody has counted for longer are seen every day all the same."""


def _whole(counts: Sequence[float]) -> list[int]:
    """Whole numbers near the counts that keep their sum."""
    floors = [int(count) for count in counts]
    short = round(sum(counts)) - sum(floors)
    by_rest = sorted(range(len(counts)), key=lambda n: floors[n] - counts[n])
    for n in by_rest[:short]:
        floors[n] += 1
    return floors


def flights_to_come(chicks: Sequence[Coming], on: date, rng: Generator) -> list[Flight]:
    """The chicks of hatches under way or planned."""
    found = []
    for one in chicks:
        cocks = rng.binomial(one.chicks, facts.value("survival.cocks_at_hatch"))
        evening = _evening(on)
        weeks = np.ceil((one.mean_at - evening) / (86400.0 * DAYS_A_WEEK)) - 1
        comes = np.maximum(0, weeks).astype(np.int64)
        found.append(
            Flight(
                f"hatch {one.hatch}",
                one.hatched_on,
                one.chicks - cocks,
                cocks,
                comes,
                one.hatch,
                watched=one.hatch,
            )
        )
    return found


def _evening(on: date) -> float:
    """The end of the day `on` [s since 1970], by UTC: hours of zone do not matter to weeks."""
    return (on - date(1970, 1, 1)).days * 86400.0 + 86400.0


def simulate(
    flights: Sequence[Flight],
    draws: RateDraws,
    light: Light,
    on: date,
    weeks: int,
    rng: Generator,
    progress: Callable[[int], None] | None = None,
    goings: Sequence[Going] = (),
) -> Ahead:
    """Follows all flights through `weeks` weeks after the day `on`.

    Args:
        light: reaching to the last day.
        progress: called after each week with its number.
        goings: when some of the birds of several flights go.
    """
    number = len(draws)
    shown = {name: np.zeros((number, weeks)) for name in QUANTITIES}
    by_hatch: dict[str, Whole] = {}
    left = np.zeros((number, weeks))
    feed: dict[Stage, Array] = {name: np.zeros((number, weeks)) for name in STAGES}
    if not flights:
        return Ahead(shown, by_hatch, {}, left, feed)
    groups = list(dict.fromkeys(flight.group for flight in flights))
    group_of = np.array([groups.index(flight.group) for flight in flights])
    last_week = max(weeks, _week_of_8(flights, on))
    ages = _mid_ages(flights, on, last_week)
    in_stage = _stage_parts(flights, on, last_week)
    comes = np.array([flight.comes for flight in flights])
    begin_hens = np.array([flight.hens for flight in flights])
    begin_cocks = np.array([flight.cocks for flight in flights])
    there = comes == 0
    hens, cocks = np.where(there, begin_hens, 0), np.where(there, begin_cocks, 0)
    arriving = not there.all()
    of_rates, of_levels, of_sets, of_hens, of_cocks, of_eggs, of_attacks, rng = rng.spawn(8)
    there_only = sum(not flight.if_asked for flight in flights)
    luck_of_hens, luck_of_cocks, luck_of_eggs = map(_Luck, (of_hens, of_cocks, of_eggs))
    deaths = _Deaths(flights, draws, _class_parts(flights, on, last_week), of_rates)
    of_there = list(dict.fromkeys(flight.group for flight in flights[:there_only]))
    lay = _Lay(of_there, draws, of_levels)
    one = np.ones(number)
    seen = np.array([flight.seen if flight.seen is not None else one for flight in flights])
    lay_of_sets = _Lay(groups[len(of_there) :], draws, of_sets)
    share = _shares(flights, light, on, last_week, draws.rates.lay.hens)
    sexed = draws.sexed_at_d
    doubt = rng.standard_normal(number, dtype=np.float32)
    drift = facts.value("forecast.feed_drift_sd") * rng.standard_normal(number)
    shared_sd = facts.value("forecast.deaths_week_log_sd")
    feed_cv = facts.value("forecast.feed_week_cv")
    eggs_by_group = np.zeros((len(groups), weeks))
    for week in range(last_week):
        if arriving and week:
            new = comes == week
            hens += np.where(new, begin_hens, 0)
            cocks += np.where(new, begin_cocks, 0)
        for row, flight in enumerate(flights):
            for leaving in flight.leaves:
                if leaving.week == week < weeks:
                    left[:, week] += _go(hens[row], leaving.hens) + _go(cocks[row], leaving.cocks)
        for going in goings:
            if going.week == week < weeks:
                left[:, week] += _go_together(hens, going.flights, going.hens)
                left[:, week] += _go_together(cocks, going.flights, going.cocks)
        shock = np.exp(shared_sd * rng.standard_normal(number) - shared_sd**2 / 2)
        hen_chance, cock_chance = deaths.of_hens(week, shock), deaths.of_cocks(week, shock)
        for first, end, luck in ((0, len(of_there), rng), (len(of_there), len(groups), of_attacks)):
            attacked = _attacked(draws, first, end, luck)
            for chance in (hen_chance, cock_chance):
                _add_attacks(chance, attacked, group_of)
        dead_hens = luck_of_hens.binomial(hens, hen_chance, there_only)
        dead_cocks = luck_of_cocks.binomial(cocks, cock_chance, there_only)
        hens -= dead_hens
        cocks -= dead_cocks
        for flight, row in zip(flights, hens, strict=True):
            if flight.watched and _is_8_weeks_after(flight, on, week):
                by_hatch[flight.watched] = by_hatch.get(flight.watched, 0) + row
        if week >= weeks:
            continue
        together = rng.standard_normal(number, dtype=np.float32)
        spread = _doubt(week) if any(draws.rates.lay.hen_days) else np.float32(0.0)
        level = np.concatenate(
            [one.next(together, doubt * spread, spread) for one in (lay, lay_of_sets)]
        )
        laying = np.flatnonzero(_may_lay(ages[:, week]) & (hens.max(1) > 0))
        if len(laying):
            hen_days = DAYS_A_WEEK * hens[laying] + (DAYS_A_WEEK * dead_hens[laying]) // 2
            rate = level[group_of[laying]] * share[laying, week][:, draws.rows] * seen[laying]
            split = int(np.searchsorted(laying, there_only))
            eggs = luck_of_eggs.binomial(hen_days, np.minimum(rate, 1.0), split)
            shown["eggs"][:, week] = eggs.sum(0)
            np.add.at(eggs_by_group[:, week], group_of[laying], eggs.mean(1))
        young = _young(ages[:, week] + DAYS_A_WEEK / 2, hens, cocks, sexed)
        shown["chicks"][:, week] = young.sum(0)
        shown["hens"][:, week] = hens.sum(0) - young[0]
        shown["cocks"][:, week] = cocks.sum(0) - young[1]
        by_hen, by_cock = _live_kg(ages[:, week] + DAYS_A_WEEK / 2)
        shown["live_kg"][:, week] = (by_hen @ hens + by_cock @ cocks) * draws.weight
        shown["deaths"][:, week] = dead_hens.sum(0) + dead_cocks.sum(0)
        eaten = in_stage[:, week].T @ _eaten_kg(
            ages[:, week],
            share[:, week] @ draws.rates.lay.chances,
            hens,
            dead_hens,
            cocks,
            dead_cocks,
        )
        over_eaten = (
            draws.feed
            * np.exp(drift * min(1.0, (week + 1) / _DRIFTED_W))
            * (1.0 + feed_cv * rng.standard_normal(number))
        )
        shown["feed_kg"][:, week] = eaten.sum(0) * over_eaten
        for name, own in zip(STAGES, eaten, strict=True):
            feed[name][:, week] = own * over_eaten
        if progress is not None:
            progress(week + 1)
    return Ahead(shown, by_hatch, dict(zip(groups, eggs_by_group, strict=True)), left, feed)


def _attacked(draws: RateDraws, first: int, end: int, rng: Generator) -> tuple[Whole, Whole, Array]:
    """(group, draw, part lost) of each loss of many birds at once in a week, groups `first` on."""
    number = int(rng.binomial((end - first) * len(draws), draws.rates.attacks_a_week))
    part = facts.figure("forecast.attack_part")
    return (
        first + rng.integers(0, max(1, end - first), number),
        rng.integers(0, len(draws), number),
        rng.uniform(part.low or 0.0, part.high or 1.0, number),
    )


def _add_attacks(chance: Array, attacked: tuple[Whole, Whole, Array], group_of: Whole) -> None:
    """Adds the losses to the chances of death, shape (flights, draws), in place."""
    for group, draw, part in zip(*attacked, strict=True):
        flights = group_of == group
        chance[flights, draw] = 1.0 - (1.0 - chance[flights, draw]) * (1.0 - part)


def _go(birds: Whole, stay: int | None) -> Whole:
    """Takes what is above `stay` from the birds of each draw, and gives how many that were."""
    gone = np.zeros_like(birds) if stay is None else np.maximum(0, birds - stay)
    birds -= gone
    return gone


def _go_together(birds: Whole, flights: Sequence[int], stay: int | None) -> Whole:
    """As `_go` for what is above `stay` in several flights, the first of them first."""
    there: Whole = birds[list(flights)].sum(0)
    above: Whole = np.zeros_like(there) if stay is None else np.maximum(0, there - stay)
    left = above.copy()
    for row in flights:
        gone = np.minimum(birds[row], left)
        birds[row] -= gone
        left -= gone
    return above


_DRIFTED_W = 12
"""Weeks over which feed use may come to differ from what the record showed."""


def _young(ages_d: Array, hens: Whole, cocks: Whole, sexed_at_d: Array) -> Whole:
    """Hens and cocks not told apart yet, shape (2, draws)."""
    found = np.zeros((2, hens.shape[1]), dtype=np.int64)
    latest = float(sexed_at_d.max())
    for row in np.flatnonzero(ages_d < latest):
        young = ages_d[row] < sexed_at_d
        found[0] += np.where(young, hens[row], 0)
        found[1] += np.where(young, cocks[row], 0)
    return found


_HENS_AT_W = 8


def _week_of_8(flights: Sequence[Flight], on: date) -> int:
    """Weeks to go until the youngest hatch is 8 weeks old."""
    ends = [flight.hatched_on + timedelta(weeks=_HENS_AT_W) for flight in flights if flight.watched]
    return max([0, *(-(-(end - on).days // DAYS_A_WEEK) for end in ends)])


def _is_8_weeks_after(flight: Flight, on: date, week: int) -> bool:
    end = flight.hatched_on + timedelta(weeks=_HENS_AT_W)
    return max(0, -(-(end - on).days // DAYS_A_WEEK) - 1) == week


def _mid_ages(flights: Sequence[Flight], on: date, weeks: int) -> Array:
    """Ages in the middle of each week [d], shape (flights, weeks)."""
    now = np.array([(on - flight.hatched_on).days for flight in flights], dtype=float)
    ages: Array = np.maximum(
        0.0, now[:, None] + DAYS_A_WEEK * np.arange(weeks) + (DAYS_A_WEEK + 1) / 2
    )
    return ages


def _stage_parts(flights: Sequence[Flight], on: date, weeks: int) -> Array:
    """Parts of each week that birds live in each of `STAGES`, shape (flights, weeks, 3)."""
    now = np.array([(on - flight.hatched_on).days for flight in flights], dtype=float)
    ages = now[:, None] + np.arange(1, DAYS_A_WEEK * weeks + 1)
    days = ages.reshape(len(flights), weeks, DAYS_A_WEEK)
    grower = facts.value("feeding.starter_until_d")
    layer = facts.value("feeding.grower_until_d")
    starts = np.searchsorted([grower, layer], days, side="right")
    return np.stack([(starts == n).mean(-1) for n in range(len(STAGES))], axis=-1)


def _may_lay(ages_d: Array) -> NDArray[np.bool_]:
    earliest, _ = facts.spread("laying.first_egg_age_d")
    may: NDArray[np.bool_] = ages_d >= earliest
    return may


def _shares(
    flights: Sequence[Flight], light: Light, on: date, weeks: int, table: Hens
) -> NDArray[np.float32]:
    """`lay_share` in the middle of each week for each possibility: (flights, weeks, rows)."""
    middles = (on - light.first).days + 1 + DAYS_A_WEEK * np.arange(weeks) + DAYS_A_WEEK // 2
    born = np.array([(flight.hatched_on - light.first).days for flight in flights])
    own = lay_share(light, curves(), np.tile(middles, len(flights)), np.repeat(born, weeks))
    return by_row(own.reshape(len(flights), weeks, *own.shape[1:]), table).astype(np.float32)


class _Luck:
    """Draws for birds that are there or planned, and apart from them for those asked about.

    So a question that adds a set leaves the luck of all others as it was.
    """

    def __init__(self, rng: Generator) -> None:
        self._there, self._asked = rng.spawn(2)

    def binomial(self, number: Whole, chance: Array, there: int) -> Whole:
        """Binomial draws, shape (flights, draws); the first `there` flights are there."""
        if there >= len(number):
            return np.asarray(self._there.binomial(number, chance), dtype=np.int64)
        return np.concatenate(
            (
                self._there.binomial(number[:there], chance[:there]),
                self._asked.binomial(number[there:], chance[there:]),
            )
        )


def _class_parts(flights: Sequence[Flight], on: date, weeks: int) -> Array:
    """Parts of each week that birds live in each age class, shape (flights, weeks, classes).

    Days before they hatch count for none.
    """
    now = np.array([(on - flight.hatched_on).days for flight in flights])
    days = np.arange(1, DAYS_A_WEEK * weeks + 1)
    ages = (now[:, None] + days[None] - 1).reshape(len(flights), weeks, DAYS_A_WEEK)
    parts = [
        ((ages >= max(low, 0)) & (ages < high)).sum(-1) / DAYS_A_WEEK
        for _, low, high in class_ages()
    ]
    return np.stack(parts, axis=-1)


class _Deaths:
    """Chances to die in a week, by flight, age class and draw."""

    def __init__(
        self, flights: Sequence[Flight], draws: RateDraws, parts: Array, rng: Generator
    ) -> None:
        self._parts = parts
        luck = rng.spawn(2)
        odds = {
            name: np.array([drawn.log_odds((one.group,), luck[one.if_asked]) for one in flights])
            for name, drawn in draws.deaths.items()
        }
        adult = odds.pop("adult")
        self._young = {name: expit(own) for name, own in odds.items()}
        self._hens, self._cocks = expit(adult), expit(adult + cock_shift())

    def of_hens(self, week: int, shock: Array) -> Array:
        """Shape (flights, draws)."""
        return self._of(self._hens, week, shock)

    def of_cocks(self, week: int, shock: Array) -> Array:
        """Shape (flights, draws)."""
        return self._of(self._cocks, week, shock)

    def _of(self, grown: Array, week: int, shock: Array) -> Array:
        chance = np.minimum(grown * shock, 1.0)
        for row in np.flatnonzero(self._parts[:, week, -1] < 1.0):
            lives = (1.0 - chance[row]) ** self._parts[row, week, -1]
            for part, chances in zip(self._parts[row, week], self._young.values(), strict=False):
                if part:
                    lives = lives * (1.0 - chances[row]) ** part
            chance[row] = 1.0 - lives
        return chance


def _doubt(week: int) -> np.float32:
    """Spread of what the model of lay leaves out, a week (0 the next) ahead [log odds].

    It stands for what the slips of a record hide of a flock's level. Where no egg is logged the
    level is only the published spread between flocks, which holds all that there is.
    """
    now, later = (facts.value(f"forecast.level_doubt_{when}") for when in ("now", "later"))
    whole = min(1.0, week / facts.value("forecast.level_doubt_w"))
    return np.float32(now + (later - now) * whole)


class _Lay:
    """The level of each group, moved on week by week as `lay.Walk` says."""

    def __init__(self, groups: Sequence[str], draws: RateDraws, rng: Generator) -> None:
        belief, rows = draws.rates.lay, draws.rows
        known = set(belief.groups)
        states = [
            belief.state(name, rows, rng)
            if name in known
            else (belief.new_level(rows, rng), np.zeros(len(rows), dtype=bool))
            for name in groups
        ]
        shape = len(groups), len(rows)
        self._level = np.array([level for level, _ in states], dtype=np.float32).reshape(shape)
        self._dropped = np.array([dropped for _, dropped in states], dtype=bool).reshape(shape)
        walks = [Walk.of(which) for which in range(3)]
        restless = belief.hens.restless[rows]
        self._usual = belief.hens.usual[rows].astype(np.float32)
        self._keeps = np.array([walk.keeps for walk in walks], dtype=np.float32)[restless]
        self._step = np.array([walk.step for walk in walks], dtype=np.float32)[restless]
        self._noise = np.array([_week_noise(walk) for walk in walks], dtype=np.float32)[restless]
        self._spread = facts.value("laying.level_logit_group_sd")
        self._walk, self._rng = walks[0], rng

    def next(
        self, common: NDArray[np.float32], left_out: NDArray[np.float32], doubt: np.float32
    ) -> Array:
        """Chance of an egg of a hen in full lay in the next week, shape (groups, draws).

        Args:
            common: what moves all groups of the holding that week, standard normal, (draws,).
            left_out: what the model leaves out, added to the log odds of that week, (draws,).
            doubt: its spread. It makes the week less sure, and leaves its mean where it was.
        """
        # The mean of a logistic of a normal (MacKay 1992, Neural Computation 4:720-736).
        evened = np.float32((1.0 + np.pi * float(doubt) ** 2 / 8.0) ** 0.5)
        rng, shape = self._rng, self._level.shape
        shared = facts.value("laying.week_shared")
        own = rng.standard_normal(shape, dtype=np.float32)
        step = np.float32(shared**0.5) * common + np.float32((1 - shared) ** 0.5) * own
        away = self._level - self._usual
        keeps = np.where(self._dropped, np.float32(1.0), self._keeps)
        self._level = self._usual + keeps * away + self._step * step
        chance = rng.random(shape, dtype=np.float32)
        walk = self._walk
        back = self._dropped & (chance < walk.recovers)
        drop = ~self._dropped & (chance < walk.drops)
        self._level[drop] -= rng.exponential(walk.drop_depth, int(drop.sum()))
        spread = self._spread * rng.standard_normal(int(back.sum()))
        self._level[back] = np.broadcast_to(self._usual, shape)[back] + spread
        self._dropped = (self._dropped & ~back) | (
            drop & (chance < walk.drops * (1.0 - walk.lasts))
        )
        noise = self._noise * rng.standard_normal(shape, dtype=np.float32)
        return expit(np.asarray((self._level + noise) * evened + left_out, dtype=np.float64))


def _week_noise(walk: Walk) -> float:
    """What the likeness of hens within a week adds to the log odds, where most flocks lie."""
    usual = float(expit(np.array(facts.value("laying.level_logit_mean"))))
    return float((walk.icc / (usual * (1.0 - usual))) ** 0.5)


def _live_kg(ages_d: Array) -> tuple[Array, Array]:
    """Weight of a hen and of a cock of the dual type at each age [kg]."""
    hens, cocks = (
        np.array([mass_g(age, sex) for age in ages_d.tolist()]) / 1000.0 for sex in (_HEN, _COCK)
    )
    return hens, cocks


_HEN: Sex = "hen"
_COCK: Sex = "cock"


def _eaten_kg(
    ages_d: Array,
    laying: Array,
    hens: Whole,
    dead_hens: Whole,
    cocks: Whole,
    dead_cocks: Whole,
) -> Array:
    """Feed eaten in a week [kg], (flights, draws): a hen out of lay eats as a cock does."""
    by_cock = np.array([intake_of_g_per_day(age, "cock") for age in ages_d])
    by_hen = np.array([intake_of_g_per_day(age, "hen") for age in ages_d])
    grown = _may_lay(ages_d)
    by_hen = np.where(grown, by_cock + (by_hen - by_cock) * np.minimum(1.0, laying), by_hen)
    hen_days = DAYS_A_WEEK * (hens + dead_hens / 2)
    cock_days = DAYS_A_WEEK * (cocks + dead_cocks / 2)
    eaten: Array = (by_hen[:, None] * hen_days + by_cock[:, None] * cock_days) / 1000.0
    return eaten
