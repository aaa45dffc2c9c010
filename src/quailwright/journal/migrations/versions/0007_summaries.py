"""Readings of long ago in less room; see `journal.summaries`."""

import sqlalchemy as sa
from alembic import op

revision = "0007"
down_revision = "0006"


def upgrade() -> None:
    """Adds what a kept reading stands for, and counts the readings there are; none is touched."""
    op.add_column("reading", sa.Column("stands_for", sa.Integer))
    op.add_column("reading", sa.Column("mean_c", sa.Double))
    op.add_column("reading", sa.Column("mean_pct", sa.Double))
    for counter in ("readings", "left_out"):
        op.add_column(
            "sensor", sa.Column(counter, sa.BigInteger, nullable=False, server_default="0")
        )
    op.execute(
        "UPDATE sensor SET readings = "
        "(SELECT count(*) FROM reading WHERE reading.sensor = sensor.id)"
    )
    op.create_table(
        "thinned",
        sa.Column("sensor", sa.Integer, primary_key=True, autoincrement=False),
        sa.Column("from_ms", sa.BigInteger, primary_key=True, autoincrement=False),
        sa.Column("until_ms", sa.BigInteger, nullable=False),
        sa.Column("temperature_off_c", sa.Double, nullable=False),
        sa.Column("humidity_off_pct", sa.Double, nullable=False),
        sqlite_with_rowid=False,
    )
