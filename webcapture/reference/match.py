"""Candidates for a spot: which references of the same mobile phase and paper it is consistent with.

Best evidence first: a reference lane on the same sheet, where origin and front are shared and their errors drop out of the
difference; then own runs; then published values. What a substance's best evidence says decides; the rest is not asked. A
substance agrees where E_n ≤ 1, is doubtful a little beyond, and is ruled out farther off. Consistent is all that a spot can be:
other substances, in the library or not, may lie at the same place.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from webcapture.measure.uncertainty import COVERAGE
from webcapture.model import Floats
from webcapture.reference import colour
from webcapture.reference.library import Library, Value, key
from webcapture.reference.method import Method, Remark, remarks
from webcapture.reference.observed import Observed, covariance, u_apart_mm
from webcapture.reference.shelf import EVIDENCE, SAME_SHEET, Shelf, student
from webcapture.settings import DEFAULTS, CompareSettings

AGREES, DOUBTFUL, DISAGREES, CANNOT_TELL = "agrees", "doubtful", "disagrees", "cannot tell"
CONSISTENT, NONE_FITS, NOTHING = "consistent", "none fits", "nothing to compare"
"""Outcomes of a spot, beside ``CANNOT_TELL``."""

REASONS = {
    "did-not-move": "It did not move: whatever this mobile phase does not carry lies here. Try another one.",
    "near-front": "It ran with the front: whatever the paper does not hold back lies here. Try a weaker mobile phase.",
    "no-rf": "It has no Rf, and no reference lane lies on its sheet.",
    "merged": "It seems to be more than one spot: its centre is that of the whole.",
    "doubtful": "The nearest reference lies at the edge of what the uncertainties allow.",
    "silent-reference": "Only references agree that themselves did not move or ran with the front.",
    "agrees": "Consistent with what is listed, under these conditions. Other substances may lie here too.",
    "no-references": "There are no references for this mobile phase and paper.",
    "colour": "Rf alone would fit, but the colours speak against it.",
    "none": "No reference of this mobile phase and paper lies near enough.",
}
"""Why a spot has its outcome."""


@dataclass(frozen=True, slots=True)
class SheetReference:
    """A reference lane beside the sample."""

    substance: str
    spots: tuple[Observed, ...]
    """All that its lane shows; more than one where it is itself a mixture or impure."""


@dataclass(frozen=True, slots=True)
class Comparison:
    """One spot against one reference value."""

    substance: str
    evidence: str
    """One of ``EVIDENCE``."""
    quantity: str
    """``Rf``; ``R_rel`` where the front is not known: then the reference's is 1."""
    seen: float
    U_seen: float
    """Expanded; of a comparison on one sheet that of the difference, and ``U_known`` is 0: what both share has dropped out of it."""
    known: float
    U_known: float
    window: bool
    """True where ``U_known`` is the lead's own window, because the source gives no uncertainty."""
    e_n: float
    agreement: str
    """``agrees``, ``doubtful``, ``disagrees``; ``cannot tell`` where the reference did not move or ran with the front."""
    colour: str
    """``agrees``, ``differs``, ``cannot tell``: a supporting sign, see :data:`webcapture.reference.colour.LIMITS`."""
    colour_apart: float | None
    """ΔE00 at one depth; None where colours were not compared as such."""
    source: str
    remarks: tuple[Remark, ...] = ()

    def silenced(self) -> Comparison:
        """The same where one of the two spots names nothing."""
        return replace(self, agreement=CANNOT_TELL)


@dataclass(frozen=True, slots=True)
class Match:
    """What one spot is consistent with."""

    spot: Observed
    outcome: str
    """``consistent``, ``none fits``, ``cannot tell``, ``nothing to compare``."""
    reason: str
    """A key of ``REASONS``."""
    candidates: tuple[Comparison, ...] = ()
    """What agrees, the best first: by evidence, colour, E_n. Never one name as an answer: see ``reason``."""
    more: int = 0
    """Candidates beyond those listed, as far as Rf goes."""
    groups: tuple[tuple[str, ...], ...] = ()
    """Candidates that these conditions do not tell apart from one another."""
    doubtful: tuple[Comparison, ...] = ()
    """Neither agrees nor is ruled out."""
    colour_against: tuple[Comparison, ...] = ()
    """Rf agrees, colour speaks against."""
    ruled_out: tuple[Comparison, ...] = ()
    """The nearest of what disagrees, and what is doubtful with the colour against it."""
    more_ruled_out: int = 0


