"""A plan in whole eggs and birds, read from what the solver found."""

from datetime import date

import numpy as np
from numpy.typing import NDArray

from quailwright.planning.columns import Columns
from quailwright.planning.given import (
    Asked,
    PerHen,
    alive_when_chosen,
    at,
    blocks,
    candidates_of,
    least_eggs,
    relative,
)
from quailwright.planning.kernels import Kernels
from quailwright.planning.problem import Candidate, Cull, Draft, Problem, Set, of_set
from quailwright.planning.solver import Solution

Array = NDArray[np.float64]


def read(asked: Asked, columns: Columns, solution: Solution) -> Draft:
    """The plan of a solution, in whole eggs and birds."""
    values = solution.values
    problem = asked.problem
    ratio = 1.0 / problem.hens_per_cock if problem.hens_per_cock else 0.0
    sets: list[Set] = []
    culls: list[Cull] = []
    filled = _Filled(asked)
    kept_so_far = cocks_so_far = 0
    for n, one in enumerate(asked.candidates):
        if values[columns.is_set[n]] < 0.5:
            continue
        source, per_hen = problem.sources[one.source], asked.per_hen[one.source]
        free = filled.free(one, columns, values)
        most = min(source.most, sum(free.values()))
        eggs = min(
            most, max(least_eggs(asked, one.source), int(np.floor(values[columns.eggs[n]] + 1e-6)))
        )
        eggs = min(most, eggs + int(values[columns.eggs[n]] - eggs > _PART))
        if eggs <= 0:
            continue
        hens = _hens_kept(per_hen, eggs, values[columns.hens[n]])
        if not asked.table_birds:
            hens = max(1, hens)
        kept_so_far += hens
        cocks = max(0, int(np.ceil(kept_so_far * ratio - 1e-6)) - cocks_so_far)
        cocks_so_far += cocks
        sets += filled.into(Set(one.day, source.name, eggs, "", hens, cocks), one, free)
    for day, kept in zip(columns.days, columns.kept, strict=True):
        n = candidates_of(asked, day)[0]
        if any(s.on == day for s in sets):
            culls += _culls(problem, asked.of_sets, n, values[kept], of_set(day))
    living = alive_when_chosen(asked)
    for n, (there, kept) in enumerate(zip(asked.there, columns.there, strict=True)):
        culls += _culls(problem, asked.of_there, n, values[kept], there.name, living[n])
    return Draft(
        tuple(sets),
        tuple(sorted(culls, key=lambda cull: cull.on)),
        solution.gap,
        np.array([values[column] for column in columns.wanting]),
    )


_A_FEW = 0.15
"""No further machine is filled for less than this part of a set; the set is smaller then."""
_PART = 0.05
"""Part of an egg that is worth a whole one."""


def _hens_kept(per_hen: PerHen, eggs: int, meant: float) -> int:
    """The most hens to keep of a set, so that a good hatch makes up for a poor one: those meant,
    and more the nearer they are to all that come on the mean."""
    beyond = per_hen.sd(eggs) - (eggs / per_hen.each - meant)
    return round(meant + max(0.0, beyond)) if meant > _PART else 0


class _Filled:
    """Eggs that stand in machines by day, those under way and those of the sets read so far.

    Sets are read in order of their days, and what stands there already only leaves later on: so
    the room of a machine on the day of a set lasts as long as the set stays.
    """

    def __init__(self, asked: Asked) -> None:
        self._asked = asked
        self._room = asked.problem.room
        self._sets: list[tuple[Candidate, str, int]] = []

    def free(self, one: Candidate, columns: Columns, values: Array) -> dict[str, int]:
        """Eggs that each incubator has room for, as the solution fills them; no more than
        hatchers have room for."""
        found = {}
        for machine in sorted(self._room.incubators, key=lambda other: -other.eggs):
            load = columns.loads.get((one.day, machine.name))
            if load is not None and values[load[0]] < 0.5:
                continue
            under_way = self._asked.turned.get(machine.name, np.zeros(0))
            there = at(under_way, self._asked.problem, one.day)
            there += sum(
                eggs
                for other, name, eggs in self._sets
                if name == machine.name and self._stands(other, one.day)
            )
            found[machine.name] = max(0, int(machine.eggs - there))
        if not self._room.hatchers:
            return found
        left = int(sum(machine.eggs for machine in self._room.hatchers))
        left -= int(at(self._asked.still, self._asked.problem, one.stops_turning))
        left -= sum(eggs for other, _, eggs in self._sets if other.cleared >= one.stops_turning)
        for name in found:
            found[name] = min(found[name], max(0, left))
            left -= found[name]
        return found

    def _stands(self, other: Candidate, day: date) -> bool:
        return day < other.stops_turning if self._room.hatchers else day <= other.cleared

    def into(self, whole: Set, one: Candidate, free: dict[str, int]) -> list[Set]:
        """A set, parted where no machine holds it whole."""
        found: list[Set] = []
        eggs, hens, cocks = whole.eggs, whole.keep_hens, whole.keep_cocks
        for place in sorted(free, key=lambda name: (free[name] < eggs, -free[name])):
            part = min(eggs, free[place])
            if part <= 0 or (found and part < _A_FEW * whole.eggs):
                continue
            share = part / eggs
            part_hens, part_cocks = round(hens * share), round(cocks * share)
            found.append(Set(whole.on, whole.source, part, place, part_hens, part_cocks))
            self._sets.append((one, place, part))
            eggs, hens, cocks = eggs - part, hens - part_hens, cocks - part_cocks
        return found


def _culls(
    problem: Problem, kernel: Kernels, n: int, kept: Array, name: str, there: float | None = None
) -> list[Cull]:
    """When hens of a cohort go; nothing is said where none do."""
    found = []
    alive = relative(kernel.hens[n], kernel.age_d[n])
    before = there if there is not None else float(kept[0])
    for number, weeks in blocks(problem, kernel.age_d[n]):
        if not len(weeks):
            continue
        week = int(weeks[0])
        stay = float(kept[number])
        first_of_new = number == 0 and there is None
        if stay < before - 0.5 and not first_of_new:
            birds = round(stay * float(alive[week]))
            found.append(Cull(problem.first_day(week), name, birds, 0 if birds == 0 else None))
        before = min(before, stay) if not first_of_new else stay
    return found
