"""Candidates of a sheet cost a small part of what measuring it costs."""

import pytest

from tests.benchmark.names import SHARE, crowded_library, five_lanes, sheet_scene
from tests.reference.classes import METHOD
from tests.yardstick import seconds
from webcapture import measure_photo
from webcapture.reference.match import candidates
from webcapture.synthetic import render


@pytest.mark.slow
def test_candidates_take_at_most_a_twentieth_of_the_photo() -> None:
    """Five lanes with two spots each against 5,000 values, all of them under the one mobile phase: the least favourable case."""
    data = render(sheet_scene(700)[2]).data
    lanes = [lane for strip in measure_photo(data).strips for lane in strip.lanes]
    assert len(lanes) == 5
    photo = min(seconds(lambda: measure_photo(data), 3))
    library = crowded_library(1)
    spots, references = five_lanes(2)
    assert len(candidates(spots, METHOD, library, references)) == 10
    assert min(seconds(lambda: candidates(spots, METHOD, library, references), 5)) <= SHARE * photo