def candidates(
    spots: Iterable[Observed],
    method: Method,
    library: Library,
    references: Sequence[SheetReference] = (),
    settings: CompareSettings = DEFAULTS.compare,
) -> tuple[Match, ...]:
    """What each spot of one run is consistent with; ``references`` are lanes of the same photo, counted for spots of their own strip."""
    shelf = Shelf.under(method, library, settings)
    ready = with_repeatability(references, shelf, settings)
    return tuple(_match(spot, method, shelf, ready, settings) for spot in spots)


def _match(
    spot: Observed, method: Method, shelf: Shelf, references: Sequence[Ready], settings: CompareSettings
) -> Match:
    if spot.silent:
        return Match(spot, CANNOT_TELL, spot.silent)
    beside = all_beside(spot, references, settings)
    if not (beside or shelf.values):
        return Match(spot, NOTHING, "no-references")
    if not beside and spot.rf is None:
        return Match(spot, CANNOT_TELL, "no-rf")
    listed, counts = _from_shelf(spot, method, shelf, {key(found.substance) for found in beside}, settings)
    return _judged(spot, [*beside, *listed], counts, settings)


def _judged(
    spot: Observed, comparisons: Sequence[Comparison], counts: tuple[int, int], settings: CompareSettings
) -> Match:
    """The outcome of all comparisons; ``counts``: how many more agree, and disagree, than were listed."""
    ordered = sorted(comparisons, key=_order)
    fit = [c for c in ordered if c.agreement == AGREES and c.colour != colour.DIFFERS]
    against = [c for c in ordered if c.agreement == AGREES and c.colour == colour.DIFFERS]
    doubtful = [c for c in ordered if c.agreement == DOUBTFUL and c.colour != colour.DIFFERS]
    out = [c for c in ordered if c.agreement == DISAGREES or (c.agreement == DOUBTFUL and c not in doubtful)]
    out.sort(key=lambda c: c.e_n)
    silent = any(c.agreement == CANNOT_TELL for c in ordered)
    outcome, reason = _outcome(spot, bool(fit) or counts[0] > 0, bool(doubtful), silent, bool(against))
    most = settings.listed
    return Match(
        spot, outcome, reason, tuple(fit[:most]), counts[0] + len(fit[most:]), alike(fit[:most]), tuple(doubtful[:most]),
        tuple(against[:most]), tuple(out[: settings.listed_out]), counts[1] + len(out[settings.listed_out :]),
    )  # fmt: skip


def _outcome(spot: Observed, fit: bool, doubtful: bool, silent: bool, against: bool) -> tuple[str, str]:
    if "merged" in spot.codes:
        return CANNOT_TELL, "merged"
    if fit:
        return CONSISTENT, "agrees"
    if doubtful or silent:
        return CANNOT_TELL, "doubtful" if doubtful else "silent-reference"
    return NONE_FITS, "colour" if against else "none"


def _order(comparison: Comparison) -> tuple[int, int, float]:
    colours = (colour.AGREES, colour.CANNOT_TELL, colour.DIFFERS)
    return EVIDENCE.index(comparison.evidence), colours.index(comparison.colour), comparison.e_n


def agreement(e_n: float, silent: bool, settings: CompareSettings) -> str:
    """What E_n says; where the reference itself names nothing it may rule out and not agree."""
    if e_n > settings.e_doubtful:
        return DISAGREES
    if silent:
        return CANNOT_TELL
    return AGREES if e_n <= 1 else DOUBTFUL


# ---- beside, on the same sheet


Ready = tuple[SheetReference, float]
"""A reference lane, and the expanded uncertainty with which its substance repeats from lane to lane."""


def with_repeatability(
    references: Sequence[SheetReference], shelf: Shelf, settings: CompareSettings
) -> tuple[Ready, ...]:
    """Reference lanes with what own runs, or the settings, say of how their substances repeat on one sheet."""
    return tuple((one, repeatability(shelf.own(one.substance), settings)) for one in references)


