"""What is made of alarms: false ones a quarter, delays, and whether the first check is right."""

from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from studies.signs_faults import QUARTER_D
from studies.signs_rules import fires
from studies.simulated_nature import Floats

WITHIN_D = 14
ONE_EPISODE_D = 7
"""An alarm that comes back within a week is the same one."""
FLICKER_D = 3
"""Days off in between that make no new alarm."""
NEVER_D = 10_000

CHECKS = {
    "water": ("water", "drink", "nipple"),
    "timer": ("lamp", "timer", "light"),
    "heat": ("heat", "hot", "shade", "cool", "air", "temperature"),
    "predator": ("hole", "fence", "wire", "predator", "latch", "gap", "fox", "rat", "count"),
    "deaths": ("vet", "animal-health"),
    "chill": ("heat", "warm", "cold", "chill", "lamp", "plate"),
    "swapped": ("count", "logged", "entry", "entries", "record", "mend"),
    "double": ("count", "logged", "entry", "entries", "record", "mend"),
    "digit": ("count", "logged", "entry", "entries", "record", "mend"),
    "nothing": (),
}
"""Words of which the first check holds one, if it is the right one."""


REMINDERS = (
    "record silent",
    "warmth not measured",
    "water and feed not ticked",
    "birds not looked at",
)
"""Signs of what the keeper has not written: they are counted apart, and see no fault."""


@dataclass(frozen=True)
class Alarm:
    """A sign that began: on which day, at which pens (none: of the whole flock), what it says."""

    day: int
    until: int
    sign: str
    places: frozenset[int]
    check: str
    then: str
    ring: str
    evidence: str = ""


@dataclass(frozen=True)
class Run:
    """One flock watched: what was injected, what the program said, and what the rules scored."""

    kind: str
    number: int
    pens: int
    onset: int
    days: int
    places: tuple[int, ...]
    told: str
    record: str
    light: str
    hens: tuple[int, ...]
    silent: tuple[int, int] | None
    alarms: tuple[Alarm, ...]
    scores: dict[str, Floats]


def begins(days: Iterable[int], counted_from: int = 0) -> list[int]:
    """The days on which a run of days begins: what is off for up to 2 days goes on, and of runs
    that begin within a week of one, that one alone counts.

    So what flickers counts once a week, and what stands for weeks counts once.
    """
    counted: list[int] = []
    before: int | None = None
    for day in days:
        starts = before is None or day > before + FLICKER_D
        if starts and (not counted or day - counted[-1] > ONE_EPISODE_D):
            counted.append(day)
        before = day
    return [day for day in counted if day >= counted_from]


def false_alarms(run: Run) -> list[Alarm]:
    """The alarms of a flock in which nothing is wrong, counted as `begins` does.

    A sign of several pens is one; it is none where each of its pens had it of late.
    """
    begun: dict[tuple[str, int], int] = {}
    stood: dict[tuple[str, int], int] = {}
    counted = []
    for alarm in run.alarms:
        keys = [(alarm.sign, place) for place in alarm.places or {-1}]
        fresh = [
            key
            for key in keys
            if alarm.day - stood.get(key, -99) > FLICKER_D
            and alarm.day - begun.get(key, -99) > ONE_EPISODE_D
        ]
        if fresh and alarm.day >= run.onset:
            counted.append(alarm)
        begun |= dict.fromkeys(fresh, alarm.day)
        stood |= {key: max(alarm.until, stood.get(key, -99)) for key in keys}
    return counted


def of_birds(run: Run) -> list[Alarm]:
    """False alarms without what reminds of the record."""
    return [alarm for alarm in false_alarms(run) if alarm.sign not in REMINDERS]


def rule_false_alarms(run: Run, rule: str, factor: float = 1.0) -> int:
    """The same of a rule, over all pens."""
    fired = fires(run.scores[rule], factor)
    return sum(len(begins(np.flatnonzero(row).tolist(), run.onset)) for row in fired)


