"""A flock moves between a file and a database, and is proven equal there."""

from datetime import datetime
from typing import TYPE_CHECKING

from quailwright import __version__
from quailwright.exchange.backups import state_of

if TYPE_CHECKING:
    from quailwright.journal.restoring import Restored


def move(from_: str, to: str, now: datetime) -> "Restored":
    """Moves a flock; see `journal.moving.move`."""
    from quailwright.journal import moving

    return moving.move(from_, to, now, __version__, state_of)
