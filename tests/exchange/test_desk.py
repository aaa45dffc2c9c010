"""The flock file kept at hand answers as a fresh fold of the whole file does."""

import itertools
import threading
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta
from pathlib import Path

import psycopg
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.flock.journals import journals
from tests.makers import made

from quailwright.exchange.desk import Desk
from quailwright.exchange.journal_told import lines, written_on
from quailwright.exchange.record import record
from quailwright.flock.fold import fold, newest_zone
from quailwright.flock.kept import Kept
from quailwright.journal import store as store_module
from quailwright.journal.entries import Entry, decode
from quailwright.journal.findings import BadInput, FlockUnusable, Withheld
from quailwright.journal.store import Writer, open_store

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


def test_entries_since_a_day_and_by_id_are_those_of_the_file(desk: Desk) -> None:
    early = made("group", "2027-01-01", group="hens", place="pen", hens=3)
    late = made("eggs_collected", "2027-05-01", group="hens", eggs=2)
    right = made("eggs_collected", "2027-05-01", group="hens", eggs=3)
    back = made("retract", "2027-05-02", entry=late.id, why="miscounted", instead=right)
    keep(desk, early, late, back)
    since = desk.since(NOW.date() - timedelta(days=7), NOW)
    assert late in since
    assert back in since
    assert set(since) <= {early, late, back}
    known = desk.known(NOW)
    assert {known[one.id] for one in (early, late, right, back)} == {early, late, right, back}


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


# Whatever is written, by whom and when: the desk answers, takes and refuses as one that reads all.

nows = st.builds(
    lambda days, hours: datetime(2027, 3, 25, tzinfo=UTC) + timedelta(days=days, hours=hours),
    st.sampled_from([0, 2, 4, 6, 9, 47, 49, 51, 80, 150]),
    st.integers(0, 23),
)
writes = st.lists(
    st.tuples(st.sampled_from(["desk", "desk", "other desk", "another program"]), nows),
    min_size=1,
    max_size=8,
)


