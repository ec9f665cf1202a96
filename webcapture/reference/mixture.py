"""A lane as a whole: which set of references accounts for its spots, and a mixed spot run beside.

Each spot is assigned to one reference spot or to none, two spots of a lane never to the same one: they lie apart. All
assignments in which every spot agrees are tested jointly, with the correlations that shared lines bring: the differences d of
the spots to their references, with covariance V, make d' V⁻¹ d, which follows χ² with as many degrees of freedom as there are
spots where the assignment is right. One test a lane keeps the risk of refusing the right set where the settings put it, however many
spots the lane has. A set is told only where no other passes.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from scipy import stats

from webcapture.measure.uncertainty import COVERAGE
from webcapture.model import Floats
from webcapture.reference import colour
from webcapture.reference.compare import CANNOT_TELL, SheetReference, beside, colours_asked, repeatability
from webcapture.reference.library import Library, key
from webcapture.reference.match import CONSISTENT, NONE_FITS, NOTHING
from webcapture.reference.method import Method
from webcapture.reference.observed import Observed, covariance, u_apart_mm
from webcapture.reference.shelf import Shelf
from webcapture.settings import DEFAULTS, CompareSettings

SINGLE, SPLITS = "stays single", "splits"
"""Outcomes of a mixed spot, beside ``CANNOT_TELL``."""

LANE_REASONS = {
    "one-set": "One set of references accounts for all spots. Others, not run or not in the library, may do so too.",
    "some-unaccounted": "Some spots agree with no reference.",
    "no-rf": "No reference lane beside accounts for every spot, and without a front the library's values cannot be asked.",
    "several-sets": "More than one set of references accounts for the spots.",
    "near-miss": "The nearest set of references lies at the edge of what the uncertainties allow.",
    "crowded": "More spots lie at a reference than it can account for: at least one is of something else.",
    "silent-spots": "Spots that did not move, ran with the front, or are more than one, name nothing.",
    "too-many": "There are too many ways to account for the spots.",
    "no-spots": "No spot is seen.",
    "no-references": "There is nothing to compare with under these conditions.",
}
"""Why a lane has its outcome."""


@dataclass(frozen=True, slots=True)
class Account:
    """How one set of references accounts for a lane."""

    substances: tuple[str, ...]
    assigned: tuple[tuple[int, str], ...]
    """(number of the spot, substance)."""
    chi2: float
    """Joint test statistic, with as many degrees of freedom as spots are assigned."""
    p: float
    """Probability of a statistic at least so large if the set is right."""
    not_seen: tuple[str, ...]
    """Of this set: substances whose reference shows further spots that this lane does not show."""


@dataclass(frozen=True, slots=True)
class LaneAccount:
    """What a lane can be made of."""

    outcome: str
    """``consistent``: one set, all spots accounted for; ``none fits``; ``cannot tell``; ``nothing to compare``."""
    reason: str
    """A key of ``LANE_REASONS``."""
    accounts: tuple[Account, ...]
    """The sets that pass, the best first."""
    unaccounted: tuple[int, ...]
    """Numbers of spots that agree with no reference."""
    silent: tuple[int, ...]
    """Numbers of spots that name nothing."""
    unseen: tuple[str, ...]
    """Substances that were expected, and that no passing set contains: not seen here, which does not mean that none is there."""
    at_least: int
    """Components at least: a spot is one or more, a merged one two or more."""


@dataclass(frozen=True, slots=True)
class _Known:
    """One reference value a spot may be assigned to."""

    substance: str
    there: Observed | None
    """A reference spot of the same strip; None for a library value."""
    rf: float
    u: float
    """Standard uncertainty of a new value about ``rf``, beside what the photo is uncertain by."""
    row: int
    """Of the shelf; −1 for a reference spot."""


def account(
    spots: Sequence[Observed], method: Method, library: Library, references: Sequence[SheetReference] = (),
    expected: Sequence[str] = (), settings: CompareSettings = DEFAULTS.compare,
) -> LaneAccount:  # fmt: skip
    """Which references account for the spots of one lane; ``expected``: substances that its label says are in it.

    Reference lanes of the same strip count before the library's values of the same substance.
    """
    silent = tuple(spot.spot for spot in spots if _names_nothing(spot))
    asked = [spot for spot in spots if spot.spot not in silent]
    least = sum(2 if spot.of_several else 1 for spot in spots)
    shelf = Shelf.under(method, library, settings)
    beside_too = _beside(spots, shelf, references, settings)
    if not spots or not (beside_too or shelf.values):
        known = bool(beside_too or shelf.values)
        blank, reason = (CANNOT_TELL, "no-spots") if known else (NOTHING, "no-references")
        return LaneAccount(blank, reason, (), (), silent, tuple(expected), least)
    known_here, edges, many = _edges(asked, method, shelf, beside_too, settings)
    lone = tuple(spot.spot for spot, edge in zip(asked, edges, strict=True) if not edge)
    ways = [] if many else list(_ways([edge or [-1] for edge in edges]))
    passing = _passing(asked, known_here, ways, settings)
    blind = bool(shelf.values) and any(spot.rf is None for spot in asked)
    tried = "silent-spots" if not asked else "near-miss" if ways else "crowded"
    outcome, reason = _lane_outcome(len(passing), tried, bool(lone), bool(silent), many, blind)
    held = {key(name) for one in passing for name in one.substances}
    unseen = tuple(name for name in expected if key(name) not in held)
    return LaneAccount(outcome, reason, tuple(passing), lone, silent, unseen, least)


def _names_nothing(spot: Observed) -> bool:
    return bool(spot.silent) or spot.of_several


def _lane_outcome(passing: int, tried: str, lone: bool, silent: bool, many: bool, blind: bool) -> tuple[str, str]:
    if many:
        return CANNOT_TELL, "too-many"
    if lone:
        return (CANNOT_TELL, "no-rf") if blind else (NONE_FITS, "some-unaccounted")
    if not passing:
        return CANNOT_TELL, tried
    if silent:
        return CANNOT_TELL, "silent-spots"
    return (CONSISTENT, "one-set") if passing == 1 else (CANNOT_TELL, "several-sets")


def _beside(
    spots: Sequence[Observed], shelf: Shelf, references: Sequence[SheetReference], settings: CompareSettings
) -> list[_Known]:
    """The reference spots of the lane's strip that can name something."""
    here = {(spot.strip, spot.lane) for spot in spots}
    strips = {strip for strip, _ in here}
    found = []
    for reference in references:
        u = repeatability(shelf.own(reference.substance), settings) / COVERAGE
        found += [
            _Known(reference.substance, there, there.rf or 0.0, u, -1)
            for there in reference.spots
            if there.strip in strips and (there.strip, there.lane) not in here and not _names_nothing(there)
        ]
    return found


