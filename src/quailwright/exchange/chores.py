"""The chores of a flock: what each part of the house has done by itself, and how often."""

from quailwright.exchange import backup_schedule
from quailwright.exchange.caretaker import Chore


def chores() -> list[Chore]:
    """Every chore, made anew: some hold a connection."""
    return [
        backup_schedule.chore(),
    ]
