"""The chicks that hatches under way will bring, by what was set, candled, and hatched so far."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from math import hypot

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

from quailwright.flock.state import Clutch, Flock, Hatch
from quailwright.husbandry import facts
from quailwright.language import later, say, say_many
from quailwright.outlook.learning import expit
from quailwright.outlook.rates import RateDraws, hatch_shift, source_of

Array = NDArray[np.float64]
Whole = NDArray[np.int64]

_HOUR = timedelta(hours=1)
_PROBIT = 1.702
"""The logistic curve with this slope is the normal's, to 0.01."""


@dataclass(frozen=True, slots=True)
class HatchTime:
    """When a hatch's chicks come, on the mean, and how far that may be off [h]."""

    mean_at: datetime
    sd_h: float


@dataclass(frozen=True)
class Coming:
    """The chicks of one hatch, draw by draw.

    Attributes:
        hatch: its name.
        place: where it is.
        waiting: chicks out already that are in no group yet.
        further: chicks still to come, shape (draws,).
        mean_at: instants [s since 1970] about which they come, shape (draws,).
        first_at: instant of the first chick [s since 1970], shape (draws,); NaN where none comes.
        hatched_on: the day taken for their hatching.
    """

    hatch: str
    place: str
    waiting: int
    further: Whole
    mean_at: Array
    first_at: Array
    hatched_on: date

    @property
    def chicks(self) -> Whole:
        """All of its chicks not in a group yet, shape (draws,)."""
        return self.further + self.waiting


def usual_time(hatch: Hatch) -> HatchTime:
    """When chicks come by the usual duration alone."""
    mean = hatch.set_at.astimezone(UTC) + timedelta(
        hours=facts.value("incubation.hatch_duration_h")
    )
    sd = hypot(
        facts.value("incubation.hatch_mean_sd_h"), facts.value("incubation.hatch_machine_sd_h")
    )
    return HatchTime(mean, sd)


def shares_of_batch(
    draws: RateDraws,
    clutches: Sequence[Clutch],
    machine: str,
    shift: float,
    rng: Generator,
    looked: tuple[int, int] = (0, 0),
) -> tuple[Array, Array]:
    """(fertile of set, hatching of fertile) of one batch of eggs, shape (draws,) each.

    Batches of one source differ by the published likeness of their eggs.

    Args:
        looked: eggs of this very batch that candling found (fertile, clear), if it was candled.
    """
    source = source_of(clutches)
    hatch = expit(draws.hatch.log_odds((source, machine), rng, shift))
    # No more hatch than are fertile; the two are learnt apart.
    fertile = np.maximum(hatch, expit(draws.fertility.log_odds((source,), rng)))
    return _batch(fertile, rng, looked), _batch(hatch / fertile, rng)


def _batch(usual: Array, rng: Generator, seen: tuple[int, int] = (0, 0)) -> Array:
    """A batch's own share about the usual one, given what was seen of it (Beta, conjugate)."""
    strength = 1.0 / facts.value("incubation.batch_icc") - 1.0
    usual = np.clip(usual, 1e-4, 1.0 - 1e-4)
    own = rng.beta(usual * strength + seen[0], (1.0 - usual) * strength + seen[1])
    return np.clip(own, 1e-4, 1.0 - 1e-4)


def coming(
    flock: Flock,
    draws: RateDraws,
    now: datetime,
    times: Mapping[str, HatchTime],
    rng: Generator,
) -> list[Coming]:
    """Every hatch that may still bring chicks, and chicks that wait to be housed."""
    found = []
    for hatch in flock.hatches.values():
        over = hatch.closed_at is not None or hatch.alive <= 0 or _given_up(hatch, now)
        if over and not _waiting(hatch, now):
            continue
        time = times.get(hatch.name) or usual_time(hatch)
        found.append(_of_hatch(flock, hatch, draws, now, time, rng, over))
    return found


def _waiting(hatch: Hatch, now: datetime) -> int:
    """Chicks out that are in no group yet. Those of longer ago were housed without a word."""
    patience = timedelta(days=facts.value("brooding.close_watch_until_d"))
    if not hatch.hatchings or now - hatch.hatchings[-1][0] > patience:
        return 0
    return max(0, hatch.to_house)


def _given_up(hatch: Hatch, now: datetime) -> bool:
    latest = facts.value("incubation.hatch_day_last") * 24.0
    return now - hatch.set_at > timedelta(
        hours=latest + facts.value("incubation.wait_after_last_h")
    )


