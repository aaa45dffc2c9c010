"""The flock file kept at hand answers as a fresh fold of the whole file does."""

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from tests.makers import made

from quailwright.exchange.desk import Desk
from quailwright.flock.fold import fold
from quailwright.journal.store import open_store

NOW = datetime(2027, 5, 2, 12, tzinfo=UTC)


@pytest.fixture
def desk(tmp_path: Path) -> Desk:
    """A desk over an empty flock file."""
    return Desk(open_store(str(tmp_path / "flock.sqlite"), create=True))


def keep(desk: Desk, *entries: object) -> None:
    """Writes entries behind the desk's back, as another program would."""
    with open_store(desk.store.location) as other, other.writing() as writer:
        writer.append(entries, NOW)  # type: ignore[arg-type]


def test_what_arrives_is_seen_and_lists_given_before_stay(desk: Desk) -> None:
    keep(desk, made("place", place="pen", role="pen"))
    before = desk.entries()
    keep(desk, made("group", group="hens", place="pen", hens=3))
    assert (len(before), len(desk.entries())) == (1, 2)
    assert desk.flock(NOW).groups["hens"].alive.hens == 3


def test_nothing_new_means_no_new_fold(desk: Desk) -> None:
    keep(desk, made("group", group="hens", place="pen", hens=3))
    assert desk.flock(NOW) is desk.flock(NOW + timedelta(hours=1))


def test_an_entry_ahead_counts_once_its_moment_has_come(desk: Desk) -> None:
    keep(
        desk,
        made("group", group="hens", place="pen", hens=3),
        made("birds_died", "2027-05-02T14:00Z", group="hens", hens=1),
        made("birds_died", "2027-05-04", group="hens", hens=1),
    )
    for hours in (0, 1, 2, 3, 47, 60):
        now = NOW + timedelta(hours=hours)
        fresh = fold(desk.entries(), now).groups["hens"].alive.hens
        assert desk.flock(now).groups["hens"].alive.hens == fresh
    assert desk.flock(NOW).groups["hens"].alive.hens == 3  # and back again


def test_lines_say_what_was_taken_back_and_what_corrects(desk: Desk) -> None:
    wrong = made("eggs_collected", group="hens", eggs=21)
    right = made("eggs_collected", group="hens", eggs=12)
    keep(
        desk,
        made("group", "2027-05-01", group="hens", place="pen", hens=30),
        wrong,
        made("retract", "2027-05-03", entry=wrong.id, why="mistyped", instead=_plain(right)),
    )
    lines = {line.entry.id: line for line in desk.lines()}
    assert lines[wrong.id].taken_back is not None
    assert lines[right.id].corrects == wrong.id
    assert [line.day for line in desk.lines()] == [f"2027-05-0{day}" for day in (3, 2, 2, 1)]


def _plain(entry: object) -> object:
    from quailwright.journal.entries import as_dict

    return as_dict(entry)  # type: ignore[arg-type]
