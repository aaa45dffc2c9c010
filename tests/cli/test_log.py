"""Writing one entry by hand: what may be left out or typed short, and what `log` teaches."""

import json
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from tests.cli.conftest import Quail

from quailwright.journal.entries import KINDS

LISBON = ZoneInfo("Europe/Lisbon")


def last(quail: Quail) -> dict[str, object]:
    """The entry written last."""
    entry: dict[str, object] = json.loads(quail("journal", "export").out.splitlines()[-1])
    return entry


@pytest.mark.parametrize(
    ("typed", "kept_as"),
    [
        ("2027-05-02", "2027-05-02"),
        ("2027-05-02T20:00", "2027-05-02T20:00+01:00"),
        ("2027-05-02 20:00", "2027-05-02T20:00+01:00"),
        ("2027-01-02T20:00", "2027-01-02T20:00+00:00"),
        ("2027-05-02T20:00-07:00", "2027-05-02T20:00-07:00"),
        ("2027-05-02T19:00Z", "2027-05-02T19:00Z"),
        ("2027-05-02T20:00:30", "2027-05-02T20:00:30+01:00"),
        ("2026-09-10 7:05", "2026-09-10T07:05+01:00"),
        ("2026-09-10T7:05:30", "2026-09-10T07:05:30+01:00"),
        ("2026-09-10 7:05Z", None),
    ],
)
def test_a_clock_time_is_at_the_holding(kept: Quail, typed: str, kept_as: str | None) -> None:
    # Lisbon is at UTC+1 in summer, UTC in winter (IANA time zone database)
    answer = kept("log", "care", "task=x", f"at={typed}")
    assert answer.code == (0 if kept_as else 2)
    if kept_as is None:
        return
    assert last(kept)["at"] == kept_as


@pytest.mark.parametrize(
    ("typed", "back", "clock"),
    [
        ("today", 0, ""),
        ("yesterday", 1, ""),
        ("tomorrow", -1, ""),
        ("20:00", 0, "T20:00"),
        ("7:05", 0, "T07:05"),
        ("yesterday 20:00", 1, "T20:00"),
    ],
)
def test_words_for_days_and_a_clock_time_alone(
    kept: Quail, typed: str, back: int, clock: str
) -> None:
    before = datetime.now(LISBON).date()
    assert kept("log", "care", "task=x", f"at={typed}").code == 0
    after = datetime.now(LISBON).date()
    at = str(last(kept)["at"])
    assert at[:10] in {str(day - timedelta(days=back)) for day in (before, after)}
    assert at[10:16] == clock


def test_left_out_it_is_now(kept: Quail) -> None:
    before = datetime.now(UTC).replace(microsecond=0)
    kept("log", "care", "task=x")
    assert before <= datetime.fromisoformat(str(last(kept)["at"])) <= datetime.now(UTC)


def test_without_a_holding_the_offset_is_this_computers(quail: Quail) -> None:
    assert quail("log", "care", "task=x", "at=2027-05-02T20:00").code == 0
    moment = datetime(2027, 5, 2, 20, 0).astimezone()
    assert datetime.fromisoformat(str(last(quail)["at"])) == moment


def test_spaces_at_the_ends_are_no_part_of_a_name(kept: Quail) -> None:
    assert kept("log", "group", "group= young ", "place= pen", "hens=2", "at=2027-05-01").code == 0
    entry = last(kept)
    assert (entry["group"], entry["place"]) == ("young", "pen")


def test_lists_are_typed_with_commas(kept: Quail) -> None:
    weights = ("birds_weighed", "group=hens", "weights_g=210, 220.5,230", "at=2027-05-02")
    assert kept("log", *weights).code == 0
    assert last(kept)["weights_g"] == [210, 220.5, 230]
    for ring, sex in (("r1", "cock"), ("r2", "hen"), ("r3", "hen")):
        assert kept("log", "bird", f"bird={ring}", f"sex={sex}", "at=2027-05-01").code == 0
    assert kept("log", "pairing", "pen=pen", "cocks=r1", "hens=r2,r3", "at=2027-05-02").code == 0
    assert (last(kept)["cocks"], last(kept)["hens"]) == (["r1"], ["r2", "r3"])


