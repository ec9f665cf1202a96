"""Photos that go wrong in one known way: every one refused or flagged with its code, or measured right."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence

from tests.benchmark.score import PhotoScore
from tests.benchmark.table import aligned
from webcapture.synthetic.adverse import ADVERSE, Adverse

RIGHT = 0.01
"""An Rf of a spoilt photo is right within the hard class's 95th percentile."""


def is_coded(case: Adverse, score: PhotoScore) -> bool:
    """Whether one of the expected codes came back, on whatever level."""
    return any(code in case.codes for _, code in score.codes)


def is_placed(case: Adverse, score: PhotoScore) -> bool:
    """Whether it came back on the level it belongs to."""
    levels = {"either": {"error", "photo"}}.get(case.level, {case.level})
    return any(code in case.codes and level in levels for level, code in score.codes)


def is_right(score: PhotoScore) -> bool:
    """Whether every true spot was found, nothing else was, and every Rf that can be known is right."""
    if not score.spots or any(row.kind != "found" for row in score.spots):
        return False
    if any(row.kind != "found" for row in score.strips):
        return False
    known = [row for row in score.spots if row.true_rf is not None]
    return bool(known) and all(row.error is not None and abs(row.error) <= RIGHT for row in known)


def verdict(case: Adverse, score: PhotoScore) -> str:
    """``ok``, or what is wrong."""
    if score.crash:
        return "CRASH"
    if score.blank_rf:
        return "MADE-UP RF"
    if any(row.kind == "false" for row in score.strips):
        return "FALSE STRIP"
    if not case.codes:
        return "ok" if is_right(score) else "WRONG"
    if is_coded(case, score):
        return "ok" if not case.measured or is_right(score) else "coded, Rf not right"
    return "ok, right without code" if is_right(score) else "WRONG"


def adverse_table(scores: Mapping[str, Sequence[PhotoScore]]) -> str:
    """One line a case: expected and got codes, how many photos came out how."""
    rows = [["case", "expected", "at", "verdicts", "got (level: codes)"]]
    for name, group in scores.items():
        case = ADVERSE[name]
        verdicts = Counter(verdict(case, score) for score in group)
        misplaced = sum(is_coded(case, s) and not is_placed(case, s) for s in group)
        told = ", ".join(f"{count} {text}" for text, count in verdicts.items())
        got = Counter(f"{level}: {code}" for score in group for level, code in set(score.codes))
        rows.append(
            [
                name,
                " or ".join(case.codes) or "measured right",
                f"{case.level}{' (elsewhere)' if misplaced else ''}",
                told,
                ", ".join(f"{text} ×{count}" for text, count in got.most_common()) or "nothing",
            ]
        )
    good = sum(verdict(ADVERSE[name], s).startswith("ok") for name, group in scores.items() for s in group)
    return aligned(rows) + f"\n{good} of {sum(len(g) for g in scores.values())} adverse photos came out as they must"


def adverse_details(scores: Mapping[str, Sequence[PhotoScore]]) -> str:
    """Every photo that did not come out as it must, with what was found on it."""
    lines = []
    for name, group in scores.items():
        for score in group:
            told = verdict(ADVERSE[name], score)
            if told == "ok":
                continue
            lines.append(f"{score.where}: {told}; codes {sorted(set(score.codes))}")
            lines += [f"    {score.crash}"] if score.crash else []
            lines += [f"    {r.kind} {r.note}" for r in score.spots if r.kind != "found"]
            lines += [
                f"    Rf off by {r.error:+.4f} (U {r.U_rf}) {r.note}"
                for r in score.spots
                if r.kind == "found" and r.error is not None and abs(r.error) > RIGHT
            ]
            lines += [
                f"    no Rf {r.note}"
                for r in score.spots
                if r.kind == "found" and r.rf is None and r.true_rf is not None
            ]
    return "\n".join(lines)
