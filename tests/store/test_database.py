"""The database itself: what is switched on, that nothing is lost between writers, and how its tables come to be."""

from __future__ import annotations

import os
import sqlite3
import subprocess
import sys
import threading
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta, timezone

import pytest
import sqlalchemy as sa
from alembic import command
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from alembic.operations import Operations
from sqlalchemy.exc import IntegrityError, OperationalError, StatementError

from tests.house.source import ROOT
from tests.store.conftest import KINDS, POSTGRESQL
from tests.store.scenario import NOON, photo, practical, station
from webcapture.reference.method import method_of
from webcapture.store import photos, practicals, stations
from webcapture.store.db import Database, _log_ahead, alembic_config, sqlite_address
from webcapture.store.own_runs import Place, accepted_runs
from webcapture.store.shapes import method_dict
from webcapture.store.store import Store
from webcapture.store.tables import Guess, Setting, Table

THREADS, TURNS = 24, 15
METHOD = method_of("water", "filter paper")


def pragma(session, name):
    return session.connection().exec_driver_sql(f"PRAGMA {name}").scalar()


@pytest.mark.parametrize("mode", ["reading", "writing"])
def test_sqlite_is_set_up(sqlite, mode):
    """https://sqlite.org/pragma.html: synchronous 2 is FULL."""
    with getattr(sqlite, mode)() as session:
        assert pragma(session, "journal_mode") == "wal"
        assert pragma(session, "foreign_keys") == 1
        assert pragma(session, "synchronous") == 2
        assert pragma(session, "busy_timeout") >= 10_000


def test_every_connection_is_set_up(sqlite):
    held = [sqlite.engine.connect() for _ in range(20)]
    assert {connection.exec_driver_sql("PRAGMA foreign_keys").scalar() for connection in held} == {1}
    for connection in held:
        connection.close()


def test_a_writer_takes_its_lock_before_it_reads(sqlite, tmp_path):
    """Else two that have both read could not both write. Seen from another connection that will not wait."""
    other = sqlite3.connect(tmp_path / "records.sqlite3", timeout=0, isolation_level=None)
    with sqlite.reading() as session:
        session.get(Setting, "x")
        other.execute("BEGIN IMMEDIATE")
        other.execute("ROLLBACK")
    with sqlite.writing(), pytest.raises(sqlite3.OperationalError, match="locked"):
        other.execute("BEGIN IMMEDIATE")
    other.close()


def test_postgresql_is_tested_as_well():
    """Every test with the fixture ``database`` runs on PostgreSQL too, where there is one to be used."""
    if "postgresql" not in KINDS:
        pytest.skip(f"no PostgreSQL here: the records were tested on SQLite alone ({POSTGRESQL} holds no address)")
    assert Database(os.environ[POSTGRESQL]).engine.dialect.name == "postgresql"


def count_up(database, barrier):
    """Read a number, write the next one: the pattern that loses updates."""
    barrier.wait()
    for _ in range(TURNS):
        with database.writing() as session:
            row = session.get(Setting, "count")
            row.value = str(int(row.value) + 1)


def test_many_writers_lose_nothing(database):
    with database.writing() as session:
        session.add(Setting(name="count", value="0"))
    barrier = threading.Barrier(THREADS)
    with ThreadPoolExecutor(THREADS) as pool:
        for done in [pool.submit(count_up, database, barrier) for _ in range(THREADS)]:
            done.result()
    with database.reading() as session:
        assert session.get(Setting, "count").value == str(THREADS * TURNS)


def test_without_the_early_lock_writers_would_fail(tmp_path):
    """That the test above can fail: the same with plain transactions, of two connections that have both read."""
    database = Database(sqlite_address(tmp_path / "records.sqlite3"))
    database.migrate()
    with database.engine.connect() as one, database.engine.connect() as two:
        for connection in (one, two):
            connection.execute(sa.select(Setting)).all()
        one.execute(sa.insert(Setting).values(name="a", value="1"))
        one.commit()
        with pytest.raises(OperationalError, match="locked"):
            two.execute(sa.insert(Setting).values(name="b", value="1"))
    database.close()


def test_readers_do_not_wait_for_a_writer(sqlite):
    with sqlite.writing() as writer:
        writer.add(Setting(name="a", value="1"))
        writer.flush()
        with sqlite.reading() as session:
            assert session.get(Setting, "a") is None
    with sqlite.reading() as session:
        assert session.get(Setting, "a") is not None


