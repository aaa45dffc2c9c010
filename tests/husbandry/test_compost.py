"""Mixes for compost, against printed formulas and balances done by hand."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from quailwright.husbandry import facts
from quailwright.husbandry.compost import (
    MATERIALS,
    Material,
    carbon_to_nitrogen,
    kg_to_add,
    kilograms,
    litres,
    material,
    mix,
    moisture,
    water_kg,
)

GRASS = Material(0.024, 0.45 / 0.024, 0.77, 200.0)
LEAVES = Material(0.0075, 0.50 / 0.0075, 0.35, 100.0)


def test_leaves_to_grass_cornell_1996() -> None:
    # Cornell Waste Management Institute 1996, Compost mixture calculations, from memory: for
    # 10 kg of grass (77 % water, 45 % C, 2.4 % N) and a ratio of 30, 3.5 kg of leaves (35 %
    # water, 50 % C, 0.75 % N). Printed to one decimal.
    needed = kg_to_add(GRASS, LEAVES, 30.0)
    assert needed is not None
    assert 10 * needed == pytest.approx(3.5, abs=0.05)


def test_moisture_of_grass_and_leaves_cornell_1996() -> None:
    # The same, for the water: 10 kg of grass with almost 7 kg of leaves have 60 %.
    assert moisture([(GRASS, 10.0), (LEAVES, 6.8)]) == pytest.approx(0.60, abs=0.001)


def test_straw_to_droppings_by_hand() -> None:
    # By hand: 10 kg of droppings at 72.5 % water are 2.75 kg dry, of it 0.22 kg nitrogen and
    # 1.32 kg carbon. 15 kg of straw at 12 % water are 13.2 kg dry, of it 0.0924 kg nitrogen and
    # 7.392 kg carbon. Together 8.712 kg of carbon to 0.3124 kg of nitrogen: 27.9. Water: 7.25 kg
    # and 1.8 kg in 25 kg: 36.2 %; to 55 % it lacks (0.55 * 25 - 9.05) / 0.45 = 10.4 kg.
    parts = [(material("droppings"), 10.0), (material("straw"), 15.0)]
    assert carbon_to_nitrogen(parts) == pytest.approx(27.9, abs=0.05)
    assert moisture(parts) == pytest.approx(0.362, abs=0.0005)
    assert water_kg(parts, 0.55) == pytest.approx(10.44, abs=0.05)


@pytest.mark.parametrize("key", [key for key in MATERIALS if key != "grass"])
@pytest.mark.parametrize("ratio", [25.0, 30.0])
def test_a_mix_has_the_ratio_that_was_asked_for(key: str, ratio: float) -> None:
    made = mix(key, ratio)
    assert made is not None
    droppings, added = material("droppings"), material(key)
    parts = [(droppings, 1.0), (added, made.kg)]
    assert carbon_to_nitrogen(parts) == pytest.approx(ratio)
    assert made.moisture == pytest.approx(moisture(parts))
    # Buckets: as many litres of the one to ten litres of the other.
    assert made.buckets * 10 == pytest.approx(litres(key, made.kg * kilograms("droppings", 10.0)))
    if made.water_l_per_bucket:
        bucket = kilograms("droppings", 10.0)
        wet = made.moisture * bucket * (1 + made.kg) + made.water_l_per_bucket
        whole = bucket * (1 + made.kg) + made.water_l_per_bucket
        assert wet / whole == pytest.approx(0.55)


def test_what_is_rich_in_nitrogen_itself_balances_nothing() -> None:
    # Grass clippings have 9 to 25 parts of carbon to one of nitrogen (Rynk et al. 1992).
    assert mix("grass", 30.0) is None


def test_more_carbon_is_wanted_for_a_higher_ratio() -> None:
    for key in MATERIALS:
        low, high = mix(key, 25.0), mix(key, 30.0)
        assert (low is None) is (high is None)
        if low is not None and high is not None:
            assert low.kg < high.kg


@given(
    st.floats(0.001, 0.1), st.floats(4, 24), st.floats(0.05, 0.9),
    st.floats(0.0005, 0.02), st.floats(31, 700), st.floats(0.05, 0.9), st.floats(24, 30),
)  # fmt: skip
def test_the_second_material_brings_any_mix_to_the_ratio(
    nitrogen: float, low: float, wet: float, other: float, high: float, dry: float, ratio: float
) -> None:
    base, added = Material(nitrogen, low, wet, 800.0), Material(other, high, dry, 100.0)
    kg = kg_to_add(base, added, ratio)
    assert kg is not None
    assert carbon_to_nitrogen([(base, 1.0), (added, kg)]) == pytest.approx(ratio)


def test_a_mix_of_nothing_is_refused() -> None:
    with pytest.raises(ValueError, match="nothing in this mix"):
        moisture([])
    with pytest.raises(ValueError, match="no nitrogen"):
        carbon_to_nitrogen([])
    with pytest.raises(facts.UnknownFigure):
        mix("gold", 30.0)
