"""The chores of a flock: what each part of the house has done by itself, and how often."""

from quailwright.exchange.caretaker import Chore
from quailwright.exchange.notice_watch import NoticeWatch, ToldOf


def chores(told_of: ToldOf) -> list[Chore]:
    """Every chore, made anew: some hold a connection.

    `told_of` says what came of a chore the last time.
    """
    return [
        *NoticeWatch(told_of).chores(),
    ]
