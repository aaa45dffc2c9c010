"""The heat balance of a box, against handbooks, physics and what must hold of any box."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from quailwright.husbandry import facts
from quailwright.husbandry.brooding import danger_c, heat_range_c
from quailwright.husbandry.heat_balance import (
    LIDS,
    MATERIALS,
    Box,
    Losses,
    air_held_c,
    air_w_per_k,
    bird_heat_w,
    exchange_m3_h,
    heat_capacity_j_k,
    hours_to_cool,
    losses,
    thicker,
    u_value_w_m2k,
    watts_needed,
)

BOX = Box(0.8, 0.6, 0.45, "plywood", 0.012, litter_m=0.05)
OPEN = Box(0.8, 0.6, 0.45, "plywood", 0.012, "open", 0.05)

boxes = st.builds(
    Box,
    st.floats(0.2, 3.0),
    st.floats(0.2, 3.0),
    st.floats(0.2, 1.5),
    st.sampled_from(MATERIALS),
    st.floats(0.001, 0.2),
    st.sampled_from(LIDS),
    st.floats(0.0, 0.15),
)
cases = st.sampled_from(["least", "usual", "most"])


# Against handbooks.


def test_u_value_of_a_brick_wall_chudley_and_greeno() -> None:
    # Chudley and Greeno, Building Construction Handbook, Thermal Insulation, U-Value Calculations:
    # 215 mm of brick (0.84 W/mK) and 13 mm of plaster (0.50), surfaces 0.055 and 0.123: 2.17.
    wall = [(0.215, 0.84), (0.013, 0.50)]
    assert u_value_w_m2k(wall, 0.123, 0.055) == pytest.approx(2.17, abs=0.005)


def test_u_value_of_block_and_polystyrene_lesson_on_heat_flows() -> None:
    # A school guide to heat flows: 10 x 0.01, 5 cm of polystyrene at 0.25 a cm and 0.04 make 1.39,
    # with surfaces 0.12 and 0.06 1.57 m2K/W: 0.64 W/m2K.
    layers = [(0.10, 1.0), (0.05, 0.04), (0.01, 0.25)]
    assert u_value_w_m2k(layers, 0.12, 0.06) == pytest.approx(0.64, abs=0.005)


def test_heat_loss_of_a_room_with_air_changes_worked_example() -> None:
    # A worked example for a ground floor room: 3.3 x 3 x 2.3 m with 2 air changes at 0.33
    # W/m3K 15.03 W/K; glass 17.4, wall 20.7 and floor 9.9 W/K: 63.03 W/K, times 22 K. The 0.33 is
    # printed rounded from 1200 J/m3K / 3600 s = 0.3333.
    air_m3_h = 3.3 * 3.0 * 2.3 * 2.0
    assert float(air_w_per_k(air_m3_h)) == pytest.approx(15.03, rel=0.011)
    room = Losses(17.4 + 20.7, 0.0, 9.9, air_m3_h, 0.0, 0.055)
    assert float(room.watts(21.0, -1.0)) == pytest.approx(63.03 * 22.0, rel=0.003)


def test_air_carries_a_third_of_a_watt_hour_mackay_2009() -> None:
    # MacKay 2009, Sustainable Energy - without the hot air, page 289 and 290: 1.2 kJ/m3/K, so
    # that N changes an hour of V m3 take NV/3 W for each kelvin.
    assert float(air_w_per_k(1.0)) == pytest.approx(1.0 / 3.0)


def test_heat_of_birds_reference_rows() -> None:
    # Rows of the reference, worked out from the same two papers: 0.2 to 0.35 W at 25 g on day 7,
    # 0.95 to 1.4 W at 100 g on day 21; 1.4 W at 180 g on day 35 by the first alone.
    low, _, high = bird_heat_w(7, 25.0)
    assert [low, high] == [pytest.approx(0.2, abs=0.05), pytest.approx(0.35, abs=0.005)]
    low, _, high = bird_heat_w(21, 100.0)
    assert [low, high] == [pytest.approx(0.95, abs=0.005), pytest.approx(1.4, abs=0.02)]
    assert bird_heat_w(35, 180.0)[0] == pytest.approx(1.4, abs=0.005)


def test_exchange_through_an_opening_grows_with_the_five_halves_of_its_width() -> None:
    # Epstein 1988, J Heat Transfer 110:885-893: Q = 0.055 (D^5 g drho/rho)^0.5 of short openings
    # (the number from memory). A hole of 0.2 m under air 10 K warmer, about 20 degrees C.
    area = math.pi * 0.1**2
    by_hand = 0.055 * math.sqrt(0.2**5 * 9.80665 * 10.0 / 293.15) * 3600.0
    assert float(exchange_m3_h(area, 25.0, 15.0, 0.055)) == pytest.approx(by_hand)
    wide = float(exchange_m3_h(4 * area, 25.0, 15.0))
    assert wide == pytest.approx(2**2.5 * float(exchange_m3_h(area, 25.0, 15.0)))
    assert float(exchange_m3_h(area, 15.0, 25.0)) == 0.0


# Against physics.


@pytest.mark.parametrize("to_c", [34.0, 25.0, 15.1])
def test_cooling_is_newtons_exponential(to_c: float) -> None:
    # Newton's law of cooling: T = Ts + (T0 - Ts) exp(-t H / C), so t = C/H ln((T0-Ts)/(T-Ts)); the
    # birds' 5 W over 2.5 W/K keep it 2 K above the room.
    lost = Losses(1.5, 0.5, 0.5, 0.0, 0.0, 0.055)
    hours = hours_to_cool(lost, 20_000.0, 5.0, 35.0, to_c, 10.0)
    by_hand = 20_000.0 / 2.5 * math.log((35.0 - 12.0) / (to_c - 12.0)) / 3600.0
    assert hours == pytest.approx(by_hand, rel=1e-5)


def test_cooling_ends_where_the_birds_hold_it() -> None:
    lost = Losses(1.5, 0.5, 0.5, 0.0, 0.0, 0.055)
    assert hours_to_cool(lost, 20_000.0, 5.0, 35.0, 12.0, 10.0) == math.inf
    assert hours_to_cool(lost, 20_000.0, 5.0, 20.0, 25.0, 10.0) == 0.0


def test_of_a_closed_box_the_rise_is_watts_over_watts_per_kelvin() -> None:
    lost = losses(BOX)
    per_k = lost.through_parts_w_k + float(air_w_per_k(lost.fresh_m3_h))
    assert air_held_c(lost, 60.0, 18.0) - 18.0 == pytest.approx(60.0 / per_k, rel=1e-12)


def test_box_by_hand() -> None:
    # ISO 6946 with still air on both sides, plywood of 12 mm: sides 1 / (0.26 + 0.012 / 0.13).
    lost = losses(BOX)
    assert lost.sides_w_k == pytest.approx(2 * 1.4 * 0.45 / (0.26 + 0.012 / 0.13))
    assert lost.lid_w_k == pytest.approx(0.48 / (0.20 + 0.012 / 0.13))
    assert lost.floor_w_k == pytest.approx(0.48 / (0.34 + 0.012 / 0.13 + 0.05 / 0.065))
    assert lost.fresh_m3_h == pytest.approx(2 * 0.48 * 0.40)
    assert losses(BOX, 1.0).fresh_m3_h == pytest.approx(3.7)


# What must hold of any box.


@given(boxes, cases, st.floats(0, 500), st.floats(-20, 35), st.floats(0, 5))
def test_energy_balance_closes(
    box: Box, case: str, heat_w: float, room_c: float, birds_kg: float
) -> None:
    lost = losses(box, birds_kg, case)  # type: ignore[arg-type]
    held = air_held_c(lost, heat_w, room_c)
    assert float(lost.watts(held, room_c)) == pytest.approx(heat_w, rel=1e-9, abs=1e-9)


@given(boxes, cases, st.floats(0, 500), st.floats(0, 500), st.floats(-20, 35))
def test_more_watts_are_never_colder(
    box: Box, case: str, watts: float, more: float, room_c: float
) -> None:
    lost = losses(box, 0.3, case)  # type: ignore[arg-type]
    assert air_held_c(lost, watts + more, room_c) >= air_held_c(lost, watts, room_c) - 1e-9


@given(boxes, cases, st.floats(0.001, 0.2), st.floats(-20, 34))
def test_more_insulation_never_needs_more(box: Box, case: str, by_m: float, room_c: float) -> None:
    bare = losses(box, 0.3, case)  # type: ignore[arg-type]
    lined = losses(thicker(box, by_m), 0.3, case)  # type: ignore[arg-type]
    needed = watts_needed(bare, 35.0, room_c, 4.0)
    assert watts_needed(lined, 35.0, room_c, 4.0) <= needed + 1e-9


@given(boxes, st.floats(-20, 34), st.floats(0, 20))
def test_the_three_cases_are_in_order(box: Box, room_c: float, birds_w: float) -> None:
    least, usual, most = (
        float(watts_needed(losses(box, 0.3, case), 35.0, room_c, birds_w))
        for case in ("least", "usual", "most")
    )
    assert least <= usual + 1e-9
    assert usual <= most + 1e-9
    capacities = [heat_capacity_j_k(box, 0.3, case) for case in ("most", "usual", "least")]
    assert capacities == sorted(capacities)


def test_an_open_top_takes_many_times_the_watts_of_a_closed_one() -> None:
    closed, half, wide = (
        float(watts_needed(losses(box, 0.3), 35.0, 20.0, 4.0))
        for box in (BOX, Box(0.8, 0.6, 0.45, "plywood", 0.012, "half", 0.05), OPEN)
    )
    assert closed < half < wide
    assert wide > 3 * closed


def test_watts_of_many_rooms_at_once() -> None:
    rooms = np.array([10.0, 20.0, 40.0])
    needed = watts_needed(losses(BOX), 35.0, rooms, 0.0)
    assert needed.shape == (3,)
    assert needed[0] > needed[1] > needed[2] == 0.0


def test_a_box_told_its_air_changes_has_just_those() -> None:
    told = Box(0.8, 0.6, 0.45, "plywood", 0.012, "closed", 0.05, 6.0)
    for case in ("least", "usual", "most"):
        assert losses(told, 3.0, case).fresh_m3_h == pytest.approx(6 * 0.48 * 0.40)


@pytest.mark.parametrize(
    "wrong",
    [
        {"length_m": 0.0},
        {"height_m": -1.0},
        {"width_m": math.nan},
        {"thickness_m": 0.0},
        {"litter_m": 0.5},
        {"litter_m": -0.1},
        {"air_changes_h": -1.0},
    ],
)
def test_boxes_that_cannot_be_are_refused(wrong: dict[str, float]) -> None:
    sizes = {"length_m": 0.8, "width_m": 0.6, "height_m": 0.45, "thickness_m": 0.012}
    with pytest.raises(ValueError, match=r"box|litter|Air changes"):
        Box(**(sizes | wrong), wall="plywood")  # type: ignore[arg-type]


def test_figures_that_cannot_be_are_refused() -> None:
    lost = losses(BOX)
    for refused in (
        lambda: u_value_w_m2k([(0.1, 0.0)], 0.13, 0.04),
        lambda: losses(BOX, -1.0),
        lambda: watts_needed(lost, math.nan, 20.0, 0.0),
        lambda: air_held_c(lost, -1.0, 20.0),
        lambda: air_held_c(lost, math.inf, 20.0),
        lambda: hours_to_cool(lost, 0.0, 0.0, 35.0, 20.0, 10.0),
        lambda: bird_heat_w(-1, 10.0),
        lambda: bird_heat_w(3, 0.0),
    ):
        with pytest.raises(ValueError, match=r"."):
            refused()


def test_every_material_has_its_figures() -> None:
    for material in MATERIALS:
        assert facts.value(f"brooder_box.conductivity_{material}") > 0
        assert facts.value(f"brooder_box.heat_capacity_{material}") > 0


def test_danger_falls_with_age_and_lies_below_what_sources_want() -> None:
    # Keepers: deaths at 2 weeks in the fifties of degrees F (10 to 15 degrees C); groups came
    # through 5 to 10 degrees C at 3.5 weeks. Common practice, no source.
    lines = [danger_c(age)[0] for age in range(43)]
    assert lines == sorted(lines, reverse=True)
    assert danger_c(14) == (15.0, 10.0)
    assert danger_c(25) == (5.0, 5.0)
    assert all(danger_c(age)[0] < heat_range_c(age)[0] for age in range(43))