def all_beside(spot: Observed, references: Sequence[Ready], settings: CompareSettings) -> list[Comparison]:
    """For each reference lane on the spot's strip the nearest of its spots. A lane is no reference for itself."""
    found = []
    for reference, U_repeat in references:
        there = [one for one in reference.spots if one.strip == spot.strip and one.lane != spot.lane]
        compared = [beside(spot, one, reference.substance, U_repeat, settings) for one in there]
        found += [min(compared, key=lambda comparison: comparison.e_n)] if compared else []
    return found


def repeatability(own: Sequence[Value], settings: CompareSettings) -> float:
    """Expanded uncertainty of Rf from lane to lane of one sheet: from own runs where there are enough, else as the settings say."""
    freedom = sum(value.freedom_within for value in own)
    if freedom < settings.repeat_freedom:
        return COVERAGE * settings.repeat_rf
    squares = sum(value.freedom_within * (value.sd_within or 0.0) ** 2 for value in own)
    return float(student(freedom)) * math.sqrt(squares / freedom)


def beside(spot: Observed, there: Observed, substance: str, U_repeat: float, settings: CompareSettings) -> Comparison:
    """A spot against a reference spot of the same strip: the difference of the two Rf, with what they share left out.

    Where the front is not known, R_rel: the spot's distance over the reference's, which is 1 for the same substance.
    """
    if spot.rf is not None and there.rf is not None:
        quantity, seen, known = "Rf", spot.rf, there.rf
        U = math.hypot(COVERAGE * u_difference_beside(spot, there), math.sqrt(2) * U_repeat)
    else:
        scale = max(there.distance_mm, 1e-9)
        quantity, seen, known = "R_rel", spot.distance_mm / scale, 1.0
        apart = COVERAGE * u_apart_mm(spot, there, settings.unseen_front)
        U = math.hypot(apart, math.sqrt(2) * U_repeat * max(spot.reach_mm, there.reach_mm)) / scale
    e = abs(seen - known) / max(U, 1e-12)
    near = e <= settings.e_doubtful
    said, apart_by = colour.compared(spot.colour, there.colour if near else "", settings)
    silent = bool(there.silent) or "merged" in there.codes
    return Comparison(
        substance, SAME_SHEET, quantity, seen, U, known, 0.0, False, e, agreement(e, silent, settings), said, apart_by,
        f"lane {there.lane} of the same sheet",
    )  # fmt: skip


def u_difference_beside(first: Observed, second: Observed) -> float:
    """Standard uncertainty of the difference of two Rf of one strip, as far as the photo goes."""
    variance = covariance(first, first) + covariance(second, second) - 2 * covariance(first, second)
    return math.sqrt(max(variance, 0.0))


# ---- from the library


def _from_shelf(
    spot: Observed, method: Method, shelf: Shelf, beside_too: Collection[str], settings: CompareSettings
) -> tuple[list[Comparison], tuple[int, int]]:
    """Comparisons with each substance, as far as they are listed; and how many more agree, and disagree."""
    if spot.rf is None or not shelf.values:
        return [], (0, 0)
    rows, e = _rows(spot, shelf, beside_too, settings.e_doubtful, settings.listed_out)
    near = int(np.searchsorted(e, settings.e_doubtful, side="right"))
    listed = [*range(min(near, settings.compared)), *range(near, min(near + settings.listed_out, len(rows)))]
    compare = _against(spot, method, shelf, rows[listed], e[listed], settings)
    others = len(shelf.names) - sum(name in shelf.numbers for name in beside_too) - near
    return compare, (max(near - settings.compared, 0), others - min(len(rows) - near, settings.listed_out))


def nearest_of_each(
    spot: Observed, method: Method, shelf: Shelf, beside_too: Collection[str], settings: CompareSettings
) -> list[Comparison]:
    """The comparison with every substance of the shelf, the nearest first; those of ``beside_too`` are left out."""
    if spot.rf is None or not shelf.values:
        return []
    return _against(spot, method, shelf, *_rows(spot, shelf, beside_too), settings)


def _rows(
    spot: Observed, shelf: Shelf, beside_too: Collection[str], within: float = np.inf, most: int = 0
) -> tuple[NDArray[np.int_], Floats]:
    """(m,) the row of each substance's nearest value of its best evidence, by E_n, and (m,) that; beyond ``within`` about ``most``."""
    rows = np.flatnonzero(shelf.without(beside_too))
    e = shelf.e_n(spot.rf or 0.0, spot.U_rf or 0.0)[rows]
    enough = int(np.count_nonzero(e <= within)) + most
    if enough < len(rows):
        kept = e <= np.partition(e, enough)[enough]
        rows, e = rows[kept], e[kept]
    order = np.argsort(e, kind="stable")
    order = order[np.sort(np.unique(shelf.substance[rows[order]], return_index=True)[1])]
    return rows[order], e[order]


