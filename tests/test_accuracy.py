"""The promise, on a few photos with known truth: the bounds of the whole table, which ``python -m tests.benchmark`` prints.

With some dozens of spots a share of 99 % cannot be told from 97 %: where a share is asked for, one spot of each class may be
missing, and one too many. The other bounds are the promise itself.
"""

from __future__ import annotations

import numpy as np
import pytest

from tests.benchmark.work import score_of

CLASSES = {"typical": range(500, 506), "hard": range(500, 506), "tray": range(500, 501), "hard tray": range(500, 501)}
MEDIAN = {"typical": 0.001, "hard": 0.0025, "tray": 0.001, "hard tray": 0.0025}
HIGH = {"typical": 0.004, "hard": 0.010, "tray": 0.004, "hard tray": 0.010}
LINES_MM = {"typical": 0.25, "hard": 0.9, "tray": 0.25, "hard tray": 0.9}
EXPANDED = {"typical": 0.006, "hard": 0.015, "tray": 0.006, "hard tray": 0.015}

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module", params=list(CLASSES))
def group(request):
    """(class, scores of its photos)."""
    return request.param, [score_of((request.param, seed)) for seed in CLASSES[request.param]]


def spots(scores, kind):
    return [row for score in scores for row in score.spots if row.kind == kind]


def test_nothing_crashes_and_nothing_is_made_up(group):
    _, scores = group
    assert [score.crash for score in scores if score.crash] == []
    assert sum(score.blank_rf for score in scores) == 0


def test_every_strip_is_found(group):
    _, scores = group
    assert all(row.kind == "found" for score in scores for row in score.strips)


def test_spots_are_found_and_real(group):
    name, scores = group
    found, missed, false = (len(spots(scores, kind)) for kind in ("found", "missed", "false"))
    least = 0.99 if name in ("typical", "tray") else 0.96
    assert found >= least * (found + missed) - 1
    assert found >= least * (found + false) - 1


def test_rf(group):
    name, scores = group
    errors = np.abs([row.error for row in spots(scores, "found") if row.error is not None])
    assert np.median(errors) <= MEDIAN[name]
    assert np.percentile(errors, 95) <= HIGH[name]


def test_no_rf_is_far_off_without_a_flag(group):
    _, scores = group
    far = [row for row in spots(scores, "found") if row.error is not None and abs(row.error) > 0.03]
    assert [row for row in far if not row.flags] == []


def test_origin_and_front_lie_where_they_are(group):
    name, scores = group
    for line in ("origin", "front"):
        off = [abs(r.error_mm) for score in scores for r in score.lines if r.line == line and r.error_mm is not None]
        assert np.percentile(off, 95) <= LINES_MM[name], line


def test_expanded_uncertainty(group):
    """± U (k = 2, JCGM 100:2008) holds the true Rf of at least 85 in 100 here (90 promised, with so few spots), usefully small."""
    name, scores = group
    rows = [row for row in spots(scores, "found") if row.error is not None and row.U_rf is not None]
    assert np.mean([abs(row.error) <= row.U_rf for row in rows]) >= 0.85
    assert np.median([row.U_rf for row in rows]) <= EXPANDED[name]
