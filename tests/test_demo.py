"""The demonstration: drawn and measured spots set side by side, nothing hidden; the whole of it once, as a user runs it."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from PIL import Image

from tests.pairs import photographed
from tests.report.factory import RUN_MM, SpotSpec, StripSpec, make_result
from webcapture import demo
from webcapture.demo import compare, summary, table
from webcapture.report.export import as_dict, schema
from webcapture.synthetic import LaneTruth, SpotTruth, StripTruth, Truth
from webcapture.synthetic.camera import aim
from webcapture.synthetic.scene import CameraSetup

ROOT = Path(__file__).parent.parent


def truth_like(entry: dict[str, Any], *rf: float) -> Truth:
    """A truth of one lane with spots at those Rf, lying where the entry's lane lies."""
    strip = entry["strips"][0]
    x, y = strip["lanes"][0]["origin_mm"]
    spots = tuple(
        SpotTruth(
            f"dye {n}", (x, y - value * RUN_MM), (x, y - value * RUN_MM), value * RUN_MM, value * RUN_MM, value, 5.0,
            "#b04a5a", (0.1, 0.4, 0.3), False, None,
        )
        for n, value in enumerate(rf)
    )  # fmt: skip
    lane = LaneTruth(1, 10.0, (x, y), (x, y - RUN_MM), RUN_MM, spots)
    corners = tuple((a, b) for a, b in strip["corners_mm"])
    strips = (StripTruth(strip["bay"], corners, True, "pencil", 0.0, (lane,)),)  # type: ignore[arg-type]
    return Truth("sheet", "a4", strips, aim(CameraSetup(), (210.0, 297.0)), 0.0, 10.0, 0.0)


def entry_with(*rf: float) -> dict[str, Any]:
    return as_dict(make_result(StripSpec(lanes=(tuple(SpotSpec(value) for value in rf),))))


def test_what_was_measured_stands_beside_what_was_drawn() -> None:
    entry = entry_with(0.251, 0.6)
    rows = compare("x", truth_like(entry, 0.25, 0.6), entry, 3.0)
    assert [row.error for row in rows] == pytest.approx([0.001, 0.0])
    assert [row.covered for row in rows] == [True, True]
    assert table(rows).splitlines()[1].split()[-4:] == ["0.2500", "0.2510", "0.0042", "+0.0010"]
    assert summary(rows).startswith("2 of 2 spots found, 0 reported that are not there.")


def test_an_error_beyond_the_uncertainty_is_counted_as_such() -> None:
    entry = entry_with(0.26)
    rows = compare("x", truth_like(entry, 0.25), entry, 3.0)
    assert not rows[0].covered
    assert "inside ± U for 0 of 1" in summary(rows) and "within 0.01" in summary(rows)


def test_missed_and_invented_spots_are_not_hidden() -> None:
    entry = entry_with(0.25, 0.9)
    rows = compare("x", truth_like(entry, 0.25, 0.5), entry, 3.0)
    assert "1 of 2 spots found, 1 reported that are not there." in summary(rows)
    assert "not found" in table(rows) and "not drawn" in table(rows)


def test_spots_in_lanes_nobody_drew_are_not_hidden() -> None:
    entry = as_dict(make_result(StripSpec(width_mm=60, lanes=((SpotSpec(0.3),), (SpotSpec(0.4),)))))
    rows = compare("x", truth_like(entry, 0.3), entry, 3.0)
    assert [(row.lane, row.drawn is None) for row in rows] == [(1, False), (2, True)]


def test_each_strip_of_a_bay_is_compared_with_what_was_drawn_on_it() -> None:
    truth = photographed("sheet").truth
    lanes = [tuple(SpotSpec(spot.rf) for spot in lane.spots) for strip in truth.strips for lane in strip.lanes]
    entry = as_dict(make_result(*(StripSpec(lanes=(lane,)) for lane in reversed(lanes))))
    for strip, drawn in zip(entry["strips"], sorted(truth.strips, key=lambda one: one.strip), strict=True):
        for spot, known in zip(strip["lanes"][0]["spots"], drawn.lanes[0].spots, strict=True):
            spot["position_mm"] = list(known.position_mm)
    rows = compare("x", truth, entry, 3.0)
    assert {(row.lane, row.found is not None, row.drawn is not None) for row in rows} == {
        (1, True, True),
        (2, True, True),
    }
    assert [row.error for row in rows] == pytest.approx([0.0] * len(rows), abs=1e-3) and len(rows) == 8


def test_a_photo_that_failed_misses_all_its_spots() -> None:
    entry = entry_with(0.3)
    truth = truth_like(entry, 0.3)
    rows = compare("x", truth, {**entry, "strips": []}, 3.0)
    assert summary(rows) == "0 of 1 spots found, 0 reported that are not there."


def test_the_same_photos_are_served(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    from webcapture.web import serving  # noqa: PLC0415 - the web is loaded only by the tests that need it

    told: list[object] = []
    monkeypatch.setattr(demo, "scenario", tuple)
    monkeypatch.setattr(serving, "serve", lambda *a, examples: told.append((*a, examples)))
    assert demo.run_demo(tmp_path / "out", serve=True, port=8123) == 0
    assert told == [(serving.Door("127.0.0.1", 8123), None, tmp_path / "out")]


@pytest.mark.slow
def test_the_whole_demonstration(tmp_path: Path) -> None:
    out = tmp_path / "shown"
    command = [sys.executable, "-m", "webcapture", "demo", "--no-serve", "--out", str(out)]
    done = subprocess.run(command, capture_output=True, text=True, cwd=ROOT, timeout=300, check=False)
    assert done.returncode == 0, done.stderr
    assert "synthetic" in done.stderr and "invented" in done.stderr
    photos = sorted(out.glob("*.jpg"))
    assert len(photos) == len(demo.scenario()) >= 3
    pictures = [Image.open(file) for file in sorted((out / "annotated").iterdir())]
    assert len(pictures) == len(photos) and all(picture.format == "JPEG" for picture in pictures)
    entries = json.loads((out / "results.json").read_text())
    jsonschema.Draft202012Validator(schema()).validate(entries)
    drawn = sum(len(lane.spots) for _, scene in demo.scenario() for strip in scene.strips for lane in strip.lanes)
    assert f"{drawn} of {drawn} spots found, 0 reported that are not there." in done.stdout
    assert "not found" not in done.stdout and "not drawn" not in done.stdout
    errors = [float(error) for error in re.findall(r"[+-]\d\.\d{4}", done.stdout)]
    # The aim for typical photos: 95 % of Rf within 0.004.
    assert len(errors) == drawn and sorted(map(abs, errors))[int(0.95 * drawn)] <= 0.004
