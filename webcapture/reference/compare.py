"""One spot against reference values: in numbers first, then all colours at once.

A reference lane beside, on the same sheet, is compared by the difference of the two Rf: origin and front are the same lines, and what
their errors do to both drops out. A value of the library is compared by E_n with both uncertainties.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from webcapture.measure.uncertainty import COVERAGE
from webcapture.model import Floats
from webcapture.reference import colour
from webcapture.reference.library import Value
from webcapture.reference.method import Method, Remark, remarks
from webcapture.reference.observed import Observed, covariance, u_apart_mm
from webcapture.reference.shelf import EVIDENCE, SAME_SHEET, Shelf, student
from webcapture.settings import CompareSettings

AGREES, DOUBTFUL, DISAGREES, CANNOT_TELL = "agrees", "doubtful", "disagrees", "cannot tell"


@dataclass(frozen=True, slots=True)
class SheetReference:
    """A reference lane beside the sample."""

    substance: str
    spots: tuple[Observed, ...]
    """All that its lane shows; more than one where it is itself a mixture or impure."""


class Comparison(NamedTuple):
    """One spot against one reference value. A tuple, because a crowded library makes hundreds of them a photo."""

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
    source: str
    remarks: tuple[Remark, ...] = ()
    colour: str = colour.CANNOT_TELL
    """``agrees``, ``differs``, ``cannot tell``: a supporting sign, see :data:`webcapture.reference.colour.LIMITS`. Asked where Rf does not rule out."""
    colour_apart: float | None = None
    """ΔE00 at one depth; None where colours were not compared as such."""

    def silenced(self) -> Comparison:
        """The same where one of the two spots names nothing."""
        return self._replace(agreement=CANNOT_TELL)


Numbers = tuple[str, str, str, float, float, float, float, bool, float, str, str, tuple[Remark, ...]]
"""A comparison's fields up to its remarks."""
Pending = tuple[Numbers, tuple[str, str, str]]
"""A comparison without its colour, and what is to be asked for it: colour seen, known colour, its words; all ``""`` where nothing is."""
NOT_ASKED = ("", "", "")


def finished(pending: Sequence[Pending], settings: CompareSettings) -> list[Comparison]:
    """The comparisons with their colours, all of which are compared in one go."""
    said = colour.compared_all([asked for _, asked in pending], settings)
    return [Comparison(*numbers, *one) for (numbers, _), one in zip(pending, said, strict=True)]


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


def repeatability(own: Sequence[Value], settings: CompareSettings) -> float:
    """Expanded uncertainty of Rf from lane to lane of one sheet: from own runs where there are enough, else as the settings say."""
    freedom = sum(value.freedom_within for value in own)
    if freedom < settings.repeat_freedom:
        return COVERAGE * settings.repeat_rf
    squares = sum(value.freedom_within * (value.sd_within or 0.0) ** 2 for value in own)
    return student(freedom) * math.sqrt(squares / freedom)


def all_beside(spot: Observed, references: Sequence[Ready], settings: CompareSettings) -> list[Pending]:
    """For each reference lane on the spot's strip the nearest of its spots. A lane is no reference for itself."""
    found = []
    for reference, U_repeat in references:
        there = [one for one in reference.spots if one.strip == spot.strip and one.lane != spot.lane]
        compared = [beside(spot, one, reference.substance, U_repeat, settings) for one in there]
        found += [min(compared, key=lambda pending: pending[0][8])] if compared else []
    return found


def beside(spot: Observed, there: Observed, substance: str, U_repeat: float, settings: CompareSettings) -> Pending:
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
    said = agreement(e, bool(there.silent) or there.of_several, settings)
    where = f"lane {there.lane} of the same sheet"
    numbers = (substance, SAME_SHEET, quantity, seen, U, known, 0.0, False, e, said, where, ())
    return numbers, (spot.colour, there.colour, "") if e <= settings.e_doubtful else NOT_ASKED


def u_difference_beside(first: Observed, second: Observed) -> float:
    """Standard uncertainty of the difference of two Rf of one strip, as far as the photo goes."""
    own = (first.U_rf or 0.0) ** 2 + (second.U_rf or 0.0) ** 2
    return math.sqrt(max(own / COVERAGE**2 - 2 * covariance(first, second), 0.0))


# ---- from the library


