"""What a spot is consistent with, as cells of a table: the same comparisons as its page shows."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from webcapture.store.codec import StoredResult
from webcapture.store.records import PracticalInfo
from webcapture.web.candidates import comparisons
from webcapture.web.drawing import as_result
from webcapture.web.findings import Findings

Json = dict[str, Any]
Place = tuple[int, int, int]
"""Bay, lane, spot."""
NAME_COLUMNS = ("names_outcome", "consistent_with", "names_evidence", "nearest_ruled_out", "mixed_outcome")
UNKNOWN = ("",) * len(NAME_COLUMNS)
BETWEEN = "; "


def name_cells(practical: PracticalInfo, found: Findings) -> Mapping[Place, tuple[str, ...]]:
    """The cells of ``NAME_COLUMNS`` for each spot; nothing where the practical's method is unclear."""
    stored = StoredResult(found.card, tuple(one.strip for one in found.strips), found.flags)
    told = comparisons(practical, found, as_result(stored, found.info.name))
    if told is None or told.names is None:
        return {}
    return {
        (lane["bay"], lane["lane"], spot["spot"]): _cells(lane, spot)
        for lane in told.names["lanes"]
        for spot in lane["spots"]
    }


def _cells(lane: Json, spot: Json) -> tuple[str, ...]:
    names = list(dict.fromkeys(one["substance"] for one in spot["candidates"]))
    evidence = [one["evidence"] for one in spot["candidates"][:1]]
    nearest = [one["substance"] for one in spot["ruled_out"][:1]]
    mixed = lane.get("mixed", {"outcome": ""})["outcome"]
    return (spot["outcome"], BETWEEN.join(names), *(evidence or [""]), *(nearest or [""]), mixed)
