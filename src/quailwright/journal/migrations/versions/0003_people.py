"""The people of the household and where they are signed in; see `journal.people`."""

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"


def upgrade() -> None:
    """Makes the two tables; entries and readings are not touched."""
    op.create_table(
        "person",
        sa.Column("id", sa.Integer, primary_key=True, autoincrement=True),
        sa.Column("name", sa.String(80), nullable=False, unique=True),
        sa.Column("role", sa.String(10), nullable=False),
        sa.Column("passphrase_hash", sa.String(200), nullable=False),
        sa.Column("since", sa.String(40), nullable=False),
        sqlite_autoincrement=True,
    )
    op.create_table(
        "sign_in",
        sa.Column("token_hash", sa.String(64), primary_key=True),
        sa.Column("person", sa.Integer, sa.ForeignKey("person.id"), nullable=False),
        sa.Column("began", sa.String(40), nullable=False),
    )
