"""`flock`: what a keeper reads, and that the words agree with the JSON."""

import pytest
from tests.cli.conftest import Quail

ON = ("--on", "2027-05-06")


def log(quail: Quail, *lines: str) -> None:
    for words in lines:
        answer = quail("log", *words.split())
        assert answer.code == 0, answer.err


def section(text: str, heading: str) -> list[str]:
    """The lines under a heading."""
    return text.partition(f"\n{heading}\n")[2].partition("\n\n")[0].splitlines()


def test_eggs_on_hand_are_the_same_in_words_and_in_json(kept: Quail) -> None:
    log(kept, "eggs_collected group=hens eggs=7 at=2027-05-04")
    eggs = kept("flock", *ON, "--json").json["eggs"]
    assert eggs == {"on_hand": 15, "withheld": 7, "free": 8}
    assert section(kept("flock", *ON).out, "Eggs")[0] == "  15 on hand, 7 of them withheld"
    before = section(kept("flock", "--on", "2027-05-03").out, "Eggs")
    assert before[0] == "  8 on hand"


@pytest.mark.parametrize(("days", "said"), [(14, None), (15, "1 older lot"), (17, "3 older lots")])
def test_lots_beyond_those_shown_are_counted(kept: Quail, days: int, said: str | None) -> None:
    log(kept, *(f"eggs_collected group=hens eggs=7 at=2027-06-{d:02d}" for d in range(1, days)))
    lines = section(kept("flock", "--on", "2027-06-20").out, "Eggs")
    assert len(lines) == 2 + 14 + (said is not None)
    assert (lines[-1] == f"  and {said}") is (said is not None)


def test_hatching_eggs_that_wait_are_shown_until_they_are_set(kept: Quail) -> None:
    log(kept, "eggs_received source=creek lot=b eggs=30 broken=2 at=2027-05-05")
    heading = "Hatching eggs received, not set yet"
    waiting = section(kept("flock", *ON).out, heading)
    assert waiting[1].split() == ["creek", "b", "2027-05-05", "28"]
    log(kept, "eggs_set hatch=june eggs=28 place=incubator source=creek at=2027-05-06T20:00")
    assert heading not in kept("flock", *ON).out


def test_contradictions_kept_are_counted_and_where_to_look_is_said(kept: Quail) -> None:
    assert "contradiction" not in kept("flock", *ON).out
    log(kept, "eggs_candled hatch=may clear=30 dead=0 force=true at=2027-05-05")
    text = kept("flock", *ON).out
    assert "1 contradiction in the record; `quailwright journal check` shows where." in text
    assert kept("flock", *ON, "--json").json["kept_contradictions"] == 1


def test_own_eggs_set_beyond_those_collected_are_shown(kept: Quail) -> None:
    log(kept, "eggs_set hatch=own eggs=12 place=incubator group=hens at=2027-05-05")
    differed = section(kept("flock", *ON).out, "Counts that differed from the record")
    assert differed[1].split() == ["2027-05-05", "hens", "eggs", "set", "8", "12"]
    [difference] = kept("flock", *ON, "--json").json["differences"]
    assert (difference["recorded"], difference["counted"]) == (8, 12)
    assert "counted" not in kept("today", *ON).out


def test_a_setting_is_said_as_in_the_rest_of_the_guide(kept: Quail) -> None:
    row = section(kept("flock", *ON).out, "Hatches under way")[1]
    assert row.split() == ["may", "incubator", "Sun", "2", "May", "20:00", "24", "0", "0", "24"]


def test_feed_is_in_pounds_for_us_keepers_and_money_has_its_currency(kept: Quail) -> None:
    # 1 lb is 0.45359237 kg (exact): 20 kg are 44.09 lb.
    assert section(kept("flock", *ON).out, "Feed")[0].split()[2] == "kg"
    log(kept, "holding units=us currency=USD at=2027-05-05")
    text = kept("flock", *ON).out
    assert section(text, "Feed")[0].split()[2] == "lb"
    assert section(text, "Feed")[1].split() == ["pellets", "44.09"]
    assert section(text, "Money")[1].split() == ["feed", "-18.00", "USD"]
    told = kept("flock", *ON, "--json").json
    assert told["feeds"][0]["kg"] == 20
