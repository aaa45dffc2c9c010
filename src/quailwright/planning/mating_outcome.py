"""What a way to mate birds comes to: inbreeding, kinship, and how fast it rises."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from quailwright.husbandry.inheritance.effective_size import size_of
from quailwright.planning.mating_birds import Candidate

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Outcome:
    """What a way to mate birds comes to.

    Attributes:
        inbreeding: mean of the chicks expected.
        kinship: mean among the chicks: their own chicks' inbreeding, mated by chance.
        rise: of inbreeding in a generation by the number and kinship of parents.
        hens: hens that have a cock.
        gain: mean breeding value of the chicks over that of all candidates, or None.
    """

    inbreeding: float
    kinship: float
    rise: float
    hens: int
    gain: float | None = None

    @property
    def effective_size(self) -> float:
        """Of the parents: 1 / (2 rise)."""
        return float(size_of(max(0.0, self.rise)))


def mixed(cocks: Sequence[int], hens: Sequence[int]) -> dict[int, dict[int, float]]:
    """Of each hen, any of the cocks alike."""
    return {hen: {cock: 1 / len(cocks) for cock in cocks} for hen in hens}


def as_they_live(birds: Sequence[Candidate]) -> dict[int, dict[int, float]]:
    """Of each hen that lives with cocks, the chance of each."""
    cocks_at: dict[str, list[int]] = {}
    for n, bird in enumerate(birds):
        if bird.is_cock and bird.place:
            cocks_at.setdefault(bird.place, []).append(n)
    return {
        n: {cock: 1 / len(cocks_at[bird.place]) for cock in cocks_at[bird.place]}
        for n, bird in enumerate(birds)
        if not bird.is_cock and bird.place in cocks_at
    }


def each_one(hens_of: Mapping[int, Sequence[int]]) -> dict[int, dict[int, float]]:
    """Of each hen, her one cock, for sure."""
    return {hen: {cock: 1.0} for cock, hens in hens_of.items() for hen in hens}


def outcome(
    related: Array,
    cocks: NDArray[np.bool_],
    mates: Mapping[int, Mapping[int, float]],
    values: Array | None,
    base: float,
) -> Outcome:
    """What comes of hens mated so: of each hen, the chance of each cock."""
    shares = np.zeros(len(cocks))
    inbred = 0.0
    for hen, chances in mates.items():
        shares[hen] += 0.5 / len(mates)
        for cock, chance in chances.items():
            shares[cock] += 0.5 * chance / len(mates)
            inbred += chance * float(related[cock, hen]) / 2 / len(mates)
    kinship = float(shares @ related @ shares) / 2
    sires, dams = shares * cocks * 2, shares * ~cocks * 2
    across = float(sires @ related @ dams) / 2
    return Outcome(
        inbred,
        kinship,
        (kinship - across) / (1 - across) if across < 1 else 0.0,
        len(mates),
        None if values is None else float(shares @ values) - base,
    )
