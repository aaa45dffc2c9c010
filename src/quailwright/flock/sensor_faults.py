"""Readings in which the sensor was at fault: stuck at one value, or a spike.

Both are told to the keeper; they are left out of means. Limits are in `facts/sensors.csv`.
"""

from dataclasses import dataclass
from datetime import tzinfo
from typing import TYPE_CHECKING

from quailwright.husbandry import facts
from quailwright.journal.findings import Finding
from quailwright.journal.readings import from_ms
from quailwright.language import later, later_many

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Instants = NDArray[np.int64]
    Mask = NDArray[np.bool_]

HOUR_MS = 3_600_000
_FEWEST_RUNS = 3
_MOST_RUNS_TOLD = 10


@dataclass(frozen=True, slots=True, eq=False)
class Faults:
    """What is wrong with readings of one quantity.

    Attributes:
        at_ms, values: the readings, shape (n,).
        spikes: which are spikes, shape (n,).
        stuck: which only repeat what a stuck sensor showed before, shape (n,).
        runs: number of the first and of the last reading of each time it was stuck.
        steady: so much looks stuck that the place may just be steady.
    """

    at_ms: "Instants"
    values: "Floats"
    spikes: "Mask"
    stuck: "Mask"
    runs: tuple[tuple[int, int], ...]
    steady: bool

    @property
    def left_out(self) -> "Mask":
        """The readings that do not count, shape (n,)."""
        return self.spikes if self.steady else self.spikes | self.stuck

    def findings(self, name: str, unit: str, zone: tzinfo) -> list[Finding]:
        """What to tell the keeper, instants in the holding's zone."""
        told = [self._spikes_told(name, unit, zone)] if self.spikes.any() else []
        told += [self._run_told(run, name, unit, zone) for run in self.runs[:_MOST_RUNS_TOLD]]
        if more := len(self.runs[_MOST_RUNS_TOLD:]):
            again = later("It looked stuck {times} more times.", times=more)
            told.append(Finding("conflict", again, field=name))
        return told

    def _spikes_told(self, name: str, unit: str, zone: tzinfo) -> Finding:
        count = int(self.spikes.sum())
        worst = float(self.values[self.spikes][0])
        when = from_ms(int(self.at_ms[self.spikes][0])).astimezone(zone)
        return Finding(
            "conflict",
            later_many(
                "One reading stood far off those before and after: {value:g} {unit} at {at}.",
                "{n} single readings stood far off those before and after: {value:g} {unit} at "
                "{at} the first.",
                count,
                value=worst,
                unit=unit,
                at=f"{when:%Y-%m-%d %H:%M}",
            ),
            later("Left out of the means. Check the sensor and its leads if it goes on."),
            field=name,
        )

    def _run_told(self, run: tuple[int, int], name: str, unit: str, zone: tzinfo) -> Finding:
        first, last = run
        hours = float(self.at_ms[last] - self.at_ms[first]) / HOUR_MS
        since, until = (from_ms(int(self.at_ms[i])).astimezone(zone) for i in run)
        mend = later(
            "Left out of the means as a stuck sensor. Warm the sensor in your hand, or breathe on "
            "it, and see whether it moves."
        )
        if self.steady:
            mend = later(
                "So much is like that that it counts: a steady machine, or a stuck sensor. Warm "
                "the sensor in your hand, or breathe on it, and see whether it moves."
            )
        return Finding(
            "conflict",
            later(
                "{value:g} {unit} to the last digit for {hours:.0f} h, {since} to {until}.",
                value=float(self.values[first]),
                unit=unit,
                hours=hours,
                since=f"{since:%Y-%m-%d %H:%M}",
                until=f"{until:%Y-%m-%d %H:%M}",
            ),
            mend,
            field=name,
        )


def faults(at_ms: "Instants", values: "Floats", spike: float) -> Faults:
    """Looks for spikes and for times of being stuck.

    Args:
        at_ms: instants, rising [ms], shape (n,).
        values: what was read, no NaN, shape (n,).
        spike: a single reading this far from both its neighbours is a spike [unit of values].
    """
    import numpy as np

    if len(at_ms) < 2:
        nothing = np.zeros(len(at_ms), dtype=np.bool_)
        return Faults(at_ms, values, nothing, nothing, (), False)
    stuck, runs = _stuck(at_ms, values)
    steady = _share(at_ms, stuck) > facts.value("sensors.stuck_most_share")
    return Faults(at_ms, values, spikes(at_ms, values, spike), stuck, tuple(runs), steady)


def gap_ms(steps_ms: "Instants") -> float:
    """Readings further apart than this [ms] have a gap between them, by their usual step."""
    import numpy as np

    usual = float(np.median(steps_ms)) if len(steps_ms) else 0.0
    shortest = facts.value("sensors.gap_shortest_h") * HOUR_MS
    longest = facts.value("sensors.gap_longest_h") * HOUR_MS
    return min(max(usual * facts.value("sensors.gap_steps"), shortest), longest)


def spikes(at_ms: "Instants", values: "Floats", limit: float) -> "Mask":
    """Single readings far off both neighbours, on the same side, where the neighbours agree.

    Of at least two readings; shapes as of `faults`.
    """
    import numpy as np

    steps = np.diff(values)
    before, after = steps[:-1], -steps[1:]
    near = np.diff(at_ms) <= facts.value("sensors.spike_neighbour_h") * HOUR_MS
    found = (
        (np.minimum(np.abs(before), np.abs(after)) > limit)
        & (np.sign(before) == np.sign(after))
        & (np.abs(before - after) < limit)
        & near[:-1]
        & near[1:]
    )
    return np.concatenate(([False], found, [False]))


def _share(at_ms: "Instants", stuck: "Mask") -> float:
    """The share of the time read in which it was stuck, whether read often then or seldom."""
    import numpy as np

    steps = np.diff(at_ms)
    held = np.where(steps <= gap_ms(steps), steps, 0)
    return float(held[stuck[1:]].sum() / max(held.sum(), 1))


def _stuck(at_ms: "Instants", values: "Floats") -> "tuple[Mask, list[tuple[int, int]]]":
    """All but the first reading of runs that lasted too long, and the ends of these runs."""
    import numpy as np

    steps = np.diff(at_ms)
    changed = (np.diff(values) != 0) | (steps > gap_ms(steps))
    firsts = np.concatenate(([0], np.flatnonzero(changed) + 1))
    lasts = np.concatenate((firsts[1:] - 1, [len(at_ms) - 1]))
    held = (at_ms[lasts] - at_ms[firsts]) / HOUR_MS
    usual = float(np.median(held)) if len(held) >= _FEWEST_RUNS else 0.0
    limit = max(
        facts.value("sensors.stuck_shortest_h"), usual * facts.value("sensors.stuck_times_usual")
    )
    runs = [(int(firsts[run]), int(lasts[run])) for run in np.flatnonzero(held > limit)]
    mask = np.zeros(len(at_ms), dtype=np.bool_)
    for first, last in runs:
        mask[first + 1 : last + 1] = True
    return mask, runs
