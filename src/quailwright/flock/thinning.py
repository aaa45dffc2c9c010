"""Which readings of long ago are kept, so that the line through them tells the same as all did.

Readings are never replaced by others: some are kept as they were read, the rest are left out where
the straight line between the kept ones tells them within a tolerance. What reads them
(`climate`, `sensor_faults`) takes the air to change evenly between two readings anyway, so that
means and hours outside a band stay within the tolerance. Kept in any case are:

- one in every ten minutes, the first and last of every stretch (an hour), and both ends of every
  pause, so that no gap begins where readings were, and a gap begins and ends when it did;
- the lowest and the highest of every stretch, at their own instants;
- both ends of a time in which one value was shown to its last digit, and what stood before and
  after, so that a stuck sensor is told from a steady place as before;
- the neighbours of a kept reading that would look like a spike without them, or no longer so.

Of readings that come faster than a moment (half a minute) the mean is followed, not the noise.
In a stretch that keeps more than some many the tolerance gives way: those furthest off the line
are kept first, and how far off the others may be is told. Limits are in `facts/sensors.csv`.
"""

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from quailwright.flock.sensor_faults import HOUR_MS, spikes
from quailwright.husbandry import facts

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Instants = NDArray[np.int64]
    Mask = NDArray[np.bool_]

_MINUTE_MS = 60_000
_A_HAIR = 1e-6
"""Of the tolerance: figures that differ by just the tolerance, but for rounding, are within it."""


def stretch_ms() -> int:
    """Length of a stretch [ms]; stretches begin at its multiples since 1970-01-01T00:00Z."""
    return int(facts.value("sensors.thin_stretch_h") * HOUR_MS)


def step_ms() -> int:
    """No two kept are further apart than twice this [ms] where none was [ms]: well below a gap."""
    return int(facts.value("sensors.gap_shortest_h") * HOUR_MS / 3)


def tolerances() -> tuple[float, float]:
    """How far off the line a temperature [°C] and a humidity [%] may be to be left out."""
    return facts.value("sensors.thin_temperature_c"), facts.value("sensors.thin_humidity_pct")


@dataclass(frozen=True, slots=True, eq=False)
class Thinned:
    """Which readings of some stretches are kept.

    Attributes:
        kept: shape (n,).
        begins: number of the first reading of each stretch, shape (s,).
        temperature_off_c, humidity_off_pct: furthest that one left out is off the line through
            those kept, by stretch, shape (s,); 0 where none is left out.
    """

    kept: "Mask"
    begins: "NDArray[np.intp]"
    temperature_off_c: "Floats"
    humidity_off_pct: "Floats"


def thinned(at_ms: "Instants", temperature_c: "Floats", humidity_pct: "Floats") -> Thinned:
    """Chooses among readings of whole stretches.

    Args:
        at_ms: instants, rising [ms], shape (n,), n > 0.
        temperature_c: [°C], shape (n,), NaN where not read.
        humidity_pct: relative humidity [%], shape (n,), NaN where not read.
    """
    import numpy as np

    stretch = at_ms // stretch_ms()
    begins = _firsts(stretch)
    number = np.repeat(np.arange(len(begins)), np.diff([*begins, len(at_ms)]))
    quantities = [
        _Quantity(at_ms, values, number, tolerance, spike)
        for values, tolerance, spike in zip(
            (temperature_c, humidity_pct),
            tolerances(),
            (
                facts.value("sensors.spike_temperature_c"),
                facts.value("sensors.spike_humidity_pct"),
            ),
            strict=True,
        )
    ]
    kept = np.isnan(temperature_c) & np.isnan(humidity_pct)
    for each in quantities:
        kept |= each.kept_in_any_case()
    _follow(kept, quantities, number)
    _judge_spikes_alike(kept, quantities, number)
    warm, damp = (np.maximum.reduceat(each.off(kept), begins) for each in quantities)
    return Thinned(kept, begins, warm, damp)


def _follow(kept: "Mask", quantities: "list[_Quantity]", number: "NDArray[np.intp]") -> None:
    """Keeps, between each two kept, the one furthest off the line, until none is too far off."""
    import numpy as np

    most = int(facts.value("sensors.thin_most_rows"))
    while True:
        off = np.maximum.reduce([each.strays(kept) for each in quantities])
        first = np.flatnonzero(kept)
        furthest = np.maximum.reduceat(off, first)
        between = np.cumsum(kept) - 1
        found = np.flatnonzero((off > 1 + _A_HAIR) & (off == furthest[between]))
        found = found[np.unique(between[found], return_index=True)[1]]
        # Where the room of a stretch does not do for all, those furthest off come first.
        found = found[np.lexsort((-off[found], number[found]))]
        found = _with_room(found, kept, number, most)
        if not len(found):
            return
        kept[found] = True


def _judge_spikes_alike(
    kept: "Mask", quantities: "list[_Quantity]", number: "NDArray[np.intp]"
) -> None:
    """Keeps what stood beside a reading that is a spike only among all, or only among those kept.

    A sensor that does nothing but jump has no more than twice the room of others.
    """
    import numpy as np

    most = 2 * int(facts.value("sensors.thin_most_rows"))
    while True:
        beside = np.logical_or.reduce([each.beside_spikes(kept) for each in quantities])
        found = _with_room(np.flatnonzero(beside & ~kept), kept, number, most)
        if not len(found):
            return
        kept[found] = True


