"""Birds of a group by hatching day, through time: who was there, and who died at what age."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from functools import cache

from quailwright.flock.state import CLASSES, Birds, Change, Group
from quailwright.husbandry import facts
from quailwright.husbandry.age import DAYS_A_WEEK

_DAY = timedelta(days=1)


@dataclass(slots=True)
class Cohort:
    """Birds of one group that hatched together, or that came together with no hatching day known.

    Counts are means: when birds leave a group of several cohorts, nobody says whose they were.
    """

    hatched_on: date | None
    came_on: date
    chicks: float = 0.0
    hens: float = 0.0
    cocks: float = 0.0

    def age_d(self, on: date) -> int | None:
        """Age on a day [d], None where the hatching day is not known."""
        return None if self.hatched_on is None else max(0, (on - self.hatched_on).days)


@dataclass(frozen=True, slots=True)
class Stretch:
    """Days from `first` up to, not including, `end`, on which a group's birds stayed the same."""

    first: date
    end: date
    cohorts: tuple[Cohort, ...]


@dataclass(slots=True)
class Lived:
    """Birds of one age class of a group: those that lived so many weeks, and those that died.

    Attributes:
        bird_weeks: weeks lived, all birds together.
        deaths: dead, and missing at a count.
    """

    bird_weeks: float = 0.0
    deaths: float = 0.0


AGE_CLASSES = ("week_1", "week_2", "week_3", "grower", "hen", "cock")
"""Classes of age (and sex, once grown) that die at a rate of their own."""


@dataclass(slots=True)
class GroupHistory:
    """One group through time.

    Attributes:
        group: what stands of it.
        stretches: its birds by stretches of days, in order.
        cohorts: its birds now.
        lived: by age class.
        sexed_at_d: ages at which its chicks were sexed [d].
        missing: birds missing at a count and not found since, by kind and age class.
        attacks: times at which many grown birds were lost at once; those birds are in no rate.
    """

    group: Group
    stretches: list[Stretch] = field(default_factory=list)
    cohorts: tuple[Cohort, ...] = ()
    lived: dict[str, Lived] = field(default_factory=dict)
    sexed_at_d: list[int] = field(default_factory=list)
    missing: dict[str, dict[str, float]] = field(default_factory=dict)
    attacks: int = 0


def group_history(group: Group, on: date) -> GroupHistory:
    """Replays the changes of a group up to and with the day `on`."""
    history = GroupHistory(group, lived={name: Lived() for name in AGE_CLASSES})
    cohorts: list[Cohort] = []
    since: date | None = None
    for day, changes in _by_day(group.changes):
        if day > on:
            break
        if since is not None and cohorts and day > since:
            _live(history, cohorts, since, day)
        for change in changes:
            _apply(history, cohorts, change)
        cohorts = [c for c in cohorts if c.chicks + c.hens + c.cocks > 1e-9]
        since = day
    if since is not None and cohorts:
        _live(history, cohorts, since, on + _DAY)
    history.cohorts = tuple(cohorts)
    return history


def _by_day(changes: Sequence[Change]) -> Iterator[tuple[date, list[Change]]]:
    """Changes with their day, those of one day together."""
    today: list[Change] = []
    for change in changes:
        if today and today[0].day != change.day:
            yield today[0].day, today
            today = []
        today.append(change)
    if today:
        yield today[0].day, today


def _live(history: GroupHistory, cohorts: Sequence[Cohort], first: date, end: date) -> None:
    kept = tuple(Cohort(c.hatched_on, c.came_on, c.chicks, c.hens, c.cocks) for c in cohorts)
    history.stretches.append(Stretch(first, end, kept))
    for cohort in kept:
        for name, weeks, birds in _weeks_lived(cohort, first, end):
            history.lived[name].bird_weeks += weeks * birds


def _weeks_lived(cohort: Cohort, first: date, end: date) -> Iterator[tuple[str, float, float]]:
    """(class, weeks, birds) of a cohort's days from `first` up to `end`."""
    if cohort.hatched_on is None:
        weeks = (end - first).days / DAYS_A_WEEK
        yield "hen", weeks, cohort.hens + cohort.chicks / 2
        yield "cock", weeks, cohort.cocks + cohort.chicks / 2
        return
    begin, stop = (first - cohort.hatched_on).days, (end - cohort.hatched_on).days
    for name, low, high in class_ages():
        days = min(stop, high) - max(begin, low)
        if days > 0:
            birds = cohort.chicks + cohort.hens + cohort.cocks
            if name == "grown":
                yield "hen", days / DAYS_A_WEEK, cohort.hens + cohort.chicks / 2
                yield "cock", days / DAYS_A_WEEK, cohort.cocks + cohort.chicks / 2
            else:
                yield name, days / DAYS_A_WEEK, birds


@cache
def class_ages() -> tuple[tuple[str, int, int], ...]:
    """(class, first day, day after the last) of life; "grown" is hens and cocks."""
    grower = int(facts.value("survival.grower_until_d"))
    return (
        ("week_1", -(10**6), DAYS_A_WEEK),
        ("week_2", DAYS_A_WEEK, 2 * DAYS_A_WEEK),
        ("week_3", 2 * DAYS_A_WEEK, 3 * DAYS_A_WEEK),
        ("grower", 3 * DAYS_A_WEEK, grower),
        ("grown", grower, 10**6),
    )


def classes_of(age_d: int | None, kind: str) -> tuple[str, ...]:
    """The age class of "hens", "cocks" or "chicks"; grown chicks are half hens, half cocks."""
    if age_d is not None:
        for name, low, high in class_ages():
            if low <= age_d < high and name != "grown":
                return (name,)
    return {"hens": ("hen",), "cocks": ("cock",), "chicks": ("hen", "cock")}[kind]