# ---- assigning


def _edges(
    spots: Sequence[Observed], method: Method, shelf: Shelf, beside_too: Sequence[_Known], settings: CompareSettings
) -> tuple[list[_Known], list[list[int]], bool]:
    """What the spots may be; for each spot which of it is not ruled out, by number; and whether that is too much to try.

    Library values of substances with a reference lane beside are left out: the better evidence decides.
    """
    rows = np.flatnonzero(shelf.without({key(one.substance) for one in beside_too}) & shelf.telling(settings))
    known, numbers = list(beside_too), {}
    edges: list[list[int]] = []
    for spot in spots:
        near = [n for n, one in enumerate(beside_too) if _near_beside(spot, one, settings)]
        e = shelf.e_n(spot.rf, spot.U_rf or 0.0) if spot.rf is not None else np.full(len(shelf.values), np.inf)
        fit = rows[e[rows] <= settings.e_doubtful].tolist()
        if len(fit) > settings.compared:
            return known, [[-1]] * len(spots), True  # whatever the others may be
        said = colour.compared_all([colours_asked(spot, method, shelf.values[row]) for row in fit], settings)
        for row, (clash, _) in zip(fit, said, strict=True):
            if clash != colour.DIFFERS:
                if row not in numbers:
                    numbers[row] = len(known)
                    known.append(_Known(shelf.names[shelf.substance[row]], None, float(shelf.rf[row]), float(shelf.U[row]) / COVERAGE, row))  # fmt: skip
                near.append(numbers[row])
        edges.append(near)
    return known, edges, math.prod(max(len(edge), 1) for edge in edges) > settings.assignments


