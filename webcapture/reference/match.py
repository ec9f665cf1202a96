"""Candidates for a spot: which references of the same mobile phase and paper it is consistent with.

Best evidence first: a reference lane on the same sheet, where origin and front are shared and their errors drop out of the
difference; then own runs; then published values. What a substance's best evidence says decides; the rest is not asked. A
substance agrees where E_n ≤ 1, is doubtful a little beyond, and is ruled out farther off. Consistent is all that a spot can be:
other substances, in the library or not, may lie at the same place.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import islice

import numpy as np

from webcapture.reference import colour
from webcapture.reference.compare import (
    AGREES,
    CANNOT_TELL,
    DISAGREES,
    DOUBTFUL,
    Comparison,
    Pending,
    Ready,
    SheetReference,
    all_beside,
    finished,
    from_shelf,
    with_repeatability,
)
from webcapture.reference.library import Library, key
from webcapture.reference.method import Method
from webcapture.reference.observed import Observed
from webcapture.reference.shelf import EVIDENCE, Shelf
from webcapture.settings import DEFAULTS, CompareSettings

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
    spots: Sequence[Observed],
    method: Method,
    library: Library,
    references: Sequence[SheetReference] = (),
    settings: CompareSettings = DEFAULTS.compare,
) -> tuple[Match, ...]:
    """What each spot of one run is consistent with; ``references`` are lanes of the same photo, counted for spots of their own strip."""
    shelf = Shelf.under(method, library, settings)
    ready = with_repeatability(references, shelf, settings)
    asked = [_ask(spot, method, shelf, ready, settings) for spot in spots]
    said = iter(finished([one for pending, _ in asked for one in pending], settings))
    return tuple(
        _match(spot, list(islice(said, len(pending))), more, bool(shelf.values), settings)
        for spot, (pending, more) in zip(spots, asked, strict=True)
    )


def _ask(
    spot: Observed, method: Method, shelf: Shelf, references: Sequence[Ready], settings: CompareSettings
) -> tuple[list[Pending], tuple[int, int]]:
    """What the spot is compared with, and how many more agree, and disagree, than are listed; nothing of a spot that names nothing."""
    if spot.silent:
        return [], (0, 0)
    beside = all_beside(spot, references, settings)
    listed, more = from_shelf(spot, method, shelf, {key(numbers[0]) for numbers, _ in beside}, settings)
    return [*beside, *listed], more


def _match(
    spot: Observed, comparisons: Sequence[Comparison], more: tuple[int, int], library: bool, settings: CompareSettings
) -> Match:
    """``library``: whether it holds anything under these conditions."""
    if spot.silent:
        return Match(spot, CANNOT_TELL, spot.silent)
    if comparisons:
        return _judged(spot, comparisons, more, settings)
    return Match(spot, CANNOT_TELL, "no-rf") if library else Match(spot, NOTHING, "no-references")


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
    if spot.of_several:
        return CANNOT_TELL, "merged"
    if fit:
        return CONSISTENT, "agrees"
    if doubtful or silent:
        return CANNOT_TELL, "doubtful" if doubtful else "silent-reference"
    return NONE_FITS, "colour" if against else "none"


def _order(comparison: Comparison) -> tuple[int, int, float]:
    colours = (colour.AGREES, colour.CANNOT_TELL, colour.DIFFERS)
    return EVIDENCE.index(comparison.evidence), colours.index(comparison.colour), comparison.e_n


# ---- what cannot be told apart


def alike(comparisons: Sequence[Comparison]) -> tuple[tuple[str, ...], ...]:
    """Groups of two and more whose known values agree with one another; each joins where it agrees with one of the group."""
    by_rf = [(c.substance, c.known, c.U_known or c.U_seen) for c in comparisons if c.quantity == "Rf"]
    # Of R_rel it is the reference's own place that counts, in units of the spot's.
    by_place = [
        (c.substance, 1 / c.seen, c.U_seen / c.seen**2) for c in comparisons if c.quantity != "Rf" and c.seen > 0
    ]
    return (*_grouped(by_rf), *_grouped(by_place))


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
        if chains and any(row[1] - other[1] <= math.hypot(row[2], other[2]) for other in reversed(chains[-1])):
            chains[-1].append(row)
        else:
            chains.append([row])
    names = (tuple(dict.fromkeys(name for name, _, _ in chain)) for chain in chains)
    return tuple(group for group in names if len(group) > 1)
