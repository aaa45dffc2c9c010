"""Devices that send readings, and topics; see `journal.devices`."""

import sqlalchemy as sa
from alembic import op

revision = "0006"
down_revision = "0005"


def upgrade() -> None:
    """Makes the three tables; nothing else is touched."""
    op.create_table(
        "device",
        sa.Column("id", sa.Integer, primary_key=True, autoincrement=True),
        sa.Column("name", sa.String(80), nullable=False, unique=True),
        sa.Column("key_hash", sa.String(64), nullable=False, unique=True),
        sa.Column("place", sa.String(80), nullable=False),
        sa.Column("instrument", sa.String(80), nullable=False),
        sa.Column("settings", sa.Text, nullable=False),
        sa.Column("made", sa.String(40), nullable=False),
        sqlite_autoincrement=True,
    )
    op.create_table(
        "topic",
        sa.Column("id", sa.Integer, primary_key=True, autoincrement=True),
        sa.Column("filter", sa.String(200), nullable=False),
        sa.Column("place", sa.String(80), nullable=False),
        sa.Column("instrument", sa.String(80), nullable=False),
        sa.Column("settings", sa.Text, nullable=False),
        sa.Column("made", sa.String(40), nullable=False),
        sqlite_autoincrement=True,
    )
    op.create_table(
        "taken_message",
        sa.Column("packet", sa.Integer, primary_key=True, autoincrement=False),
        sa.Column("digest", sa.String(64), nullable=False),
    )
