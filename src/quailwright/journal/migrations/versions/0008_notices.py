"""Channels, notices and what was told of them; see `journal.notices`."""

import sqlalchemy as sa
from alembic import op

revision = "0008"
down_revision = "0007"


def upgrade() -> None:
    """Makes the four tables; nothing else is touched."""
    op.create_table(
        "channel",
        sa.Column("id", sa.Integer, primary_key=True, autoincrement=True),
        sa.Column("name", sa.String(80), nullable=False, unique=True),
        sa.Column("address", sa.Text, nullable=False),
        sa.Column("settings", sa.Text, nullable=False),
        sa.Column("made", sa.String(40), nullable=False),
        sa.Column("tried", sa.Integer, nullable=False),
        sa.Column("not_before", sa.String(40)),
        sa.Column("digest_on", sa.String(10), nullable=False),
        sqlite_autoincrement=True,
    )
    op.create_table(
        "notice",
        sa.Column("id", sa.Integer, primary_key=True, autoincrement=True),
        sa.Column("rule", sa.String(80), nullable=False),
        sa.Column("about", sa.String(200), nullable=False),
        sa.Column("urgent", sa.Boolean, nullable=False),
        sa.Column("once", sa.Boolean, nullable=False),
        sa.Column("since", sa.String(40), nullable=False),
        sa.Column("noticed", sa.String(40), nullable=False),
        sa.Column("over", sa.String(40)),
        sa.Column("returns", sa.Integer, nullable=False),
        sa.Column("seen_by", sa.String(80), nullable=False),
        sa.Column("facts", sa.Text, nullable=False),
        sqlite_autoincrement=True,
    )
    op.create_table(
        "notice_told",
        sa.Column("notice", sa.Integer, primary_key=True, autoincrement=False),
        sa.Column("channel", sa.Integer, primary_key=True, autoincrement=False),
        sa.Column("what", sa.String(10), nullable=False),
        sa.Column("at", sa.String(40), nullable=False),
        sa.Column("times", sa.Integer, nullable=False),
    )
    op.create_table(
        "notice_message",
        sa.Column("id", sa.Integer, primary_key=True, autoincrement=True),
        sa.Column("channel", sa.Integer, nullable=False),
        sa.Column("at", sa.String(40), nullable=False),
        sa.Column("what", sa.String(10), nullable=False),
        sa.Column("notices", sa.Integer, nullable=False),
        sa.Column("went", sa.Boolean, nullable=False),
        sa.Column("answer", sa.String(300), nullable=False),
        sqlite_autoincrement=True,
    )
