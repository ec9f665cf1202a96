"""What is installed is what was tested: every library pinned, also those that libraries bring along."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from importlib import metadata

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

from tests.house.source import PACKAGE, ROOT, imports, modules

LISTS = ("requirements.txt", "tests/requirements.txt")


def listed(name: str) -> list[Requirement]:
    """Everything that file asks for."""
    lines = (ROOT / name).read_text(encoding="utf-8").splitlines()
    return [Requirement(line) for line in lines if line.strip() and not line.startswith("#")]


def here(requirement: Requirement) -> bool:
    """Whether it is asked for on this machine."""
    return requirement.marker is None or requirement.marker.evaluate({"extra": ""})


def brought_along(name: str) -> Iterator[str]:
    """What an installed library needs in turn, directly."""
    needed = (Requirement(text) for text in metadata.requires(name) or ())
    yield from (canonicalize_name(requirement.name) for requirement in needed if here(requirement))


@pytest.mark.parametrize("name", LISTS)
def test_every_line_pins_one_version(name: str) -> None:
    pins = [[one.operator for one in requirement.specifier] for requirement in listed(name)]
    assert len(pins) > 10
    assert [pin for pin in pins if pin != ["=="]] == []


@pytest.mark.parametrize("name", LISTS)
def test_what_libraries_bring_along_is_pinned_too(name: str) -> None:
    """The tool's list stands alone; the tests' list is installed together with it."""
    lists = LISTS[: LISTS.index(name) + 1]
    pinned = {canonicalize_name(requirement.name): requirement for file in lists for requirement in listed(file)}
    wanted = {need for key, requirement in pinned.items() if here(requirement) for need in brought_along(key)}
    assert sorted(wanted - set(pinned)) == []


@pytest.mark.parametrize("name", LISTS)
def test_the_versions_listed_are_the_versions_tested(name: str) -> None:
    wanted = {requirement.name: str(requirement.specifier) for requirement in listed(name) if here(requirement)}
    assert {library: f"=={metadata.version(library)}" for library in wanted} == wanted


def test_every_library_that_is_imported_is_listed() -> None:
    distributions = metadata.packages_distributions()
    used = {n.split(".")[0] for m in modules() for n, _ in imports(m)} - {
        PACKAGE,
        "_typeshed",
        *sys.stdlib_module_names,
    }
    ours = {canonicalize_name(requirement.name) for requirement in listed("requirements.txt")}
    assert {"numpy", "cv2", "flask"} <= used
    assert [n for n in sorted(used) if not {canonicalize_name(d) for d in distributions[n]} & ours] == []
