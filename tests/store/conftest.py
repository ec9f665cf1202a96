"""A fresh database for each test: SQLite always, PostgreSQL where its address is given.

PostgreSQL is tested where WEBCAPTURE_TEST_POSTGRESQL holds an address such as ``postgresql+psycopg://user@host/name`` and its
driver is installed; each test works in a schema of its own there, which it removes. Without it one skipped test says so:
``test_postgresql_is_tested_as_well``.
"""

from __future__ import annotations

import os
import secrets

import pytest
from sqlalchemy import create_engine, make_url, text

from webcapture.store.db import Database, sqlite_address

POSTGRESQL = "WEBCAPTURE_TEST_POSTGRESQL"


KINDS = ["sqlite", *(["postgresql"] if os.environ.get(POSTGRESQL) else [])]


@pytest.fixture(params=KINDS)
def database(request, tmp_path):
    """An up-to-date, empty database of either kind."""
    address = sqlite_address(tmp_path / "records.sqlite3")
    made = None
    if request.param == "postgresql":
        given = os.environ[POSTGRESQL]
        made = (create_engine(given), f"test_{secrets.token_hex(6)}")
        address = make_url(given).update_query_dict({"options": f"-csearch_path={made[1]}"})
        address = address.render_as_string(hide_password=False)
        with made[0].begin() as connection:
            connection.execute(text(f"CREATE SCHEMA {made[1]}"))
    found = Database(address)
    found.migrate()
    yield found
    found.close()
    if made:
        with made[0].begin() as connection:
            connection.execute(text(f"DROP SCHEMA {made[1]} CASCADE"))
        made[0].dispose()


@pytest.fixture
def sqlite(tmp_path):
    """An up-to-date, empty SQLite database."""
    found = Database(sqlite_address(tmp_path / "records.sqlite3"))
    found.migrate()
    yield found
    found.close()
