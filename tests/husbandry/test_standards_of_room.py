"""Standards of room, against the published figures that stand beside each check."""

from typing import get_args

import pytest
from hypothesis import given
from hypothesis import strategies as st

from quailwright.husbandry import facts, housing
from quailwright.husbandry.housing import (
    STANDARDS,
    StandardKey,
    asked_m2,
    floor_by_standard,
    further_birds,
    height_asked,
    height_class,
    least_m2,
    needed_m2,
)

KEYS: tuple[StandardKey, ...] = get_args(StandardKey)
ages = st.one_of(st.none(), st.integers(0, 400))
flocks = st.lists(st.tuples(ages, st.integers(0, 60)), max_size=4)


@pytest.mark.parametrize(
    ("standard", "floor_m2", "birds"),
    [
        # Aichi Agricultural Research Center, report 47, 2015/16: 80 cm² a bird in cages.
        ("trade", 0.80, 100),
        # Keepers, 2 birds to the square foot (0.0929 m²) on wire: 20 on 10 square feet less a hair
        # of rounding. Common practice, no source.
        ("wire", 0.9302, 20),
        # Keepers, 2 to 3 square feet each on solid floor: 10 on 2 m². Common practice, no source.
        ("solid", 2.0, 10),
        # reference/flock_biology.md section 6: 0.1 m² a bird.
        ("default", 2.4, 24),
        # Swiss Animal Protection Ordinance of 2008: 0.5 m² for six, 0.045 m² for each further one.
        ("swiss", 0.499, 0),
        ("swiss", 0.5, 6),
        ("swiss", 0.5 + 4 * 0.045, 10),
        # Austrian rule: 450 cm² each, no pen below 5,000 cm².
        ("austrian", 0.45, 0),
        ("austrian", 0.9, 20),
        # Directive 2010/63/EU, Annex III, Table 8.3, from memory: above 150 g 0.6 m² each of a
        # pair, 0.15 m² for each further one, no enclosure below 1 m².
        ("laboratory", 0.99, 0),
        ("laboratory", 1.2, 2),
        ("laboratory", 1.2 + 0.15 * 10, 12),
    ],
)
def test_birds_that_a_floor_has_room_for_as_printed(
    standard: StandardKey, floor_m2: float, birds: int
) -> None:
    assert further_birds(floor_m2, standard, bounded=False) == birds


@pytest.mark.parametrize(
    ("age_d", "cm2"),
    # Keepers: 0.1, 0.25 and 0.5 square feet (929 cm²) in weeks 0 to 2, 3 to 4 and 4 to 6.
    [(3, 93), (20, 232), (30, 465), (43, 465)],
)
def test_floor_of_growing_birds_on_wire_common_practice(age_d: int, cm2: float) -> None:
    floor = floor_by_standard(age_d, "wire").value
    assert floor is not None
    assert floor * 10_000 == pytest.approx(cm2, abs=1)


def test_a_standard_without_a_figure_for_chicks_takes_the_default() -> None:
    for standard in ("swiss", "austrian", "laboratory"):
        assert floor_by_standard(10, standard).key == "standards.default_floor_week_2_3"


# The figures that stand in two tables are one.
@pytest.mark.parametrize(
    ("standard", "shared"),
    [
        ("default_floor_week_1", "brooding.floor_week_1"),
        ("default_floor_week_2_3", "brooding.floor_week_2_3"),
        ("default_floor_week_4_6", "brooding.floor_week_4_6"),
        ("default_floor_adult", "housing.floor_m2_adult"),
        ("wire_floor_adult", "housing.floor_m2_adult"),
        ("solid_floor_adult", "housing.floor_m2_adult"),
        ("trade_floor_adult", "housing.floor_m2_adult"),
        ("laboratory_floor_adult", "housing.floor_m2_adult"),
        ("laboratory_enclosure", "housing.enclosure_m2_minimum"),
        ("default_height", "housing.height_low_m"),
        ("solid_height", "housing.height_high_m"),
    ],
)
def test_figures_of_two_tables_agree(standard: str, shared: str) -> None:
    assert facts.value(f"standards.{standard}") in {row.value for row in facts.rows(shared)}


