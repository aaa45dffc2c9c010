"""A steady flock in figures: the sizing case, worked again by hand, and what each figure moves."""

from dataclasses import replace
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from quailwright.accounts.what_moves import Keeping, bars_of

# 40 hens and 8 cocks at 26 g, a tenth of that spilled, 24.00 for 25 kg, 72 % lay.
SIZED = Keeping(40, 8, 26, 26, 1.10, 24.00 / 25, 0.72)


def test_the_sizing_case_by_independent_arithmetic() -> None:
    """9.61 kg and 9.23 a week, 0.55 a dozen, cocks 1.54 a week: given with the case itself."""
    eaten_kg = Fraction(48 * 26 * 7, 1000)
    used_kg = eaten_kg + eaten_kg / 10
    cost = used_kg / 25 * 24
    dozens = Fraction(40 * 7 * 72, 100) / 12
    assert round(float(used_kg), 2) == 9.61
    assert round(float(cost), 2) == 9.23
    assert round(float(cost / dozens), 2) == 0.55
    assert round(float(cost * 8 / 48), 2) == 1.54
    assert pytest.approx(float(used_kg)) == SIZED.feed_kg_a_week
    assert pytest.approx(float(cost)) == SIZED.feed_a_week
    assert pytest.approx(float(cost / dozens)) == SIZED.per_dozen
    assert pytest.approx(float(cost * 8 / 48)) == SIZED.cocks_a_week


def test_raising_by_hand() -> None:
    """Invented: 4 of 40 hens go in ten weeks, each of two eggs at 0.30 and 0.6 kg of feed."""
    keeping = replace(
        SIZED, deaths_a_week=0.0, kept_w=100.0, egg_price=0.30, raised_an_egg=0.5, raise_kg=0.6
    )
    raised = 0.30 / 0.5 + 0.6 * 0.96
    assert keeping.hen_raised == pytest.approx(raised)
    assert keeping.per_dozen == pytest.approx(SIZED.per_dozen + 0.4 * raised / 16.8)


figures = st.floats(0.01, 100.0)
keepings = st.builds(
    Keeping,
    hens=figures,
    cocks=figures,
    hen_g=figures,
    cock_g=figures,
    used_over_eaten=st.floats(1.0, 1.5),
    feed_per_kg=figures,
    lay=st.floats(0.05, 0.8),
    other_per_week=figures,
    deaths_a_week=st.floats(0.0001, 0.1),
    kept_w=st.floats(10.0, 200.0),
    egg_price=figures,
    raised_an_egg=st.floats(0.1, 0.8),
    raise_kg=figures,
    raise_other=figures,
)


@given(keepings)
@settings(max_examples=100, deadline=None)
def test_parts_add_up_and_costs_move_the_way_they_must(keeping: Keeping) -> None:
    assert sum(keeping.parts.values()) == pytest.approx(keeping.per_dozen)
    bars = {bar.what: bar for bar in bars_of(keeping)}
    swings = [bar.swing for bar in bars_of(keeping)]
    assert swings == sorted(swings, reverse=True)
    for dearer in ("feed_per_kg", "spill", "deaths_a_week", "cocks"):
        assert bars[dearer].at_low < bars[dearer].at_high
    for cheaper in ("lay", "raised_an_egg"):
        assert bars[cheaper].at_low > bars[cheaper].at_high
    for name in ("feed_per_kg", "lay", "deaths_a_week", "raised_an_egg", "cocks"):
        bar = bars[name]
        assert min(bar.at_low, bar.at_high) <= keeping.per_dozen <= max(bar.at_low, bar.at_high)


def test_a_figure_that_moves_nothing_has_no_bar() -> None:
    names = {bar.what for bar in bars_of(replace(SIZED, cocks=0.0))}
    assert names == {"feed_per_kg", "lay", "spill"}


def test_where_less_is_used_than_birds_eat_there_is_no_bar_of_spill() -> None:
    """Spill would be below nothing, and the range from `at_low` would not hold the present."""
    names = {bar.what for bar in bars_of(replace(SIZED, used_over_eaten=0.8))}
    assert "spill" not in names
    assert "lay" in names
