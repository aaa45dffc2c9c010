"""The chores of a flock: what each part of the house has done by itself, and how often."""

from datetime import datetime, timedelta

from quailwright.exchange import backup_schedule, readings_room
from quailwright.exchange.caretaker import Chore
from quailwright.exchange.desk import Desk
from quailwright.exchange.mqtt import Listener
from quailwright.exchange.notice_watch import NoticeWatch
from quailwright.language import later


def chores() -> list[Chore]:
    """Every chore, made anew: some hold a connection."""
    return [
        _sensors(),
        *NoticeWatch().chores(),
        Chore("readings", timedelta(minutes=15), readings_room.do),
        backup_schedule.chore(),
        Chore("file", timedelta(days=1), _look_through),
    ]


def _look_through(desk: Desk, _: datetime) -> str:
    """Reads the whole file when serving begins and each day; damage ends all writing."""
    desk.store.check()
    return later("The flock file was read through, and it is whole.")


def _sensors() -> Chore:
    listener = Listener()
    every = timedelta(seconds=3)
    return Chore("sensors", every, listener.tick, listener.end, listener.shown)
