"""What server processes of one flock pass one another: for a while only, and worth nothing after.

Several processes that serve the flocks of an office (`quailwright serve --flocks`) share the tries
of a passphrase, a plan in the making, a sheet on its way in. One table of the flock holds it. It is
no part of the record: no backup, export or move carries it, it may be dropped at any time, and the
database keeps it out of its log (UNLOGGED: a database that crashed finds it empty).
"""

from datetime import timedelta
from typing import NamedTuple

import sqlalchemy as sa
from sqlalchemy.dialects.postgresql import insert

_passing = sa.Table(
    "passing",
    sa.MetaData(),
    sa.Column("kind", sa.String(20), primary_key=True),
    sa.Column("key", sa.String(64), primary_key=True),
    sa.Column(
        "since",
        sa.DateTime(timezone=True),
        nullable=False,
        server_default=sa.text("clock_timestamp()"),
    ),
    sa.Column("value", sa.LargeBinary, nullable=False),
    prefixes=["UNLOGGED"],
)
_MAKING = 0x71_70_61_73_73
"""Names the lock that the making of the table takes; any number that others do not use."""


class Passed(NamedTuple):
    """Something passed on, under its key."""

    key: str
    value: bytes


class Passing:
    """What is passed on, within one transaction of the flock."""

    def __init__(self, connection: sa.Connection) -> None:
        self._connection = connection

    def prepare(self) -> None:
        """Makes the table where it is not there yet."""
        if self._connection.execute(sa.text("SELECT to_regclass('passing')")).scalar() is None:
            # Two that begin at once take turns.
            self._connection.execute(sa.text("SELECT pg_advisory_xact_lock(:n)"), {"n": _MAKING})
            self._connection.execute(sa.schema.CreateTable(_passing, if_not_exists=True))

    def my_turn(self) -> None:
        """Until the transaction ends nobody else writes; all may read."""
        self.prepare()  # the flock may have been dropped and begun anew
        self._connection.execute(sa.text("LOCK TABLE passing IN EXCLUSIVE MODE"))

    def get(self, kind: str, key: str) -> bytes | None:
        """What is passed under a key."""
        self.prepare()
        found: bytes | None = self._connection.execute(
            sa.select(_passing.c.value).where(_passing.c.kind == kind, _passing.c.key == key)
        ).scalar()
        return found

    def every(self, kind: str) -> list[Passed]:
        """All of a kind, the oldest first."""
        self.prepare()
        rows = self._connection.execute(
            sa.select(_passing.c.key, _passing.c.value)
            .where(_passing.c.kind == kind)
            .order_by(_passing.c.since, _passing.c.key)
        )
        return [Passed(row.key, row.value) for row in rows]

    def put(self, kind: str, key: str, value: bytes) -> None:
        """Passes something on; what stood there under the key is replaced, and keeps its age."""
        row = insert(_passing).values(kind=kind, key=key, value=value)
        in_its_place = {"value": row.excluded.value}
        self._connection.execute(
            row.on_conflict_do_update(index_elements=["kind", "key"], set_=in_its_place)
        )

    def drop(self, kind: str, key: str) -> None:
        """Takes it away."""
        self._connection.execute(
            _passing.delete().where(_passing.c.kind == kind, _passing.c.key == key)
        )

    def drop_older(self, age: timedelta) -> None:
        """Takes away all that was passed on longer ago than that, by the clock of the database."""
        self._connection.execute(_passing.delete().where(_passing.c.since < sa.func.now() - age))

    def lives(self, number: int) -> bool:
        """Whether who took that number by `live` still runs."""
        free = sa.text("SELECT pg_try_advisory_xact_lock(:number)")
        return not self._connection.execute(free, {"number": number}).scalar()

    def live(self, number: int) -> None:
        """Takes a number (below 2**63) until the transaction ends, however it ends."""
        self._connection.execute(
            sa.text("SELECT pg_advisory_xact_lock(:number)"), {"number": number}
        )