def _apply(history: GroupHistory, cohorts: list[Cohort], change: Change) -> None:
    if change.why == "sexed":
        _sex(history, cohorts, change.birds, change.day)
        return
    change = _told_apart(history, cohorts, change)
    for name in CLASSES:
        birds = getattr(change.birds, name)
        if birds > 0:
            _come(history, cohorts, change, name, birds)
        elif birds < 0:
            _go(history, cohorts, change, name, -birds)


def _told_apart(history: GroupHistory, cohorts: list[Cohort], change: Change) -> Change:
    """Chicks that a count finds fewer, and hens and cocks more, were told apart by then."""
    birds = change.birds
    more = max(0, birds.hens) + max(0, birds.cocks)
    if change.why != "found" or birds.chicks >= 0 or more == 0:
        return change
    told = min(-birds.chicks, more)
    hens = round(told * max(0, birds.hens) / more)
    apart = Birds(-told, hens, told - hens)
    _sex(history, cohorts, apart, change.day)
    left = Birds(birds.chicks + told, birds.hens - apart.hens, birds.cocks - apart.cocks)
    return replace(change, birds=left)


def _come(
    history: GroupHistory, cohorts: list[Cohort], change: Change, name: str, birds: int
) -> None:
    hatched_on = _middle(change.oldest, change.youngest)
    if hatched_on is None and name == "chicks":
        hatched_on = change.since or change.day  # chicks come as they hatch, if nothing is said
    if change.why == "found" and cohorts:
        for cohort, part in zip(cohorts, _shares(cohorts, name), strict=True):
            setattr(cohort, name, getattr(cohort, name) + birds * part)
        _were_not_dead(history, name, birds)
        return
    for cohort in cohorts:
        came_on = change.since or change.day
        if cohort.hatched_on == hatched_on and (hatched_on or cohort.came_on == came_on):
            break
    else:
        cohort = Cohort(hatched_on, change.since or change.day)
        cohorts.append(cohort)
    setattr(cohort, name, getattr(cohort, name) + birds)


def _were_not_dead(history: GroupHistory, name: str, birds: float) -> None:
    """Birds found were those missing at a count before, as far as any were."""
    missing = history.missing.get(name, {})
    for age_class, count in missing.items():
        back = min(birds, count)
        history.lived[age_class].deaths -= back
        missing[age_class] = count - back
        birds -= back


def _middle(oldest: date | None, youngest: date | None) -> date | None:
    if oldest is None or youngest is None:
        return oldest or youngest
    return oldest + (youngest - oldest) / 2


def _shares(cohorts: Sequence[Cohort], name: str) -> list[float]:
    """Parts of a change of that class by cohort: as many as each has of it, or of any."""
    counts = [getattr(cohort, name) for cohort in cohorts]
    if sum(counts) <= 0:
        counts = [cohort.chicks + cohort.hens + cohort.cocks for cohort in cohorts]
    total = sum(counts)
    return [count / total for count in counts] if total > 0 else [1 / len(cohorts)] * len(cohorts)


def _go(
    history: GroupHistory, cohorts: list[Cohort], change: Change, name: str, birds: int
) -> None:
    dead = change.why in ("died", "found")
    if dead and name != "chicks" and _is_attack(cohorts, birds):
        history.attacks += 1
        dead = False
    for cohort, part in zip(cohorts, _shares(cohorts, name), strict=True):
        if dead and part:
            classes = classes_of(cohort.age_d(change.day), name)
            for age_class in classes:
                dead_birds = birds * part / len(classes)
                history.lived[age_class].deaths += dead_birds
                if change.why == "found":
                    missing = history.missing.setdefault(name, {})
                    missing[age_class] = missing.get(age_class, 0.0) + dead_birds
        setattr(cohort, name, max(0.0, getattr(cohort, name) - birds * part))


def _is_attack(cohorts: Sequence[Cohort], birds: int) -> bool:
    """Whether so many grown birds at once are no common deaths."""
    there = sum(cohort.chicks + cohort.hens + cohort.cocks for cohort in cohorts)
    least = facts.value("forecast.attack_least")
    return birds >= max(least, (facts.figure("forecast.attack_part").low or 0.0) * there)


def _sex(history: GroupHistory, cohorts: list[Cohort], birds: Birds, day: date) -> None:
    """Chicks become hens and cocks, the oldest first."""
    hens, cocks = birds.hens, birds.cocks
    left = float(hens + cocks)
    for cohort in sorted(cohorts, key=lambda c: (c.hatched_on is None, c.hatched_on or c.came_on)):
        taken = min(left, cohort.chicks)
        if taken <= 0:
            continue
        cohort.chicks -= taken
        cohort.hens += taken * hens / (hens + cocks)
        cohort.cocks += taken * cocks / (hens + cocks)
        left -= taken
        age = cohort.age_d(day)
        if age is not None:
            history.sexed_at_d.append(age)


def birds_on(history: GroupHistory, days: Sequence[date]) -> list[tuple[Cohort, ...]]:
    """The cohorts of a group on each of `days` (in order), () where it had no birds."""
    found: list[tuple[Cohort, ...]] = []
    stretches = iter(history.stretches)
    stretch = next(stretches, None)
    for day in days:
        while stretch is not None and day >= stretch.end:
            stretch = next(stretches, None)
        inside = stretch is not None and stretch.first <= day
        found.append(stretch.cohorts if stretch is not None and inside else ())
    return found


def hatched(cohort: Cohort) -> date:
    """The day a cohort hatched, or is taken to have hatched."""
    if cohort.hatched_on is not None:
        return cohort.hatched_on
    return cohort.came_on - timedelta(weeks=facts.value("laying.unknown_age_w"))
