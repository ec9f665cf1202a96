"""The project's own source, read as trees: for tests that hold it to its rules."""

from __future__ import annotations

import ast
import subprocess
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
PACKAGE = "webcapture"


@dataclass(frozen=True)
class Module:
    """One Python file of ours."""

    path: Path
    name: str
    """Dotted, a package's ``__init__`` under the package's own name."""
    tree: ast.Module

    @property
    def room(self) -> str:
        """The part of the house it stands in: ``imaging``, ``errors``, or "" for the package's own face."""
        parts = self.name.split(".")
        return parts[1] if len(parts) > 1 else ""

    @property
    def place(self) -> str:
        return self.path.relative_to(ROOT).as_posix()


def tracked(*patterns: str) -> list[Path]:
    """Files of the project that git knows or would take in, matching one of the patterns."""
    command = ["git", "ls-files", "--cached", "--others", "--exclude-standard", "--", *patterns]
    listed = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=True).stdout
    return [ROOT / line for line in sorted(set(listed.splitlines())) if (ROOT / line).is_file()]


def modules(folder: str = PACKAGE) -> list[Module]:
    """Every Python file below ``folder``."""
    return [_module(path) for path in tracked(f"{folder}/*.py")]


def _module(path: Path) -> Module:
    parts = list(path.relative_to(ROOT).with_suffix("").parts)
    if parts[-1] == "__init__":
        parts.pop()
    return Module(path, ".".join(parts), ast.parse(path.read_text(encoding="utf-8"), str(path)))


def imports(module: Module) -> Iterator[tuple[str, int]]:
    """(dotted name, line) of everything a module imports anywhere in it, relative imports made absolute.

    ``from a import b`` gives ``a.b``: whether b is a module or a name in one, it is b that is used.
    """
    package = module.name if module.path.name == "__init__.py" else module.name.rpartition(".")[0]
    for node in ast.walk(module.tree):
        if isinstance(node, ast.Import):
            yield from ((alias.name, node.lineno) for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            above = package.split(".")[: len(package.split(".")) - node.level + 1] if node.level else []
            base = ".".join([*above, *([node.module] if node.module else [])])
            yield from ((f"{base}.{alias.name}", node.lineno) for alias in node.names)


def functions(module: Module) -> Iterator[tuple[str, int]]:
    """(place, lines of its body, docstring aside) of every function."""
    for node in ast.walk(module.tree):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            body = node.body[1:] if ast.get_docstring(node) is not None else node.body
            lines = (body[-1].end_lineno or 0) - body[0].lineno + 1 if body else 0
            yield f"{module.place}:{node.lineno} {node.name}", lines
