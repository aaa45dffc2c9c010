"""The readings of sensors, and which instrument at which place each is of."""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"


def upgrade() -> None:
    """Makes the two tables; entries are not touched."""
    op.create_table(
        "sensor",
        sa.Column("id", sa.Integer, primary_key=True, autoincrement=True),
        sa.Column("place", sa.String(80), nullable=False),
        sa.Column("instrument", sa.String(80), nullable=False),
        sa.UniqueConstraint("place", "instrument", name="sensor_place_instrument"),
    )
    op.create_table(
        "reading",
        sa.Column("sensor", sa.Integer, primary_key=True, autoincrement=False),
        sa.Column("at_ms", sa.BigInteger, primary_key=True, autoincrement=False),
        sa.Column("temperature_c", sa.Double),
        sa.Column("humidity_pct", sa.Double),
        sqlite_with_rowid=False,
    )
