"""`readings`: import and show, as a keeper and a script meet them."""

from pathlib import Path

import pytest
from tests.cli.conftest import Quail

pytestmark = pytest.mark.usefixtures("end_of_june")

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


def test_what_is_shown_now_can_be_looked_back_at(kept: Quail) -> None:
    Path("log.csv").write_text(EVENING)
    kept("readings", "import", "log.csv", "--place", "incubator")
    # 37.5 + 20 % 3 / 10 at 20:15 in Lisbon, the last before 20:20.
    then = kept("readings", "now", "--on", "2027-05-20T20:20", "--json").json
    (place,) = then["places"]
    (shown,) = place["instruments"]
    assert (place["place"], shown["at"][:16]) == ("incubator", "2027-05-20T19:15")
    assert shown["temperature_c"] == pytest.approx(37.7)
    assert shown["age_s"] == 300
    before = kept("readings", "now", "--on", "2027-05-19", "--json").json
    assert before["places"] == []
    now = kept("readings", "now", "--json").json
    assert (now["places"], len(now["silent"])) == ([], 1)
    assert kept("readings", "now", "--on", "soon").code == 2


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


@pytest.mark.parametrize(
    ("place", "says"),
    [
        ("incubatr", "Did you mean 'incubator'? If it is a new one, say --new-place."),
        ("cellar", "The journal knows incubator, pen."),
    ],
)
def test_a_place_that_no_entry_has_named_is_refused(kept: Quail, place: str, says: str) -> None:
    words = ("readings", "import", "-", "--place", place)
    answer = kept(*words, stdin=EVENING.encode())
    assert (answer.code, answer.out) == (2, "")
    assert f"the journal knows no place '{place}'" in answer.err
    assert says in answer.err
    assert kept("readings", "show", "--place", place).code == 2


def test_standard_input_and_a_new_place(kept: Quail) -> None:
    words = ("readings", "import", "-", "--place", "cellar")
    answer = kept(*words, "--new-place", stdin=EVENING.encode())
    assert answer.out.startswith("96 readings kept.")
    assert "no place 'cellar' yet" in answer.out
    assert "There are readings of cellar." in kept("readings", "show", "--place", "pen").err
    again = kept(*words, stdin=EVENING.encode())
    assert again.out.startswith("0 readings kept, 96 were there already.")


@pytest.mark.parametrize(
    ("stamp", "ahead"),
    [
        ("2027-07-01 12:59", False),  # noon UTC is 13:00 in Lisbon: a day ahead, to the minute
        ("2027-07-01 13:01", True),
        ("2062-05-20 20:00", True),
        ("2907-05-20 20:00", True),
    ],
)
def test_readings_more_than_a_day_ahead_refuse_the_file(
    kept: Quail, stamp: str, ahead: bool
) -> None:
    text = f"time,temp_c\n2027-05-20 20:00,37.5\n{stamp},37.5\n"
    answer = kept("readings", "import", "-", "--place", "incubator", stdin=text.encode())
    assert answer.code == (2 if ahead else 0)
    shown = kept("readings", "show", "--place", "incubator", "--json")
    assert (shown.code == 2) is ahead
    if ahead:
        assert "One line is not right; nothing was imported." in answer.err
        assert "Line 3, time:" in answer.err


def test_a_reading_ahead_says_what_to_look_at(kept: Quail) -> None:
    text = "time,temp_c\n2062-05-20 20:00,37.5\n"
    answer = kept("readings", "import", "-", "--place", "incubator", stdin=text.encode())
    assert "'2062-05-20 20:00' lies ahead. Was the logger's clock set" in answer.err


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


def test_old_readings_are_thinned_and_their_room_is_told(kept: Quail) -> None:
    """At the end of June those of January are old."""
    assert "No readings yet" in kept("readings", "room").out
    assert "old enough" in kept("readings", "thin").out
    Path("log.csv").write_text(
        "time,temperature,humidity\n"
        + "".join(
            f"2027-01-20 {minute // 60:02d}:{minute % 60:02d},{37 + minute % 70 / 100},50\n"
            for minute in range(1440)
        )
    )
    kept("readings", "import", "log.csv", "--place", "incubator")
    before = kept("readings", "show", "--place", "incubator", "--json").json
    would = kept("readings", "thin", "--dry-run", "--json").json
    assert 900 < would["left_out"] < 1440
    assert kept("readings", "room", "--json").json["left_out"] == 0
    assert f"{would['left_out']:,} readings were left out" in kept("readings", "thin").out
    told = kept("readings", "room", "--json").json
    assert (told["readings"], told["kept"]) == (1440, 1440 - would["left_out"])
    assert [one["place"] for one in told["sensors"]] == ["incubator"]
    room = kept("readings", "room").out
    assert "1,440 readings, of which" in room
    assert f"{would['left_out']:,} readings were left out" in room
    after = kept("readings", "show", "--place", "incubator", "--json").json
    assert after["kept"] == before["kept"]
    for name in ("readings", "hours_covered", "gaps"):
        assert after["instruments"][0][name] == before["instruments"][0][name]
    again = kept("readings", "import", "log.csv", "--place", "incubator")
    assert again.out.startswith("0 readings kept, 1440 were there already.")