def test_all_or_nothing(database):
    with pytest.raises(RuntimeError), database.writing() as session:
        session.add(Setting(name="a", value="1"))
        session.flush()
        raise RuntimeError
    with database.reading() as session:
        assert session.get(Setting, "a") is None
        session.add(Setting(name="b", value="1"))
        session.flush()
    with database.reading() as session:
        assert session.get(Setting, "b") is None


def test_what_belongs_to_nothing_is_refused(database):
    with pytest.raises(IntegrityError), database.writing() as session:
        stations.join(session, "no-such-practical", "Bench 1", NOON)
    with pytest.raises(IntegrityError), database.writing() as session:
        photo(session, "no-such-station")


def test_times_come_back_as_they_were(database):
    """Whatever zone they were given in; a time without one is refused."""
    ahead = NOON.astimezone(timezone(timedelta(hours=5, minutes=45)))
    with database.writing() as session:
        session.add(Guess(kind="x", at=ahead))
    with database.reading() as session:
        found = session.scalars(sa.select(Guess)).one().at
    assert (found, found.tzinfo) == (NOON, UTC)
    with pytest.raises(StatementError, match="zone"), database.writing() as session:
        session.add(Guess(kind="x", at=datetime(2026, 3, 9)))


# ---- tables and migrations


def differences(database):
    with database.engine.connect() as connection:
        return compare_metadata(MigrationContext.configure(connection, opts={"compare_type": True}), Table.metadata)


def test_migrated_tables_are_those_of_the_models(database):
    assert differences(database) == []


def test_the_comparison_would_see_a_difference(database):
    with database.altering() as connection:
        Operations(MigrationContext.configure(connection)).add_column("photo", sa.Column("extra", sa.Integer()))
    assert [difference[0] for difference in differences(database)] == ["remove_column"]


def test_down_and_up_again(database):
    with database.altering() as connection:
        command.downgrade(alembic_config(connection), "base")
    assert set(sa.inspect(database.engine).get_table_names()) == {"alembic_version"}
    database.migrate()
    assert differences(database) == []


def test_runs_that_were_accepted_before_strips_were_told_apart_count_as_of_the_first(database):
    """Accepted under the second revision, which knew the bay alone."""
    with database.altering() as connection:
        command.downgrade(alembic_config(connection), "0002")
        old = sa.Table("accepted_run", sa.MetaData(), autoload_with=connection)
        row = {"substance": "Marl red", "method": method_dict(METHOD), "rf": 0.4, "expanded": 0.01, "colour": "#b04a5a"}
        row |= {"photo_id": "p1", "bay": 5, "lane": 1, "spot": 2, "practical_id": "q1", "practical": "Dyes"}
        connection.execute(sa.insert(old).values(**row, accepted_at=NOON))
    database.migrate()
    with database.reading() as session:
        (kept,) = accepted_runs(session)
    assert kept.place == Place("p1", 5, 1, 2, strip=1)
    assert kept.run.sheet == "p1:5"


def test_names_of_constraints_are_those_of_the_models(database):
    """A later migration must be able to name what it changes."""
    inspector = sa.inspect(database.engine)
    for name, table in Table.metadata.tables.items():
        assert inspector.get_pk_constraint(name)["name"] == table.primary_key.name
        expected = {str(c.name) for c in table.constraints if isinstance(c, sa.UniqueConstraint)}
        assert {c["name"] for c in inspector.get_unique_constraints(name)} == expected
        assert {c["name"] for c in inspector.get_foreign_keys(name)} == {
            str(c.name) for c in table.foreign_key_constraints
        }


def test_migrating_again_keeps_what_is_there(database):
    with database.writing() as session:
        mine = practical(session)
    database.migrate()
    with database.reading() as session:
        assert practicals.find(session, mine.id) == mine


