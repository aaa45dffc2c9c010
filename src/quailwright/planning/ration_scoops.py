"""The cheapest mix of a ration in whole scoops, and weights in whole grams."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from quailwright.planning.ration_mix import (
    SECONDS,
    Array,
    Mix,
    Plane,
    Question,
    demands_of,
    overstepped,
    oversteps,
    program_of,
)
from quailwright.planning.solver import solve

_WHOLE_GAP: Final = 1e-3
"""Whole scoops are the cheapest to this part of the cost, or the best of so many branches."""
_NODES: Final = 3000


def in_scoops(question: Question, exact: Mix) -> Mix | None:
    """The cheapest mix of whole scoops that keeps to all demands; None where there is none.

    It makes a batch, or up to the smallest scoop more. Each choice needs a scoop. What is scooped
    is settled first, with what is weighed in any amount; then the weights are made whole. Where
    that does not do, all at once.
    """
    each = [choice.scoop_kg for choice in question.choices]
    scooped = [size > _WEIGHED * max(each) for size in each]
    rough = _in_whole(question, exact.planes, scooped)
    if rough is None:
        return None
    if all(scooped):
        return _as_mix(question, rough)
    counts = np.round(rough.amounts)
    fixed = {n: float(counts[n]) for n, whole in enumerate(scooped) if whole}
    every = [True] * len(each)
    found = _in_whole(question, rough.planes, every, fixed) or _in_whole(
        question, rough.planes, every
    )
    return None if found is None else _as_mix(question, found)


_WEIGHED = 0.1
"""A scoop below this part of the largest is a weight on a scale: rounding it is of no account."""


@dataclass(frozen=True)
class _Counted:
    amounts: Array
    planes: tuple[Plane, ...]


def _in_whole(
    question: Question,
    planes: Iterable[Plane],
    whole: Sequence[bool],
    fixed: Mapping[int, float] | None = None,
) -> _Counted | None:
    """Scoops of each choice at least cost, whole where they must be, or as they are fixed."""
    demands, known = demands_of(question), list(planes)
    each = np.array([choice.scoop_kg for choice in question.choices])
    extra = _EXTRA if known else 0.0
    for turn in range(_MOST_ROUNDS):
        program, _ = program_of(question, demands, known, whole=whole, extra=extra)
        for number, count in (fixed or {}).items():
            program.lower[number] = program.upper[number] = count
        solution = solve(program, gap=_WHOLE_GAP, seconds=SECONDS, nodes=_NODES)
        if not solution.found:
            if turn > 0 or not extra:
                return None
            extra = 0.0
            continue
        amounts = np.where(whole, np.round(solution.values), solution.values)
        kilograms = amounts * each
        shares = kilograms / kilograms.sum()
        more = list(overstepped(question, demands, shares, _WHOLE_MARGIN))
        if not more:
            return _Counted(amounts, tuple(known))
        known += more
        extra = max(2 * extra, 1.5 * max(oversteps(question, one.need, shares) for one in more))
    return None


_WHOLE_MARGIN = 1e-6
_EXTRA = 3e-4
"""Kept away from planes in the first round, over the need: less than a scale can weigh, and most
often enough that there is no second."""
_MOST_ROUNDS = 12


def _as_mix(question: Question, found: _Counted) -> Mix:
    counts = np.abs(found.amounts)
    kilograms = counts * np.array([choice.scoop_kg for choice in question.choices])
    prices = np.array([choice.price for choice in question.choices])
    total = float(kilograms.sum())
    cost = float(kilograms @ prices) / total
    return Mix(kilograms / total, cost, found.planes, counts=counts)
