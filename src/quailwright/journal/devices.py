"""Devices that send readings: those with a key, over HTTP, and topics of an MQTT broker.

Of a key only its hash is kept. How the messages of a device or topic become readings is a JSON
document, which whoever reads it decodes. They are not entries, for the reason that people are not
(see `people`).
"""

from collections.abc import Iterable
from datetime import datetime
from typing import NamedTuple

import sqlalchemy as sa

from quailwright.journal.moments import utc_text

metadata = sa.MetaData()
_device = sa.Table(
    "device",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True, autoincrement=True),
    sa.Column("name", sa.String(80), nullable=False, unique=True),
    sa.Column("key_hash", sa.String(64), nullable=False, unique=True),
    sa.Column("place", sa.String(80), nullable=False),
    sa.Column("instrument", sa.String(80), nullable=False),
    sa.Column("settings", sa.Text, nullable=False),
    sa.Column("made", sa.String(40), nullable=False),
    sqlite_autoincrement=True,
)
_topic = sa.Table(
    "topic",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True, autoincrement=True),
    sa.Column("filter", sa.String(200), nullable=False),
    sa.Column("place", sa.String(80), nullable=False),
    sa.Column("instrument", sa.String(80), nullable=False),
    sa.Column("settings", sa.Text, nullable=False),
    sa.Column("made", sa.String(40), nullable=False),
    sqlite_autoincrement=True,
)
_message = sa.Table(
    "taken_message",
    metadata,
    sa.Column("packet", sa.Integer, primary_key=True, autoincrement=False),
    sa.Column("digest", sa.String(64), nullable=False),
)
"""Of each packet identifier of the session with the broker (1 to 65,535) the last message taken
that had no time of its own: so one that the broker sends again is known by it."""


class Device(NamedTuple):
    """A device with a key. `settings` is the JSON document of how its messages are read."""

    id: int
    name: str
    place: str
    instrument: str
    settings: str
    made: str


class Topic(NamedTuple):
    """How the messages of topics that fit `filter` (MQTT 5.0, section 4.7) become readings."""

    id: int
    filter: str
    place: str
    instrument: str
    settings: str
    made: str


class Taken(NamedTuple):
    """A message: its packet identifier, a digest of topic and payload, whether it came again."""

    packet: int
    digest: str
    again: bool


_DEVICE_COLUMNS = [_device.c[name] for name in Device._fields]
_TOPIC_COLUMNS = [_topic.c[name] for name in Topic._fields]


def devices(connection: sa.Connection) -> list[Device]:
    """Every device with a key, in the order in which they came."""
    rows = connection.execute(sa.select(*_DEVICE_COLUMNS).order_by(_device.c.id))
    return [Device(*row) for row in rows]


def device_of(connection: sa.Connection, key_hash: str) -> Device | None:
    """The device whose key has that hash."""
    found = connection.execute(
        sa.select(*_DEVICE_COLUMNS).where(_device.c.key_hash == key_hash)
    ).first()
    return None if found is None else Device(*found)


def add_device(
    connection: sa.Connection,
    name: str,
    key_hash: str,
    place: str,
    instrument: str,
    settings: str,
    now: datetime,
) -> None:
    """Takes in a device; its name must be new."""
    connection.execute(
        _device.insert().values(
            name=name,
            key_hash=key_hash,
            place=place,
            instrument=instrument,
            settings=settings,
            made=utc_text(now),
        )
    )


def remove_device(connection: sa.Connection, device: int) -> None:
    """Takes a device off: its key opens nothing any more."""
    connection.execute(_device.delete().where(_device.c.id == device))


def topics(connection: sa.Connection) -> list[Topic]:
    """Every topic that is listened to, in the order in which they came."""
    rows = connection.execute(sa.select(*_TOPIC_COLUMNS).order_by(_topic.c.id))
    return [Topic(*row) for row in rows]


def add_topic(
    connection: sa.Connection,
    topic_filter: str,
    place: str,
    instrument: str,
    settings: str,
    now: datetime,
) -> None:
    """Listens to topics of that filter from now on."""
    connection.execute(
        _topic.insert().values(
            filter=topic_filter,
            place=place,
            instrument=instrument,
            settings=settings,
            made=utc_text(now),
        )
    )


def remove_topic(connection: sa.Connection, topic: int) -> None:
    """Listens to it no more."""
    connection.execute(_topic.delete().where(_topic.c.id == topic))


def first_time(connection: sa.Connection, messages: Iterable[Taken]) -> list[bool]:
    """Of each message whether it has not been taken before, and notes that it is taken now.

    A broker sends again, under the same packet identifier and marked so, what was not acknowledged
    (MQTT 5.0, section 4.4); the notes stand and fall with the readings of their transaction.
    """
    new = []
    for message in messages:
        here = _message.c.packet == message.packet
        if message.again:
            known = connection.execute(sa.select(_message.c.digest).where(here)).scalar()
            if known == message.digest:
                new.append(False)
                continue
        connection.execute(_message.delete().where(here))
        connection.execute(_message.insert().values(packet=message.packet, digest=message.digest))
        new.append(True)
    return new