def _near_beside(spot: Observed, one: _Known, settings: CompareSettings) -> bool:
    d, u = _apart(spot, one, settings)
    there = one.there.colour if one.there is not None else ""
    near = d <= settings.e_doubtful * COVERAGE * u
    return near and colour.compared(spot.colour, there, settings)[0] != colour.DIFFERS


def _apart(spot: Observed, one: _Known, settings: CompareSettings) -> tuple[float, float]:
    """Difference and its standard uncertainty: in Rf, or in millimetres beside a reference where the front is not known."""
    if spot.rf is not None and (one.there is None or one.there.rf is not None):
        return abs(spot.rf - one.rf), math.sqrt(max(_shared((spot, one), (spot, one)), 1e-12))
    if one.there is None:
        return math.inf, 0.0
    return abs(spot.distance_mm - one.there.distance_mm), _u_mm(spot, one, one.there, settings)


def _u_mm(spot: Observed, one: _Known, there: Observed, settings: CompareSettings) -> float:
    repeat = math.sqrt(2) * one.u * max(spot.reach_mm, there.reach_mm)
    return math.hypot(u_apart_mm(spot, there, settings.unseen_front), repeat)


def _ways(edges: Sequence[Sequence[int]], taken: frozenset[int] = frozenset()) -> Iterator[tuple[int, ...]]:
    """Every way of giving each spot one of its references, none twice; −1 stands for no reference and may repeat."""
    if not edges:
        yield ()
        return
    for n in edges[0]:
        if n not in taken or n < 0:
            for rest in _ways(edges[1:], taken | {n}):
                yield (n, *rest)


def _passing(
    spots: Sequence[Observed], known: Sequence[_Known], ways: Sequence[tuple[int, ...]], settings: CompareSettings
) -> list[Account]:
    """The sets of substances that pass the joint test, each by its best assignment, the best first."""
    best: dict[frozenset[str], Account] = {}
    for way in ways:
        pairs = [(spot, known[n]) for spot, n in zip(spots, way, strict=True) if n >= 0]
        if not pairs:
            continue
        found = _account(pairs, known, settings)
        names = frozenset(key(name) for name in found.substances)
        if found.p >= settings.set_risk and (names not in best or found.chi2 < best[names].chi2):
            best[names] = found
    return sorted(best.values(), key=lambda one: one.chi2)


def _account(pairs: Sequence[tuple[Observed, _Known]], known: Sequence[_Known], settings: CompareSettings) -> Account:
    d, V = _differences(pairs, settings)
    chi2 = float(d @ np.linalg.solve(V, d))
    used = [one for _, one in pairs]
    substances = tuple(dict.fromkeys(one.substance for one in used))
    further = [one.substance for one in known if one not in used and one.there and one.substance in substances]
    assigned = tuple((spot.spot, one.substance) for spot, one in pairs)
    return Account(substances, assigned, chi2, float(stats.chi2.sf(chi2, len(pairs))), tuple(dict.fromkeys(further)))


def _differences(pairs: Sequence[tuple[Observed, _Known]], settings: CompareSettings) -> tuple[Floats, Floats]:
    """(k,) differences of spots to their references, and their (k, k) covariance; in units of their own u where no front is known."""
    if all(spot.rf is not None and (one.there is None or one.there.rf is not None) for spot, one in pairs):
        d = np.array([(spot.rf or 0.0) - one.rf for spot, one in pairs])
        V = np.array([[_shared(a, b) for b in pairs] for a in pairs])
        return d, V + 1e-12 * np.eye(len(pairs))
    apart = [_apart(spot, one, settings) for spot, one in pairs]
    return np.array([d / u for d, u in apart]), np.eye(len(pairs))


