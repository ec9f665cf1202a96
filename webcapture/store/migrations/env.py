"""Alembic's environment: it works on the connection that :mod:`webcapture.store.db` hands over."""

from alembic import context

from webcapture.store.tables import Table

NAME_IN_ALEMBIC = "env_py"


def run() -> None:
    """Run what Alembic was asked for."""
    context.configure(
        connection=context.config.attributes["connection"],
        target_metadata=Table.metadata,
        render_as_batch=True,  # SQLite changes a table by copying it
    )
    with context.begin_transaction():
        context.run_migrations()


if __name__ == NAME_IN_ALEMBIC:  # imported by anything else, for its documentation or its checks, it does nothing
    run()
