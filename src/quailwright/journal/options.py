"""What the household chose that is no fact of the flock: a folder for backups, hours of quiet.

They are not entries, for the reason that people are not (see `people`): they may be changed and
deleted, some are secrets (the password of a broker), and no export carries them. Each is a JSON
document under a name; who uses it decodes it.
"""

import sqlalchemy as sa

metadata = sa.MetaData()
_option = sa.Table(
    "option",
    metadata,
    sa.Column("name", sa.String(80), primary_key=True),
    sa.Column("value", sa.Text, nullable=False),
)


def get(connection: sa.Connection, name: str) -> str | None:
    """The JSON document under a name, or None."""
    found: str | None = connection.execute(
        sa.select(_option.c.value).where(_option.c.name == name)
    ).scalar()
    return found


def put(connection: sa.Connection, name: str, value: str | None) -> None:
    """Puts a JSON document under a name, in place of what was there; None takes it away."""
    connection.execute(_option.delete().where(_option.c.name == name))
    if value is not None:
        connection.execute(_option.insert().values(name=name, value=value))
