"""How related birds are: additive relationship, kinship, inbreeding.

Where parents are known by chance alone, everything here is the mean over who they may be, each
chick's father and mother drawn apart from all others' (Henderson 1988, Use of an average numerator
relationship matrix for multiple-sire joining, J Anim Sci 66:1614-1621; from memory). That mean is
exact: a relationship is linear in each parent that is drawn.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from quailwright.husbandry.inheritance.pedigree import Chances, Mates, Pedigree, Places
from quailwright.language import say

if TYPE_CHECKING:
    from scipy.sparse import csc_array  # type: ignore[import-untyped]

    from quailwright.husbandry.inheritance.frontier import Walked

Array = NDArray[np.float64]

_NO_VARIANCE = 1e-12


def relationships(pedigree: Pedigree, among: Places | None = None) -> Array:
    """Additive relationships expected among birds, twice their kinship.

    Args:
        pedigree: n birds.
        among: places of k of them, each once; None: all.

    Returns:
        (k, k), symmetric. On the diagonal 1 + inbreeding; elsewhere 0 where unrelated, 0.5 for
        full sibs, 0.25 for half sibs.

    Source: tabular method, Emik and Terrill 1949, Systematic procedures for calculating
    inbreeding coefficients, J Hered 40:51-55 (from memory), on the birds still needed (`frontier`).
    """
    wanted = np.arange(len(pedigree)) if among is None else np.asarray(among, np.intp)
    return _walked(pedigree, wanted).related


def inbreeding(pedigree: Pedigree) -> Array:
    """The inbreeding of each bird, (n,): 0 of the unrelated, 0.25 of a chick of full sibs.

    Half the relationship of its parents. For pedigrees to 100,000 birds and more.
    """
    return _walked(pedigree).inbreeding


def mendelian(pedigree: Pedigree) -> Array:
    """Variance of each bird's breeding value about the mean of its parents', (n,).

    In units of the additive variance: 1 of a bird without known parents, 0.75 with one parent,
    0.5 with two, less where these are inbred, more where they are known by chance alone.

    Source: Henderson 1976, Biometrics 32:69-83; Quaas 1976, Biometrics 32:949-953 (from memory).
    """
    return _walked(pedigree).mendelian


def inverse(pedigree: Pedigree) -> csc_array:
    """The inverse of all relationships of a pedigree, sparse: (n, n).

    (I - W)' D⁻¹ (I - W), with W the shares expected from each possible parent and D the Mendelian
    variances. It is the exact inverse of `relationships`, for parents known by chance too.

    Raises:
        ValueError: a bird whose parents are so inbred that no variance is left.

    Source: as `mendelian`; for parents known by chance Henderson 1988, as above.
    """
    from scipy.sparse import csc_array, dia_array, eye_array

    n = len(pedigree)
    own = mendelian(pedigree)
    if np.any(own < _NO_VARIANCE):
        raise ValueError(say("The parents of a bird are inbred to the end: nothing varies."))
    differences = eye_array(n, format="csr") - pedigree.halves
    return csc_array(differences.T @ dia_array((1 / own[None, :], [0]), (n, n)) @ differences)


def z_kinship(pedigree: Pedigree, cocks: NDArray[np.bool_]) -> Array:
    """Kinship at loci of the Z chromosome, such as those of some colours: (n, n).

    The chance that a Z drawn from the one bird and a Z drawn from the other have the same origin.
    Hens have one Z, their father's; cocks one of each parent. Of a hen with herself it is 1, of a
    cock that is not inbred 0.5; a cock's inbreeding at these loci is twice that, less 1.

    Args:
        pedigree: n birds; it is held as one square, so some 10,000 at most.
        cocks: of each whether it is a cock.

    Raises:
        ValueError: not as many of the one as of the other.

    Source: the rule for the X chromosome with the sexes exchanged, Lange 2002, Mathematical and
    Statistical Methods for Genetic Analysis, chapter 5 (from memory).
    """
    n = len(pedigree)
    if cocks.shape != (n,):
        raise ValueError(say("Of every bird it is told whether it is a cock."))
    found = np.zeros((n, n))
    for bird, cock in enumerate(cocks.tolist()):
        fathers, mothers = pedigree.fathers[bird], pedigree.mothers[bird]
        of_father, of_mother = _mean_row(fathers, found), _mean_row(mothers, found)
        row = (of_father + of_mother) / 2 if cock else of_father
        found[bird, :bird] = found[:bird, bird] = row[:bird]
        alike = sum(
            some.share * chance * _mean_row(some.fathers, found)[mother]
            for some in pedigree.mates.get(bird, (Mates(1.0, fathers, mothers),))
            for mother, chance in some.mothers.items()
        )
        found[bird, bird] = (1 + alike) / 2 if cock else 1.0
    return found


def _mean_row(chances: Chances, rows: Array) -> Array:
    found = np.zeros(len(rows))
    for parent, chance in chances.items():
        found += chance * rows[parent]
    return found


def _walked(pedigree: Pedigree, wanted: Places | None = None) -> Walked:
    from quailwright.husbandry.inheritance.frontier import walked  # brings scipy

    return walked(pedigree, np.zeros(0, np.intp) if wanted is None else wanted)
