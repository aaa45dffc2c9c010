"""The keeper's minutes by the record: noted at a tick, or reckoned where a tick has none."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date

from quailwright.accounts.heads import Month, month_of
from quailwright.flock.state import Flock, Tick
from quailwright.husbandry import facts
from quailwright.husbandry.facts import UnknownFigure


@dataclass(slots=True)
class Minutes:
    """Minutes of some days.

    Attributes:
        noted: at ticks.
        reckoned: of ticks without: as the keeper's own of that task on the mean, else as published.
        unknown_ticks: ticks of tasks of which neither is known.
        by_month: both together.
    """

    noted: float = 0.0
    reckoned: float = 0.0
    unknown_ticks: int = 0
    by_month: dict[Month, float] = field(default_factory=lambda: defaultdict(float))

    @property
    def total(self) -> float:
        """Noted and reckoned together."""
        return self.noted + self.reckoned

    @property
    def hours(self) -> float:
        """The same in hours."""
        return self.total / 60.0


def minutes_of(flock: Flock, first: date, last: date) -> Minutes:
    """Minutes of the ticks on the days from `first` to `last`."""
    usual = _usual(flock.ticks)
    found = Minutes()
    for tick in flock.ticks:
        if not first <= tick.day <= last:
            continue
        minutes = tick.minutes
        if minutes is not None:
            found.noted += minutes
        else:
            minutes = usual.get(tick.task)
            if minutes is None:
                minutes = _published(tick.task)
            if minutes is None:
                found.unknown_ticks += 1
                continue
            found.reckoned += minutes
        found.by_month[month_of(tick.day)] += minutes
    return found


def _usual(ticks: Iterable[Tick]) -> dict[str, float]:
    """Mean minutes of each task, where some were noted."""
    noted: dict[str, list[float]] = defaultdict(list)
    for tick in ticks:
        if tick.minutes is not None:
            noted[tick.task].append(tick.minutes)
    return {task: sum(all_) / len(all_) for task, all_ in noted.items()}


def _published(task: str) -> float | None:
    """Minutes of a task at a place, without what each bird adds: at least so many."""
    try:
        return facts.value(f"care.min_{task}")
    except UnknownFigure:
        return None
