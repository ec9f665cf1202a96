"""From what is named on a command line to a plan and a library: a method file, tables that come along, CSV files."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from webcapture.errors import UsageError
from webcapture.reference.exchange import TABLES, read_csv, shipped
from webcapture.reference.library import Library
from webcapture.reference.plan import Plan, read_plan


def comparison(method: Path | None, references: Sequence[str]) -> tuple[Plan, Library]:
    """What is to be compared with what; ``references`` are names of ``TABLES`` or files.

    Raises UsageError, saying what is wrong: with either file, or that no method was given.
    """
    if method is None:
        hint = "Say with --method FILE how the sheets were run; the README shows such a file."
        raise UsageError("Values compare only under the same mobile phase and paper.", hint)
    plan = read_plan(_read(method).decode("utf-8", "replace"))
    tables = [shipped(name) if name in TABLES else read_csv(_read(Path(name))) for name in references]
    return plan, Library.of(value for table in tables for value in table)


def reference_files(references: Sequence[str]) -> list[Path]:
    """Which of those names are files."""
    return [Path(name) for name in references if name not in TABLES]


def _read(file: Path) -> bytes:
    try:
        return file.read_bytes()
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise UsageError(f"The file “{file}” cannot be read ({reason}).", "Name one that is there.") from None
