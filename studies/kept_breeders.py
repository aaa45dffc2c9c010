"""Whether whom to keep is told as surely as it says: flocks whose true breeding values are known.

    PYTHONPATH=src:. python -m studies.kept_breeders [flocks]

Prints how often a true value lies in its range of 80 %, how sure values say that they are and how
sure they are, and the gain of the choice as predicted and in truth.
"""

import sys

import numpy as np
from tests.planning.breeders import ON, breeders

from quailwright.flock.fold import fold
from quailwright.journal import entries as kinds
from quailwright.planning.keepers import Ask, Keepers, Ranked, keepers
from quailwright.planning.merit import Goal

HEAVIER: Goal = {"weight": 1.0, "eggs": 0.0, "egg_weight": 0.0}


def scored(seed: int) -> tuple[float, float, float, float, float]:
    """Share in range, true and told accuracy, true and told gain of weight [g], of one flock."""
    journal = list(breeders(seed=seed))
    birds = [one for one in journal if isinstance(one, kinds.Bird) and one.note]
    true = {one.bird: float(one.note) for one in birds}
    found: Keepers = keepers(fold(journal, ON), ON, Ask("march", 3, 9, HEAVIER))

    def middle(some: list[Ranked]) -> float:
        return float(np.mean([true[one.member.name] for one in some]))

    base = (middle(found.cocks) + middle(found.hens)) / 2
    ranked = [*found.cocks, *found.hens]
    value = np.array([true[one.member.name] for one in ranked]) - base
    told = np.array([one.traits["weight"].mean for one in ranked])
    reach = np.array([one.traits["weight"].high for one in ranked]) - told
    kept = [[one for one in some if one.kept] for some in (found.cocks, found.hens)]
    return (
        float((np.abs(value - told) < reach).mean()),
        float(np.corrcoef(value, told)[0, 1]),
        float(np.mean([one.accuracy for one in ranked])),
        (middle(kept[0]) + middle(kept[1])) / 2 - base,
        found.change["weight"].mean,
    )


def main() -> None:
    """Prints the means over some flocks."""
    flocks = int(sys.argv[1]) if len(sys.argv) > 1 else 60
    share, surely, said, gain, told = np.mean([scored(seed) for seed in range(flocks)], axis=0)
    print(f"{flocks} flocks: {share:.0%} of true values lie in their range of 80 %.")
    print(f"Accuracy {said:.2f} as told, {surely:.2f} in truth.")
    print(f"Gain of those kept {told:.1f} g as told, {gain:.1f} g in truth.")


if __name__ == "__main__":
    main()
