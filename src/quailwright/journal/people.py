"""The people of the household who may open the pages, and where they are signed in.

They are not entries: a passphrase is changed and a sign-in ends, and neither is a fact of the
flock. They stand in two tables of the flock's database, so that one backup holds all and a database
at an address needs no second place. Of a passphrase only its hash is kept, of a sign-in only the
hash of what the browser holds: who reads the file can sign in nowhere.
"""

from dataclasses import dataclass
from datetime import datetime
from typing import Literal

import sqlalchemy as sa

from quailwright.journal import subscriptions
from quailwright.journal.moments import utc_text

metadata = sa.MetaData()
_person = sa.Table(
    "person",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True, autoincrement=True),
    sa.Column("name", sa.String(80), nullable=False, unique=True),
    sa.Column("role", sa.String(10), nullable=False),
    sa.Column("passphrase_hash", sa.String(200), nullable=False),
    sa.Column("since", sa.String(40), nullable=False),
    sqlite_autoincrement=True,
)
_sign_in = sa.Table(
    "sign_in",
    metadata,
    sa.Column("token_hash", sa.String(64), primary_key=True),
    sa.Column("person", sa.Integer, sa.ForeignKey("person.id"), nullable=False),
    sa.Column("began", sa.String(40), nullable=False),
)

PersonRole = Literal["keeper", "helper", "child", "viewer"]
"""What a person may do: a keeper all, a helper log and read, a child log what a child does and read
what is fit for one, a viewer read."""


@dataclass(frozen=True, slots=True)
class Person:
    """Someone who may open the pages."""

    id: int
    name: str
    role: PersonRole
    passphrase_hash: str


def everyone(connection: sa.Connection) -> list[Person]:
    """Everyone of the household, in the order in which they came."""
    return [_of(row) for row in connection.execute(sa.select(_person).order_by(_person.c.id))]


def add(
    connection: sa.Connection, name: str, role: PersonRole, passphrase_hash: str, now: datetime
) -> None:
    """Takes in a person; the name must be new."""
    connection.execute(
        _person.insert().values(
            name=name, role=role, passphrase_hash=passphrase_hash, since=utc_text(now)
        )
    )


def change(connection: sa.Connection, person: int, role: PersonRole, passphrase_hash: str) -> None:
    """Gives a person another role or passphrase."""
    connection.execute(
        _person.update()
        .where(_person.c.id == person)
        .values(role=role, passphrase_hash=passphrase_hash)
    )


def remove(connection: sa.Connection, person: int) -> None:
    """Takes a person off, and ends where they are signed in and what they subscribed to."""
    end_all(connection, person)
    subscriptions.remove_all_of(connection, person)
    connection.execute(_person.delete().where(_person.c.id == person))


def begin(connection: sa.Connection, person: int, token_hash: str, now: datetime) -> None:
    """Notes that a person has signed in on some browser."""
    connection.execute(
        _sign_in.insert().values(token_hash=token_hash, person=person, began=utc_text(now))
    )


def signed_in(
    connection: sa.Connection, token_hash: str, not_before: datetime, not_after: datetime
) -> Person | None:
    """Who holds the token of that hash, if they signed in between these instants."""
    found = connection.execute(
        sa.select(_person)
        .join(_sign_in, _sign_in.c.person == _person.c.id)
        .where(
            _sign_in.c.token_hash == token_hash,
            _sign_in.c.began >= utc_text(not_before),
            _sign_in.c.began <= utc_text(not_after),
        )
    ).first()
    return None if found is None else _of(found)


def end(connection: sa.Connection, token_hash: str) -> None:
    """Ends one sign-in."""
    connection.execute(_sign_in.delete().where(_sign_in.c.token_hash == token_hash))


def end_all(connection: sa.Connection, person: int) -> None:
    """Ends every sign-in of a person."""
    connection.execute(_sign_in.delete().where(_sign_in.c.person == person))


def end_everybodys(connection: sa.Connection) -> None:
    """Ends every sign-in of everybody."""
    connection.execute(_sign_in.delete())


def _of(row: sa.Row[tuple[int, str, PersonRole, str]]) -> Person:
    return Person(row.id, row.name, row.role, row.passphrase_hash)
