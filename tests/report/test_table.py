"""The table of plain text."""

from __future__ import annotations

import doctest

from tests.report.factory import SpotSpec, StripSpec, full_tray, make_result
from webcapture.errors import TooDark
from webcapture.report import table
from webcapture.report.export import as_dict, error_dict
from webcapture.report.table import HEADER, photo_text, spot_rows


def test_examples_in_the_docstrings() -> None:
    outcome = doctest.testmod(table)
    assert outcome.attempted > 0 and outcome.failed == 0


def test_a_row_for_every_spot_and_every_empty_lane() -> None:
    rows = spot_rows(as_dict(make_result(*full_tray(), layout="tray")))
    assert [row[:3] for row in rows[:3]] == [("1", "1", "1"), ("1", "1", "2"), ("1", "1", "3")]
    assert len(rows) == 3 + 2 + 3 + 1 + 3 + 7
    assert all(len(row) == len(HEADER) for row in rows)


def test_each_flag_is_explained_once_with_its_places() -> None:
    twice = (StripSpec(bay=1, flags=("front-slanted",)), StripSpec(bay=3, flags=("front-slanted",)))
    text = photo_text(as_dict(make_result(*twice, layout="tray", photo_flags=("shadow",))))
    assert text.count("front-slanted (bay 1; bay 3): The solvent front is not level.") == 1
    assert "! shadow: A shadow falls across the card." in text


def test_a_photo_that_failed_says_why_and_what_to_do() -> None:
    text = photo_text(error_dict("dark.jpg", TooDark("The picture is too dark.")))
    assert text.splitlines()[0] == "dark.jpg"
    assert "too dark" in text and "Bring more light" in text


def test_strips_of_one_bay_are_told_apart_in_words() -> None:
    one = StripSpec(lanes=((SpotSpec(0.5, flags=("faint",)),),), flags=("front-slanted",))
    entry = as_dict(make_result(one, one, StripSpec(bay=4, lanes=one.lanes), layout="tray"))
    assert [row[:3] for row in spot_rows(entry)] == [
        ("1, strip 1", "1", "1"),
        ("1, strip 2", "2", "1"),
        ("4", "1", "1"),
    ]
    text = photo_text(entry)
    assert "front-slanted (bay 1, strip 1; bay 1, strip 2)" in text
    assert "faint (bay 1, lane 1, spot 1; bay 1, lane 2, spot 1; bay 4, spot 1)" in text
    assert "bay-shared (bay 1, strip 1; bay 1, strip 2)" in text
