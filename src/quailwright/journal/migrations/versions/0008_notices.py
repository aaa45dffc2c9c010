"""Channels and notices; see `journal.notices`."""

import sqlalchemy as sa
from alembic import op

revision = "0008"
down_revision = "0007"


def upgrade() -> None:
    """Makes the two tables; nothing else is touched."""
    op.create_table(
        "channel",
        sa.Column("id", sa.Integer, primary_key=True, autoincrement=True),
        sa.Column("name", sa.String(80), nullable=False, unique=True),
        sa.Column("address", sa.Text, nullable=False),
        sa.Column("settings", sa.Text, nullable=False),
        sa.Column("made", sa.String(40), nullable=False),
        sqlite_autoincrement=True,
    )
    op.create_table(
        "notice",
        sa.Column("id", sa.Integer, primary_key=True, autoincrement=True),
        sa.Column("rule", sa.String(80), nullable=False),
        sa.Column("about", sa.String(200), nullable=False),
        sa.Column("since", sa.String(40), nullable=False),
        sa.Column("over", sa.String(40)),
        sa.Column("told", sa.Text, nullable=False),
        sqlite_autoincrement=True,
    )
