"""Linter, formatter, type checker and the examples in docstrings, as tests, so that one summary tells of all."""

from __future__ import annotations

import doctest
import importlib
import subprocess
import sys

import pytest

from tests.house.source import ROOT, modules


@pytest.mark.parametrize(
    "command", [("ruff", "check", "."), ("ruff", "format", "--check", "."), ("mypy", "--strict")], ids=" ".join
)
def test_tool_finds_nothing(command: tuple[str, ...]) -> None:
    run = subprocess.run([sys.executable, "-m", *command], cwd=ROOT, capture_output=True, text=True, check=False)
    assert run.returncode == 0, run.stdout + run.stderr


@pytest.mark.parametrize("name", [m.name for m in modules() if m.name != "webcapture.__main__"])
def test_docstring_examples_hold(name: str) -> None:
    assert doctest.testmod(importlib.import_module(name)).failed == 0
