"""Private addresses of the calendar, and what was last told of each event.

Of an address only the hash of its secret part is kept. What was told of an event stays until some
time after the event is over, so that a change counts up its sequence and what is called off is
told as cancelled (RFC 5545, 3.8.7.4 and RFC 5546). All phones of a flock are told alike.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

import sqlalchemy as sa

from quailwright.journal.moments import utc_text

metadata = sa.MetaData()
_subscription = sa.Table(
    "subscription",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True, autoincrement=True),
    sa.Column("name", sa.String(80), nullable=False),
    sa.Column("token_hash", sa.String(64), nullable=False, unique=True),
    sa.Column("person", sa.Integer),
    sa.Column("settings", sa.Text, nullable=False),
    sa.Column("made", sa.String(40), nullable=False),
    sa.Column("asked_at", sa.String(40)),
    sqlite_autoincrement=True,
)
_told_event = sa.Table(
    "told_event",
    metadata,
    sa.Column("uid", sa.String(36), primary_key=True),
    sa.Column("told", sa.Text, nullable=False),
)


@dataclass(frozen=True, slots=True)
class Subscription:
    """A private address.

    Attributes:
        name: what its maker calls it.
        person: who made it; None for the invented flock, which has no people.
        settings: a JSON document.
        made, asked_at: when, in UTC; `asked_at` is None until a calendar app has asked.
    """

    id: int
    name: str
    person: int | None
    settings: str
    made: datetime
    asked_at: datetime | None


def everything(connection: sa.Connection) -> list[Subscription]:
    """Every private address, in the order in which they were made."""
    rows = connection.execute(sa.select(_subscription).order_by(_subscription.c.id))
    return [_of(row) for row in rows]


def add(
    connection: sa.Connection, name: str, token_hash: str, person: int | None, settings: str,
    now: datetime,
) -> None:  # fmt: skip
    """Makes a private address."""
    connection.execute(
        _subscription.insert().values(
            name=name, token_hash=token_hash, person=person, settings=settings, made=utc_text(now)
        )
    )


def change(connection: sa.Connection, number: int, name: str, settings: str) -> None:
    """Gives a private address another name and other settings."""
    connection.execute(
        _subscription.update()
        .where(_subscription.c.id == number)
        .values(name=name, settings=settings)
    )


def remove(connection: sa.Connection, number: int) -> None:
    """Revokes a private address."""
    connection.execute(_subscription.delete().where(_subscription.c.id == number))


def remove_all_of(connection: sa.Connection, person: int) -> None:
    """Revokes every private address of a person."""
    connection.execute(_subscription.delete().where(_subscription.c.person == person))


def of_token(connection: sa.Connection, token_hash: str) -> Subscription | None:
    """The private address whose secret part has that hash, if there is one."""
    row = connection.execute(
        sa.select(_subscription).where(_subscription.c.token_hash == token_hash)
    ).first()
    return None if row is None else _of(row)


def asked(connection: sa.Connection, number: int, now: datetime) -> None:
    """Notes that a private address was asked for."""
    connection.execute(
        _subscription.update().where(_subscription.c.id == number).values(asked_at=utc_text(now))
    )


def _of(row: sa.Row[tuple[int, str, str, int | None, str, str, str | None]]) -> Subscription:
    asked_at = None if row.asked_at is None else datetime.fromisoformat(row.asked_at)
    made = datetime.fromisoformat(row.made)
    return Subscription(row.id, row.name, row.person, row.settings, made, asked_at)


# What was told.


def told_events(connection: sa.Connection) -> dict[str, str]:
    """What was told of each event, a JSON document by uid."""
    rows = connection.execute(sa.select(_told_event.c.uid, _told_event.c.told))
    return {row.uid: row.told for row in rows}


def remember(
    connection: sa.Connection, before: Mapping[str, str], after: Mapping[str, str]
) -> None:
    """Puts what is told now in place of what was told before; what is alike is left."""
    gone = [uid for uid, told in before.items() if after.get(uid) != told]
    come = [{"uid": uid, "told": told} for uid, told in after.items() if before.get(uid) != told]
    for uid in gone:
        connection.execute(_told_event.delete().where(_told_event.c.uid == uid))
    if come:
        connection.execute(_told_event.insert(), come)