def right_places(run: Run) -> set[int]:
    """Where the fault is; the row after those of the pens is that of the chicks."""
    if run.kind == "chill":
        return {run.pens}
    if run.kind == "swapped":
        return {run.places[0], (run.places[0] + 1) % run.pens}
    return set(run.places)


def at_right_place(run: Run, alarm: Alarm) -> bool:
    """Whether it is where the fault is; one of the whole flock is, where the fault is all over."""
    right = right_places(run)
    return bool(alarm.places & right) if alarm.places else len(right) == run.pens


def first_seen(run: Run, fits: Callable[[Alarm], bool] = lambda alarm: True) -> Alarm | None:
    """The first alarm at the right place that began on the day of the fault or later."""
    for alarm in run.alarms:
        told = alarm.day >= run.onset and alarm.sign not in REMINDERS
        if told and at_right_place(run, alarm) and fits(alarm):
            return alarm
    return None


def names_right(run: Run, alarm: Alarm, *, first_only: bool = True) -> bool:
    """Whether the first check (or any) is the right one for what was injected."""
    said = alarm.check if first_only else f"{alarm.check} {alarm.then}"
    if run.kind == "deaths":
        said = f"{said} {'vet' if alarm.ring else ''}"
    return any(word in said.lower() for word in CHECKS[run.kind])


def rule_first_seen(run: Run, rule: str, factor: float = 1.0) -> int:
    """The day on which a rule first begins to fire at the right place, or `NEVER_D`."""
    fired = fires(run.scores[rule], factor)
    begun = [
        day
        for place in right_places(run)
        for row in (fired[place],)
        for day in np.flatnonzero(row).tolist()
        if day >= run.onset and not (day and row[day - 1])
    ]
    return min(begun, default=NEVER_D)


def delays(found: Sequence[int]) -> dict[str, float]:
    """Median and 90 % of delays [days], and the share not seen within 14 days."""
    days = np.sort(np.array(found, dtype=float))
    seen = days <= WITHIN_D
    return {
        "n": days.size,
        "median": _rank(days, 0.5),
        "ninety": _rank(days, 0.9),
        "unseen": float(1.0 - seen.mean()) if days.size else float("nan"),
    }


def _rank(days: Floats, share: float) -> float:
    if not days.size:
        return float("nan")
    day = float(days[min(days.size - 1, int(np.ceil(share * days.size)) - 1)])
    return day if day <= WITHIN_D else float("inf")


Row = dict[str, Any]


def quiet_row(runs: Sequence[Run]) -> Row:
    """False alarms of flocks in which nothing is wrong: for a pen and for four pens, a quarter."""
    quarters = sum((run.days - run.onset) / QUARTER_D for run in runs)
    pens = sum(run.pens * (run.days - run.onset) / QUARTER_D for run in runs)
    each = [of_birds(run) for run in runs]
    by_sign = Counter(alarm.sign for run in runs for alarm in false_alarms(run))
    reminders = sum(by_sign[sign] for sign in REMINDERS)
    return {
        "flocks": len(runs),
        "per_flock_quarter": sum(map(len, each)) / quarters,
        "reminders": reminders / quarters,
        "per_pen_quarter": sum(map(len, each)) / pens,
        "pen_days": sum(map(alarm_days, runs)) / sum(r.pens * (r.days - r.onset) for r in runs),
        "none_at_all": sum(not alarms for alarms in each) / len(runs),
        "by_sign": {sign: number / quarters for sign, number in by_sign.most_common()},
    }


SIZES = ((4, 8), (9, 18), (19, 40))


