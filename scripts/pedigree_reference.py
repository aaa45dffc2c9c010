"""Prints tests/husbandry/data/pedigrees.csv: random pedigrees, with their kinship by sgkit.

sgkit is no package of ./check, as it brings some 860 MB. Run this in an environment of
requirements-benchmark.lock: `python scripts/pedigree_reference.py >FILE`. Made with sgkit 0.10.0.
"""

import sys

import numpy as np
import sgkit  # type: ignore[import-not-found]
import xarray  # type: ignore[import-not-found]

BIRDS, PEDIGREES = 24, 6


def main() -> None:
    """One line a bird: pedigree, bird, sire and dam (-1: not known), inbreeding, its kinships."""
    rng = np.random.default_rng(1976)
    print("pedigree,bird,sire,dam,inbreeding,kinship")
    for pedigree in range(PEDIGREES):
        unknown, reach = (0.05, 0.3)[pedigree % 2], (6, BIRDS, 10)[pedigree % 3]
        parents = np.full((BIRDS, 2), -1)
        for bird in range(2, BIRDS):
            # Cocks are even, hens odd.
            for column in (0, 1):
                fitting = [other for other in range(bird) if other % 2 == column][-reach:]
                if rng.random() >= unknown:
                    parents[bird, column] = rng.choice(fitting)
        told = xarray.Dataset({"parent": (("samples", "parents"), parents)})
        told = sgkit.pedigree_kinship(told, allow_half_founders=True)
        told = sgkit.pedigree_inbreeding(told, allow_half_founders=True)
        kinship = told.stat_pedigree_kinship.values
        inbreeding = told.stat_pedigree_inbreeding.values
        for bird, (sire, dam) in enumerate(parents):
            row = " ".join(f"{value:.17g}" for value in kinship[bird, : bird + 1])
            print(f"{pedigree},{bird},{sire},{dam},{inbreeding[bird]:.17g},{row}")
    print(f"sgkit {sgkit.__version__}", file=sys.stderr)


if __name__ == "__main__":
    main()