# Density trials, reference/brooder.csv: deaths of layers 2.27 % at 252 cm², 12.5 % at 107.
def test_no_standard_lets_the_least_pass() -> None:
    assert least_m2([(None, 40)]) == pytest.approx(40 * 0.025)
    for standard in KEYS:
        assert needed_m2([(None, 40)], standard) >= 40 * 0.025
    assert asked_m2([(None, 40)], "trade") < 40 * 0.025
    assert further_birds(1.0, "trade") == 40
    assert further_birds(1.0, "trade", bounded=False) == 125


@given(st.floats(0, 30), flocks, ages)
def test_a_stricter_standard_never_has_room_for_more(
    floor_m2: float, there: list[tuple[int | None, int]], age_d: int | None
) -> None:
    """Stricter: it asks for at least as much for every number of birds of each age."""
    strictness = (("trade", "wire"), ("wire", "solid"), ("default", "solid"), ("austrian", "swiss"))
    for loose, strict in (*strictness, *((None, each) for each in KEYS)):
        if loose == "default" and age_d is not None and age_d <= 7:
            continue  # the default gives day-olds 100 cm², keepers 93
        young = any(age is not None and age <= 7 for age, _ in there)
        if loose == "default" and young:
            continue
        assert further_birds(floor_m2, strict, there, age_d) <= further_birds(
            floor_m2, loose, there, age_d
        )


@given(st.floats(0.0, 30), st.sampled_from(KEYS), flocks, ages)
def test_as_many_as_there_is_room_for_fit_and_one_more_does_not(
    floor_m2: float, standard: StandardKey, there: list[tuple[int | None, int]], age_d: int | None
) -> None:
    more = further_birds(floor_m2, standard, there, age_d)
    if more:
        assert needed_m2([*there, (age_d, more)], standard) <= floor_m2 + 1e-8
    assert needed_m2([*there, (age_d, more + 1)], standard) > floor_m2


@given(st.sampled_from(KEYS), flocks, ages, st.integers(1, 30))
def test_more_birds_never_need_less(
    standard: StandardKey, there: list[tuple[int | None, int]], age_d: int | None, more: int
) -> None:
    before = needed_m2(there, standard)
    assert needed_m2([*there, (age_d, more)], standard) >= before - 1e-12


# Low 20 to 30 cm, tall 1.2 to 1.8 m, head injuries between. Common practice, no source.
@pytest.mark.parametrize(
    ("height_m", "height"),
    [(0.2, "low"), (0.25, "low"), (0.3, "low"), (0.31, "between"), (0.6, "between"),
     (1.19, "between"), (1.2, "high"), (1.8, "high")],
)  # fmt: skip
def test_height_classes_common_practice(height_m: float, height: str) -> None:
    assert height_class(height_m) == height


def test_a_height_that_a_rule_asks_for() -> None:
    # Swiss Federal Food Safety and Veterinary Office, Quail: at least 50 cm. Austria: 40 cm.
    assert [height_asked(h, "swiss") for h in (0.4, 0.5, 0.9)] == [False, True, True]
    assert [height_asked(h, "austrian") for h in (0.35, 0.4)] == [False, True]
    assert not height_asked(0.5, None)
    assert not height_asked(0.5, "wire")


def test_every_standard_says_what_it_asks() -> None:
    assert {key for key, one in STANDARDS.items() if one.has_floor} == set(KEYS)
    for key, one in STANDARDS.items():
        assert one.asks
        assert any(row.startswith(f"standards.{key}_") for row in facts.keys("standards"))


def test_impossible_ages_and_standards_are_refused() -> None:
    with pytest.raises(ValueError, match="days old"):
        needed_m2([(-1, 3)], "wire")
    with pytest.raises(facts.UnknownFigure):
        housing.asked_m2([(None, 3)], "palace")
