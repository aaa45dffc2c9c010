"""Private addresses of the calendar, and what was last told of each event.

Of an address only the hash of its secret part is kept. What was told of an event stays until some
time after the event is over, so that a change counts up its sequence and what is called off is
told as cancelled (RFC 5545, 3.8.7.4 and RFC 5546).
"""

import sqlalchemy as sa

metadata = sa.MetaData()
subscription_table = sa.Table(
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
told_event_table = sa.Table(
    "told_event",
    metadata,
    sa.Column("uid", sa.String(120), primary_key=True),
    sa.Column("sequence", sa.Integer, nullable=False),
    sa.Column("told", sa.Text, nullable=False),
    sa.Column("cancelled", sa.Boolean, nullable=False),
    sa.Column("changed", sa.String(40), nullable=False),
    sa.Column("ends", sa.String(40), nullable=False),
)
