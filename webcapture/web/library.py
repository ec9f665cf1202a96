"""The library that every page compares with, and the settings for it."""

from __future__ import annotations

from functools import cache

from webcapture.reference.exchange import shipped_library
from webcapture.reference.library import Library
from webcapture.settings import CompareSettings
from webcapture.web.identity import settings


def library() -> Library:
    """The tables that come with the tool."""
    return _tables()


def comparing() -> CompareSettings:
    """How values are compared here."""
    return settings().compare


@cache
def _tables() -> Library:
    """Read once: they come with the program and do not change."""
    return shipped_library()