def by_size(runs: Sequence[Run]) -> Row:
    """False alarms a pen and quarter by the pen's hens; one of several pens falls on each."""
    counted: Row = {}
    for low, high in SIZES:
        quarters, number = 0.0, 0
        for run in runs:
            pens = {row for row, hens in enumerate(run.hens) if low <= hens <= high}
            quarters += len(pens) * (run.days - run.onset) / QUARTER_D
            number += sum(len(pens & alarm.places) for alarm in of_birds(run))
        counted[f"{low} to {high} hens"] = number / quarters if quarters else float("nan")
    return counted


def alarm_days(run: Run) -> int:
    """Pen-days on which a sign stands (of the whole flock: as of one pen)."""
    return len(
        {
            (place, day)
            for alarm in run.alarms
            if alarm.sign not in REMINDERS
            for place in alarm.places or {-1}
            for day in range(max(alarm.day, run.onset), alarm.until + 1)
        }
    )


def rule_rate(runs: Sequence[Run], rule: str, factor: float = 1.0) -> float:
    """False alarms of a rule a flock and quarter."""
    quarters = sum((run.days - run.onset) / QUARTER_D for run in runs)
    return sum(rule_false_alarms(run, rule, factor) for run in runs) / quarters


def tuned(runs: Sequence[Run], rule: str, rate: float) -> float:
    """The least factor on a rule's threshold with no more false alarms than `rate` a quarter."""
    for factor in np.round(np.arange(0.4, 8.0, 0.05), 2):
        if rule_rate(runs, rule, float(factor)) <= rate:
            return float(factor)
    return float("inf")


def fault_row(runs: Sequence[Run]) -> Row:
    """How soon the program's signs see a fault, and what they say to check."""
    first = [first_seen(run) for run in runs]
    found = [(r, a) for r, a in zip(runs, first, strict=True) if a and a.day - r.onset <= WITHIN_D]
    on_day = [
        (run, [a for a in run.alarms if a.day == seen.day and at_right_place(run, a)])
        for run, seen in found
    ]
    checked = [any(names_right(run, each) for each in alarms) for run, alarms in on_day]
    named = [
        any(names_right(run, each, first_only=False) for each in alarms) for run, alarms in on_day
    ]
    right = [first_seen(run, lambda alarm, run=run: names_right(run, alarm)) for run in runs]  # type: ignore[misc]
    return {
        **delays([_delay(r, a) for r, a in zip(runs, first, strict=True)]),
        "first_check_right": float(np.mean(checked)) if checked else float("nan"),
        "named": float(np.mean(named)) if named else float("nan"),
        "right": delays([_delay(r, a) for r, a in zip(runs, right, strict=True)]),
        "first_signs": dict(Counter(alarm.sign for _, alarm in found).most_common(5)),
        "elsewhere": float(
            np.mean(
                [
                    any(
                        run.onset <= a.day <= run.onset + WITHIN_D and not at_right_place(run, a)
                        for a in run.alarms
                    )
                    for run in runs
                ]
            )
        ),
    }


def _delay(run: Run, alarm: Alarm | None) -> int:
    return NEVER_D if alarm is None else alarm.day - run.onset


def rule_row(runs: Sequence[Run], rule: str, factor: float = 1.0) -> Row:
    """How soon a rule sees a fault."""
    return delays([rule_first_seen(run, rule, factor) - run.onset for run in runs])


def holiday_row(runs: Sequence[Run]) -> Row:
    """Alarms that silence brings: that begin in it, and in the week after it, for one flock."""
    inside, after = [], []
    for run in runs:
        if run.silent is None:
            continue
        start, end = run.silent
        days = [alarm.day for alarm in of_birds(run)]
        inside.append(sum(start <= day < end for day in days))
        after.append(sum(end <= day < end + ONE_EPISODE_D for day in days))
    days_silent = [run.silent[1] - run.silent[0] for run in runs if run.silent]
    return {
        "flocks": len(inside),
        "days": float(np.mean(days_silent)) if days_silent else float("nan"),
        "inside": float(np.mean(inside)) if inside else float("nan"),
        "week_after": float(np.mean(after)) if after else float("nan"),
    }
