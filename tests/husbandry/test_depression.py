"""What inbreeding costs, against what the trials printed."""

import math

import numpy as np
import pytest

from quailwright.husbandry import facts
from quailwright.husbandry.inheritance.depression import (
    STAGES,
    chicks_kept,
    chicks_kept_range,
    fitness_kept,
    kept,
    points_lost,
    weight_lost_g,
)


def test_lethal_equivalents_are_twice_the_slope_shinjo_1972() -> None:
    """Fitness 56.2 % at random and 6.0 % at inbreeding 0.594; 7.5 lethal equivalents printed."""
    reckoned = -2 * math.log(6.0 / 56.2) / 0.59375
    assert facts.value("inbreeding.lethal_fitness") == pytest.approx(reckoned, abs=0.05)
    curved, straight = fitness_kept(0.59375)
    assert curved * 56.2 == pytest.approx(6.0, abs=0.15)
    assert straight == 0


def test_loss_of_each_stage_at_a_tenth() -> None:
    """Lethal equivalents 1.0, 2.5 and 1.5: 4.9, 11.8 and 7.2 % lost; 4.9 printed for all three."""
    lost = [100 * (1 - float(kept(stage, 0.1))) for stage in STAGES]
    assert lost == pytest.approx([4.9, 11.8, 7.2], abs=0.05)
    whole = sum(facts.value(f"inbreeding.lethal_{stage}") for stage in STAGES)
    assert whole == pytest.approx(facts.value("inbreeding.lethal_all"), abs=0.15)


def test_the_two_trials_agree_on_survival_at_a_tenth() -> None:
    """6.34 points of some 90 in a hundred by the one, 7.2 % by the other."""
    assert points_lost("survival", 0.1) / 90 == pytest.approx(1 - kept("survival", 0.1), abs=0.005)
    assert points_lost("lay", 0.25) == pytest.approx(8.45)


def test_chicks_kept_counts_pair_and_chicks_apart() -> None:
    chicks = np.array([0.0, 0.25])
    found = chicks_kept(chicks, of_parents=0.125)
    assert found[0] == pytest.approx(float(kept("fertility", 0.125)))
    assert found[1] / found[0] == pytest.approx(float(kept("hatch", 0.25) * kept("survival", 0.25)))
    least, most = chicks_kept_range(chicks)
    assert least[0] == most[0] == 1
    assert least[1] < chicks_kept(0.25) < most[1]


def test_lines_of_full_sibs_come_to_little() -> None:
    """Sittmann, Abplanalp and Fraser 1966: none reproduced at inbreeding 0.5."""
    curved, straight = fitness_kept(np.array([0.0, 0.125, 0.5]))
    assert curved[0] == straight[0] == 1
    assert curved[1] < straight[1]
    assert max(curved[2], straight[2]) < 0.16
    assert weight_lost_g("cock", 0.25) == pytest.approx(5)
    assert weight_lost_g("hen", 0.25) == pytest.approx(10)


@pytest.mark.parametrize("wrong", [-0.1, 1.1, math.nan])
def test_inbreeding_that_cannot_be(wrong: float) -> None:
    with pytest.raises(ValueError, match="between 0 and 1"):
        chicks_kept(wrong)
