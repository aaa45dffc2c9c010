"""`brooding`: what a keeper sees, what scripts read, and what is refused."""

from pathlib import Path

import pytest
from tests.cli.conftest import Quail
from tests.cli.test_json import fits

ON = ("--on", "2027-05-02")
SPAN = (dict, type(None))
SHAPE = {
    "on": str, "group": str, "place": str, "birds": int, "age_days": int, "hatched_on": str,
    "room": dict, "box": SPAN, "watts": (int, float, type(None)),
    "price_per_kwh": (int, float, type(None)), "held_c": SPAN, "weeks": list, "kwh": SPAN,
    "cost": SPAN, "heat_days": int, "power_cut": SPAN, "changes": list, "seen": list,
    "heat_ends": dict, "out": dict, "cautions": list, "said": list,
}  # fmt: skip
WEEK = {
    "week": int, "from": str, "wanted_c": (int, float), "low_c": (int, float),
    "high_c": (int, float), "room_c": (int, float, type(None)), "birds_w": (int, float),
    "needed_w": SPAN,
    "duty": (int, float, type(None)), "kwh_a_day": SPAN, "enough": (str, type(None)),
}  # fmt: skip
BOX = ("--room", "18", "--box", "80x60x45")


@pytest.fixture
def brooder(quail: Quail) -> Quail:
    """A brooder of 100 W with 36 chicks of four days."""
    for words in (
        "holding name=Home timezone=Europe/Lisbon currency=EUR at=2027-01-01",
        "place place=nursery role=brooder heater_w=100 at=2027-01-01",
        "group group=chicks place=nursery chicks=36 hatched_on=2027-04-28 at=2027-04-28",
        "temperature_seen place=nursery spot=away lowest_c=12 highest_c=25 at=2027-05-01",
    ):
        answer = quail("log", *words.split())
        assert answer.code == 0, answer.err
    return quail


def test_json_is_that_of_the_docs(brooder: Quail) -> None:
    answer = brooder("brooding", *ON, *BOX, "--price", "0.25", "--json")
    assert (answer.code, answer.err) == (0, "")
    told = answer.json
    fits(told, SHAPE)
    for week in told["weeks"]:
        fits(week, WEEK)
    assert (told["group"], told["place"], told["watts"]) == ("chicks", "nursery", 100.0)
    assert told["cost"]["usual"] == pytest.approx(0.25 * told["kwh"]["usual"], abs=0.001)
    page = (Path(__file__).parents[2] / "docs" / "brooding.md").read_text(encoding="utf-8")
    for key in (*SHAPE, *WEEK):
        assert f"`{key}`" in page, key


def test_the_answer_comes_first_and_cautions_with_it(brooder: Quail) -> None:
    answer = brooder("brooding", *ON, *BOX)
    assert answer.code == 0
    lines = answer.out.splitlines()
    assert "36 birds" in lines[0]
    assert "Wanted at chick level now: 35 °C" in lines[1]
    for word in (
        "two supports",
        "Generators, gas",
        "residual-current",
        "power fails",
        "Foam",
        "dangerously cold",
        "mean air",
    ):
        assert word in answer.out, word
    assert "tell the price of a kWh" in answer.out
    assert "EUR" not in answer.out


def test_without_a_box_the_plan_is_told_and_what_is_missing(brooder: Quail) -> None:
    answer = brooder("brooding", *ON)
    assert answer.code == 0
    assert "tell the inside of the box" in answer.out
    assert "needed, W" not in answer.out


def test_inches_and_fahrenheit_are_the_same_box_and_room(brooder: Quail) -> None:
    metric = brooder("brooding", *ON, "--room", "20", "--box", "81.28x60.96x45.72", "--json").json
    us = brooder("brooding", *ON, "--room", "68F", "--box", "32x24x18in", "--json").json
    assert us["weeks"][0]["needed_w"] == metric["weeks"][0]["needed_w"]


def test_a_room_hotter_than_the_box_needs_no_heat(brooder: Quail) -> None:
    answer = brooder("brooding", *ON, "--room", "38", "--box", "80x60x45")
    assert answer.code == 0
    assert "no heat is needed" in answer.out


@pytest.mark.parametrize(
    ("words", "says"),
    [
        ("--watts 0", "Leave it empty to be told the watts"),
        ("--watts -5", "from 0 to 10000"),
        ("--watts nan", "is no number"),
        ("--room 99", "-40 to 50 °C"),
        ("--room warm", "is no number"),
        ("--room inf", "is no number"),
        ("--box 80x60", "length, width and height"),
        ("--box 80x-60x45", "from 0 to 1000"),
        ("--box 0x60x45", "length, width and height"),
        ("--box 80xnanx45", "is no number"),
        ("--thickness 0", "how thick"),
        ("--wall gold", "plywood"),
        ("--wall mesh", "holds no warm air"),
        ("--lid ajar", "closed, half, open"),
        ("--litter 60", "litter"),
        ("--air-changes -1", "from 0 to 200"),
        ("--price -1", "from 0"),
        ("--price 1,250", "two ways"),
        ("--birds 2.5", "from 0"),
        ("--age -1", "from 0"),
        ("--place moon", "There is no 'moon'"),
        ("--night may=8", "is no month"),
        ("--night 2027-05=cold", "is no number"),
        ("--room-in 2027-13=8", "is no month"),
    ],
)
def test_what_cannot_be_is_refused_in_a_sentence(brooder: Quail, words: str, says: str) -> None:
    answer = brooder("brooding", *ON, "--box", "80x60x45", *words.split())
    assert (answer.code, answer.out) == (2, "")
    assert says in answer.err
    assert "Traceback" not in answer.err


def test_a_group_without_a_hatching_day_asks_for_its_age(brooder: Quail) -> None:
    brooder("log", "group", "group=found", "place=nursery", "chicks=3", "at=2027-05-01")
    answer = brooder("brooding", "found", *ON)
    assert answer.code == 2
    assert "Nobody has told when found hatched" in answer.err
    assert brooder("brooding", "found", *ON, "--age", "10").code == 0


def test_nothing_recorded_still_plans_a_brooder(quail: Quail) -> None:
    assert quail("log", "holding", "name=Home", "timezone=Europe/Lisbon", "at=2027-01-01").code == 0
    answer = quail("brooding", "--age", "0", "--birds", "30", *BOX, "--on", "2027-05-02")
    assert answer.code == 0
    assert "30 birds" in answer.out


def test_a_low_box_has_no_room_for_a_lamp_and_blankets_come_after_the_plug(brooder: Quail) -> None:
    # Maine Fire Chiefs Association: 3 ft (0.9 m) between a heat lamp and what burns.
    low = brooder("brooding", *ON, *BOX).out
    assert "no room for a lamp" in low
    assert "Unplug the heater first" in low
    high = brooder("brooding", *ON, "--room", "18", "--box", "200x100x120").out
    assert "0.9 m from what burns" in high
    assert "no room for a lamp" not in high


def test_a_box_colder_than_the_danger_line_is_not_given_hours(brooder: Quail) -> None:
    cold = ("--room", "-10", "--box", "80x60x45", "--lid", "open")
    said = " ".join(brooder("brooding", *ON, *cold).out.split())
    assert "It is below 25 °C, the danger line at this age, as it stands." in said
    assert "after about 0 minutes" not in said
