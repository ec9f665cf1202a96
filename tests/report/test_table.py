"""The table of plain text."""

from __future__ import annotations

import doctest

from tests.report.factory import SpotSpec, StripSpec, full_tray, make_result
from webcapture.errors import TooDark
from webcapture.report import table
from webcapture.report.export import as_dict, error_dict
from webcapture.report.table import HEADER, header, photo_text, spot_rows, unrelated


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


class TestRelativeToASpot:
    """What ``--relative-to`` adds for people."""

    def test_a_column_with_its_uncertainty(self) -> None:
        entry = as_dict(make_result(*full_tray(), layout="tray"), relative_to=(1, 1, 2))
        named, rows = header(entry), spot_rows(entry)
        assert [name for name in named if name not in HEADER] == ["R_rel ± U"]
        assert all(len(row) == len(named) for row in rows)
        # 0.25 / 0.6 with 0.15 mm at both centres, 90 mm of run: u = 0.15 √(1 + 0.42²) / 54 = 0.003, and U said as ± 0.01.
        told = [dict(zip(named, row, strict=True))["R_rel ± U"] for row in rows]
        assert told[:3] == ["0.42 ± 0.01", "1.00", "1.37 ± 0.01"]
        assert set(told[3:]) == {"–", ""}
        assert "R_rel ± U" in photo_text(entry)

    def test_only_where_it_was_asked_for(self) -> None:
        entry = as_dict(make_result(StripSpec()))
        assert header(entry) == HEADER and "R_rel" not in photo_text(entry) and unrelated(entry) == ""

    def test_a_reference_that_is_not_there_is_said(self) -> None:
        entry = as_dict(make_result(StripSpec()), relative_to=(1, 2, 1))
        assert "  ! There is no bay 1, lane 2, spot 1, so nothing is related to it" in photo_text(entry)

    def test_a_reference_that_relates_nothing_is_said(self) -> None:
        stayed = make_result(StripSpec(lanes=((SpotSpec(0.0), SpotSpec(0.5)),)))
        assert "did not leave the origin" in photo_text(as_dict(stayed, relative_to=(1, 1, 1)))
        lost = make_result(StripSpec(has_origin=False))
        assert "Nothing can be related to bay 1, lane 1, spot 1" in photo_text(as_dict(lost, relative_to=(1, 1, 1)))

    def test_a_reference_that_does_is_not_remarked_on(self) -> None:
        assert unrelated(as_dict(make_result(StripSpec()), relative_to=(1, 1, 2))) == ""
        assert unrelated(error_dict("dark.jpg", TooDark("The picture is too dark."))) == ""


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
