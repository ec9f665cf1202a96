"""A photo's numbers as a table of plain text, for terminals."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from typing import Any

from webcapture.report.names import names_text
from webcapture.report.wording import hrf_text, rounded_up, two_decimals, with_uncertainty

Json = dict[str, Any]

HEADER = ("bay", "lane", "spot", "distance", "run", "Rf", "± U", "hRf", "colour", "flags")
R_REL = "R_rel ± U"
"""The column before the colour where R_rel was asked for."""
LEFT = ("colour", "flags")
"""Columns set to the left; figures stand to the right."""


def photo_text(entry: Json) -> str:
    """One photo's entry (see export) as people read it: what was seen, the table, and each flag's advice once."""
    parts = [entry["photo"] or "photo", *_headline(entry)]
    if entry["error"]:
        return "\n".join([*parts[:1], f"  {entry['error']['message']}", f"  {entry['error']['hint']}"]).rstrip()
    rows = spot_rows(entry)
    if rows:
        parts.append(text_table(header(entry), rows, LEFT))
    parts += [f"  ! {words}" for words in (unrelated(entry),) if words]
    parts += [f"  ! {words}" for words in _advice(entry)]
    if entry.get("names"):
        parts.append(names_text(entry["names"]))
    return "\n".join(parts)


def header(entry: Json) -> tuple[str, ...]:
    """The columns of its table: HEADER, and R_REL where that was asked for."""
    return _with(HEADER, (R_REL,)) if "relative_to" in entry else HEADER


def spot_rows(entry: Json) -> list[tuple[str, ...]]:
    """A row for each spot, in the columns of :func:`header`; a lane without spots has a row of its own."""
    rows = []
    asked, shared = "relative_to" in entry, shared_bays(entry["strips"])
    for strip in entry["strips"]:
        bay = f"{strip['bay']}, strip {strip['strip']}" if strip["bay"] in shared else str(strip["bay"])
        for lane in strip["lanes"]:
            place = (bay, str(lane["lane"]))
            for spot in lane["spots"]:
                cells = (*place, *_spot_cells(lane, spot))
                rows.append(_with(cells, (_r_rel(spot),)) if asked else cells)
            if not lane["spots"]:
                empty = (*place, "none", "", _mm(lane["run_mm"]), "", "", "", "", _codes(lane))
                rows.append(_with(empty, ("",)) if asked else empty)
    return rows


def unrelated(entry: Json) -> str:
    """Why no spot of this photo has an R_rel although it was asked for; empty where one has, or where none was asked for."""
    place = entry.get("relative_to")
    if place is None:
        return ""
    spots = [
        ((strip["bay"], lane["lane"], spot["spot"]), spot)
        for strip in entry["strips"]
        for lane in strip["lanes"]
        for spot in lane["spots"]
    ]
    asked = (place["bay"], place["lane"], place["spot"])
    named = f"bay {place['bay']}, lane {place['lane']}, spot {place['spot']}"
    if not any(there == asked for there, _ in spots):
        return f"There is no {named}, so nothing is related to it: no R_rel. Name another spot with --relative-to."
    if any(spot["r_rel"] is not None for _, spot in spots):
        return ""
    return f"Nothing can be related to {named}: it did not leave the origin, or where the origin lies is not known. No R_rel."


def shared_bays(strips: Iterable[Json]) -> frozenset[int]:
    """The bays of a photo in which several strips lie: there the bay alone does not say which strip is meant."""
    return frozenset(bay for bay, count in Counter(strip["bay"] for strip in strips).items() if count > 1)


def text_table(header: Sequence[str], rows: Sequence[Sequence[str]], left: Sequence[str] = ()) -> str:
    """Columns as wide as their widest cell, indented by two.

    >>> print(text_table(("spot", "Rf"), [("1", "0.45"), ("10", "0.9")]))
      spot    Rf
         1  0.45
        10   0.9
    """
    widths = [max(len(cell) for cell in column) for column in zip(header, *rows, strict=True)]
    lines = []
    for row in (header, *rows):
        cells = [
            cell.ljust(width) if name in left else cell.rjust(width)
            for name, cell, width in zip(header, row, widths, strict=True)
        ]
        lines.append(("  " + "  ".join(cells)).rstrip())
    return "\n".join(lines)


def _headline(entry: Json) -> list[str]:
    card = entry["card"]
    if card is None:
        return []
    return [f"  card {card['layout']}, {card['paper']}; tilt {card['tilt_deg']:.0f}°; {card['px_per_mm']:.1f} px/mm"]


def _with(cells: tuple[str, ...], more: tuple[str, ...]) -> tuple[str, ...]:
    """A row with R_REL's cell in its place."""
    return (*cells[: -len(LEFT)], *more, *cells[-len(LEFT) :])


def _r_rel(spot: Json) -> str:
    """R_rel with its expanded uncertainty; the reference spot's own is 1 by definition and has none."""
    ratio, uncertainty = spot["r_rel"], spot["U_r_rel"]
    if ratio is None:
        return "–"
    return with_uncertainty(ratio, uncertainty) if uncertainty else two_decimals(ratio)


def _spot_cells(lane: Json, spot: Json) -> tuple[str, ...]:
    rf, uncertainty = spot["rf"], spot["U_rf"]
    return (
        str(spot["spot"]),
        _mm(spot["distance_mm"]),
        _mm(lane["run_mm"]),
        "–" if rf is None else two_decimals(rf),
        "–" if uncertainty is None else two_decimals(rounded_up(uncertainty)),
        hrf_text(rf) or "–",
        spot["colour"],
        _codes(spot),
    )


def _mm(value: float | None) -> str:
    return "–" if value is None else f"{value:.1f} mm"


def _codes(part: Json) -> str:
    return ", ".join(flag["code"] for flag in part["flags"])


def _advice(entry: Json) -> list[str]:
    """Each flag of the photo once, with where it was set, what was seen and what to do."""
    places: dict[str, list[str]] = {}
    flags: dict[str, Json] = {}
    for place, part in _parts(entry):
        for flag in part["flags"]:
            flags[flag["code"]] = flag
            places.setdefault(flag["code"], []).append(place)
    return [
        f"{code}{_where(places[code])}: {flag['text']} {flag['advice']}" for code, flag in flags.items()
    ]  # fmt: skip


def _where(places: Sequence[str]) -> str:
    named = [place for place in places if place]
    return f" ({'; '.join(named)})" if named else ""


def _parts(entry: Json) -> list[tuple[str, Json]]:
    """Everything that may carry flags, with its place in words."""
    found = [("", entry)]
    shared = shared_bays(entry["strips"])
    for strip in entry["strips"]:
        alone = strip["bay"] not in shared
        bay = f"bay {strip['bay']}" if alone else f"bay {strip['bay']}, strip {strip['strip']}"
        found.append((bay, strip))
        for lane in strip["lanes"]:
            where = bay if alone and len(strip["lanes"]) == 1 else f"bay {strip['bay']}, lane {lane['lane']}"
            found.append((where, lane))
            found += [(f"{where}, spot {spot['spot']}", spot) for spot in lane["spots"]]
    return found
