"""Droppings and their nitrogen, against balances done here."""

import math

import numpy as np
import pytest

from quailwright.husbandry.manure import droppings_kg, nitrogen_kg

PROTEIN_PER_NITROGEN = 6.25
EGG_PROTEIN = 0.13
"""Of a whole quail egg, food composition tables, from memory."""


def test_nitrogen_is_what_feed_brings_less_what_eggs_take() -> None:
    # Feed of 20 % protein (NRC 1994), 23.24 g a day with 71.52 % lay of 9.24 g eggs (Maiduguri
    # 2022), and 30 g a day with 90 % lay of 11 g eggs, the upper end of the notes' balance.
    least = (23.24 * 0.20 - 0.7152 * 9.24 * EGG_PROTEIN) / PROTEIN_PER_NITROGEN
    most = (30.0 * 0.20 - 0.90 * 11.0 * EGG_PROTEIN) / PROTEIN_PER_NITROGEN
    assert least <= 1000 * nitrogen_kg(1.0, 1.0) <= most


def test_nitrogen_share_of_fresh_droppings_is_that_of_laying_hens() -> None:
    # American Society of Agricultural Engineers D384.2, 2005, from memory: a laying hen leaves
    # 88 g of manure with 1.6 g of nitrogen a day, on feed of some 16.5 % protein; quail feed has
    # 20 %. Tolerance a fifth.
    share = nitrogen_kg(1.0, 1.0) / droppings_kg(1.0, 1.0)
    assert share == pytest.approx(1.6 / 88 * 20 / 16.5, rel=0.2)


def test_droppings_add_up_over_birds_and_days() -> None:
    # 25 to 38 g a bird and day: 20 birds leave 3.5 to 5.3 kg in a week.
    assert 3.5 <= droppings_kg(20.0, 7.0) <= 5.32
    birds = np.array([0.0, 5.0, 15.0])
    assert droppings_kg(birds, 7.0).sum() == pytest.approx(float(droppings_kg(20.0, 7.0)))
    assert nitrogen_kg(birds, 7.0).sum() == pytest.approx(float(nitrogen_kg(4.0, 35.0)))


@pytest.mark.parametrize(("birds", "days"), [(-1.0, 7.0), (20.0, -7.0), (math.nan, 7.0)])
def test_impossible_birds_and_days_are_refused(birds: float, days: float) -> None:
    with pytest.raises(ValueError, match="0 or more"):
        droppings_kg(birds, days)
    with pytest.raises(ValueError, match="0 or more"):
        nitrogen_kg(birds, days)


def test_growing_birds_leave_what_they_eat_for() -> None:
    # Feed by age (facts/feeding.csv): a chick eats some grams, a hen some 25; a cock 15.
    from quailwright.husbandry.feeding import intake_g_per_day
    from quailwright.husbandry.manure import as_grown

    assert as_grown(200, "hen") == 1.0
    assert as_grown(200, "cock") == pytest.approx(15 / intake_g_per_day(200), rel=0.01)
    shares = [as_grown(day, "chick") for day in range(0, 36, 7)]
    assert shares == sorted(shares)
    assert 0 < shares[0] < 0.3
