"""Cells of CSV that spreadsheets open."""

from __future__ import annotations

FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r")
"""A spreadsheet takes a cell that begins so for a formula (OWASP, CSV injection; from memory)."""


def harmless(text: str) -> str:
    """A cell of text that no spreadsheet takes for a formula.

    >>> harmless("=1+1"), harmless("Bench 3")
    ("'=1+1", 'Bench 3')
    """
    return f"'{text}" if text.startswith(FORMULA_STARTS) else text
