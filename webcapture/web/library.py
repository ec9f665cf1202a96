"""The library that every page compares with, and the settings for it: what comes with the tool, what the lead keeps, own runs pooled."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import cache

from flask import current_app

from webcapture.errors import UsageError
from webcapture.measure.uncertainty import COVERAGE
from webcapture.reference.exchange import TABLES, shipped
from webcapture.reference.library import Library, Run, Value, key, own_values
from webcapture.settings import CompareSettings
from webcapture.store import own_runs, references
from webcapture.web.identity import now, settings, store

ACCEPTED_HERE = "own runs accepted here"
"""Source of what is pooled from accepted runs: no other value may have it."""


@dataclass(frozen=True, slots=True)
class Known:
    """The library as it was read last."""

    mark: tuple[object, ...]
    """Changes with the records and with the lead's window."""
    library: Library


def library() -> Library:
    """The tables that come with the tool, the lead's own values and pooled own runs; retired and withdrawn ones are left out."""
    compare = comparing()
    with store().database.reading() as session:
        mark = (references.mark(session), compare)
        known: Known | None = current_app.extensions.get("library")
        if known is not None and known.mark == mark:
            return known.library
        kept = [one.value for one in references.kept(session) if not one.retired]
        runs = [one.run for one in own_runs.accepted_runs(session)]
    own = _own(runs, compare)
    joined = _joined(own, kept, tables())
    current_app.extensions["library"] = Known(mark, joined)
    return joined


def library_without(practical_id: str) -> Library:
    """The library without what that practical itself brought: a practical is no evidence for its own reference lanes."""
    whole, compare = library(), comparing()
    with store().database.reading() as session:
        runs = [one.run for one in own_runs.accepted_runs(session)]
    others = [run for run in runs if run.practical != practical_id]
    if len(others) == len(runs):
        return whole
    return Library.of((*(value for value in whole.values if value.source != ACCEPTED_HERE), *_own(others, compare)))


def _own(runs: Iterable[Run], compare: CompareSettings) -> tuple[Value, ...]:
    return own_values(runs, ACCEPTED_HERE, few=compare.few_practicals, least_sd=compare.window_rf / COVERAGE)


def comparing() -> CompareSettings:
    """How values are compared here: with the lead's own window, where one is set."""
    own = own_window()
    return settings().compare if own is None else replace(settings().compare, window_rf=own)


def own_window() -> float | None:
    """The lead's own window of Rf; None where the tool's own counts."""
    with store().database.reading() as session:
        return references.window(session)


def add(values: Iterable[Value], note: str = "") -> int:
    """Keep values, all of them or none; gives how many are new.

    Raises UsageError rather than put a value beside one that says otherwise from the same source.
    """
    wanted = list(values)
    _refuse_taken(wanted)
    fixed = {value.identity for value in tables()}
    new = [value for value in wanted if value.identity not in fixed and not _is_ours(value)]
    with store().database.writing() as session:
        return references.add(session, new, now(), note)


def change(entry: str, version: int, value: Value, note: str = "") -> references.Kept:
    """Put another version on top of a kept value; raises UsageError as :func:`add` does, and where somebody else was faster."""
    with store().database.writing() as session:
        references.require_newest(session, entry, version)
        _refuse_taken([value])
        if _is_ours(value):
            raise UsageError(f"“{ACCEPTED_HERE}” is what this tool calls its own pooled runs.", "Name the laboratory or the notebook that the value comes from.")  # fmt: skip
        return references.change(session, entry, version, value, now(), note)


def _is_ours(value: Value) -> bool:
    """Whether it names as its source what only pooled runs have."""
    return key(value.source) == key(ACCEPTED_HERE)


def _refuse_taken(wanted: list[Value]) -> None:
    """What is retired is not in the library: of that the records themselves speak."""
    fixed = {value.identity: value for value in tables()}
    if clashes := [v.substance for v in wanted if fixed.get(v.identity, v) != v]:
        raise UsageError(
            f"The tables that come with the tool say otherwise of {', '.join(dict.fromkeys(clashes))}, from the same source.",
            "Name your source apart from theirs.",
        )
    if pooled := [v.substance for v in wanted if _is_ours(v) and v not in library().values]:
        raise UsageError(
            f"“{ACCEPTED_HERE}” is what this tool calls its own pooled runs ({', '.join(dict.fromkeys(pooled))}).",
            "Name the laboratory or the notebook that these values come from.",
        )


@cache
def tables() -> tuple[Value, ...]:
    """What comes with the tool. Read once: it does not change."""
    return tuple(value for name in TABLES for value in shipped(name))


def _joined(*groups: Iterable[Value]) -> Library:
    """One library; where two are the same entry, the first counts: a table of a newer version of the tool may hold what the lead typed before."""
    found: dict[object, Value] = {}
    for values in groups:
        for value in values:
            found.setdefault(value.identity, value)
    return Library.of(found.values())
