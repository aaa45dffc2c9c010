"""Breeding against sgkit, side by side: `scripts/breeding_benchmark [--rounds N]`.

See docs/benchmarks.md for what each row means. Nothing here is asserted.
"""

import argparse
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path
from subprocess import PIPE, Popen

import numpy as np
from benchmarks.measure import Ratio, seconds, side_by_side
from benchmarks.rows import Row, row_of
from numpy.typing import NDArray

from quailwright.husbandry.inheritance.kinship import inbreeding, relationships
from quailwright.husbandry.inheritance.pedigree import Pedigree

BIRDS, RELATED = 100_000, 1_000
Parents = NDArray[np.intp]
"""(n, 2): places of sires and dams, -1 where not known."""


class Sgkit:
    """sgkit in a process and an environment of its own, its functions compiled already."""

    def __init__(self, python: str, folder: Path) -> None:
        beside = str(Path(__file__).parent / "breeding_sgkit.py")
        self.folder = folder
        self.process = Popen([python, beside], stdin=PIPE, stdout=PIPE, text=True)
        self.version = self._answer("version")

    def _answer(self, *words: str) -> str:
        assert self.process.stdin is not None
        assert self.process.stdout is not None
        print(*words, sep="\t", file=self.process.stdin, flush=True)
        answer = self.process.stdout.readline().strip()
        if not answer:
            raise RuntimeError("sgkit has ended; what it said stands above")
        return answer

    def run(self, what: str, parents: Parents) -> tuple[float, NDArray[np.float64]]:
        """Seconds that "inbreeding" or "kinship" took, and what came out."""
        given, found = self.folder / "parents.npy", self.folder / "found.npy"
        np.save(given, parents)
        took = float(self._answer(what, str(given), str(found)))
        return took, np.load(found)


def main() -> int:
    """Runs every benchmark and prints its figures."""
    parser = argparse.ArgumentParser(description="Breeding against sgkit side by side.")
    parser.add_argument("python", help="the Python of an environment that has sgkit")
    parser.add_argument("--rounds", type=int, default=5, help="rounds of each pair (default 5)")
    told = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="benchmarks-") as folder:
        sgkit = Sgkit(told.python, Path(folder))
        print(f"against sgkit {sgkit.version}, {told.rounds} rounds")
        for part in PARTS:
            for row in part(sgkit, told.rounds):
                _show(row)
    return 0


def rows(quick: bool) -> Iterator[Row]:
    """For the page of all benchmarks; nothing where sgkit's environment was not made."""
    python = Path(__file__).resolve().parent.parent / ".venv-benchmark/bin/python"
    if quick or not python.exists():
        return
    with tempfile.TemporaryDirectory(prefix="benchmarks-") as folder:
        sgkit = Sgkit(str(python), Path(folder))
        for part in PARTS:
            yield from (row_of("breeding", ratio) for ratio in part(sgkit, 3))


def _show(row: Ratio) -> None:
    low, high = row.spread
    against = f"; {row.against}: {row.reference_seconds:.3f} s; ratio {row.ratio:.3g}"
    print(f"{row.what}: {row.seconds:.3f} s{against} ({low:.3g} to {high:.3g})", flush=True)


def farm(birds: int, rng: np.random.Generator) -> Parents:
    """A farm: of each thousand 40 cocks and 200 hens of the last three thousand are the parents."""
    cohort, cocks, hens, back = 1_000, 40, 200, 3
    found = np.full((birds, 2), -1)
    for first in range(cohort, birds, cohort):
        oldest = max(0, first - back * cohort)
        chosen = rng.choice(np.arange(oldest, first), cocks + hens, replace=False)
        found[first : first + cohort, 0] = rng.choice(chosen[:cocks], cohort)
        found[first : first + cohort, 1] = rng.choice(chosen[cocks:], cohort)
    return found


def wide(birds: int, rng: np.random.Generator) -> Parents:
    """Parents drawn from all birds before, a hundred founders; so a third to half are parents."""
    founders = 100
    places = np.arange(birds)
    found = (rng.random((2, birds)) * places).astype(np.intp)
    found[:, :founders] = -1
    return found.T.copy()


def ours(what: str, parents: Parents) -> NDArray[np.float64]:
    """The same as sgkit's, from the same arrays."""
    pedigree = Pedigree.of_known(parents[:, 0].tolist(), parents[:, 1].tolist())
    return inbreeding(pedigree) if what == "inbreeding" else relationships(pedigree) / 2


def _compared(name: str, what: str, parents: Parents, sgkit: Sgkit, rounds: int) -> Ratio:
    apart = np.abs(ours(what, parents) - sgkit.run(what, parents)[1]).max()
    print(f"{name}: {apart:.1e} apart at most", flush=True)
    return side_by_side(
        name,
        lambda: seconds(lambda: ours(what, parents)),
        "sgkit",
        lambda: sgkit.run(what, parents)[0],
        rounds,
    )


def inbreeding_of_many(sgkit: Sgkit, rounds: int) -> Iterator[Ratio]:
    """From arrays of parents to everyone's inbreeding."""
    rng = np.random.default_rng(1)
    pedigrees = {
        f"inbreeding of {BIRDS:,}, a farm": farm(BIRDS, rng),
        f"inbreeding of {BIRDS:,}, parents from all before": wide(BIRDS, rng),
    }
    for name, parents in pedigrees.items():
        yield _compared(name, "inbreeding", parents, sgkit, rounds)


def kinship_of_a_thousand(sgkit: Sgkit, rounds: int) -> Iterator[Ratio]:
    """From arrays of parents to the kinship of each with each."""
    parents = wide(RELATED, np.random.default_rng(2))
    yield _compared(f"kinship of {RELATED:,}", "kinship", parents, sgkit, rounds)


PARTS: list[Callable[[Sgkit, int], Iterator[Ratio]]] = [inbreeding_of_many, kinship_of_a_thousand]

if __name__ == "__main__":
    raise SystemExit(main())
