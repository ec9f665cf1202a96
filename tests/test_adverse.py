"""Photos that go wrong in one known way: each refused or flagged with its code, or measured right. Never a made-up Rf."""

from __future__ import annotations

import pytest

from tests.benchmark.adverse import verdict
from tests.benchmark.work import score_of
from webcapture.synthetic.adverse import ADVERSE

pytestmark = pytest.mark.slow


@pytest.mark.parametrize("seed", [0, 1])
@pytest.mark.parametrize("name", list(ADVERSE))
def test_refused_flagged_or_right(name, seed):
    score = score_of((name, seed))
    assert score.crash == ""
    assert score.blank_rf == 0
    flagged = any(code in ADVERSE[name].codes for _, code in score.codes)
    assert flagged or verdict(ADVERSE[name], score).startswith("ok"), score.codes


@pytest.mark.parametrize("seed", [0, 1])
@pytest.mark.parametrize("name", [name for name, case in ADVERSE.items() if case.measured])
def test_what_can_be_measured_all_the_same_is_measured_right(name, seed):
    """Every spot found, none invented, each Rf within 0.01, or the strip says what is doubtful about it."""
    score = score_of((name, seed))
    far = [row for row in score.spots if row.error is not None and abs(row.error) > 0.01]
    assert [row for row in far if not row.flags and not row.around] == []


def test_plain_strips_turned_over_are_told():
    """Two like lines and no mark: where spots, places and straightness say nothing at all, ``ends-alike`` says that; on no more than one of twelve."""
    codes = [{code for _, code in score_of(("upside down", seed)).codes} for seed in range(9000, 9012)]
    assert all(found & {"upside-down", "ends-alike"} for found in codes)
    assert sum("upside-down" in found for found in codes) >= 11


def test_what_filling_in_leaves_of_an_inked_line_is_no_spot_that_coloured_it():
    """A pale rest beside the line's middle, a twentieth of its colour: the line itself ran."""
    assert "ink-line" in {code for _, code in score_of(("a line that ran", 4000)).codes}
