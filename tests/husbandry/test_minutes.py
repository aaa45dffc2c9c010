"""The split of care into tasks adds up to the minutes a day that keepers report."""

import pytest

from quailwright.husbandry import facts

DAYS = 61


def visit(task: str, birds: int) -> float:
    base = facts.value(f"care.min_{task}")
    return base + facts.value(f"care.min_{task}_bird") * birds


def adults_a_day(pens: int, birds: int) -> float:
    each = birds // pens
    daily = sum(
        visit("feed_water", each) / facts.value("care.feed_water_interval_d")
        + visit("drinker_clean", each) / facts.value("care.drinker_clean_interval_d")
        + visit("collect_eggs", each) / facts.value("care.collect_interval_d")
        + visit("look_count", each)
        for _ in range(pens)
    )
    trays = pens * visit("trays", each) / facts.value("care.tray_interval_d")
    mesh = pens * visit("mesh_check", each) / facts.value("care.mesh_check_interval_d")
    return daily + trays + mesh


def hatch_over(days: int, eggs: int) -> float:
    turning_days = min(days, int(facts.value("incubation.turning_stop_day")))
    turns = facts.value("incubation.turns_per_day") * turning_days
    return (
        visit("turn_eggs", eggs) * turns
        + 2 * visit("machine_check", eggs) * days
        + visit("top_up_water", eggs) * days
    )


def brooder_a_day(chicks: int) -> float:
    return (
        visit("brooder_feed_water", chicks)
        + 3 * visit("brooder_check", chicks)
        + visit("brooder_bedding", chicks) / facts.value("brooding.bedding_interval_d")
    )


# Common practice, no source: about 5 minutes a day for a flock of about 40 adults.
@pytest.mark.parametrize("pens", [1, 2, 4])
def test_forty_adults_take_about_five_minutes_a_day_common_practice(pens: int) -> None:
    assert 4.3 <= adults_a_day(pens, 40) <= 5.7


# Common practice, no source: about 15 minutes a day while incubating and brooding.
@pytest.mark.parametrize("pens", [1, 2, 4])
@pytest.mark.parametrize("days", [14, 17])
def test_hatch_and_brooder_make_it_about_fifteen_common_practice(pens: int, days: int) -> None:
    minutes = adults_a_day(pens, 40) + hatch_over(days, 48) / days + brooder_a_day(30)
    assert 13 <= minutes <= 17


# Common practice, no source: cages washed in 1 to 2 hours, about every two months.
@pytest.mark.parametrize("pens", [1, 2, 4])
def test_wash_of_every_pen_takes_one_to_two_hours_common_practice(pens: int) -> None:
    washes = DAYS / facts.value("care.wash_interval_d")
    assert 60 <= washes * pens * visit("wash", 40 // pens) <= 120


@pytest.mark.parametrize(
    "task",
    [
        "feed_water",
        "drinker_clean",
        "collect_eggs",
        "look_count",
        "trays",
        "mesh_check",
        "wash",
        "brooder_check",
        "brooder_feed_water",
        "brooder_bedding",
        "machine_check",
        "turn_eggs",
        "top_up_water",
        "candle",
        "weigh_tray",
        "move_chicks",
        "sexing",
        "weigh_sample",
        "open_eggs",
    ],
)
def test_task_minutes_are_inferred_and_say_so(task: str) -> None:
    base, more = facts.figure(f"care.min_{task}"), facts.figure(f"care.min_{task}_bird")
    assert base.unit == "min"
    assert more.unit in {"min/bird", "min/egg"}
    assert {base.certainty, more.certainty} == {"inferred"}
    assert visit(task, 10) > 0
