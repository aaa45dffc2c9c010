"""Readings of long ago summed up; see `journal.summaries`."""

import sqlalchemy as sa
from alembic import op

revision = "0007"
down_revision = "0006"


def upgrade() -> None:
    """Makes the table; readings are not touched."""
    op.create_table(
        "reading_summary",
        sa.Column("sensor", sa.Integer, primary_key=True, autoincrement=False),
        sa.Column("from_ms", sa.BigInteger, primary_key=True, autoincrement=False),
        sa.Column("until_ms", sa.BigInteger, nullable=False),
        sa.Column("readings", sa.Integer, nullable=False),
        sa.Column("temperature_mean", sa.Double),
        sa.Column("temperature_low", sa.Double),
        sa.Column("temperature_low_at_ms", sa.BigInteger),
        sa.Column("temperature_high", sa.Double),
        sa.Column("temperature_high_at_ms", sa.BigInteger),
        sa.Column("humidity_mean", sa.Double),
        sa.Column("humidity_low", sa.Double),
        sa.Column("humidity_low_at_ms", sa.BigInteger),
        sa.Column("humidity_high", sa.Double),
        sa.Column("humidity_high_at_ms", sa.BigInteger),
        sqlite_with_rowid=False,
    )
