"""What the household chose that is no fact of the flock; see `journal.options`."""

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"


def upgrade() -> None:
    """Makes the table; nothing else is touched."""
    op.create_table(
        "option",
        sa.Column("name", sa.String(80), primary_key=True),
        sa.Column("value", sa.Text, nullable=False),
    )