def test_a_table_that_is_copied_keeps_what_belongs_to_it(database):
    """SQLite changes a table by copying it and dropping the old one; that must not take the stations along."""
    with database.writing() as session:
        bench = station(session)
        photo(session, bench.id)
    with database.altering() as connection:
        operations = Operations(MigrationContext.configure(connection))
        with operations.batch_alter_table("practical", recreate="auto") as batch:
            batch.alter_column("title", type_=sa.String(300), existing_type=sa.String(200))
    with database.reading() as session:
        assert stations.find(session, bench.id) == bench
        assert [p.id for p in photos.of_station(session, bench.id)] == ["p1"]
        if database.is_sqlite:
            assert pragma(session, "foreign_keys") == 1


def test_a_migration_that_breaks_belonging_is_taken_back(sqlite):
    with sqlite.writing() as session:
        bench = station(session)
    with pytest.raises(RuntimeError, match="belong to nothing"), sqlite.altering() as connection:
        connection.exec_driver_sql("DELETE FROM practical")
    with sqlite.reading() as session:
        assert stations.find(session, bench.id) == bench


class Refusing:
    """A connection that is refused a few times before it may switch, as SQLite does to processes that come at once."""

    def __init__(self, refusals, code=sqlite3.SQLITE_BUSY):
        self.refusals, self.asked, self.code = refusals, [], code

    def execute(self, words):
        self.asked.append(words)
        if len(self.asked) <= self.refusals:
            error = sqlite3.OperationalError("database is locked")
            error.sqlite_errorcode = self.code
            raise error


def test_who_is_refused_the_log_asks_again():
    connection = Refusing(3)
    _log_ahead(connection)
    assert connection.asked == ["PRAGMA journal_mode = WAL"] * 4


def test_what_waiting_does_not_mend_is_told_at_once():
    connection = Refusing(10**6, sqlite3.SQLITE_READONLY)
    with pytest.raises(sqlite3.OperationalError):
        _log_ahead(connection)
    assert len(connection.asked) == 1


def test_who_is_refused_for_too_long_is_told(monkeypatch):
    monkeypatch.setattr("webcapture.store.db.BUSY_S", 0.1)
    with pytest.raises(sqlite3.OperationalError, match="locked"):
        _log_ahead(Refusing(10**6))


def test_connections_that_come_at_once_to_a_new_file_all_get_in(tmp_path):
    """Rounds of threads let go together: on SQLite's own terms about one round in seven ends with a refusal."""
    for n in range(30):
        gate = threading.Barrier(6)

        def opened(file=tmp_path / f"{n}.sqlite", gate=gate):
            connection = sqlite3.connect(file, timeout=5, isolation_level=None)
            gate.wait()
            _log_ahead(connection)
            connection.close()

        with ThreadPoolExecutor(6) as pool:
            for one in [pool.submit(opened) for _ in range(6)]:
                one.result()


OPEN = "import sys, pathlib; from webcapture.store.store import Store; Store(pathlib.Path(sys.argv[1])).close()"


def test_processes_that_start_at_once_open_one_store(tmp_path):
    """Workers of one server: one makes the tables, the others wait and find them made."""
    run = [sys.executable, "-c", OPEN, str(tmp_path / "data")]
    for _ in range(2):
        started = [subprocess.Popen(run, cwd=ROOT, stderr=subprocess.PIPE, text=True) for _ in range(6)]
        ended = [process.communicate(timeout=120)[1] for process in started]
        assert [process.returncode for process in started] == [0] * 6, "\n".join(ended)[-2000:]


def test_the_store_is_one_folder(tmp_path):
    store = Store(tmp_path / "new" / "data")
    kept = store.vault.put(b"photo")
    stray = store.vault.put(b"nobody's")
    with store.database.writing() as session:
        bench = station(session)
        photos.accept(session, "p1", bench.id, "a.jpg", kept, 5, NOON)
        photos.accept(session, "p2", bench.id, "b.jpg", "b" * 64, 5, NOON)
    assert store.sweep() == ["b" * 64]
    assert store.vault.read(kept) == b"photo"
    with pytest.raises(FileNotFoundError):
        store.vault.read(stray)
    store.close()
    again = Store(tmp_path / "new" / "data")
    with again.database.reading() as session:
        assert stations.find(session, bench.id) == bench
    again.close()


def test_the_database_may_be_elsewhere(tmp_path):
    store = Store(tmp_path / "data", sqlite_address(tmp_path / "other.sqlite3"))
    store.close()
    assert (tmp_path / "other.sqlite3").exists()
    assert [file.name for file in (tmp_path / "data").iterdir()] == ["files"]
