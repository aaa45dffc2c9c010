"""A fold kept at hand stands as the same entries folded at once, whatever arrives and when."""

import copy
from datetime import UTC, date, datetime, timedelta

from hypothesis import given
from hypothesis import strategies as st
from tests.flock.journals import DAYS, journals
from tests.makers import made, uid

from quailwright.flock.fold import fold
from quailwright.flock.kept import Kept, facts_of
from quailwright.journal.entries import Entry, as_dict

reach = st.sampled_from([DAYS[0] - timedelta(days=9), *DAYS, DAYS[-1] + timedelta(days=9)])
hours = st.integers(-12, (len(DAYS) + 3) * 24)
sizes = st.lists(st.integers(0, 4), max_size=9)


def batches(journal: list[Entry], sizes: list[int]) -> list[list[Entry]]:
    """The journal in parts of these sizes; what is left over is the first part."""
    first = max(0, len(journal) - sum(sizes))
    parts, at = [journal[:first]], first
    for size in sizes:
        parts.append(journal[at : at + size])
        at += size
    return parts


@given(journals(), sizes, reach, st.lists(hours, max_size=4))
def test_whatever_arrives_it_stands_as_folded_at_once(
    journal: list[Entry], sizes: list[int], day: date, hours: list[int]
) -> None:
    first, *rest = batches(journal, sizes)
    kept, arrived = Kept(first, day), list(first)
    given_out = []
    for part in rest:
        before = kept
        given_out.append((before.flock, copy.deepcopy(before.flock)))
        kept = kept.and_(part)
        arrived += part
        assert list(kept.entries) == arrived
        assert kept.flock == fold(arrived)
        facts = {fact.id: fact for entry in arrived for fact in facts_of(entry)}
        assert dict(kept.facts) == facts
        for hour in hours:
            now = datetime(DAYS[0].year, DAYS[0].month, DAYS[0].day, tzinfo=UTC)
            now += timedelta(hours=hour)
            assert kept.as_of(now) == fold(arrived, now)
    for flock, as_it_was in given_out:
        assert flock == as_it_was


HENS = made("group", "2027-01-01", group="hens", place="pen", hens=30)
NOW = datetime(2027, 5, 20, 12, tzinfo=UTC)


def eggs(at: str, number: int) -> Entry:
    """Some eggs."""
    return made("eggs_collected", at, id=uid(number), group="hens", eggs=number)


def test_what_is_added_late_leaves_the_early_fold_alone() -> None:
    kept = Kept([HENS, eggs("2027-02-01", 5)], date(2027, 5, 1))
    early = kept._early
    kept = kept.and_([eggs("2027-05-20", 6), eggs("2027-05-02", 7)])
    wrong = eggs("2027-05-03T10:00Z", 9)
    right = as_dict(eggs("2027-05-04T10:00Z", 8))
    taken = made("retract", "2027-05-20", entry=wrong.id, why="a slip", instead=right)
    kept = kept.and_([wrong]).and_([taken])
    assert kept._early is early
    assert kept.flock == fold(kept.entries)
    assert sorted(lot.collected for lot in kept.flock.lots.values()) == [5, 6, 7, 8]


def test_what_happened_before_its_day_is_folded_anew() -> None:
    kept = Kept([HENS, eggs("2027-02-01", 5)], date(2027, 5, 1))
    late = kept.and_([eggs("2027-04-30", 6)])
    assert late._early is not kept._early
    back = late.and_([made("retract", "2027-05-20", entry=uid(5), why="a slip")])
    assert back.flock == fold(back.entries)
    assert [lot.collected for lot in back.flock.lots.values()] == [6]


def test_a_correction_counts_once_its_own_moment_has_come() -> None:
    wrong, right = eggs("2027-05-20", 5), as_dict(eggs("2027-05-20T14:00Z", 6))
    taken = made("retract", "2027-05-20T09:00Z", entry=wrong.id, why="a slip", instead=right)
    kept = Kept([HENS, wrong, taken], date(2027, 5, 1))
    assert kept.next_after(NOW) == NOW + timedelta(hours=2)
    for hours in (0, 1, 2, 3):
        now = NOW + timedelta(hours=hours)
        assert kept.as_of(now) == fold(kept.entries, now)
    assert kept.next_after(NOW + timedelta(hours=2)) is None


def test_a_correction_into_the_early_days_is_folded_anew() -> None:
    wrong, right = eggs("2027-05-20", 5), as_dict(eggs("2027-04-02", 6))
    kept = Kept([HENS, wrong], date(2027, 5, 1))
    taken = made("retract", "2027-05-20", entry=wrong.id, why="a slip", instead=right)
    assert kept.and_([taken]).flock == fold([HENS, wrong, taken])
    back = made("retract", "2027-05-20T10:00Z", entry=taken.id, why="it was right")
    assert kept.and_([taken]).and_([back]).flock == fold([HENS, wrong, taken, back])


def test_eggs_of_a_lot_long_gone_are_not_booked_twice() -> None:
    gone = made("eggs_out", "2027-02-02", use="eaten", eggs=5)
    kept = Kept([HENS, eggs("2027-02-01", 5), gone], date(2027, 5, 1))
    more: dict[str, object] = {"use": "eaten", "eggs": 3, "laid_to": "2027-02-01", "force": True}
    for hour in (10, 11, 12):
        kept = kept.and_([made("eggs_out", f"2027-05-20T{hour}:00Z", **more, group="hens")])
        assert kept.flock == fold(kept.entries)
