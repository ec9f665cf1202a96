"""The database: SQLite in the data folder, or another one by its address.

SQLite runs with a write-ahead log, foreign keys, and writers that take their lock at once: a transaction that reads first
and writes later fails when another has written in between (measured: most of the time under load; never this way).
"""

from __future__ import annotations

import sqlite3
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from alembic import command
from alembic.config import Config
from sqlalchemy import Connection, Engine, create_engine, event
from sqlalchemy.orm import Session

MIGRATIONS = Path(__file__).with_name("migrations")
BUSY_S = 30
"""How long a writer waits for another before it gives up."""
BUSY = (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED)
"""What SQLite answers where another is at work; everything else is no matter of waiting."""
PAUSE_S = 0.02
"""Between two attempts at what SQLite does not wait for by itself."""
TURN = 0x77656263
"""Any number that no other program uses in that database: the lock's name in PostgreSQL."""


class Database:
    """One database, shared by the threads of a process."""

    def __init__(self, address: str) -> None:
        """``address`` is an SQLAlchemy database URL."""
        # As many connections as threads ask for: those that wait for their turn to write hold one each.
        self.engine = create_engine(address, connect_args=_arguments(address), pool_pre_ping=True, max_overflow=-1)
        if self.is_sqlite:
            _prepare_sqlite(self.engine)

    @property
    def is_sqlite(self) -> bool:
        """Whether it is a file of ours."""
        return self.engine.dialect.name == "sqlite"

    @contextmanager
    def reading(self) -> Iterator[Session]:
        """A session that sees one state of the database and changes nothing."""
        with Session(self.engine, expire_on_commit=False) as session:
            yield session
            session.rollback()

    @contextmanager
    def writing(self) -> Iterator[Session]:
        """A session whose changes are all kept, on disk, or none of them. Writers take turns."""
        engine = self.engine.execution_options(writes=True)
        with Session(engine, expire_on_commit=False) as session, session.begin():
            _take_turn(session.connection())
            yield session

    def migrate(self) -> None:
        """Bring the tables to the form that this version of the program uses; data are kept."""
        with self.altering() as connection:
            command.upgrade(alembic_config(connection), "head")

    @contextmanager
    def altering(self) -> Iterator[Connection]:
        """A connection for changing tables, with nobody else writing; all of it is kept, or nothing.

        SQLite changes a table by copying it and dropping the old one, and with foreign keys in force everything that belongs
        to its rows would go as well: so they are off meanwhile, and checked at the end.
        """
        with self.engine.execution_options(writes=True).connect() as connection:
            _set_foreign_keys(connection, "OFF")
            try:
                with connection.begin():
                    _take_turn(connection)
                    yield connection
                    _check_foreign_keys(connection)
            finally:
                _set_foreign_keys(connection, "ON")

    def close(self) -> None:
        """Let go of all connections."""
        self.engine.dispose()


def sqlite_address(file: Path) -> str:
    """The address of an SQLite database in that file."""
    return f"sqlite+pysqlite:///{file}"


def remove(session: Session, row: object) -> None:
    """Delete a row with all that belongs to it, which the database sees to; the session forgets what it held of them."""
    session.delete(row)
    session.flush()
    session.expire_all()


def alembic_config(connection: Connection) -> Config:
    """What Alembic's commands need to work on that connection."""
    config = Config()
    config.set_main_option("script_location", str(MIGRATIONS).replace("%", "%%"))
    config.attributes["connection"] = connection
    return config


def _take_turn(connection: Connection) -> None:
    """Wait until no other writes. SQLite did so when the transaction began; PostgreSQL has a lock for it, till the commit."""
    if connection.dialect.name == "postgresql":
        connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({TURN})")


def _set_foreign_keys(connection: Connection, state: str) -> None:
    """Outside a transaction: inside one SQLite ignores it."""
    driver = connection.connection.driver_connection
    if connection.dialect.name == "sqlite" and driver is not None:
        driver.execute(f"PRAGMA foreign_keys = {state}")


def _check_foreign_keys(connection: Connection) -> None:
    if connection.dialect.name == "sqlite" and connection.exec_driver_sql("PRAGMA foreign_key_check").first():
        raise RuntimeError("A migration left rows that belong to nothing; it was taken back.")


def _arguments(address: str) -> dict[str, Any]:
    return {"timeout": BUSY_S, "check_same_thread": False} if address.startswith("sqlite") else {}


def _prepare_sqlite(engine: Engine) -> None:
    """SQLAlchemy's own recipe for transactions that begin when asked to, with the lock a writer needs."""

    @event.listens_for(engine, "connect")
    def connected(connection: Any, _: Any) -> None:
        connection.isolation_level = None  # the driver must not begin transactions by itself
        _log_ahead(connection)
        for pragma in ("foreign_keys = ON", "synchronous = FULL", f"busy_timeout = {BUSY_S * 1000}"):
            connection.execute(f"PRAGMA {pragma}")

    @event.listens_for(engine, "begin")
    def began(connection: Any) -> None:
        writes = connection.get_execution_options().get("writes")
        connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")


def _log_ahead(connection: Any) -> None:
    """Switch the file to a write-ahead log, which is done once in its life.

    Where several processes come to a new file at once, SQLite refuses some of them without waiting, whatever its timeout is
    (measured: in 9 of 60 rounds of six): two that wait for each other would wait for ever. So it is asked again.
    """
    patience = time.monotonic() + BUSY_S
    while True:
        try:
            connection.execute("PRAGMA journal_mode = WAL")
            return
        except sqlite3.OperationalError as error:
            if error.sqlite_errorcode & 0xFF not in BUSY or time.monotonic() > patience:
                raise
            time.sleep(PAUSE_S)
