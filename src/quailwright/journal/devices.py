"""Devices that send readings: those with a key, over HTTP, and topics of an MQTT broker.

Of a key only its hash is kept. A topic tells how its messages become readings of a place.
"""

import sqlalchemy as sa

metadata = sa.MetaData()
device_table = sa.Table(
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
topic_table = sa.Table(
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
