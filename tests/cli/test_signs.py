"""What looks wrong, through the command line: 36 chicks, and one cold night."""

from datetime import datetime

import pytest
from tests.cli.conftest import Quail

CORNER = ("found=chilled", "together=true")
READ = ("temperature_seen", "place=brooder", "lowest_c=12", "spot=away")
FAILED = ("outage", "place=brooder", "minutes=240", "lowest_c=12")


@pytest.fixture
def brood(quail: Quail) -> Quail:
    """36 chicks in a brooder, of which 1, 0, 4, 0 and 0 die; `told` of the four follows."""
    for words in (
        ("holding", "name=Home", "timezone=Europe/Lisbon", "at=2027-01-01"),
        ("place", "place=brooder", "role=brooder", "at=2027-01-01"),
        ("group", "group=chicks", "place=brooder", "chicks=36", "hatched_on=2027-05-02",
         "at=2027-05-02"),
        ("birds_died", "group=chicks", "chicks=1", "at=2027-05-02"),
    ):  # fmt: skip
        assert quail("log", *words).code == 0
    return quail


@pytest.mark.parametrize(
    ("told", "more"),
    [
        (CORNER, (*READ, "at=2027-05-04")),
        (("together=true",), (*READ, "at=2027-05-04")),
        ((), (*READ, "at=2027-05-04")),
        ((), (*READ, "at=2027-05-04T07:00+01:00")),
        (CORNER, ()),
        ((), (*FAILED, "at=2027-05-04")),
        ((), (*FAILED, "at=2027-05-03")),
    ],
)
def test_four_chicks_in_one_corner_at_dawn(
    brood: Quail, told: tuple[str, ...], more: tuple[str, ...]
) -> None:
    at = "at=2027-05-04T06:00+01:00"
    assert brood("log", "birds_died", "group=chicks", "chicks=4", *told, at).code == 0
    if more:
        assert brood("log", *more).code == 0
    for on in ("2027-05-04", "2027-05-06"):
        answer = brood("today", "--on", on, "--json").json
        [sign] = [one for one in answer["signs"] if one["sign"] == "deaths of one night"]
        assert (sign["where"], sign["since"]) == ("brooder", "2027-05-04")
        assert sign["check"].startswith("Chilling first. Tonight:")
        assert "5 dead of 36: 1 on Sun 2 May, 4 on Tue 4 May." in sign["evidence"]
        assert any("drinker" in text for text in sign["then"])
        assert sign["ring"]
    shown = brood("today", "--on", "2027-05-06").out
    assert "Chilling first. Tonight:" in " ".join(shown.split())


def test_the_counts_alone(brood: Quail) -> None:
    brood("log", "birds_died", "group=chicks", "chicks=4", "at=2027-05-04")
    answer = brood("today", "--on", "2027-05-06", "--json").json
    [sign] = [one for one in answer["signs"] if one["sign"] == "deaths of one night"]
    assert sign["check"].startswith("Rule out chilling first. Tonight:")


def test_a_sensor_tells_of_the_night_and_not_before_it(brood: Quail, end_of_june: datetime) -> None:
    brood("log", "birds_died", "group=chicks", "chicks=4", "at=2027-05-04T06:00+01:00")
    lines = ["time,temperature"]
    for n in range(72):
        cold = 12 if 30 <= n < 40 else 27
        lines.append(f"2027-05-03T{18 + n // 12:02d}:{n % 12 * 5:02d}:00+01:00,{cold + n % 7 / 10}")
    text = "\n".join(lines) + "\n"
    kept = brood("readings", "import", "-", "--place", "brooder", stdin=text.encode())
    assert kept.code == 0, kept.err
    signs = brood("today", "--on", "2027-05-04", "--json").json["signs"]
    [sign] = [one for one in signs if one["sign"] == "deaths of one night"]
    assert sign["check"].startswith("Chilling first. Tonight:")
    assert "fell to 12" in sign["evidence"]
    before = brood("today", "--on", "2027-05-03T19:00+01:00", "--json").json["signs"]
    assert "brooder too cold" not in {one["sign"] for one in before}
