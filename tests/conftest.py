"""What all tests may need from the machine they run on."""

from __future__ import annotations

import os
import shutil

# Before anything imports colour-science: where matplotlib is not installed, that puts an empty stand-in in its place, and
# astropy, which photutils stands on, then stumbles over it.
import photutils.centroids  # noqa: F401
import pytest


@pytest.fixture(scope="session")
def chromium() -> str:
    """The browser; a test that needs it fails where there is none, because a page nobody saw is not tested."""
    named = os.environ.get("CHROMIUM")
    found = named or shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
    if not found:
        pytest.fail("There is no Chromium: run “sh tests/run”, install it, or name it in CHROMIUM.")
    return found
