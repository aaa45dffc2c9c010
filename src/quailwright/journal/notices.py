"""Notices that go out of the house: by which channels, and which were told or wait to be.

The address of a channel may hold a password: it is a secret, and no export carries it.
"""

import sqlalchemy as sa

metadata = sa.MetaData()
channel_table = sa.Table(
    "channel",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True, autoincrement=True),
    sa.Column("name", sa.String(80), nullable=False, unique=True),
    sa.Column("address", sa.Text, nullable=False),
    sa.Column("settings", sa.Text, nullable=False),
    sa.Column("made", sa.String(40), nullable=False),
    sqlite_autoincrement=True,
)
notice_table = sa.Table(
    "notice",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True, autoincrement=True),
    sa.Column("rule", sa.String(80), nullable=False),
    sa.Column("about", sa.String(200), nullable=False),
    sa.Column("since", sa.String(40), nullable=False),
    sa.Column("over", sa.String(40)),
    sa.Column("told", sa.Text, nullable=False),
    sqlite_autoincrement=True,
)
"""One row for each time that something went wrong: `since` when, `over` when it was right again;
`told` is a JSON document of what was sent, what waits, and how often it was tried."""
