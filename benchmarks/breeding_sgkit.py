"""What benchmarks/breeding.py is timed against; runs where sgkit is, not where quailwright is.

A line on stdin holds what to do, a file of parents, and where to put what comes out; the answer is
the seconds that it took.
"""

import sys
import time

import numpy as np
import sgkit  # type: ignore[import-not-found]
import xarray  # type: ignore[import-not-found]
from numpy.typing import NDArray


def run(what: str, parents: NDArray[np.intp]) -> NDArray[np.float64]:
    """Everyone's inbreeding, or the kinship of each with each."""
    told = xarray.Dataset({"parent": (("samples", "parents"), parents)})
    if what == "inbreeding":
        inbred = sgkit.pedigree_inbreeding(told, allow_half_founders=True)
        found: NDArray[np.float64] = inbred.stat_pedigree_inbreeding.values
    else:
        related = sgkit.pedigree_kinship(told, allow_half_founders=True)
        found = related.stat_pedigree_kinship.values
    return found


def main() -> None:
    """Answers until stdin ends."""
    for what in ("inbreeding", "kinship"):
        run(what, np.array([[-1, -1], [-1, -1], [0, 1], [0, -1]]))
    for line in sys.stdin:
        what, *files = line.rstrip("\n").split("\t")
        if what == "version":
            print(sgkit.__version__, flush=True)
            continue
        parents = np.load(files[0])
        began = time.perf_counter()
        found = run(what, parents)
        took = time.perf_counter() - began
        np.save(files[1], found)
        print(took, flush=True)


if __name__ == "__main__":
    main()