def _against(
    spot: Observed, method: Method, shelf: Shelf, rows: NDArray[np.int_], e_n: Floats, settings: CompareSettings
) -> list[Comparison]:
    """The spot against those values; colours are asked only where Rf does not rule out."""
    noted: dict[tuple[float | None, str], tuple[Remark, ...]] = {}
    for row in rows.tolist():
        other = shelf.values[row].method
        if (other.temperature_c, other.locating) not in noted:
            noted[other.temperature_c, other.locating] = remarks(method, other, settings=settings)
    near = [row for row, e in zip(rows.tolist(), e_n.tolist(), strict=True) if e <= settings.e_doubtful]
    said = colours_against(spot, method, [shelf.values[row] for row in near], settings)
    colours = dict(zip(near, said, strict=True))
    return [
        _one_against(spot, shelf, row, e, colours.get(row, (colour.CANNOT_TELL, None)), noted, settings)
        for row, e in zip(rows.tolist(), e_n.tolist(), strict=True)
    ]


def _one_against(
    spot: Observed, shelf: Shelf, row: int, e_n: float, said: tuple[str, float | None],
    noted: Mapping[tuple[float | None, str], tuple[Remark, ...]], settings: CompareSettings,
) -> Comparison:  # fmt: skip
    value = shelf.values[row]
    silent = not settings.least_rf <= value.rf <= settings.most_rf
    return Comparison(
        shelf.names[shelf.substance[row]], EVIDENCE[shelf.rank[row]], "Rf", spot.rf or 0.0, spot.U_rf or 0.0, value.rf, float(shelf.U[row]),
        bool(shelf.windowed[row]), e_n, agreement(e_n, silent, settings), *said, value.source,
        noted[value.method.temperature_c, value.method.locating],
    )  # fmt: skip


def colours_against(
    spot: Observed, method: Method, values: Sequence[Value], settings: CompareSettings
) -> list[tuple[str, float | None]]:
    """What the spot's colour says of each value: nothing where it was located in another way. As such where known, else by its word."""
    known = [value.hex if value.method.locating == method.locating else "" for value in values]
    said = colour.compared_all(spot.colour, known, settings)
    by_word = [value.colour if not value.hex and value.method.locating == method.locating else "" for value in values]
    words = {text: colour.compared_words(spot.colour, text, settings) for text in set(by_word) if text}
    return [(words[text], None) if text else one for one, text in zip(said, by_word, strict=True)]


# ---- what cannot be told apart


def alike(comparisons: Sequence[Comparison]) -> tuple[tuple[str, ...], ...]:
    """Groups of two and more whose known values agree with one another; each joins where it agrees with one of the group."""
    values = [(c.substance, c.known, c.U_known or c.U_seen) for c in comparisons]
    return _grouped(values)


def alike_under(method: Method, library: Library, settings: CompareSettings = DEFAULTS.compare) -> tuple[tuple[str, ...], ...]:  # fmt: skip
    """The substances of the library that Rf under this mobile phase and paper does not tell apart from a neighbour's."""
    shelf = Shelf.under(method, library, settings)
    rows = np.flatnonzero(shelf.best)
    return _grouped([(shelf.names[shelf.substance[row]], float(shelf.rf[row]), float(shelf.U[row])) for row in rows])


def _grouped(values: Sequence[tuple[str, float, float]]) -> tuple[tuple[str, ...], ...]:
    """(name, value, U) in chains along the value; a chain goes on while the next agrees with any before it."""
    ordered = sorted(values, key=lambda row: row[1])
    chains: list[list[tuple[str, float, float]]] = []
    for row in ordered:
        if chains and any(row[1] - other[1] <= math.hypot(row[2], other[2]) for other in chains[-1]):
            chains[-1].append(row)
        else:
            chains.append([row])
    names = (tuple(dict.fromkeys(name for name, _, _ in chain)) for chain in chains)
    return tuple(group for group in names if len(group) > 1)
