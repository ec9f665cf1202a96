"""Alembic's environment: it works on the connection that :mod:`webcapture.store.db` hands over."""

from alembic import context

from webcapture.store.tables import Table

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=Table.metadata,
    render_as_batch=True,  # SQLite changes a table by copying it
)
with context.begin_transaction():
    context.run_migrations()