def _shared(a: tuple[Observed, _Known], b: tuple[Observed, _Known]) -> float:
    """Covariance of two differences (spot − reference), whose parts hang together by the lines they share."""
    total = covariance(a[0], b[0])
    same = a[1] is b[1]
    if a[1].there is not None:
        total -= covariance(a[1].there, b[0])
    if b[1].there is not None:
        total -= covariance(a[0], b[1].there)
    if a[1].there is not None and b[1].there is not None:
        total += covariance(a[1].there, b[1].there)
    repeats = 2 if a[1].there is not None else 1
    return total + (repeats * a[1].u ** 2 if same else 0.0)


# ---- a mixed spot


@dataclass(frozen=True, slots=True)
class MixedSpot:
    """Sample and reference applied on one another, in a lane beside both."""

    outcome: str
    """``stays single``: consistent with the reference; ``splits``: they differ; ``cannot tell``."""
    reason: str
    """A key of ``MIXED_REASONS``."""
    spots: tuple[int, ...]
    """Numbers of the spots of the mixed lane that lie there."""
    would_split_mm: float
    """How far two substances would have to lie apart to show as two here; nearer ones stay single as well."""


MIXED_REASONS = {
    "silent": "A spot that did not move or ran with the front tells nothing, mixed or not.",
    "none": "The mixed lane shows no spot there.",
    "merged": "The mixed spot seems to be more than one, and does not part.",
    "one-missing": "The mixed lane shows a spot at only one of the two places.",
    "splits": "The mixed spot splits: sample and reference differ under these conditions.",
    "single": "The mixed spot stays single: consistent with the reference. Substances that lie nearer to each other than this would too.",
    "several-places": "The reference shows several spots, and they do not all tell the same.",
    "label": "The lane's label does not say what was mixed: write the sample's label, a plus sign and the reference.",
    "no-sample": "The sample's own lane, with a spot, is not seen on this strip: run it beside the mixed spot.",
    "no-reference": "The reference's own lane, with a spot, is not seen on this strip: run it beside the mixed spot.",
}
"""Why a mixed spot has its outcome."""


def mixed_spot(
    sample: Observed, reference: Observed, mixed: Sequence[Observed], others: Sequence[Observed] = (),
    settings: CompareSettings = DEFAULTS.compare,
) -> MixedSpot:  # fmt: skip
    """What the lane ``mixed`` (sample and reference on one another) says of a spot of the sample and the reference's spot.

    The same substance gives one spot where the sample's and the reference's are; two substances give two, if they lie far enough apart.
    ``others``: the sample's other spots, which show in the mixed lane as well and are left aside.
    """
    near = tuple(spot for spot in mixed if _at_either(spot, sample, reference, others, settings))
    width = max(spot.width_mm for spot in (*near, sample, reference))
    outcome, reason = _mixed_outcome(sample, reference, near, settings)
    return MixedSpot(outcome, reason, tuple(spot.spot for spot in near), width)


def _off(spot: Observed, there: Observed, settings: CompareSettings) -> float:
    """E_n of two spots of one sheet."""
    return beside(spot, there, "", COVERAGE * settings.repeat_rf, settings)[0][8]


def _at_either(
    spot: Observed, sample: Observed, reference: Observed, others: Sequence[Observed], settings: CompareSettings
) -> bool:
    nearest = min(_off(spot, sample, settings), _off(spot, reference, settings))
    return nearest <= settings.e_doubtful and all(nearest <= _off(spot, other, settings) for other in others)


def _mixed_outcome(
    sample: Observed, reference: Observed, near: Sequence[Observed], settings: CompareSettings
) -> tuple[str, str]:
    if sample.silent or reference.silent:
        return CANNOT_TELL, "silent"
    if not near:
        return CANNOT_TELL, "none"
    if any(spot.of_several for spot in near):
        return CANNOT_TELL, "merged"
    if len(near) > 1:
        return SPLITS, "splits"
    if max(_off(near[0], sample, settings), _off(near[0], reference, settings)) > settings.e_doubtful:
        return CANNOT_TELL, "one-missing"
    return SINGLE, "single"