def _of_hatch(
    flock: Flock,
    hatch: Hatch,
    draws: RateDraws,
    now: datetime,
    time: HatchTime,
    rng: Generator,
    over: bool,
) -> Coming:
    number = len(draws)
    shift = hatch_shift(flock, hatch.clutches, hatch.set_at.date())
    looked = (0, 0)
    if hatch.candled:
        eggs = hatch.eggs_set + hatch.found
        looked = (max(0, eggs - hatch.clear), min(hatch.clear, eggs))
    fertile, of_fertile = shares_of_batch(draws, hatch.clutches, hatch.set_in, shift, rng, looked)
    mean_at = time.mean_at.timestamp() + time.sd_h * 3600.0 * rng.standard_normal(number)
    within = facts.value("incubation.hatch_within_sd_h") * 3600.0
    out_by_now = expit(_PROBIT * (now.timestamp() - mean_at) / within)
    chosen = _told(hatch, fertile, of_fertile, out_by_now, rng)
    fertile, of_fertile, mean_at, out_by_now = (
        array[chosen] for array in (fertile, of_fertile, mean_at, out_by_now)
    )
    left = 0 if over else hatch.alive
    hatches = _of_those_left(hatch, fertile, of_fertile)
    late = hatches * (1.0 - out_by_now) / (hatches * (1.0 - out_by_now) + 1.0 - hatches)
    further = rng.binomial(left, np.clip(late, 0.0, 1.0))
    first = mean_at + within * _first_of(further, rng)
    first = np.maximum(first, now.timestamp())
    first = np.where(further > 0, first, np.nan)
    if hatch.hatchings:
        first = np.full(number, min(at for at, _ in hatch.hatchings).timestamp())
    middle = float(np.median(mean_at))
    if hatch.hatchings:
        middle = hatch.hatchings[0][0].timestamp()
    day = datetime.fromtimestamp(middle, hatch.set_at.tzinfo).date()
    return Coming(hatch.name, hatch.place, _waiting(hatch, now), further, mean_at, first, day)


def _first_of(chicks: Whole, rng: Generator) -> Array:
    """The smallest of so many standard normals: by the chance that none is smaller."""
    smallest = 1.0 - rng.random(len(chicks)) ** (1.0 / np.maximum(1, chicks))
    smallest = np.clip(smallest, 1e-9, 1.0 - 1e-9)
    found: Array = (np.log(smallest) - np.log1p(-smallest)) / _PROBIT
    return found


def _lost_by(day: float) -> float:
    """Share of embryo deaths that have happened by a day of incubation."""
    stages = ("early", "middle", "late")
    ends = [facts.value(f"forecast.deaths_{stage}_until_d") for stage in stages]
    parts = np.cumsum([facts.value(f"incubation.death_share_{stage}") for stage in stages])
    return float(np.interp(day, [0.0, *ends], [0.0, *(parts / parts[-1])]))


def _candled_day(hatch: Hatch) -> float:
    last = hatch.candled[-1][0]
    return (last.astimezone(UTC) - hatch.set_at.astimezone(UTC)) / timedelta(days=1)


def _told(
    hatch: Hatch, fertile: Array, of_fertile: Array, out_by_now: Array, rng: Generator
) -> Whole:
    """Draws chosen again by how well they tell what candling and hatching have shown so far."""
    number = len(fertile)
    eggs = hatch.eggs_set + hatch.found
    log = np.zeros(number)
    if hatch.candled:
        clear, dead = min(hatch.clear, eggs), min(hatch.dead, eggs - min(hatch.clear, eggs))
        seen = facts.value("forecast.dead_seen_at_candling") * _lost_by(_candled_day(hatch))
        dead_share = np.clip((1.0 - of_fertile) * seen, 1e-4, 1.0 - 1e-4)
        log += dead * np.log(dead_share) + (eggs - clear - dead) * np.log1p(-dead_share)
    if hatch.hatched or float(out_by_now.mean()) > _HATCHING:
        share = np.clip(_of_those_left(hatch, fertile, of_fertile) * out_by_now, 1e-4, 1 - 1e-4)
        log += hatch.hatched * np.log(share) + max(0, hatch.alive) * np.log1p(-share)
    weight = np.exp(log - log.max())
    picks = (rng.random() + np.arange(number)) / number
    chosen: Whole = np.searchsorted(np.cumsum(weight / weight.sum()), picks)
    return np.minimum(chosen, number - 1)