def _with_room(
    found: "NDArray[np.intp]", kept: "Mask", number: "NDArray[np.intp]", most: int
) -> "NDArray[np.intp]":
    """The first of those found in each stretch that it has room for; they are in its order."""
    import numpy as np

    place = np.arange(len(found)) - np.searchsorted(number[found], number[found])
    room = most - np.bincount(number, kept, minlength=number[-1] + 1)
    return found[place < room[number[found]]]


def _firsts(steps: "NDArray[Any]") -> "NDArray[np.intp]":
    """Numbers of the first of each run of equal figures."""
    import numpy as np

    return np.flatnonzero(np.concatenate(([True], np.diff(steps) != 0)))


def _reached(figures: "Floats", end: "np.ufunc", begins: "NDArray[np.intp]") -> "NDArray[np.intp]":
    """Number of the first figure in each group that is its lowest or highest."""
    import numpy as np

    sizes = np.diff([*begins, len(figures)])
    found = np.flatnonzero(figures == np.repeat(end.reduceat(figures, begins), sizes))
    group = np.repeat(np.arange(len(begins)), sizes)[found]
    return found[np.unique(group, return_index=True)[1]]


class _Quantity:
    """Temperature or humidity where it was read; masks are of all readings, shape (n,)."""

    def __init__(
        self,
        at_ms: "Instants",
        values: "Floats",
        number: "NDArray[np.intp]",
        tolerance: float,
        spike: float,
    ) -> None:
        import numpy as np

        self.read = np.flatnonzero(~np.isnan(values))
        self.at = at_ms[self.read]
        self.values = values[self.read]
        self.number = number[self.read]
        self.all = len(at_ms)
        self.tolerance = tolerance
        self.spike = spike
        self.spikes = self._spikes(np.arange(len(self.read)))
        # Noise is not followed: moments are averaged, and each has the reading nearest its mean.
        moment = self.at // int(facts.value("sensors.thin_moment_min") * _MINUTE_MS)
        begins = _firsts(moment) if len(moment) else np.zeros(0, dtype=np.intp)
        self.moment_mean, self.moment_at, self.nearest = values[:0], values[:0], begins
        if len(begins):
            sizes = np.diff([*begins, len(moment)])
            self.moment_mean = np.add.reduceat(self.values, begins) / sizes
            self.moment_at = np.add.reduceat(self.at.astype(np.float64), begins) / sizes
            apart = np.abs(self.values - np.repeat(self.moment_mean, sizes))
            self.nearest = _reached(apart, np.minimum, begins)

    def _spikes(self, which: "NDArray[np.intp]") -> "Mask":
        """Which of some of the read ones are spikes among themselves, shape of the read ones."""
        import numpy as np

        found = np.zeros(len(self.read), dtype=np.bool_)
        if len(which) > 1:
            found[which] = spikes(self.at[which], self.values[which], self.spike)
        return found

    def _of_all(self, found: "Mask") -> "Mask":
        import numpy as np

        mask = np.zeros(self.all, dtype=np.bool_)
        mask[self.read] = found
        return mask

    def strays(self, kept: "Mask") -> "Floats":
        """How far each moment is off the line through those kept, in tolerances, said at its
        nearest reading; 0 where that is kept, and for other readings."""
        import numpy as np

        far = np.zeros(self.all)
        known = kept[self.read]
        if known.any():
            line = np.interp(self.moment_at, self.at[known], self.values[known])
            off = np.abs(self.moment_mean - line) / self.tolerance
            far[self.read[self.nearest]] = np.where(known[self.nearest], 0.0, off)
        return far

    def off(self, kept: "Mask") -> "Floats":
        """How far each reading is off the line through those kept; 0 where none was read."""
        import numpy as np

        far = np.zeros(self.all)
        known = kept[self.read]
        if known.any():
            line = np.interp(self.at, self.at[known], self.values[known])
            far[self.read] = np.abs(self.values - line)
        return far

    def kept_in_any_case(self) -> "Mask":
        """One every so often, ends of pauses, lowest and highest, and ends of runs of one value."""
        import numpy as np

        at, values = self.at, self.values
        kept = np.zeros(len(at), dtype=np.bool_)
        if not len(at):
            return self._of_all(kept)
        longest = step_ms()
        kept[self.nearest[_firsts(at[self.nearest] // longest)]] = True
        pauses = np.diff(at) > longest
        kept[:-1] |= pauses
        kept[1:] |= pauses
        begins = _firsts(self.number)
        kept[begins] = True
        kept[np.append(begins[1:] - 1, len(at) - 1)] = True
        for end in (np.minimum, np.maximum):
            kept[_reached(values, end, begins)] = True
        firsts = np.concatenate(([0], np.flatnonzero((np.diff(values) != 0) | pauses) + 1))
        lasts = np.append(firsts[1:] - 1, len(at) - 1)
        long = at[lasts] - at[firsts] > longest
        for ends in (firsts[long] - 1, firsts[long], lasts[long], lasts[long] + 1):
            kept[np.clip(ends, 0, len(at) - 1)] = True
        return self._of_all(kept)

    def beside_spikes(self, kept: "Mask") -> "Mask":
        """The neighbours of those that are spikes only among all, or only among those kept."""
        import numpy as np

        which = np.flatnonzero(kept[self.read])
        among_kept = self._spikes(which)
        differ = which[among_kept[which] != self.spikes[which]]
        beside = np.zeros(len(self.read), dtype=np.bool_)
        for neighbours in (differ - 1, differ + 1):
            beside[np.clip(neighbours, 0, len(self.read) - 1)] = True
        return self._of_all(beside)
