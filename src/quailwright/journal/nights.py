"""Whose night it is: each flock of a database is looked after once a night, by whoever is free.

Several processes share the work by the database's own locks: one takes a row and holds it while it
works, the others pass over rows that are held (`FOR UPDATE SKIP LOCKED`). The row of a process that
is killed is free at once, and its flock is still to be done.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date

import sqlalchemy as sa

from quailwright.journal.flocks import Flocks
from quailwright.journal.store import in_sentences, without_password

_night = sa.Table(
    "night",
    sa.MetaData(schema="quailwright"),
    sa.Column("name", sa.String(40), primary_key=True),
    sa.Column("done_on", sa.String(10), nullable=False),
    sa.Column("why_not", sa.String(300), nullable=False),
)
_MAKING = 0x6E_69_67_68_74
"""Names the lock that the making of the table takes; any number that others do not use."""


@dataclass(slots=True)
class Turn:
    """A flock whose night it is. `why_not`: a sentence where not all of it could be done."""

    name: str
    why_not: str = ""


def prepare(flocks: Flocks) -> None:
    """Notes flocks that are new, and forgets those that are gone. Raises FlockUnusable."""
    with _within(flocks) as connection:
        connection.execute(sa.text("SELECT pg_advisory_xact_lock(:n)"), {"n": _MAKING})
        if connection.execute(sa.text("SELECT to_regclass('quailwright.night')")).scalar() is None:
            _night.create(connection)
        connection.execute(
            sa.text(
                "INSERT INTO quailwright.night (name, done_on, why_not) "
                "SELECT name, '', '' FROM quailwright.flock ON CONFLICT DO NOTHING"
            )
        )
        connection.execute(
            sa.text(
                "DELETE FROM quailwright.night WHERE name IN (SELECT name FROM quailwright.night "
                "WHERE name NOT IN (SELECT name FROM quailwright.flock) FOR UPDATE SKIP LOCKED)"
            )
        )


@contextmanager
def next_turn(flocks: Flocks, on: date) -> Iterator[Turn | None]:
    """A flock whose night of that day is not done; None: none is left that nobody works on.

    It is done when the block ends without an error. Raises FlockUnusable.
    """
    with _within(flocks) as connection:
        asked = (
            sa.select(_night.c.name)
            .where(_night.c.done_on < on.isoformat())
            .order_by(_night.c.done_on, _night.c.name)
            .limit(1)
            .with_for_update(skip_locked=True)
        )
        name = connection.execute(asked).scalar()
        turn = None if name is None else Turn(name)
        yield turn
        if turn is not None:
            done = {"done_on": on.isoformat(), "why_not": turn.why_not[:300]}
            connection.execute(_night.update().where(_night.c.name == turn.name).values(done))


@contextmanager
def _within(flocks: Flocks) -> Iterator[sa.Connection]:
    with in_sentences(without_password(flocks.location)), flocks.engine.begin() as connection:
        yield connection
