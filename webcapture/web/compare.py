"""All stations side by side: each lane label's spots with mean and scatter, as groups, as a drawing and as rows of CSV."""

from __future__ import annotations

import csv
import io
import math
from collections import Counter, defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from webcapture.flags import Flag
from webcapture.measure.outliers import Spread, spread
from webcapture.model import Lane
from webcapture.report.cells import harmless
from webcapture.report.wording import hrf_text
from webcapture.store.records import PracticalInfo
from webcapture.web.findings import Findings
from webcapture.web.name_cells import NAME_COLUMNS, UNKNOWN, name_cells
from webcapture.web.naming import lane_names

Cell = str | int | float | None
CSV_HEADER = (
    "practical", "station", "photo", "received_at", "bay", "lane", "label", "role", "spot", "distance_mm", "run_mm",
    "rf", "u_rf", "U_rf", "hrf", "rf_follows", "width_mm", "resolution", "colour", "software", "flags", *NAME_COLUMNS, "strip",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Value:
    """One station's Rf of one spot."""

    station: str
    photo_id: str
    rf: float


@dataclass(frozen=True, slots=True)
class Group:
    """One spot of one lane label, at every station."""

    label: str
    role: str
    spot: int
    """Counted from the origin upwards."""
    values: tuple[Value, ...]
    spread: Spread
    others: tuple[str, ...]
    """Stations that found another number of spots in this lane: their spots cannot be matched, and are not in ``values``."""

    @property
    def outlier(self) -> Value | None:
        """The value that Grubbs' test tells apart, if any."""
        return None if self.spread.outlier is None else self.values[self.spread.outlier]


def groups(practical: PracticalInfo, found: Sequence[tuple[str, Findings]]) -> list[Group]:
    """Groups of (station label, findings), in the order of the plan; lanes in which no spot has an Rf are left out.

    What lies on another card than planned, and was not named by hand, is compared with nothing. Spots are matched by their number from the origin, among the lanes that show the most common number of spots.
    """
    lanes: dict[tuple[str, str], list[tuple[str, str, Lane]]] = defaultdict(list)
    for station, one in found:
        other_card = bool(practical.plan.lanes) and one.card.layout != practical.plan.layout
        for strip in one.strips:
            names = lane_names(practical, one, strip)
            for lane in strip.strip.lanes:
                name = names[lane.lane]
                if name.label or not other_card:
                    lanes[name.label or name.place, name.role].append((station, one.info.id, lane))
    order = [lane.label for lane in practical.plan.lanes]
    keys = sorted(lanes, key=lambda key: (order.index(key[0]) if key[0] in order else len(order), key[0]))
    return [group for key in keys for group in _groups_of(*key, lanes[key])]


def _groups_of(label: str, role: str, lanes: Sequence[tuple[str, str, Lane]]) -> Iterator[Group]:
    counts = Counter(len(lane.spots) for *_rest, lane in lanes if lane.spots)
    usual = max(counts, key=lambda count: (counts[count], count), default=0)
    others = tuple(dict.fromkeys(station for station, _photo, lane in lanes if len(lane.spots) != usual))
    for n in range(usual):
        spots = [(station, photo, lane.spots[n]) for station, photo, lane in lanes if len(lane.spots) == usual]
        values = tuple(Value(station, photo, spot.rf) for station, photo, spot in spots if spot.rf is not None)
        if values:
            yield Group(label, role, n + 1, values, spread([value.rf for value in values]), others)


def flags_of(found: Findings) -> list[Flag]:
    """Every flag of a photo, each once."""
    every = list(found.flags)
    for strip in found.strips:
        every += strip.strip.flags
        for lane in strip.strip.lanes:
            every += lane.flags
            every += [flag for spot in lane.spots for flag in spot.flags]
    return list({flag.code: flag for flag in every}.values())


# --- CSV


def csv_text(practical: PracticalInfo, stations: Mapping[str, str], found: Sequence[Findings]) -> str:
    """All spots of all photos; ``stations`` gives labels by id. Text that a spreadsheet would run is made harmless."""
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(CSV_HEADER)
    for one in found:
        for row in _csv_rows(practical, stations[one.info.station_id], one):
            writer.writerow([harmless(cell) if isinstance(cell, str) else cell for cell in row])
    return out.getvalue()


def _csv_rows(practical: PracticalInfo, station: str, found: Findings) -> Iterator[tuple[Cell, ...]]:
    info = found.info
    names_of = name_cells(practical, found)
    head = (practical.plan.title, station, info.name, info.received_at.isoformat(timespec="seconds"))
    for strip in found.strips:
        bay, names = strip.strip.bay, lane_names(practical, found, strip)
        for lane in strip.strip.lanes:
            place = (bay, lane.lane, names[lane.lane].label, names[lane.lane].role)
            for spot in lane.spots:
                follows_densest = strip.follows != "centre"
                distance = spot.densest_distance_mm if follows_densest else spot.distance_mm
                codes = " ".join(flag.code for flag in (*lane.flags, *spot.flags))
                yield (
                    *head, *place, spot.spot, _number(distance, 2), _number(lane.run_mm, 2), _number(spot.rf, 4),
                    _number(spot.u_rf, 4), _number(spot.U_rf, 4), None if spot.rf is None else int(hrf_text(spot.rf)),
                    strip.follows, _number(spot.width_mm, 2), _number(spot.resolution, 2), spot.colour,
                    found.measurement.software, codes, *names_of.get((bay, lane.lane, spot.spot), UNKNOWN), strip.strip.strip,
                )  # fmt: skip


def _number(value: float | None, digits: int) -> float | None:
    """Rounded; empty for what is not known. A number is no text: its minus sign stays."""
    return None if value is None or not math.isfinite(value) else round(value, digits)
