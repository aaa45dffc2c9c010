"""Run by Alembic: migrates over the connection that `upgrade` hands in."""

from alembic import context

from quailwright.journal.store import metadata

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=metadata,
    transactional_ddl=True,
)
with context.begin_transaction():
    context.run_migrations()
