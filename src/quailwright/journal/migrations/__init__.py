"""Schema migrations of the store, run with Alembic. Loaded only when a flock file needs them."""

import threading
from pathlib import Path

import sqlalchemy as sa
from alembic import command
from alembic.config import Config

_TURN = 0x7175_6169_6C
"""Names, with the schema, the lock that upgrades of one flock in a database take."""

_ONE_AT_A_TIME = threading.Lock()
"""Alembic hands migrations what they work on through a global of its module."""


def alembic_config(connection: sa.Connection | None = None) -> Config:
    """Alembic's settings for this folder; `connection` is the one to migrate."""
    config = Config()
    config.set_main_option("script_location", str(Path(__file__).parent).replace("%", "%%"))
    config.set_main_option("path_separator", "newline")
    config.attributes["connection"] = connection
    return config


def upgrade(engine: sa.Engine) -> None:
    """Brings a flock file to the newest schema, in one transaction."""
    with engine.execution_options(writes=True).begin() as connection:
        upgrade_within(connection)


def upgrade_within(connection: sa.Connection, revision: str = "head") -> None:
    """As `upgrade`, to a schema of that name, within the transaction of the connection."""
    if connection.dialect.name == "postgresql":  # two that begin at once take turns
        turn = "SELECT pg_advisory_xact_lock(hashtextextended(current_schema(), :key))"
        connection.execute(sa.text(turn), {"key": _TURN})
    with _ONE_AT_A_TIME:
        command.upgrade(alembic_config(connection), revision)