@pytest.mark.parametrize(("kind", "examples"), [("sqlite", 80), ("postgresql", 25)])
def test_a_desk_does_what_reading_all_anew_would(
    kind: str, examples: int, tmp_path: Path, request: pytest.FixtureRequest
) -> None:
    number = itertools.count()

    def empty() -> str:
        if kind == "sqlite":
            return str(tmp_path / f"flock-{next(number)}.sqlite")
        url: str = request.getfixturevalue("postgresql")
        schema = f"flock_{next(number)}"
        with psycopg.connect(url, autocommit=True) as connection:
            connection.execute(f"CREATE SCHEMA {schema}".encode())
        return f"{url}&options=-csearch_path%3D{schema}"

    @settings(max_examples=examples)
    @given(journals(), writes)
    def interleaved(journal: list[Entry], writes: list[tuple[str, datetime]]) -> None:
        location = empty()
        twin = open_store(str(tmp_path / f"twin-{next(number)}.sqlite"), create=True)
        desk = Desk(open_store(location, create=True))
        other = Desk(open_store(location))
        size = -(-len(journal) // len(writes))
        with desk, other, twin:
            for (who, now), part in zip(writes, batches(journal, size), strict=False):
                if who == "another program":
                    for store in (other.store, twin):
                        with store.writing() as writer:
                            writer.append(part, now)
                else:
                    at = desk if who == "desk" else other
                    assert outcome(lambda: at.record(part, now)) == outcome(  # noqa: B023
                        lambda: record(twin, part, now)  # noqa: B023
                    )
                written = twin.entries()
                assert desk.entries() == other.store.entries() == written
                assert desk.flock(now) == fold(written, now)
                assert desk.lines() == lines(written, newest_zone(written))
                zone = newest_zone(written)
                assert desk.done(now.date(), now) == written_on(written, now.date(), now, zone)

    interleaved()


def batches(journal: list[Entry], size: int) -> list[list[Entry]]:
    """The journal in parts of that size."""
    return [journal[at : at + size] for at in range(0, len(journal), size or 1)]


def outcome(write: Callable[[], object]) -> object:
    """What was written, or what was found against it."""
    try:
        return write()
    except (BadInput, Withheld) as refusal:
        return type(refusal), refusal.findings


def test_what_was_refused_or_could_not_be_written_leaves_nothing_at_the_desk(
    desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    keep(desk, made("group", group="hens", place="pen", hens=3))
    before = desk.flock(NOW)
    with pytest.raises(BadInput):
        desk.record([made("birds_died", group="hens", hens=4)], NOW)
    assert desk.flock(NOW) is before

    def full(self: Writer, entries: object, now: datetime) -> None:
        raise FlockUnusable("The disk is full.")

    with monkeypatch.context() as patched:
        patched.setattr(Writer, "append", full)
        with pytest.raises(FlockUnusable):
            desk.record([made("birds_died", group="hens", hens=1)], NOW)
    assert desk.flock(NOW) is before
    desk.record([made("birds_died", group="hens", hens=1)], NOW)
    assert desk.flock(NOW).groups["hens"].alive.hens == 2


def test_another_journal_put_in_its_place_is_read_anew(tmp_path: Path) -> None:
    location = tmp_path / "flock.sqlite"
    with Desk(open_store(str(location), create=True)) as desk:
        hens = made("group", group="hens", place="pen", hens=3)
        keep(desk, hens, made("birds_died", group="hens", hens=1))
        assert len(desk.entries()) == 2
        # A backup of before the death was put back, and something else was written since.
        for stored in ([hens], [hens, made("birds_died", group="hens", hens=2)]):
            with open_store(str(tmp_path / "backup.sqlite"), create=True) as backup:
                for entry in stored[len(backup.entries()) :]:
                    with backup.writing() as writer:
                        writer.append([entry], NOW)
            desk.store = open_store(str(tmp_path / "backup.sqlite"))
            assert desk.entries() == stored
            assert desk.flock(NOW) == fold(stored, NOW)


def test_a_write_reads_only_what_is_new(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    group = made("group", "2027-01-01", group="hens", place="pen", hens=30)
    desk.record([group, *(made("eggs_collected", group="hens", eggs=n) for n in range(9))], NOW)
    desk.flock(NOW)
    decoded: list[bytes] = []
    folded: list[Kept] = []

    def counted(body: bytes) -> Entry:
        decoded.append(body)
        return decode(body)

    monkeypatch.setattr(store_module, "decode", counted)
    monkeypatch.setattr(Kept, "__init__", lambda self, *_: folded.append(self))
    for n in range(5):
        desk.record([made("eggs_collected", group="hens", eggs=n)], NOW)
        desk.flock(NOW)
    assert len(decoded) == 5
    assert folded == []


def test_what_several_ask_for_at_once_is_made_once(desk: Desk) -> None:
    keep(desk, made("group", group="hens", place="pen", hens=3))
    flock, began, go_on = desk.flock(NOW), threading.Event(), threading.Event()
    makings = []

    def slow() -> int:
        makings.append(threading.get_ident())
        began.set()
        assert go_on.wait(60)
        return len(makings)

    with ThreadPoolExecutor(4) as people:
        asked = [people.submit(desk.once, flock, "it", NOW.date(), slow) for _ in range(4)]
        assert began.wait(60)
        go_on.set()
        assert [each.result(60) for each in asked] == [1, 1, 1, 1]


def test_what_failed_is_tried_again_by_who_asks_next(desk: Desk) -> None:
    keep(desk, made("group", group="hens", place="pen", hens=3))
    flock = desk.flock(NOW)
    with pytest.raises(BadInput):
        desk.hatch(flock, "spring", NOW)
    assert desk.once(flock, "it", NOW.date(), lambda: 2) == 2
    with pytest.raises(ZeroDivisionError):
        desk.once(flock, "other", NOW.date(), lambda: 1 // 0)
    assert desk.once(flock, "other", NOW.date(), lambda: 3) == 3


def test_no_more_is_kept_than_fits(desk: Desk) -> None:
    keep(desk, made("group", group="hens", place="pen", hens=3))
    flock = desk.flock(NOW)
    for number in range(300):
        assert desk.once(flock, f"page {number}", NOW.date(), lambda: 1) == 1
    assert desk.once(flock, "page 299", NOW.date(), lambda: -1) == 1
    assert desk.once(flock, "page 0", NOW.date(), lambda: -1) == -1


def test_a_hatch_is_told_anew_when_readings_of_its_air_arrived(desk: Desk) -> None:
    keep(
        desk,
        made("place", place="box", role="incubator"),
        made("eggs_set", "2027-04-20T18:00Z", hatch="spring", eggs=12, place="box", source="own"),
    )
    flock = desk.flock(NOW)
    before = desk.hatch(flock, "spring", NOW)
    assert desk.hatch(flock, "spring", NOW) is before
    at_ms = [int(datetime(2027, 4, 25, hour, tzinfo=UTC).timestamp()) * 1000 for hour in range(24)]
    with open_store(desk.store.location) as other, other.writing() as writer:
        writer.append_readings("box", "", at_ms, [37.5] * 24, [50.0] * 24)
    assert desk.hatch(flock, "spring", NOW) is not before


def test_a_search_finds_what_each_line_says(desk: Desk) -> None:
    keep(
        desk,
        made("group", group="Hens", place="pen", hens=3),
        made("birds_died", "2027-05-01", group="Hens", hens=1, note="Straße"),
        made("care", "2027-05-01", task="fence", note="a fox was about"),
    )
    listing = desk.listing()
    assert {len(listing.found("hens")), len(listing.found("STRASSE"))} == {2, 1}
    assert [line.entry.note for line in listing.found("fox")] == ["a fox was about"]
    assert listing.found("fox", "birds_died") == []
    keep(desk, made("care", "2027-05-02", task="fence", note="the fox again"))
    assert [line.entry.note for line in desk.listing().found("fox")] == [
        "the fox again",
        "a fox was about",
    ]
    assert len(desk.listing().found()) == 4
