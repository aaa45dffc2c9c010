"""The caretaker: what is due is done, one fault harms no other chore, one process at a time."""

import threading
import time
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from quailwright.exchange.caretaker import Caretaker, Chore
from quailwright.exchange.desk import Desk
from quailwright.journal.findings import BadInput
from quailwright.journal.store import open_store

NOW = datetime(2027, 5, 3, 7, 30, tzinfo=UTC)
MINUTE = timedelta(minutes=1)


@pytest.fixture
def desk(tmp_path: Path) -> Iterator[Desk]:
    with Desk(open_store(str(tmp_path / "flock.sqlite"), create=True)) as opened:
        yield opened


def test_a_chore_is_done_when_its_time_has_come(desk: Desk) -> None:
    done: list[datetime] = []

    def note(_: Desk, now: datetime) -> str:
        done.append(now)
        return "noted"

    caretaker = Caretaker(desk, [Chore("note", MINUTE, note)], lambda: NOW)
    for seconds in (0, 30, 59, 60, 61):
        caretaker.do_due(NOW + timedelta(seconds=seconds))
    assert done == [NOW, NOW + MINUTE]
    told = caretaker.told("note")
    assert told is not None
    assert (told.at, told.sentence, told.failed) == (NOW + MINUTE, "noted", False)


def test_a_clock_set_back_makes_all_due(desk: Desk) -> None:
    done: list[datetime] = []

    def note(_: Desk, now: datetime) -> str:
        done.append(now)
        return ""

    caretaker = Caretaker(desk, [Chore("note", MINUTE, note)], lambda: NOW)
    caretaker.do_due(NOW)
    caretaker.do_due(NOW - timedelta(days=300))
    assert done == [NOW, NOW - timedelta(days=300)]


def test_a_chore_that_fails_is_told_and_harms_no_other(desk: Desk) -> None:
    def refused(_: Desk, __: datetime) -> str:
        raise BadInput("There is no such folder.")

    def broken(_: Desk, __: datetime) -> str:
        raise ZeroDivisionError

    chores = [Chore("a", MINUTE, refused), Chore("b", MINUTE, broken)]
    caretaker = Caretaker(desk, [*chores, Chore("c", MINUTE, lambda *_: "done")], lambda: NOW)
    caretaker.do_due(NOW)
    told = {name: caretaker.told(name) for name in "abc"}
    assert all(told.values())
    assert [(one.sentence, one.failed) for one in told.values() if one is not None] == [
        ("There is no such folder.", True),
        ("A fault of quailwright's own (ZeroDivisionError).", True),
        ("done", False),
    ]


def test_one_of_two_does_the_chores_and_the_other_takes_over(desk: Desk) -> None:
    def sets(name: str, event: threading.Event) -> Caretaker:
        def do(_: Desk, __: datetime) -> str:
            event.set()
            return ""

        return Caretaker(desk, [Chore(name, MINUTE, do)], lambda: NOW)

    first, second = threading.Event(), threading.Event()
    with sets("first", first).working(every_s=0.01):
        assert first.wait(5)
        with sets("second", second).working(every_s=0.01):
            assert not second.wait(0.3)
    with sets("second", second).working(every_s=0.01):
        assert second.wait(5)


def test_a_slow_chore_holds_up_no_other_and_what_it_holds_is_let_go(desk: Desk) -> None:
    slow, quick, ended = threading.Event(), threading.Event(), threading.Event()

    def waits(_: Desk, __: datetime) -> str:
        return "in time" if slow.wait(5) else "too late"

    def sets(_: Desk, __: datetime) -> str:
        quick.set()
        return ""

    chores = [Chore("slow", MINUTE, waits, ended.set), Chore("quick", MINUTE, sets)]
    caretaker = Caretaker(desk, chores, lambda: NOW)
    with caretaker.working(every_s=0.01):
        assert quick.wait(5)
        assert not ended.is_set()
        slow.set()
    assert ended.is_set()
    told = caretaker.told("slow")
    assert told is not None
    assert told.sentence == "in time"


def test_a_fault_of_the_caretakers_own_ends_no_watch(desk: Desk) -> None:
    """Such as no thread to be had, or no connection: the next look goes on."""
    done, faults = threading.Event(), iter([ZeroDivisionError(), RuntimeError()])

    def clock() -> datetime:
        fault = next(faults, None)
        if fault is not None:
            raise fault
        return NOW

    def sets(_: Desk, __: datetime) -> str:
        done.set()
        return ""

    def breaks() -> None:
        raise ZeroDivisionError

    chores = [Chore("bad", MINUTE, lambda *_: "", breaks), Chore("watch", MINUTE, sets)]
    with Caretaker(desk, chores, clock).working(every_s=0.01):
        assert done.wait(5)


def test_the_end_waits_for_no_chore_that_goes_on(
    desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("quailwright.exchange.caretaker._ENDS_WITHIN_S", 0.1)
    begun, over = threading.Event(), threading.Event()

    def goes_on(_: Desk, __: datetime) -> str:
        begun.set()
        over.wait(30)
        return ""

    caretaker = Caretaker(desk, [Chore("backup", MINUTE, goes_on)], lambda: NOW)
    start = time.monotonic()
    with caretaker.working(every_s=0.01):
        assert begun.wait(5)
    assert time.monotonic() - start < 5
    over.set()
