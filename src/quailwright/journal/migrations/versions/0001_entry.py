"""The table of entries, which can only grow."""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None


def upgrade() -> None:
    """Makes the table, and has the database itself refuse a change or a deletion."""
    op.create_table(
        "entry",
        sa.Column("arrival", sa.Integer, primary_key=True, autoincrement=True),
        sa.Column("id", sa.String(36), nullable=False, unique=True),
        sa.Column("kind", sa.String(40), nullable=False),
        sa.Column("at", sa.String(40), nullable=False),
        sa.Column("recorded_at", sa.String(40), nullable=False),
        sa.Column("crc32", sa.BigInteger, nullable=False),
        sa.Column("body", sa.LargeBinary, nullable=False),
        sqlite_autoincrement=True,
    )
    if op.get_bind().dialect.name == "sqlite":
        _guard_sqlite()
    else:
        _guard_postgresql()


def _guard_sqlite() -> None:
    for verb in ("UPDATE", "DELETE"):
        op.execute(
            f"CREATE TRIGGER entry_no_{verb.lower()} BEFORE {verb} ON entry "
            "BEGIN SELECT RAISE(ABORT, 'entry is append-only'); END"
        )


def _guard_postgresql() -> None:
    op.execute(
        "CREATE FUNCTION entry_append_only() RETURNS trigger LANGUAGE plpgsql AS "
        "$$ BEGIN RAISE EXCEPTION 'entry is append-only'; END $$"
    )
    op.execute(
        "CREATE TRIGGER entry_append_only BEFORE UPDATE OR DELETE OR TRUNCATE ON entry "
        "EXECUTE FUNCTION entry_append_only()"
    )
