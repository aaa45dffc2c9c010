"""How related birds are: additive relationship, kinship, inbreeding."""

import numpy as np
from numpy.typing import NDArray

from quailwright.husbandry.inheritance.pedigree import Pedigree, Places

Array = NDArray[np.float64]


def relationships(pedigree: Pedigree, among: Places | None = None) -> Array:
    """Additive relationships expected among birds, twice their kinship.

    Where parents are known by chance alone, it is the mean over who they may be, each chick's
    drawn apart (Henderson 1988, Use of an average numerator relationship matrix for multiple-sire
    joining, J Anim Sci 66:1614-1621; title from memory).

    Args:
        pedigree: n birds.
        among: places of k of them, each once; None: all.

    Returns:
        (k, k), symmetric. On the diagonal 1 + inbreeding; elsewhere 0 where unrelated, 0.5 for
        full sibs, 0.25 for half sibs.

    Source: tabular method, Emik and Terrill 1949, Systematic procedures for calculating
    inbreeding coefficients, J Hered 40:51-55 (from memory).
    """
    n = len(pedigree)
    found = np.zeros((n, n))
    for bird in range(n):
        fathers, mothers = pedigree.fathers[bird], pedigree.mothers[bird]
        row = np.zeros(n)
        for parents in (fathers, mothers):
            for parent, chance in parents.items():
                row += chance / 2 * found[parent]
        found[bird, :bird] = found[:bird, bird] = row[:bird]
        inbreeding = sum(
            of_father * of_mother * found[father, mother] / 2
            for father, of_father in fathers.items()
            for mother, of_mother in mothers.items()
        )
        found[bird, bird] = 1 + inbreeding
    return found if among is None else found[np.ix_(among, among)]


def inbreeding(pedigree: Pedigree) -> Array:
    """The inbreeding of each bird, (n,): 0 of the unrelated, 0.25 of a chick of full sibs."""
    found: Array = np.diag(relationships(pedigree)) - 1
    return found
