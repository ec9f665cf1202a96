"""The table of the figures that the tool must reach, with the targets beside."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from tests.benchmark.score import LineRow, PhotoScore, SpotRow

WRONG = 0.03
"""An Rf further off than this is wrong, and must not stand there without a flag."""

Targets = tuple[str, str]


@dataclass(frozen=True)
class Group:
    """All rows of one class of photos."""

    name: str
    scores: Sequence[PhotoScore]

    @property
    def spots(self) -> list[SpotRow]:
        return [row for score in self.scores for row in score.spots]

    @property
    def lines(self) -> list[LineRow]:
        return [row for score in self.scores for row in score.lines]

    @property
    def with_rf(self) -> list[SpotRow]:
        """Found spots whose Rf is known and was reported."""
        return [row for row in self.spots if row.kind == "found" and row.error is not None]


def errors(rows: Iterable[SpotRow]) -> np.ndarray:
    """Absolute errors of Rf."""
    return np.array([abs(row.error) for row in rows if row.error is not None])


def covered(rows: Iterable[SpotRow]) -> np.ndarray:
    """Whether each spot's true Rf lies inside ± U_rf."""
    return np.array([abs(r.error) <= r.U_rf for r in rows if r.error is not None and r.U_rf is not None])


def wrong_unflagged(group: Group, anywhere: bool) -> list[SpotRow]:
    """Rf wrong by more than ``WRONG`` without a flag: on spot, lane or strip; with ``anywhere`` nor on their neighbours."""
    bad = [row for row in group.with_rf if abs(row.error or 0) > WRONG and not row.flags]
    return [row for row in bad if not row.around] if anywhere else bad


def _share(part: int, whole: int) -> str:
    return f"{100 * part / whole:.1f} %  ({part}/{whole})" if whole else "–"


def _percentile(values: np.ndarray, q: float, digits: int) -> str:
    return f"{np.percentile(values, q):.{digits}f}" if len(values) else "–"


def _count(group: Group, kind: str) -> int:
    return sum(row.kind == kind for row in group.spots)


def _line_errors(group: Group, line: str) -> np.ndarray:
    return np.array([abs(r.error_mm) for r in group.lines if r.line == line and r.error_mm is not None])


def _lines_seen(group: Group, line: str) -> str:
    rows = [r for r in group.lines if r.line == line]
    return _share(sum(r.error_mm is not None for r in rows), len(rows))


def _rf_given(group: Group) -> str:
    known = [row for row in group.spots if row.kind == "found" and row.true_rf is not None]
    return _share(len(group.with_rf), len(known))


def _strips_found(group: Group) -> str:
    rows = [row for score in group.scores for row in score.strips if row.kind != "false"]
    return _share(sum(row.kind == "found" for row in rows), len(rows))


def _median_expanded(group: Group) -> str:
    return _percentile(np.array([r.U_rf for r in group.with_rf if r.U_rf is not None]), 50, 4)


def _rms_of_u(group: Group) -> str:
    """Root mean square of error over u, the largest twentieth left out: 0.87 where the uncertainties are right."""
    ratios = np.sort([abs(r.error or 0) * 2 / r.U_rf for r in group.with_rf if r.U_rf])
    kept = ratios[: int(0.95 * len(ratios))]
    return f"{np.sqrt((kept**2).mean()):.2f}" if len(kept) else "–"


