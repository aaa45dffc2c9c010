"""Signs of a hatch under way."""

import pytest
from tests.guide.rounds import day, hatch, home, round_on
from tests.makers import made

from quailwright.journal.entries import Entry

WEIGHED_AT = "T20:00+01:00"


def weighed(number: int, grams: float, eggs: int = 24) -> Entry:
    return made("eggs_weighed", f"{day(number)}{WEIGHED_AT}", hatch="may", eggs=eggs, total_g=grams)


@pytest.mark.parametrize(
    ("at_day_7", "sign"),
    # of 264 g: Romao et al. 2009, LRRD 21(3), lost 11.96 % at 36 % humidity, 8.94 at 52 and 4.89
    # at 76.5 in 15 days; at 7 days that is 5.58, 4.17 and 2.28 %. Only the last hatched worse.
    [(264 * (1 - 0.0558), ""), (264 * (1 - 0.0417), ""), (264 * (1 - 0.0228), "slowly"),
     (264 * (1 - 0.085), "fast")],
)  # fmt: skip
def test_the_line_of_weight_lost_romao_2009(at_day_7: float, sign: str) -> None:
    journal = [home(), hatch(), weighed(0, 264), weighed(7, at_day_7)]
    found = [one for one in round_on(journal, day(8)).signs if "dry too" in one.sign]
    assert [one.sign for one in found] == ([f"eggs dry too {sign}"] if sign else [])
    if sign == "slowly":
        assert "less water" in found[0].check
        assert found[0].where == "may"


def test_one_weighing_or_too_few_days_tell_nothing() -> None:
    early = [home(), hatch(), weighed(0, 264), weighed(3, 263)]
    assert not [one for one in round_on(early, day(4)).signs if "dry too" in one.sign]


def test_after_the_stop_of_turning_nothing_more_is_said() -> None:
    stopped = made("turning_stopped", f"{day(14)}{WEIGHED_AT}", hatch="may")
    journal = [home(), hatch(), weighed(0, 264), weighed(7, 258), stopped]
    assert not [one for one in round_on(journal, day(15)).signs if "dry too" in one.sign]


@pytest.mark.parametrize(
    ("fields", "sign"),
    [
        ({"lowest_c": 35.0}, "machine too cold"),
        ({"lowest_c": 37.0, "highest_c": 38.0}, None),
        ({"highest_c": 41.5}, "machine too hot"),
        ({"lowest_c": 20.0, "spot": "room"}, None),
    ],
)
def test_the_machines_lowest_and_highest(fields: dict[str, object], sign: str | None) -> None:
    """36 °C constant hatches half, 40 °C hardly more: Romao et al. 2009, Arch Vet Sci 14(3)."""
    seen = made("temperature_seen", f"{day(6)}T07:00+01:00", place="incubator", **fields)
    journal = [home(), hatch(), seen]
    found = [one for one in round_on(journal, day(6)).signs if "machine too" in one.sign]
    assert [one.sign for one in found] == ([sign] if sign else [])
    later = [one for one in round_on(journal, day(9)).signs if "machine too" in one.sign]
    assert later == []
