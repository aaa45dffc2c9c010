"""The lid of an incubator on paper: what is written there, by day; and typed back, by its order."""

from dataclasses import dataclass
from datetime import date, timedelta

from quailwright.flock.state import Flock
from quailwright.guide.hatch.report import HatchReport
from quailwright.guide.hatch.targets import Target, weighing_targets
from quailwright.guide.round import Step
from quailwright.guide.rules import rules_at

_TURNING = "turn_eggs"
_CANDLINGS = ("candle_first", "candle_second")


@dataclass(frozen=True, slots=True)
class LidDay:
    """A day of the sheet.

    Attributes:
        day: of the calendar.
        number: whole days since that of setting, day 0.
        place: of the eggs on that day.
        turns: boxes for turns; 0 once turning has stopped, or where no rule asks for them.
        steps: which steps fall due, by their places in the sheet's list, from 1.
    """

    day: date
    number: int
    place: str
    turns: int
    steps: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Lid:
    """The sheet of a hatch: its steps, weighings and candlings in order of time, and its days."""

    report: HatchReport
    steps: list[Step]
    weighings: list[Target]
    candlings: list[Step]
    days: list[LidDay]


def lid_of(flock: Flock, report: HatchReport) -> Lid:
    """What stands on the lid of that hatch."""
    hatch, steps = report.hatch, report.steps
    turning = [rule for rule in rules_at(hatch.set_in, flock.care_rules) if rule.rule == _TURNING]
    times = max((rule.times for rule in turning), default=0)
    stop = min(
        (step.at for step in steps if step.rule == "stop_turning"), default=report.give_up_at
    )
    if hatch.turning_stopped_at is not None:
        stop = hatch.turning_stopped_at
    first, last = hatch.set_at.date(), report.give_up_at.date()
    days = []
    for number in range((last - first).days + 1):
        day = first + timedelta(days=number)
        due = tuple(n for n, step in enumerate(steps, 1) if step.at.date() == day)
        place = hatch.set_in if day < stop.date() else hatch.place
        days.append(LidDay(day, number, place, times if day < stop.date() else 0, due))
    return Lid(
        report,
        steps,
        weighing_targets(hatch, report.weight, steps),
        [step for step in steps if step.rule in _CANDLINGS],
        days,
    )
