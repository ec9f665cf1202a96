"""What several runs say of one unknown, as JSON types and as CSV: numbers beside every verdict."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from webcapture.reference.advise import Advice, what_next
from webcapture.reference.evidence import CONSISTENT, NOT_RUN, RULED_OUT, Cell, Evidence, Row, evidence
from webcapture.reference.library import Library
from webcapture.reference.method import Method
from webcapture.reference.phase import UnknownRun
from webcapture.report.cells import harmless
from webcapture.report.names import comparison_dict
from webcapture.settings import DEFAULTS, CompareSettings

Json = dict[str, Any]
DIGITS = 4
NEXT_SHOWN, PAIRS_SHOWN = 3, 6
"""Mobile phases to run next, and pairs of candidates of each, that are told."""
NOTE = "Equal Rf is necessary, not sufficient: other substances may lie at the same places, and be in one spot."
CSV_HEADER = (
    "unknown", "substance", "verdict", "agreements", "mobile_phase", "paper", "outcome", "runs_agree", "runs_disagree",
    "runs_open", "quantity", "seen", "U_seen", "known", "U_known", "window", "e_n", "evidence", "source", "colour",
    "reason",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class RunNote:
    """One lane of the unknown on one sheet, and where it comes from."""

    id: str
    practical_id: str
    practical: str
    """Its title."""
    day: str
    """ISO 8601, on which the photo came in."""
    station: str
    photo_id: str
    mobile_phase: str
    """As it was written."""
    paper: str
    taken: bool
    """False where it is left out."""
    run: UnknownRun


def evidence_dict(
    label: str, notes: Sequence[RunNote], library: Library, settings: CompareSettings = DEFAULTS.compare
) -> Json:
    """The unknown's runs, what they say of every substance of the library, how much that is, and what to run next."""
    taken = [note.run for note in notes if note.taken]
    found = evidence(taken, library, settings)
    asked = _asked(found, settings)
    advice = what_next(asked, library, found.methods[: found.run], settings=settings) if len(asked) > 1 else ()
    advice = tuple(one for one in advice if one.pairs)[:NEXT_SHOWN]
    columns = [*range(found.run), *(found.methods.index(one.method) for one in advice)]
    open_rows = [row for row in found.rows if row.verdict not in (CONSISTENT, RULED_OUT)]
    return {
        "unknown": label,
        "runs": [_run(note) for note in notes],
        "library": len(found.rows),
        "consistent": list(found.consistent),
        "rivals": [list(group) for group in found.rivals],
        "cannot_tell": [row.substance for row in open_rows if _was_compared(row)],
        "no_value": [row.substance for row in open_rows if not _was_compared(row)],
        "ruled_out": sum(row.verdict == RULED_OUT for row in found.rows),
        "independent": len(found.groups),
        "by_chance": round(found.by_chance, DIGITS),
        "others": found.others,
        "window_rf": settings.window_rf,
        "conditions": [_condition(found, n, taken) for n in columns],
        "rows": [_row(row, columns, found.methods) for row in found.rows],
        "asked": len(asked),
        "next": [_advice(one, len(asked)) for one in advice],
        "note": NOTE,
    }


def _asked(found: Evidence, settings: CompareSettings) -> tuple[str, ...]:
    """The candidates that what is run next is to tell apart, the first so many: rivals for one spot, and what was compared and stands open."""
    together = max(found.rivals, key=len, default=())
    standing = (
        row.substance
        for row in found.rows
        if row.substance in together or (row.verdict not in (CONSISTENT, RULED_OUT) and _was_compared(row))
    )
    return tuple(standing)[: settings.advised]


def _was_compared(row: Row) -> bool:
    return any(cell.nearest is not None for cell in row.cells)


def _run(note: RunNote) -> Json:
    return {
        "id": note.id,
        "practical_id": note.practical_id,
        "practical": note.practical,
        "day": note.day,
        "station": note.station,
        "photo_id": note.photo_id,
        "mobile_phase": note.mobile_phase,
        "paper": note.paper,
        "temperature_c": note.run.method.temperature_c,
        "locating": note.run.method.locating,
        "spots": [None if spot.rf is None else round(spot.rf, DIGITS) for spot in note.run.spots],
        "references": [reference.substance for reference in note.run.references],
        "taken": note.taken,
    }


def _condition(found: Evidence, n: int, taken: Sequence[UnknownRun]) -> Json:
    method = found.methods[n]
    group = next((g for g, numbers in enumerate(found.groups) if n in numbers), None)
    return {
        "mobile_phase": method.mobile_phase.text,
        "paper": method.paper,
        "runs": sum(run.method.conditions == method.conditions for run in taken),
        "group": group,
    }


def _row(row: Row, columns: Sequence[int], methods: Sequence[Method]) -> Json:
    against = [n for n in columns if row.cells[n].outcome == "disagrees"]
    worst = max(against, key=lambda n: _e_n(row.cells[n]), default=None)
    return {
        "substance": row.substance,
        "verdict": row.verdict,
        "agreements": row.agreements,
        "reason": row.reason,
        "ruled_out_by": None if worst is None else columns.index(worst),
        "cells": [_cell(row.cells[n]) for n in columns],
    }


def _e_n(cell: Cell) -> float:
    return 0.0 if cell.nearest is None else cell.nearest.e_n


def _cell(cell: Cell) -> Json:
    counts = {"agree": cell.agree, "disagree": cell.disagree, "open": cell.open}
    compared = None if cell.nearest is None else comparison_dict(cell.nearest)
    return {"outcome": cell.outcome, "reason": cell.reason, **counts, "compared": compared}


def _advice(one: Advice, asked: int) -> Json:
    return {
        "mobile_phase": one.method.mobile_phase.text,
        "paper": one.method.paper,
        "left": round(one.left, DIGITS),
        "pairs": len(one.pairs),
        "pairs_apart": sum(pair.separation > 1 for pair in one.pairs),
        "closest": [
            {
                "first": pair.first,
                "second": pair.second,
                "apart": round(pair.apart, DIGITS),
                "separation": round(pair.separation, DIGITS),
            }
            for pair in one.pairs[:PAIRS_SHOWN]
        ],
        "no_value": list(one.unknown),
        "silent": list(one.silent),
        "rd": None if one.rd is None else round(one.rd, DIGITS),
        "ru": None if one.ru is None else round(one.ru, DIGITS),
        "reason": one.reason,
    }


# --- CSV


def evidence_csv(found: Json) -> str:
    """A line a substance and mobile phase that was run. Text that a spreadsheet would run is made harmless."""
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(CSV_HEADER)
    for line in _lines(found):
        writer.writerow([harmless(cell) if isinstance(cell, str) else cell for cell in line])
    return out.getvalue()


def _lines(found: Json) -> Iterator[tuple[object, ...]]:
    for row in found["rows"]:
        head = (found["unknown"], row["substance"], row["verdict"], row["agreements"])
        for condition, cell in zip(found["conditions"], row["cells"], strict=True):
            if cell["outcome"] == NOT_RUN:
                continue
            one = cell["compared"] or {}
            numbers = (one.get(name) for name in ("quantity", "seen", "U_seen", "known", "U_known", "window", "e_n"))
            words = (one.get(name) for name in ("evidence", "source", "colour"))
            yield (
                *head, condition["mobile_phase"], condition["paper"], cell["outcome"],
                cell["agree"], cell["disagree"], cell["open"], *numbers, *words, cell["reason"],
            )  # fmt: skip
