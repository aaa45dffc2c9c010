"""`readings`: import and show, as a keeper and a script meet them."""

from pathlib import Path

import pytest
from tests.cli.conftest import Quail

EVENING = "time,temperature,humidity\n" + "".join(
    f"2027-05-20 {hour:02d}:{minute:02d},{37.5 + hour % 3 / 10},{45 + hour % 4}\n"
    for hour in range(24)
    for minute in (0, 15, 30, 45)
)


def test_readings_are_kept_once_and_summed_up(kept: Quail) -> None:
    Path("log.csv").write_text(EVENING)
    first = kept("readings", "import", "log.csv", "--place", "incubator", "--json")
    assert (first.code, first.json["written"], first.json["already"]) == (0, 96, 0)
    assert first.json["from"] == "2027-05-19T23:00:00Z"
    assert first.json["read_as"]["units"] == "c"
    again = kept("readings", "import", "log.csv", "--place", "incubator")
    assert again.out.startswith("0 readings kept, 96 were there already.")
    told = kept(
        "readings", "show", "--place", "incubator", "--from", "2027-05-20", "--until", "2027-05-20",
        "--json",
    ).json  # fmt: skip
    (instrument,) = told["instruments"]
    assert instrument["hours"] == 24
    assert instrument["temperature"]["mean"] == pytest.approx(37.6, abs=0.01)
    assert instrument["temperature"]["hours_above"] == 0
    assert [(day["on"], day["readings"]) for day in instrument["days"]] == [("2027-05-20", 96)]
    assert "24 of 24 h" in kept("readings", "show", "--place", "incubator").out


def test_a_keeper_of_fahrenheit_is_shown_fahrenheit(kept: Quail) -> None:
    kept("log", "holding", "units=us", "at=2027-01-02")
    Path("log.csv").write_text(EVENING)
    kept("readings", "import", "log.csv", "--place", "incubator")
    assert "mean 99.7 °F" in kept("readings", "show", "--place", "incubator").out


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("time,temp_c\n2027-05-20 20:00,375\n", "Line 2, temp_c: 375 °C is not possible"),
        ("time,temp_c,rh\n2027-05-20 20:00,37,150\n", "humidity of 150 % is not possible"),
        ("time,temp_c\n2027-05-20T20:00+01:00,37\n2027-05-20T20:00-05:00,37\n", "mixes time zones"),
    ],
)
def test_bad_readings_get_a_sentence_and_exit_code_2(kept: Quail, text: str, says: str) -> None:
    Path("log.csv").write_text(text)
    answer = kept("readings", "import", "log.csv", "--place", "incubator")
    assert (answer.code, answer.out) == (2, "")
    assert says in answer.err
    assert "There are no readings" in kept("readings", "show", "--place", "incubator").err


def test_a_rehearsal_keeps_nothing(kept: Quail) -> None:
    Path("log.csv").write_text(EVENING)
    words = ("readings", "import", "log.csv", "--place", "incubator", "--dry-run")
    assert kept(*words).out.startswith("96 readings would be kept.")
    assert kept("readings", "show", "--place", "incubator").code == 2


def test_standard_input_and_a_place_nobody_logged(kept: Quail) -> None:
    answer = kept("readings", "import", "-", "--place", "hatchet", stdin=EVENING.encode())
    assert answer.out.startswith("96 readings kept.")
    assert "no place 'hatchet' yet" in answer.out
    assert "There are readings of hatchet." in kept("readings", "show", "--place", "pen").err


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["show", "--place", "incubator", "--from", "soon"], "--from"),
        (
            ["show", "--place", "incubator", "--from", "2027-05-21", "--until", "2027-05-20"],
            "before",
        ),
        (["import", "no.csv", "--place", "incubator"], "no file"),
        (["import", "log.csv", "--place", "incubator", "--timezone", "Lisboa"], "not a time zone"),
    ],
)
def test_wrong_words_get_a_sentence(kept: Quail, words: list[str], says: str) -> None:
    Path("log.csv").write_text(EVENING)
    kept("readings", "import", "log.csv", "--place", "incubator")
    answer = kept("readings", *words)
    assert answer.code == 2
    assert says in answer.err


def test_a_span_without_readings_says_when_there_are_some(kept: Quail) -> None:
    Path("log.csv").write_text(EVENING)
    kept("readings", "import", "log.csv", "--place", "incubator")
    answer = kept("readings", "show", "--place", "incubator", "--until", "2027-05-01")
    assert (answer.code, answer.err) == (2, "quailwright: --from must be before --until.\n")
    empty = kept("readings", "show", "--place", "incubator", "--from", "2027-06-01",
                 "--until", "2027-06-02")  # fmt: skip
    assert "No readings then. They run from 2027-05-20 to 2027-05-20." in empty.out