_HATCHING = 0.2
"""Part of the chicks that should be out before none having come tells anything."""


def _of_those_left(hatch: Hatch, fertile: Array, of_fertile: Array) -> Array:
    """Chance that an egg not taken out yet hatches (or has hatched)."""
    if not hatch.candled:
        return np.clip(fertile * of_fertile, 1e-4, 1.0 - 1e-4)
    seen = facts.value("forecast.dead_seen_at_candling") * _lost_by(_candled_day(hatch))
    return np.clip(of_fertile / (1.0 - (1.0 - of_fertile) * seen), 1e-4, 1.0 - 1e-4)


@dataclass(frozen=True, slots=True)
class Stay:
    """From a day on no more than so many hens and cocks stay; None: all of them."""

    on: date
    hens: int | None = None
    cocks: int | None = None


@dataclass(frozen=True, slots=True)
class PlannedSet:
    """Eggs to be set: how many, on which day, whose (a source or an own group), in what machine.

    `stay` says which of their birds are kept, `hatch` what the hatch will be called.
    """

    on: date
    eggs: int
    source: str
    machine: str = ""
    stay: tuple[Stay, ...] = ()
    hatch: str = ""

    @property
    def name(self) -> str:
        """What to call its hatch before it is set."""
        if self.hatch:
            return self.hatch
        if self.machine:
            return later(
                "set of {day} from {whose} in {place}",
                day=self.on,
                whose=self.source,
                place=self.machine,
            )
        return later("set of {day} from {whose}", day=self.on, whose=self.source)


BirdsKey = tuple[str, date | None]
"""Birds: (group, hatching day) of those there, or (hatch, None) of those to come."""


@dataclass(frozen=True, slots=True)
class PlannedCull:
    """Birds of which together, from a day on, no more than so many stay.

    Attributes:
        stay: the day, and how many.
        birds: whose, the oldest first; they go first.
        of: the same in words.
    """

    stay: Stay
    birds: tuple[BirdsKey, ...]
    of: str


@dataclass(frozen=True, slots=True)
class Planned:
    """What the keeper has planned, as far as it is neither done nor given up."""

    sets: tuple[PlannedSet, ...] = ()
    culls: tuple[PlannedCull, ...] = ()

    @property
    def words(self) -> str:
        """`3 planned sets (...) and birds let go as planned on 2 days`."""
        names = ", ".join(say(one.name) for one in self.sets)
        sets = say_many(
            "{n} planned set ({names})", "{n} planned sets ({names})", len(self.sets), names=names
        )
        days = len({cull.stay.on for cull in self.culls})
        culls = say_many(
            "birds let go as planned on {n} day", "birds let go as planned on {n} days", days
        )
        told = [*([sets] if self.sets else []), *([culls] if days else [])]
        return say(" and ").join(told)


NOTHING_PLANNED = Planned()


def coming_of_set(
    flock: Flock, planned: PlannedSet, draws: RateDraws, fertility: float, rng: Generator
) -> Coming:
    """The chicks of a planned set.

    Args:
        fertility: how fertile its eggs are against the usual of their source, 0 to 1 (fewer
            cocks).
    """
    own = planned.source in flock.groups
    clutch = Clutch(
        planned.eggs,
        None if own else planned.source,
        planned.source if own else None,
        "",
        None,
        None,
        None,
        None,
    )
    shift = hatch_shift(flock, [clutch], planned.on)
    fertile, of_fertile = shares_of_batch(draws, [clutch], planned.machine, shift, rng)
    chicks = rng.binomial(planned.eggs, np.clip(fertile * fertility * of_fertile, 0.0, 1.0))
    hours = facts.value("incubation.hatch_duration_h")
    set_at = datetime(planned.on.year, planned.on.month, planned.on.day, 20, tzinfo=UTC)
    mean = set_at + timedelta(hours=hours)
    sd = hypot(
        facts.value("incubation.hatch_mean_sd_h"), facts.value("incubation.hatch_machine_sd_h")
    )
    mean_at = mean.timestamp() + sd * 3600.0 * rng.standard_normal(len(draws))
    within = facts.value("incubation.hatch_within_sd_h") * 3600.0
    first = np.where(chicks > 0, mean_at + within * _first_of(chicks, rng), np.nan)
    return Coming(planned.name, planned.machine, 0, chicks, mean_at, first, mean.date())
