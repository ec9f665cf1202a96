"""How a sheet was run and what is in its lanes, as a small file for the command line.

::

    {"mobile_phase": "salt water", "paper": "workshop paper", "temperature_c": 20, "locating": "",
     "lanes": {"1": "reference: Marl red", "2": "sample: vat 7", "3": "mixed: vat 7 + Marl red"}}

Mobile phase and paper are needed. Lanes count from the left, on one paper or on strips side by side; on a tray they are the bays, of
which each is for one strip. A lane that is not named is a sample.
A mixed lane holds both, one spot applied on the other: its label names a sample and a reference that have lanes of their own beside.
"""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from webcapture.errors import UsageError
from webcapture.reference.method import Method, method_of

ROLES = REFERENCE, SAMPLE, MIXED = ("reference", "sample", "mixed")
UNNAMED = (SAMPLE, "")
"""What a lane holds of which nothing is said."""
FIELDS = ("mobile_phase", "paper", "temperature_c", "locating", "lanes")
EXAMPLE = '{"mobile_phase": "water : ethanol 4 : 1", "paper": "filter paper", "lanes": {"1": "reference: Marl red"}}'
HINT = f"A method file looks like this: {EXAMPLE}"
SPACED, TIGHT = re.compile(r"\s\+\s+"), re.compile(r"\+(?=[^+])")
"""The plus sign of a mixed lane: the last that has spaces around it; without such a one the last, but not one that a name ends with."""


@dataclass(frozen=True, slots=True)
class Plan:
    """One method file."""

    method: Method
    lanes: Mapping[int, tuple[str, str]]
    """(role, label) by the number of the lane, or of the bay on a tray."""

    def of(self, number: int) -> tuple[str, str]:
        """(role, label) of a lane; a sample without a label where it is not named."""
        return self.lanes.get(number, UNNAMED)


def read_plan(text: str) -> Plan:
    """Read a method file. Raises UsageError (MethodUnclear for a mobile phase) saying what is wrong with it.

    >>> read_plan('{"mobile_phase": "water", "paper": "filter paper", "lanes": {"2": "reference: Marl red"}}').of(2)
    ('reference', 'Marl red')
    """
    try:
        given = json.loads(text)
    except ValueError as error:
        raise UsageError(f"The method file is no JSON: {error}.", HINT) from None
    if not isinstance(given, dict):
        raise UsageError("The method file is no JSON object.", HINT)
    if unknown := [name for name in given if name not in FIELDS]:
        raise UsageError(f"The method file has a field “{unknown[0]}”, which means nothing.", HINT)
    return Plan(
        method_of(
            _words(given, "mobile_phase"), _words(given, "paper"), _temperature(given), _words(given, "locating", "")
        ),
        _lanes(given.get("lanes", {})),
    )


def mixed_parts(label: str) -> tuple[str, str] | None:
    """(sample, reference) of a mixed lane's label; None where it does not name two.

    >>> mixed_parts("vat 7 + Marl red"), mixed_parts("A+Cu2+"), mixed_parts("vat 7")
    (('vat 7', 'Marl red'), ('A', 'Cu2+'), None)
    """
    found = [*SPACED.finditer(label)] or [*TIGHT.finditer(label)]
    if not found:
        return None
    sample, reference = label[: found[-1].start()].strip(), label[found[-1].end() :].strip()
    return (sample, reference) if sample and reference else None


def _words(given: Mapping[str, Any], name: str, usual: str | None = None) -> str:
    value = given.get(name, usual)
    if not isinstance(value, str) or (usual is None and not value.strip()):
        raise UsageError(f"The method file needs “{name}” as words.", HINT)
    return value


def _temperature(given: Mapping[str, Any]) -> float | None:
    value = given.get("temperature_c")
    if value is None:
        return None
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise UsageError("The temperature of the method file is no number of degrees.", HINT)
    return float(value)


def _lanes(given: Any) -> dict[int, tuple[str, str]]:
    if not isinstance(given, dict):
        raise UsageError("The lanes of the method file are no object.", HINT)
    return {_number(name): _role(name, what) for name, what in given.items()}


def _number(name: str) -> int:
    if not name.isdecimal() or int(name) < 1:
        raise UsageError(f"“{name}” is no number of a lane.", HINT)
    return int(name)


def _role(name: str, what: Any) -> tuple[str, str]:
    role, _colon, label = what.partition(":") if isinstance(what, str) else ("", "", "")
    role, label = role.strip().lower(), label.strip()
    if role not in ROLES or (role == REFERENCE and not label) or (role == MIXED and mixed_parts(label) is None):
        raise UsageError(
            f"What is in lane {name} is unclear.",
            "Write “reference: NAME”, “sample: LABEL” or “mixed: SAMPLE LABEL + REFERENCE”.",
        )
    return role, label
