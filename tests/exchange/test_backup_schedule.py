"""Backups by themselves: when they are due, which stay, and what a keeper is told."""

import shutil
from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import msgspec
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.makers import made

import quailwright
from quailwright.exchange import backup_schedule as schedule
from quailwright.exchange import backups
from quailwright.exchange.backup_schedule import MARKER, Came, Chosen, Outcome
from quailwright.exchange.backups import Found
from quailwright.exchange.caretaker import Caretaker
from quailwright.exchange.chores import chores
from quailwright.exchange.desk import Desk
from quailwright.journal.findings import BadInput
from quailwright.journal.store import open_store

LISBON = ZoneInfo("Europe/Lisbon")
NOW = datetime(2027, 5, 3, 7, 30, tzinfo=UTC)
DAILY = Chosen(folder="/x", marker="m")
WEEKLY = Chosen(folder="/x", marker="m", every="week", weekday=6, at="20:00")


@pytest.fixture
def desk(tmp_path: Path) -> Iterator[Desk]:
    """A small flock in Lisbon."""
    store = open_store(str(tmp_path / "home.sqlite"), create=True)
    with store.writing() as writer:
        writer.append(
            [
                made("holding", "2027-01-01", name="Müller's Hof", timezone="Europe/Lisbon"),
                made("group", "2027-01-01", group="hens", place="pen", hens=10),
            ],
            NOW,
        )
    with Desk(store) as desk:
        yield desk


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A folder that is chosen for backups."""
    return tmp_path / "stick"


def choose(desk: Desk, folder: Path, every: str = "day", at: str = "03:30") -> Chosen:
    return schedule.choose(desk.store, str(folder), every, "6", at)


def zips(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.glob("*.zip"))


# When.


def test_a_day_and_a_week_by_the_clock_of_the_holding() -> None:
    due = schedule.last_due(DAILY, LISBON, NOW)
    assert due.isoformat() == "2027-05-03T03:30:00+01:00"
    assert schedule.next_due(DAILY, LISBON, NOW) == due + timedelta(days=1)
    assert schedule.last_due(WEEKLY, LISBON, NOW).isoformat() == "2027-05-02T20:00:00+01:00"
    assert schedule.next_due(WEEKLY, LISBON, NOW).isoformat() == "2027-05-09T20:00:00+01:00"


def test_when_clocks_change_each_day_has_its_backup() -> None:
    half_past_one = msgspec.structs.replace(DAILY, at="01:30")  # left out on 28 March in Lisbon
    at, found = datetime(2027, 3, 26, tzinfo=UTC), []
    for _ in range(5):
        at = schedule.next_due(half_past_one, LISBON, at)
        found.append(at.isoformat())
    assert found == [
        "2027-03-26T01:30:00+00:00",
        "2027-03-27T01:30:00+00:00",
        "2027-03-28T02:30:00+01:00",
        "2027-03-29T01:30:00+01:00",
        "2027-03-30T01:30:00+01:00",
    ]


def test_missed_ones_are_due_at_once_and_failed_ones_in_an_hour() -> None:
    def outcome(hours: float, made: bool) -> Outcome:
        return Outcome(at=(NOW - timedelta(hours=hours)).isoformat(), made=made)

    due = NOW - schedule.last_due(DAILY, LISBON, NOW)
    hours = due / timedelta(hours=1)
    assert schedule.is_due(DAILY, Came(), LISBON, NOW)
    late = outcome(hours + 0.1, made=True)
    assert schedule.is_due(DAILY, Came(last=late, good=late), LISBON, NOW)
    done = outcome(hours - 0.1, made=True)
    assert not schedule.is_due(DAILY, Came(last=done, good=done), LISBON, NOW)
    failed = outcome(0.5, made=False)
    assert not schedule.is_due(DAILY, Came(last=failed, good=late), LISBON, NOW)
    failed = outcome(1.1, made=False)
    assert schedule.is_due(DAILY, Came(last=failed, good=late), LISBON, NOW)
    ahead = outcome(-24, made=True)  # the clock was set back
    assert schedule.is_due(DAILY, Came(last=ahead, good=ahead), LISBON, NOW)


# Which stay.


def every_day(count: int) -> list[Found]:
    return [
        Found(Path(f"/x/{n}.zip"), datetime(2027, 12, 31, 4, tzinfo=UTC) - timedelta(days=n), 1)
        for n in range(count)
    ]


def test_the_newest_of_days_weeks_months_and_years_stay() -> None:
    found = every_day(3 * 365)
    gone = schedule.thinned(found, DAILY, LISBON, [])
    stay = [one.at.date() for one in found if one not in gone]
    assert stay[:7] == [date(2027, 12, 31) - timedelta(days=n) for n in range(7)]
    assert stay[7:10] == [date(2027, 12, 19), date(2027, 12, 12), date(2027, 11, 30)]
    assert stay[-2:] == [date(2026, 12, 31), date(2025, 12, 31)]
    assert [day.month for day in stay[9:20]] == [11, 10, 9, 8, 7, 6, 5, 4, 3, 2, 1]
    assert len(stay) == 7 + 2 + 11 + 2


@settings(max_examples=40)
@given(st.lists(st.integers(0, 800), unique=True, max_size=40), st.integers(0, 40))
def test_properties_thinning_leaves_the_newest_and_the_newest_proven(
    days: list[int], proven: int
) -> None:
    found = [one for one in every_day(801) if int(one.path.stem) in days]
    known = [one.path.name for one in found[proven : proven + 3]]
    gone = schedule.thinned(found, DAILY, LISBON, known)
    stay = [one for one in found if one not in gone]
    assert stay[:1] == found[:1]
    assert found[proven : proven + 1] == [one for one in stay if one.path.name in known][:1]
    assert schedule.thinned(stay, DAILY, LISBON, known) == []
    assert {one.at.year for one in stay} == {one.at.year for one in found}


def test_days_of_backups_are_thinned_and_other_files_never(desk: Desk, folder: Path) -> None:
    choose(desk, folder)
    others = ["letter.zip", "quailwright-x-ffffffff-2020-01-01T000000Z.zip", "photo.jpg"]
    for name in others:
        (folder / name).write_text("mine")
    mark = backups.short_mark(desk.mark())
    imposter = folder / f"quailwright-x-{mark}-2020-01-02T000000Z.zip"
    imposter.write_text("not a backup")
    for day in range(10):
        schedule.look(desk, NOW + timedelta(days=day))
    so_far = schedule.came(desk.store)
    stay = {name for name in zips(folder) if name not in others and name != imposter.name}
    assert len(stay) == 7
    assert so_far.last is not None
    assert so_far.last.deleted == (f"quailwright-m-ller-s-hof-{mark}-2027-05-05T073000Z.zip",)
    assert set(so_far.verified) == stay
    assert {*others, imposter.name, MARKER} <= {path.name for path in folder.iterdir()}


# Doing it.


def test_the_caretaker_makes_it_when_it_is_due_and_says_so(desk: Desk, folder: Path) -> None:
    caretaker = Caretaker(desk, [one for one in chores() if one.name == "backup"], lambda: NOW)
    caretaker.do_due(NOW)
    told = caretaker.told("backup")
    assert told is not None
    assert (told.sentence, told.failed) == ("", False)
    choose(desk, folder)
    caretaker.do_due(NOW + timedelta(seconds=5))
    (name,) = zips(folder)
    good = schedule.came(desk.store).good
    assert good is not None
    assert (good.whole, good.entries, Path(good.path).name) == (True, 2, name)
    caretaker.do_due(NOW + timedelta(hours=1))
    assert zips(folder) == [name]
    schedule.ask(desk.store, NOW + timedelta(hours=2))
    caretaker.do_due(NOW + timedelta(hours=2))
    assert zips(folder) != [name]
    assert schedule.came(desk.store).asked == ""


def test_a_drive_that_is_not_there_is_told_and_not_written_to(desk: Desk, folder: Path) -> None:
    choose(desk, folder)
    shutil.rmtree(folder)
    for bare in (False, True):
        if bare:  # the mount point, without the drive
            folder.mkdir()
        with pytest.raises(BadInput, match="Is the drive plugged in"):
            schedule.look(desk, NOW + timedelta(hours=2 * bare))
    assert list(folder.iterdir()) == []
    so_far = schedule.came(desk.store)
    assert so_far.last is not None
    assert not so_far.last.made
    assert MARKER in so_far.last.why
    assert not schedule.told(desk, NOW).folder_there
    choose(desk, folder)
    schedule.look(desk, NOW + timedelta(hours=4))
    assert len(zips(folder)) == 1


def test_one_that_was_killed_is_told_and_tried_again(desk: Desk, folder: Path) -> None:
    choose(desk, folder)
    schedule._changed(desk.store, lambda came: msgspec.structs.replace(came, began=NOW.isoformat()))
    assert schedule.look(desk, NOW + timedelta(minutes=1)) == ""
    last = schedule.came(desk.store).last
    assert last is not None
    assert last.why.startswith("It was not finished: quailwright ended meanwhile")
    schedule.look(desk, NOW + timedelta(minutes=61))
    assert len(zips(folder)) == 1


def test_folders_that_will_not_do(desk: Desk, tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    for typed, said in (
        ("", "Write the whole path"),
        ("stick", "Write the whole path"),
        ("/tmp/a\nb", "Write the whole path"),
        (str(tmp_path / "no" / "stick"), "There is no folder"),
        (str(tmp_path / "file"), "is a file"),
        (str(Path(quailwright.__file__).parent / "web" / "static"), "of quailwright itself"),
        ("/" + "x" * 300, "cannot be made or used"),
        ("~nobody-of-that-name/x", "cannot be made or used"),
        ("/proc/stick", "cannot be made or used"),
    ):
        with pytest.raises(BadInput, match=said):
            schedule.choose(desk.store, typed, "day", "", "03:30")
    for every, weekday, at in (("hour", "1", "03:30"), ("day", "9", "03:30"), ("day", "", "3.30")):
        with pytest.raises(BadInput):
            schedule.choose(desk.store, str(tmp_path / "stick"), every, weekday, at)
    assert schedule.chosen(desk.store) is None
    with pytest.raises(BadInput, match="No folder is chosen yet"):
        schedule.ask(desk.store, NOW)


def test_two_flocks_may_share_a_folder(desk: Desk, folder: Path, tmp_path: Path) -> None:
    choose(desk, folder)
    first = schedule.chosen(desk.store)
    with open_store(str(tmp_path / "other.sqlite"), create=True) as other:
        assert schedule.choose(other, str(folder), "day", "", "03:30") == first


def test_the_reminder_is_one_line_and_only_when_it_matters(desk: Desk, tmp_path: Path) -> None:
    store, day = desk.store, NOW.date()
    assert schedule.reminder(store, desk.flock(NOW), day, NOW) == ""
    with store.writing() as writer:
        writer.append(
            [made("care", "2027-04-01", task="water", note=str(n)) for n in range(30)], NOW
        )
    flock = desk.flock(NOW)
    assert schedule.reminder(store, flock, day, NOW) == "There is no backup of this record yet."
    schedule.note_made(store, backups.back_up(store, tmp_path, NOW), NOW)
    assert schedule.reminder(store, flock, day, NOW + timedelta(days=29)) == ""
    later = NOW + timedelta(days=40)
    assert schedule.reminder(store, flock, day, later) == "The last backup is 40 days old."
