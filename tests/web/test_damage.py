"""A damaged flock file, and a clock that cannot be right, as the pages tell them."""

import sqlite3
from contextlib import closing
from datetime import datetime, timedelta
from pathlib import Path

import pytest
from tests.makers import made
from tests.web.conftest import NOW, Enter, entered

from quailwright.exchange.caretaker import Caretaker
from quailwright.exchange.chores import chores
from quailwright.journal.damage import Damaged
from quailwright.journal.entries import encode
from quailwright.web.app import create_app
from quailwright.web.home import Settings


def test_serving_does_not_begin_on_a_damaged_file(flock_file: str) -> None:
    data = bytearray(Path(flock_file).read_bytes())
    data[data.index(b'"eggs":24') + 7] ^= 1
    Path(flock_file).write_bytes(data)
    with pytest.raises(Damaged, match="The way back, in this order"):
        create_app(Settings(flock_file, lambda: NOW))
    assert Path(flock_file).read_bytes() == data


def test_damage_found_while_serving_is_told_and_ends_all_writing(flock_file: str) -> None:
    app = create_app(Settings(flock_file, lambda: NOW))
    keeper, helper = entered(app, "keeper"), entered(app, "helper")
    token = keeper.get("/api/me").json()["token"]
    store = app.state.home.desk.store
    with closing(sqlite3.connect(flock_file)) as raw:
        raw.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        (page,) = raw.execute("SELECT rootpage FROM sqlite_master WHERE name='device'").fetchone()
    data = bytearray(Path(flock_file).read_bytes())
    data[(page - 1) * 4096 : page * 4096] = bytes(4096)
    with Path(flock_file).open("r+b") as stream:
        stream.write(data)

    care = Caretaker(app.state.home.desk, [c for c in chores() if c.name == "file"], lambda: NOW)
    with closing(sqlite3.connect(flock_file)) as raw:  # what it has read, it does not read again
        assert raw.execute("PRAGMA quick_check(1)").fetchone() != ("ok",)
    store._engine.dispose()
    care.do_due(NOW)
    told = care.told("file")
    assert told is not None
    assert told.failed
    # Above everything else that the round says, and no terminal's words on a phone.
    for who, to_do in ((keeper, 'href="/settings/backup">The way back'), (helper, "Tell a keeper")):
        the_round = who.get("/").text
        assert the_round.index(to_do) < the_round.index('class="place"')
    assert "The way back, in this order" in keeper.get("/settings/backup").text
    body = encode(made("care", "2027-05-03", task="water"))
    kept = keeper.post("/api/entries", content=body, headers={"X-Write-Token": token})
    # 503 is no refusal: the phone's queue keeps the entry and tries again.
    assert kept.status_code == 503
    assert "journal salvage" in kept.json()["sentence"]
    store.close()


def test_a_sound_file_is_said_to_be(flock_file: str) -> None:
    app = create_app(Settings(flock_file, lambda: NOW))
    care = Caretaker(app.state.home.desk, [c for c in chores() if c.name == "file"], lambda: NOW)
    care.do_due(NOW)
    told = care.told("file")
    assert told is not None
    assert not told.failed
    app.state.home.desk.store.close()


@pytest.mark.parametrize("off", [timedelta(days=-3650), timedelta(hours=-1), timedelta(days=3650)])
def test_sign_ins_and_the_round_when_the_clock_jumps(flock_file: str, off: timedelta) -> None:
    clock = [NOW]
    app = create_app(Settings(flock_file, lambda: clock[0]))
    keeper = entered(app, "keeper")
    clock[0] = NOW + off
    if abs(off) < timedelta(days=1):
        assert keeper.get("/").status_code == 200
    else:
        assert keeper.get("/").headers["location"] == "/sign-in?back=%2F"
        assert "signed in here no longer" in keeper.get("/sign-in").text
        again = entered(app, "keeper")
        assert "This computer&#39;s clock shows" in again.get("/").text
        clock[0] = NOW
        # What was signed in by the wrong clock does not last for ten years.
        assert again.get("/").status_code == 303
    clock[0] = NOW
    assert keeper.get("/").status_code == 200
    assert "clock shows" not in keeper.get("/").text
    app.state.home.desk.store.close()


def test_tries_of_a_passphrase_by_a_clock_that_ran_ahead_lock_nobody_out(flock_file: str) -> None:
    clock: list[datetime] = [NOW + timedelta(days=3650)]
    app = create_app(Settings(flock_file, lambda: clock[0]))
    attempts = app.state.home.attempts
    for _ in range(5):
        assert attempts.tried("10.0.0.9", clock[0]) is None
    assert attempts.tried("10.0.0.9", clock[0]) is not None
    assert attempts.tried("10.0.0.9", NOW) is None
    app.state.home.desk.store.close()


def test_nobody_is_asked_twice(enter: Enter) -> None:
    assert "signed in here no longer" not in enter("").get("/sign-in").text
