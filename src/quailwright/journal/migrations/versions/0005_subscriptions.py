"""Private addresses of the calendar, and what was told of events; see `journal.subscriptions`."""

import sqlalchemy as sa
from alembic import op

revision = "0005"
down_revision = "0004"


def upgrade() -> None:
    """Makes the two tables; nothing else is touched."""
    op.create_table(
        "subscription",
        sa.Column("id", sa.Integer, primary_key=True, autoincrement=True),
        sa.Column("name", sa.String(80), nullable=False),
        sa.Column("token_hash", sa.String(64), nullable=False, unique=True),
        sa.Column("person", sa.Integer),
        sa.Column("settings", sa.Text, nullable=False),
        sa.Column("made", sa.String(40), nullable=False),
        sa.Column("asked_at", sa.String(40)),
        sqlite_autoincrement=True,
    )
    op.create_table(
        "told_event",
        sa.Column("uid", sa.String(36), primary_key=True),
        sa.Column("told", sa.Text, nullable=False),
    )
