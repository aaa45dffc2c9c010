"""What falls due by itself, with a PostgreSQL database as the flock: watch, thinning, backup."""

from datetime import timedelta
from pathlib import Path

import numpy as np
from tests.exchange.nights import EVENING, FLOCK, HOUR, MINUTE, WARM, Night, warm

from quailwright.exchange import backup_schedule, notice_settings
from quailwright.exchange.backups import check, restore
from quailwright.exchange.caretaker import Caretaker
from quailwright.exchange.chores import chores
from quailwright.exchange.desk import Desk
from quailwright.exchange.notice_settings import NoticeSettings
from quailwright.exchange.readings_room import thin
from quailwright.journal.readings import to_ms
from quailwright.journal.store import open_store


def test_chores_on_a_database_server(postgresql: str, tmp_path: Path) -> None:
    folder = tmp_path / "stick"
    folder.mkdir()
    with Desk(open_store(postgresql)) as desk:
        store = desk.store
        with store.writing() as writer:
            writer.append(FLOCK, EVENING)
            old = to_ms(EVENING - timedelta(days=100)) + np.arange(40_000) * 10_000
            swings = 20 + np.sin(np.arange(40_000) / 500)
            writer.append_readings(
                "warm box", "old", old.tolist(), swings.tolist(), [None] * 40_000
            )
        notice_settings.keep(store, NoticeSettings(on=True))
        notice_settings.add_channel(store, "phone", "json://127.0.0.1:9/x", "en", False, EVENING)
        one = Night(desk, EVENING)
        one.go(EVENING + 10 * MINUTE, warm, MINUTE)
        one.go(EVENING + 40 * MINUTE, lambda _: {**WARM, "box": 30.0}, MINUTE)
        assert one.titles == ["Incubator too cold: box"]

        thinned = thin(store, desk.flock(one.now), one.now)
        assert thinned.whole
        assert thinned.left_out > 30_000
        counts = {s.place + s.instrument: (s.readings, s.kept) for s in store.reading_sensors()}

        backup_schedule.choose(store, str(folder), "day", "6", "03:30")
        backup_schedule.ask(store, one.now)
        told = backup_schedule.look(desk, one.now)
        assert "A backup was made" in told
        (made,) = folder.glob("*.zip")
        assert check(made).restored is not None
        restore(made, str(tmp_path / "new.sqlite"), False, one.now)
        with open_store(str(tmp_path / "new.sqlite")) as again:
            assert counts == {
                s.place + s.instrument: (s.readings, s.kept) for s in again.reading_sensors()
            }
        # All of them at once, as `serve` does them.
        caretaker = Caretaker(desk, chores(), lambda: one.now + HOUR)
        caretaker.do_due(one.now + HOUR)
        failed = {c.name: caretaker.told(c.name) for c in chores()}
        assert [name for name, came in failed.items() if came is None or came.failed] == []
