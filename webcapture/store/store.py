"""The store of one installation: its database and its vault of files."""

from __future__ import annotations

from pathlib import Path

from webcapture.store.db import Database, sqlite_address
from webcapture.store.files import Vault
from webcapture.store.photos import known_files


class Store:
    """Opened once a process; brings its tables up to date when it opens."""

    def __init__(self, folder: Path, address: str | None = None) -> None:
        """``folder`` holds the files, and the database too where no other ``address`` (an SQLAlchemy URL) is given."""
        folder.mkdir(parents=True, exist_ok=True)
        self.vault = Vault(folder / "files")
        self.database = Database(address or sqlite_address(folder / "records.sqlite3"))
        self.database.migrate()

    def sweep(self) -> list[str]:
        """Remove files that nothing points to; gives the digests of files that records need and that are missing.

        Only where nothing else writes: an accepted photo's file is there before its record.
        """
        with self.database.writing() as session:
            return self.vault.sweep(known_files(session))

    def close(self) -> None:
        """Let go of the database."""
        self.database.close()