def test_values_may_hold_an_equals_sign_and_any_writing(kept: Quail) -> None:
    assert (
        kept("log", "care", "task=x", "note=2 = två; été 🐣", "by=Zoë", "at=2027-05-02").code == 0
    )
    assert (last(kept)["note"], last(kept)["by"]) == ("2 = två; été 🐣", "Zoë")


def test_a_repeat_by_id_is_harmless(kept: Quail) -> None:
    again = ("care", "task=x", "at=2027-05-02", "id=0191D5A0-5f5e-7c3a-9d52-3f0c5a1b2c3d")
    assert "Kept: care, 2027-05-02" in kept("log", *again).out
    before = kept("journal", "export").out
    answer = kept("log", *again)
    assert answer.code == 0
    assert answer.out == "Already in the journal: 0191d5a0-5f5e-7c3a-9d52-3f0c5a1b2c3d\n"
    assert kept("journal", "export").out == before


def test_what_was_kept_can_be_taken_back_as_it_says(kept: Quail) -> None:
    before = kept("flock", "--json", "--on", "2027-06-01").json["totals"]
    answer = kept("log", "birds_died", "group=hens", "hens=3", "at=2027-05-04")
    assert kept("flock", "--json", "--on", "2027-06-01").json["totals"]["hens"] == 7
    taught = answer.out.splitlines()[-1].removeprefix("To take it back: quailwright ")
    words = taught.replace('why="..."', "why=slip").split()
    assert kept(*words, "at=2027-05-05").code == 0
    assert kept("flock", "--json", "--on", "2027-06-01").json["totals"] == before
    assert kept("flock", "--json", "--on", "2027-05-04").json["totals"]["hens"] == 7


def test_a_correction_carries_the_right_entry(kept: Quail) -> None:
    wrong = kept("log", "eggs_collected", "group=hens", "eggs=90", "at=2027-05-04", "--json").json
    wrong_id = wrong["written"][0]["id"]
    right = {"kind": "eggs_collected", "id": "0191d5a0-5f5e-7c3a-9d52-3f0c5a1b2c3d",
             "at": "2027-05-04", "group": "hens", "eggs": 9}  # fmt: skip
    answer = kept(
        "log", "retract", f"entry={wrong_id}", "why=one nought too many", "at=2027-05-05",
        f"instead={json.dumps(right)}",
    )  # fmt: skip
    assert answer.code == 0, answer.err
    assert kept("flock", "--json", "--on", "2027-05-06").json["eggs"]["on_hand"] == 17


def test_a_correction_that_is_wrong_is_named_by_its_inner_field(kept: Quail) -> None:
    wrong = kept("log", "eggs_collected", "group=hens", "eggs=90", "at=2027-05-04", "--json").json
    entry = f"entry={wrong['written'][0]['id']}"
    for instead, says in (
        ('{"kind": "eggs_collected", "at": "2027-05-04", "group": "hens"}', "instead.eggs"),
        ('{"kind": "egs"}', "instead.kind"),
        ("nine", "instead"),
    ):
        answer = kept("log", "retract", entry, "why=slip", "at=2027-05-05", f"instead={instead}")
        assert answer.code == 2
        assert says in answer.err


@pytest.mark.parametrize("kind", KINDS)
def test_log_kind_teaches_every_field(quail: Quail, kind: str) -> None:
    answer = quail("log", kind)
    assert (answer.code, answer.err) == (0, "")
    assert answer.out.startswith(f"{kind}: ")
    rows = answer.out.partition("\nCaution: ")[0].splitlines()[2:]
    fields = [row.split()[0] for row in rows]
    assert set(fields) == set(KINDS[kind].__struct_encode_fields__)
    for row in rows:
        assert len(row) > 40


def test_teaching_needs_no_flock_and_makes_none(quail: Quail, tmp_path: object) -> None:
    quail("log", "eggs_set")
    assert quail("today").code == 3


def test_an_entry_dated_ahead_is_kept_and_said_to_lie_ahead(quail: Quail) -> None:
    ahead = quail("log", "care", "task=x", "at=2198-05-02")
    assert (ahead.code, "lies ahead" in ahead.out) == (0, True)
    assert "lies ahead" not in quail("log", "care", "task=x").out
