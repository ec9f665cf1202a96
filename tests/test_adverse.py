"""Photos that go wrong in one known way: each refused or flagged with its code, or measured right. Never a made-up Rf."""

from __future__ import annotations

import pytest

from tests.benchmark.adverse import verdict
from tests.benchmark.work import score_of
from webcapture.synthetic.adverse import ADVERSE

pytestmark = pytest.mark.slow


@pytest.mark.parametrize("name", list(ADVERSE))
def test_refused_flagged_or_right(name):
    score = score_of((name, 0))
    assert score.crash == ""
    assert score.blank_rf == 0
    assert verdict(ADVERSE[name], score).startswith("ok") or _flagged_at_least(name, score), score.codes


def _flagged_at_least(name, score):
    """Coded, where the photo is so spoilt that a right value is not asked for besides."""
    return any(code in ADVERSE[name].codes for _, code in score.codes)