LINES: tuple[tuple[str, Targets, Callable[[Group], str]], ...] = (
    ("photos", ("", ""), lambda g: str(len(g.scores))),
    ("photos refused or crashed", ("0", "0"), lambda g: str(sum(s.crash != "" or any(lv == "error" for lv, _ in s.codes) for s in g.scores))),
    ("strips found", ("all", "≥ 98 %"), _strips_found),
    ("spots found", ("≥ 99 %", "≥ 96 %"), lambda g: _share(_count(g, "found"), _count(g, "found") + _count(g, "missed"))),
    ("reported spots that are real", ("≥ 99 %", "≥ 96 %"), lambda g: _share(_count(g, "found"), _count(g, "found") + _count(g, "false"))),
    ("found spots given an Rf", ("", ""), _rf_given),
    ("error of Rf, median", ("≤ 0.0010", "≤ 0.0025"), lambda g: _percentile(errors(g.with_rf), 50, 4)),
    ("error of Rf, 95th percentile", ("≤ 0.0040", "≤ 0.0100"), lambda g: _percentile(errors(g.with_rf), 95, 4)),
    ("error of Rf, largest", ("", ""), lambda g: _percentile(errors(g.with_rf), 100, 4)),
    ("origin lines seen", ("", ""), lambda g: _lines_seen(g, "origin")),
    ("origin on the card, 95th percentile, mm", ("≤ 0.25", "≤ 0.90"), lambda g: _percentile(_line_errors(g, "origin"), 95, 3)),
    ("fronts seen", ("", ""), lambda g: _lines_seen(g, "front")),
    ("front on the card, 95th percentile, mm", ("≤ 0.25", "≤ 0.90"), lambda g: _percentile(_line_errors(g, "front"), 95, 3)),
    ("true Rf inside ± U_rf", ("90–99 %", "90–99 %"), lambda g: _share(int(covered(g.with_rf).sum()), len(covered(g.with_rf)))),
    ("median U_rf", ("≤ 0.006", "≤ 0.015"), _median_expanded),
    ("error over u, rms without the worst 5 %", ("0.87", "0.87"), _rms_of_u),
    ("Rf off by > 0.03, no flag on spot, lane, strip", ("0", "0"), lambda g: str(len(wrong_unflagged(g, False)))),
    ("… nor on anything of that strip or photo", ("0", "0"), lambda g: str(len(wrong_unflagged(g, True)))),
)  # fmt: skip


def table(groups: Sequence[Group]) -> str:
    """One line a figure, one column a class, each with its target beside."""
    head = ["", *(cell for group in groups for cell in (group.name, "target"))]
    rows = [head]
    for name, targets, figure in LINES:
        row = [name]
        for group in groups:
            row += [figure(group), "" if "sent" in group.name else targets["hard" in group.name]]
        rows.append(row)
    return aligned(rows)


def aligned(rows: Sequence[Sequence[str]]) -> str:
    """Rows of text in columns, the first line underlined."""
    widths = [max(len(row[n]) for row in rows) for n in range(len(rows[0]))]
    lines = ["  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip() for row in rows]
    return "\n".join([lines[0], "-" * len(lines[0]), *lines[1:]])


def causes(group: Group) -> str:
    """The same spots by what they have in common: where errors come from."""
    by_tag: dict[str, list[SpotRow]] = defaultdict(list)
    for row in group.spots:
        for tag in row.tags:
            by_tag[tag].append(row)
    rows = [[f"{group.name}: spots with", "true", "missed", "false", "no Rf", "median", "95 %", "covered", "> 0.03"]]
    for tag, members in sorted(by_tag.items()):
        known = [r for r in members if r.kind == "found"]
        off, inside = errors(known), covered(known)
        rows.append(
            [
                tag,
                str(sum(r.kind != "false" for r in members)),
                str(sum(r.kind == "missed" for r in members)),
                str(sum(r.kind == "false" for r in members)),
                str(sum(r.rf is None for r in known)),
                _percentile(off, 50, 4),
                _percentile(off, 95, 4),
                f"{100 * inside.mean():.0f} %" if len(inside) else "–",
                str(int((off > WRONG).sum())),
            ]
        )
    return aligned(rows)


def offenders(group: Group, large: float) -> str:
    """Every miss, false spot, lost line and error larger than ``large``, with its seed and what was on it."""
    lines = [
        f"{score.where}: {level} {code}" for score in group.scores for level, code in score.codes if level == "error"
    ]
    lines += [f"{score.where}: CRASH\n{score.crash}" for score in group.scores if score.crash]
    lines += [
        f"{r.where}: strip {r.kind} | {r.note}" for score in group.scores for r in score.strips if r.kind != "found"
    ]
    lines += [f"{r.where}: {r.line} not seen {_flagged(r.flags)}| {r.note}" for r in group.lines if r.error_mm is None]
    lines += [
        f"{r.where}: {r.line} off by {r.error_mm:+.2f} mm {_flagged(r.flags)}| {r.note}"
        for r in group.lines
        if r.error_mm is not None and abs(r.error_mm) > 1
    ]
    lines += [f"{r.where}: {r.kind} {_flagged(r.flags)}{r.note}" for r in group.spots if r.kind != "found"]
    wide = sorted((r for r in group.with_rf if abs(r.error or 0) > large), key=lambda r: -abs(r.error or 0))
    lines += [
        f"{r.where}: Rf off by {r.error:+.4f} (U {r.U_rf}, place {r.along_mm:+.2f} mm) {_flagged(r.flags)}{r.note}"
        for r in wide
    ]
    return "\n".join(lines)


def _flagged(codes: tuple[str, ...]) -> str:
    return f"[{' '.join(sorted(set(codes)))}] " if codes else ""
