"""A pedigree: birds, and who their parents are, or may be."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_array  # type: ignore[import-untyped]

from quailwright.language import say

Chances = Mapping[int, float]
"""By the place of a bird in the pedigree, the chance that it is the parent. What lacks to 1 is the
chance of a parent of whom nothing is known, unrelated to all."""

_ROUNDING = 1e-9


@dataclass(frozen=True)
class Pedigree:
    """Birds in an order in which all possible parents stand before their chicks.

    Attributes:
        fathers: of each bird, who may be its father and with what chance. Empty: not known.
        mothers: the same of its mother.
    """

    fathers: Sequence[Chances]
    mothers: Sequence[Chances]

    def __post_init__(self) -> None:
        """Raises ValueError where a chance is none, or a parent stands after its chick."""
        if len(self.fathers) != len(self.mothers):
            raise ValueError(say("Every bird of a pedigree has fathers and mothers, if empty."))
        for bird, parents in enumerate(zip(self.fathers, self.mothers, strict=True)):
            for chances in parents:
                if any(not 0 <= parent < bird for parent in chances):
                    raise ValueError(say("In a pedigree, parents stand before their chicks."))
                if any(not chance > 0 for chance in chances.values()):
                    raise ValueError(say("The chance of a parent is above 0."))
                if sum(chances.values()) > 1 + _ROUNDING:
                    raise ValueError(say("The chances of all fathers come to 1 at most."))

    def __len__(self) -> int:
        return len(self.fathers)

    @classmethod
    def of_known(cls, sires: Sequence[int], dams: Sequence[int]) -> "Pedigree":
        """Of parents known for sure, by their places; -1: not known. Raises as the class."""
        one = [{sire: 1.0} if sire >= 0 else {} for sire in sires]
        other = [{dam: 1.0} if dam >= 0 else {} for dam in dams]
        return cls(one, other)

    @cached_property
    def halves(self) -> csr_array:
        """Of each bird (row), the share of its genes expected from each possible parent: (n, n).

        Half of the chances of fathers and mothers; a row sums to 1 where both are known.
        """
        rows, columns, shares = [], [], []
        for bird, parents in enumerate(zip(self.fathers, self.mothers, strict=True)):
            for chances in parents:
                for parent, chance in chances.items():
                    rows.append(bird)
                    columns.append(parent)
                    shares.append(chance / 2)
        n = len(self)
        return csr_array((np.array(shares), (np.array(rows, int), np.array(columns, int))), (n, n))


Places = NDArray[np.intp]
"""Places of birds in a pedigree."""
