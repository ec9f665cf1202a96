"""The demonstration: photographs the shipped scenario, measures the photos, compares with the truth, serves the same photos.

The photos are synthetic: drawn by this program, so that the true Rf of every spot is known. The dyes and their values are
invented.
"""

from __future__ import annotations

import math
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from webcapture.cli import measured, write_json
from webcapture.files import annotated_names, make_folder, write_file
from webcapture.report.table import text_table
from webcapture.report.wording import rounded_up, two_decimals
from webcapture.settings import DEFAULTS, DemoSettings
from webcapture.synthetic import LaneTruth, SpotTruth, Truth, render
from webcapture.synthetic.scenes import demo as scenario

Json = dict[str, Any]

HEADER = ("photo", "bay", "lane", "spot", "dye (invented)", "true Rf", "measured", "± U", "error", "")
LEFT = ("photo", "dye (invented)", "")


@dataclass(frozen=True, slots=True)
class Compared:
    """A spot that was drawn or measured, or both, as one row of the table."""

    photo: str
    bay: int
    lane: int
    drawn: SpotTruth | None
    """None where something was measured that was not drawn."""
    found: Json | None
    """None where what was drawn was not found."""

    @property
    def error(self) -> float | None:
        """Measured minus true Rf; None where either is missing."""
        if self.drawn is None or self.found is None or self.found["rf"] is None:
            return None
        return float(self.found["rf"] - self.drawn.rf)

    @property
    def covered(self) -> bool:
        """Whether the true Rf lies within the stated uncertainty."""
        return self.error is not None and self.found is not None and abs(self.error) <= self.found["U_rf"]


def run_demo(
    out: Path, serve: bool, host: str = "127.0.0.1", port: int = 8000, settings: DemoSettings = DEFAULTS.demo
) -> int:
    """Photograph, measure and compare; writes into ``out``. Returns the exit status: 1 where a photo failed."""
    pictures = out / "annotated"
    make_folder(pictures)
    _say(
        "These photos are synthetic: drawn by this program, so the true Rf is known. The dyes and values are invented."
    )
    entries, rows = [], []
    for name, truth, photo in _photograph(out):
        entry = measured(photo, annotated_names([photo], pictures)[0])
        entries.append(entry)
        rows += compare(name, truth, entry, settings.same_spot_mm)
        if entry["error"]:
            _say(f"{name}: {entry['error']['message']} {entry['error']['hint']}")
    print(table(rows), flush=True)
    print(summary(rows), flush=True)
    write_json(entries, out / "results.json")
    print(f"Photos: {out}   annotated: {pictures}   numbers: {out / 'results.json'}", flush=True)
    if serve:
        _serve(host, port, out)
    return 1 if any(entry["error"] for entry in entries) else 0


def _photograph(out: Path) -> list[tuple[str, Truth, Path]]:
    """Every photo of the scenario, drawn and written; (name, truth, file)."""
    taken = []
    scenes = scenario()
    for n, (name, scene) in enumerate(scenes, 1):
        _say(f"[{n}/{len(scenes)}] photographing {name}")
        photograph = render(scene)
        file = out / f"{name}.jpg"
        write_file(file, photograph.data)
        taken.append((name, photograph.truth, file))
    return taken


def _serve(host: str, port: int, examples: Path) -> None:
    from webcapture.web.serving import Door, serve  # noqa: PLC0415 - Flask only where it is used

    _say("The same photos are offered on the page.")
    serve(Door(host, port), None, examples=examples)


def _say(words: str) -> None:
    print(words, file=sys.stderr, flush=True)


# --- comparing


def compare(photo: str, truth: Truth, entry: Json, same_spot_mm: float) -> list[Compared]:
    """A row for every spot drawn, and one for each measured where none was drawn."""
    rows = []
    measured_lanes = {
        (strip["bay"], lane["lane"]): lane["spots"] for strip in entry["strips"] for lane in strip["lanes"]
    }
    for strip in truth.strips:
        for lane in strip.lanes:
            spots = measured_lanes.pop((strip.bay, lane.lane), [])
            rows += _compare_lane(photo, strip.bay, lane, spots, same_spot_mm)
    for (bay, number), spots in measured_lanes.items():
        rows += [Compared(photo, bay, number, None, spot) for spot in spots]
    return rows


def _compare_lane(photo: str, bay: int, lane: LaneTruth, spots: Sequence[Json], same_spot_mm: float) -> list[Compared]:
    """Each spot drawn with the nearest one measured that is not taken yet and near enough to be the same."""
    left = list(spots)
    rows = []
    for drawn in lane.spots:
        near = [spot for spot in left if math.dist(spot["position_mm"], drawn.position_mm) <= same_spot_mm]
        best = min(near, key=lambda spot: math.dist(spot["position_mm"], drawn.position_mm), default=None)
        if best is not None:
            left.remove(best)
        rows.append(Compared(photo, bay, lane.lane, drawn, best))
    return rows + [Compared(photo, bay, lane.lane, None, spot) for spot in left]


def table(rows: Sequence[Compared]) -> str:
    """The comparison as a table of plain text."""
    return text_table(HEADER, [_cells(row) for row in rows], LEFT)


def _cells(row: Compared) -> tuple[str, ...]:
    found, drawn, error = row.found or {}, row.drawn, row.error
    rf, uncertainty = found.get("rf"), found.get("U_rf")
    flags = ", ".join(flag["code"] for flag in found.get("flags", ()))
    remark = "not found" if row.found is None else "not drawn" if drawn is None else flags
    return (
        row.photo,
        str(row.bay),
        str(row.lane),
        str(found.get("spot", "–")),
        drawn.dye if drawn else "–",
        f"{drawn.rf:.4f}" if drawn else "–",
        "–" if rf is None else f"{rf:.4f}",
        "–" if uncertainty is None else f"{uncertainty:.4f}",
        "–" if error is None else f"{round(error, 4) + 0.0:+.4f}",
        remark,
    )


def summary(rows: Sequence[Compared]) -> str:
    """What the table comes to, in two sentences."""
    drawn = [row for row in rows if row.drawn is not None]
    errors = sorted(abs(row.error) for row in drawn if row.error is not None)
    false = sum(1 for row in rows if row.drawn is None)
    words = f"{sum(1 for row in drawn if row.found)} of {len(drawn)} spots found, {false} reported that are not there."
    if not errors:
        return words
    covered = sum(1 for row in drawn if row.covered)
    largest = rounded_up(errors[-1])
    return (
        f"{words} Rf is off by {errors[len(errors) // 2]:.4f} in the middle case and by {errors[-1]:.4f} at most; "
        f"the true Rf lies inside ± U for {covered} of {len(errors)}. To two decimals: within {two_decimals(largest)}."
    )
