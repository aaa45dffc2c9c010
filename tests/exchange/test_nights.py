"""The nightly work of many flocks: each once, shared by whoever is free, kept while it holds."""

import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from datetime import date, timedelta

import pytest
from tests.makers import made
from tests.web.conftest import NOW, SMALL_FLOCK

from quailwright.exchange import outlook_kept
from quailwright.exchange.desk import Desk
from quailwright.exchange.nights import nights
from quailwright.exchange.outlook_page import outlook_page
from quailwright.journal.flocks import Flocks, open_flocks
from quailwright.journal.nights import next_turn, prepare
from quailwright.journal.store import Store
from quailwright.language import LANGUAGES, speaking

TONIGHT = NOW.date()
WORKER = """
import sys, time
from datetime import date
from quailwright.journal.flocks import open_flocks
from quailwright.journal.nights import next_turn
with open_flocks(sys.argv[1]) as flocks, next_turn(flocks, date.fromisoformat(sys.argv[2])) as turn:
    print(turn.name, flush=True)
    time.sleep(600)
"""


@pytest.fixture
def flocks(postgresql: str) -> Iterator[Flocks]:
    """Two flocks: creek with entries, hill with none."""
    with open_flocks(postgresql) as opened:
        for name in ("creek", "hill"):
            opened.add(name, NOW)
        with opened.store("creek").writing() as writer:
            writer.append(SMALL_FLOCK, NOW)
        yield opened


def names(flocks: Flocks, on: date = TONIGHT) -> list[str]:
    return [told.name for told in nights(flocks, on, lambda: NOW)]


def test_each_flock_is_looked_after_once_a_night(flocks: Flocks) -> None:
    told = list(nights(flocks, TONIGHT, lambda: NOW))
    assert [(one.name, one.why_not) for one in told] == [("creek", ""), ("hill", "")]
    assert names(flocks) == []
    flocks.add("late", NOW)
    assert names(flocks) == ["late"]
    assert names(flocks, TONIGHT + timedelta(days=1)) == ["creek", "hill", "late"]


def test_one_that_is_worked_on_is_passed_over_and_the_rest_shared(flocks: Flocks) -> None:
    prepare(flocks)
    with next_turn(flocks, TONIGHT) as mine:
        assert mine is not None
        assert mine.name == "creek"
        assert names(flocks) == ["hill"]
        with next_turn(flocks, TONIGHT) as nothing:
            assert nothing is None
    assert names(flocks) == []


def test_workers_at_once_do_each_once(flocks: Flocks, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("quailwright.exchange.outlook_kept.keep", lambda *_: None)
    for number in range(6):
        flocks.add(f"pen-{number}", NOW)
    done: list[str] = []
    workers = [threading.Thread(target=lambda: done.extend(names(flocks))) for _ in range(3)]
    for worker in workers:
        worker.start()
    for worker in workers:
        worker.join()
    assert sorted(done) == flocks.names()


def test_the_flock_of_a_killed_worker_is_taken_up_by_another(flocks: Flocks) -> None:
    prepare(flocks)
    command = [sys.executable, "-c", WORKER, flocks.location, TONIGHT.isoformat()]
    worker = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
    assert worker.stdout is not None
    assert worker.stdout.readline() == "creek\n"
    with next_turn(flocks, TONIGHT) as turn:
        assert turn is not None
        assert turn.name == "hill"
        os.kill(worker.pid, signal.SIGKILL)
        worker.wait(60)
        worker.stdout.close()
        until = time.monotonic() + 30
        taken = None
        while taken is None:
            assert time.monotonic() < until
            with next_turn(flocks, TONIGHT) as after:
                taken = after
        assert taken.name == "creek"


def test_a_night_that_fails_is_told_and_holds_up_no_other(
    flocks: Flocks, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(*_: object) -> None:
        raise RuntimeError

    monkeypatch.setattr("quailwright.exchange.outlook_kept.keep", broken)
    told = list(nights(flocks, TONIGHT, lambda: NOW))
    assert [one.name for one in told] == ["creek", "hill"]
    assert "RuntimeError" in told[0].why_not
    assert told[1].why_not == ""


def test_the_outlook_kept_is_the_one_reckoned_while_it_holds(flocks: Flocks) -> None:
    store: Store = flocks.store("creek")
    desk = Desk(store)
    list(nights(flocks, TONIGHT, lambda: NOW))
    for language in LANGUAGES:
        with speaking(language):
            reckoned = outlook_page(store, desk.flock(NOW), NOW, {})
            assert outlook_kept.kept(desk, NOW) == reckoned
            assert outlook_kept.kept(desk, NOW + timedelta(hours=5)) == reckoned
    evening, tomorrow = NOW + timedelta(hours=14), NOW + timedelta(days=1)
    assert outlook_kept.kept(desk, evening) is None  # the day's eggs are all in
    assert outlook_kept.kept(desk, tomorrow) is None
    with store.writing() as writer:
        writer.append([made("eggs_collected", "2027-05-02", group="hens", eggs=7)], NOW)
    assert outlook_kept.kept(desk, NOW) is None
    # Another process knows of it too, and of nothing that is no outlook.
    outlook_kept.keep(desk, NOW)
    assert outlook_kept.kept(Desk(flocks.store("creek")), NOW) is not None
    with store.household() as connection:
        connection.exec_driver_sql("UPDATE passing SET value = 'x'")
    assert outlook_kept.kept(desk, NOW) is None


def test_a_reading_of_a_hatch_makes_the_outlook_anew(flocks: Flocks) -> None:
    desk = Desk(flocks.store("creek"))
    outlook_kept.keep(desk, NOW)
    with desk.store.writing() as writer:
        at_ms = int((NOW - timedelta(hours=1)).timestamp() * 1000)
        writer.append_readings("box", "", [at_ms], [37.5], [50.0])
    assert outlook_kept.kept(desk, NOW) is None
