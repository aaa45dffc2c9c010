"""A pedigree: birds, and who their parents are, or may be."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from itertools import chain
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from numpy.typing import NDArray

from quailwright.language import say

if TYPE_CHECKING:
    from scipy.sparse import csr_array  # type: ignore[import-untyped]

Places = NDArray[np.intp]
"""Places of birds in a pedigree."""

Chances = Mapping[int, float]
"""By the place of a bird in the pedigree, the chance that it is the parent. What lacks to 1 is the
chance of a parent of whom nothing is known, unrelated to all."""

_ROUNDING = 1e-9


class Mates(NamedTuple):
    """Fathers and mothers that ran together: a bird is theirs with the chance `share`.

    If it is, it has each of them with these chances, which come to 1 at most, the father drawn
    apart from the mother.
    """

    share: float
    fathers: Chances
    mothers: Chances


@dataclass(frozen=True)
class Pedigree:
    """Birds in an order in which all possible parents stand before their chicks.

    Attributes:
        fathers: of each bird, who may be its father and with what chance. Empty: not known.
        mothers: the same of its mother.
        mates: of birds of which it is known who ran with whom (eggs of several pens in one hatch),
            those of each pen. Summed over them they make the bird's fathers and mothers. Birds
            not named have father and mother drawn apart from each other.
    """

    fathers: Sequence[Chances]
    mothers: Sequence[Chances]
    mates: Mapping[int, Sequence[Mates]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        """Raises ValueError where a chance is none, or a parent stands after its chick."""
        if len(self.fathers) != len(self.mothers):
            raise ValueError(say("Every bird of a pedigree has fathers and mothers, if empty."))
        for links in (self.links_to_fathers, self.links_to_mothers):
            chicks = links.chicks
            if np.any(links.parents < 0) or np.any(links.parents >= chicks):
                raise ValueError(say("In a pedigree, parents stand before their chicks."))
            if not np.all(links.chances > 0):
                raise ValueError(say("The chance of a parent is above 0."))
            if np.any(np.bincount(chicks, links.chances, len(self)) > 1 + _ROUNDING):
                raise ValueError(say("The chances of all fathers come to 1 at most."))
        # Chicks of one hatch share these: each is looked at once.
        alike = {
            (id(self.fathers[bird]), id(self.mothers[bird]), id(mates)): bird
            for bird, mates in self.mates.items()
        }
        if not all(
            _summed(self.fathers[bird], self.mothers[bird], self.mates[bird])
            for bird in alike.values()
        ):
            raise ValueError(say("Mates are told of a bird that has other parents."))

    def __len__(self) -> int:
        return len(self.fathers)

    @classmethod
    def of_known(cls, sires: Sequence[int], dams: Sequence[int]) -> Pedigree:
        """Of parents known for sure, by their places; -1: not known. Raises as the class."""
        one = [{sire: 1.0} if sire >= 0 else {} for sire in sires]
        other = [{dam: 1.0} if dam >= 0 else {} for dam in dams]
        return cls(one, other)

    @cached_property
    def links_to_fathers(self) -> Links:
        """`fathers` as arrays."""
        return _links(self.fathers)

    @cached_property
    def links_to_mothers(self) -> Links:
        """`mothers` as arrays."""
        return _links(self.mothers)

    @cached_property
    def halves(self) -> csr_array:
        """Of each bird (row), the share of its genes expected from each possible parent: (n, n).

        Half of the chances of fathers and mothers; a row sums to 1 where both are known.
        """
        from scipy.sparse import csr_array  # doubles the time that numpy takes to come

        n = len(self)
        fathers, mothers = (
            csr_array((links.chances, links.parents, links.ends), (n, n))
            for links in (self.links_to_fathers, self.links_to_mothers)
        )
        return (fathers + mothers) / 2


def _summed(fathers: Chances, mothers: Chances, mates: Sequence[Mates]) -> bool:
    """Whether mates make these parents."""
    for whole, parts in (
        (fathers, [(some.share, some.fathers) for some in mates]),
        (mothers, [(some.share, some.mothers) for some in mates]),
    ):
        found: dict[int, float] = {}
        for share, part in parts:
            for parent, chance in part.items():
                found[parent] = found.get(parent, 0.0) + share * chance
        if found.keys() != whole.keys() or any(
            abs(found[parent] - chance) > _ROUNDING for parent, chance in whole.items()
        ):
            return False
    return True


class Links(NamedTuple):
    """The links of all birds to their possible fathers, or mothers, one behind the other.

    Attributes:
        ends: (n + 1,); those of bird i are from `ends[i]` up to `ends[i + 1]`.
        parents: places of the parents.
        chances: of each to be the parent.
    """

    ends: Places
    parents: Places
    chances: NDArray[np.float64]

    @property
    def chicks(self) -> Places:
        """Whose each link is."""
        return np.repeat(np.arange(len(self.ends) - 1), np.diff(self.ends))

    def of(self, birds: Places) -> Links:
        """Those of some birds, which are bird 0, 1 and so on of what is returned."""
        starts, counts = self.ends[birds], self.ends[birds + 1] - self.ends[birds]
        ends = np.zeros(len(birds) + 1, np.intp)
        np.cumsum(counts, out=ends[1:])
        at = np.arange(ends[-1]) + np.repeat(starts - ends[:-1], counts)
        return Links(ends, self.parents[at], self.chances[at])


def _links(parents: Sequence[Chances]) -> Links:
    ends = np.zeros(len(parents) + 1, np.intp)
    np.cumsum([len(chances) for chances in parents], out=ends[1:])
    places = np.fromiter(chain.from_iterable(parents), np.intp, ends[-1])
    values = chain.from_iterable(chances.values() for chances in parents)
    return Links(ends, places, np.fromiter(values, float, ends[-1]))