def from_shelf(
    spot: Observed, method: Method, shelf: Shelf, beside_too: Collection[str], settings: CompareSettings
) -> tuple[list[Pending], tuple[int, int]]:
    """Comparisons with each substance but those of ``beside_too``, as far as they are listed; and how many more agree, and disagree."""
    if spot.rf is None or not shelf.values:
        return [], (0, 0)
    rows, e = _one_of_each(spot, shelf, beside_too)
    near = int(np.count_nonzero(e <= settings.e_doubtful))
    listed = _nearest_listed(e, settings)
    more = (max(near - settings.compared, 0), max(len(rows) - near - settings.listed_out, 0))
    return against(spot, method, shelf, rows[listed], e[listed], settings), more


def nearest_rows(spot: Observed, shelf: Shelf, beside_too: Collection[str]) -> tuple[NDArray[np.int_], Floats]:
    """Of each substance of the shelf but those of ``beside_too``: (m,) the row of each substance's nearest value of its best evidence, by E_n, and (m,) that."""
    if spot.rf is None or not shelf.values:
        return np.zeros(0, int), np.zeros(0)
    rows, e = _one_of_each(spot, shelf, beside_too)
    order = np.argsort(e, kind="stable")
    return rows[order], e[order]


def _one_of_each(spot: Observed, shelf: Shelf, beside_too: Collection[str]) -> tuple[NDArray[np.int_], Floats]:
    """The same in the shelf's order; the spot has an Rf."""
    rows = np.flatnonzero(shelf.without(beside_too))
    e = shelf.e_n(spot.rf or 0.0, spot.U_rf or 0.0)[rows]
    if len(shelf.names) == len(shelf.values):
        return rows, e
    order = np.argsort(e, kind="stable")
    first = np.sort(order[np.unique(shelf.substance[rows[order]], return_index=True)[1]])
    return rows[first], e[first]


def _nearest_listed(e_n: Floats, settings: CompareSettings) -> NDArray[np.int_]:
    """Places of the nearest that are listed: of those that may agree, then of the others. Few of thousands, which are not ordered for it."""
    within = e_n <= settings.e_doubtful
    reach, others = max(2 * settings.e_doubtful, 1.0), len(e_n) - int(np.count_nonzero(within))
    while reach < math.inf and np.count_nonzero((e_n <= reach) & ~within) < min(settings.listed_out, others):
        reach *= 2
    beyond = np.flatnonzero((e_n <= reach) & ~within)
    return np.concatenate(
        [_least(e_n, np.flatnonzero(within), settings.compared), _least(e_n, beyond, settings.listed_out)]
    )


def _least(values: Floats, places: NDArray[np.int_], most: int) -> NDArray[np.int_]:
    """At most so many of those places, by their values, the first of equal ones first."""
    there = values[places]
    if 0 < most < len(there):
        kept = there <= np.partition(there, most - 1)[most - 1]
        places, there = places[kept], there[kept]
    return places[np.argsort(there, kind="stable")][:most]


def against(
    spot: Observed, method: Method, shelf: Shelf, rows: NDArray[np.int_], e_n: Floats, settings: CompareSettings
) -> list[Pending]:
    """The spot against those values."""
    noted: dict[tuple[float | None, str], tuple[Remark, ...]] = {}
    values = [shelf.values[row] for row in rows.tolist()]
    for value in values:
        other = value.method
        if (other.temperature_c, other.locating) not in noted:
            noted[other.temperature_c, other.locating] = remarks(method, other, settings=settings)
    names = [shelf.names[number] for number in shelf.substance[rows].tolist()]
    evidence = [EVIDENCE[rank] for rank in shelf.rank[rows].tolist()]
    columns = zip(
        values, names, evidence, e_n.tolist(), shelf.U[rows].tolist(), shelf.windowed[rows].tolist(), strict=True
    )
    return [_one_against(spot, method, noted, settings, *column) for column in columns]


def _one_against(
    spot: Observed, method: Method, noted: Mapping[tuple[float | None, str], tuple[Remark, ...]], settings: CompareSettings,
    value: Value, name: str, evidence: str, e_n: float, U: float, window: bool,
) -> Pending:  # fmt: skip
    said = agreement(e_n, not settings.least_rf <= value.rf <= settings.most_rf, settings)
    numbers = (
        name, evidence, "Rf", spot.rf or 0.0, spot.U_rf or 0.0, value.rf,
        U, window, e_n, said, value.source, noted[value.method.temperature_c, value.method.locating],
    )  # fmt: skip
    return numbers, colours_asked(spot, method, value) if e_n <= settings.e_doubtful else NOT_ASKED


def colours_asked(spot: Observed, method: Method, value: Value) -> tuple[str, str, str]:
    """What is to be asked of spot and value; nothing where it was located in another way: such colours do not compare."""
    return (spot.colour, value.hex, value.colour) if value.method.locating == method.locating else NOT_ASKED
