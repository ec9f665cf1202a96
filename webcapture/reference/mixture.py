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
from itertools import islice

import numpy as np
from scipy import stats

from webcapture.measure.uncertainty import COVERAGE
from webcapture.model import Floats
from webcapture.reference import colour
from webcapture.reference.library import Library, key
from webcapture.reference.match import (
    CANNOT_TELL,
    CONSISTENT,
    NONE_FITS,
    NOTHING,
    SheetReference,
    beside,
    repeatability,
)
from webcapture.reference.method import Method
from webcapture.reference.observed import Observed, covariance, u_apart_mm
from webcapture.reference.shelf import Shelf
from webcapture.settings import DEFAULTS, CompareSettings

SINGLE, SPLITS = "stays single", "splits"
"""Outcomes of a mixed spot, beside ``CANNOT_TELL``."""

LANE_REASONS = {
    "one-set": "One set of references accounts for all spots. Others, not run or not in the library, may do so too.",
    "some-unaccounted": "Some spots agree with no reference.",
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
    hex: str
    words: str


def account(
    spots: Sequence[Observed], method: Method, library: Library, references: Sequence[SheetReference] = (),
    expected: Sequence[str] = (), settings: CompareSettings = DEFAULTS.compare,
) -> LaneAccount:  # fmt: skip
    """Which references account for the spots of one lane; ``expected``: substances that its label says are in it.

    Reference lanes of the same strip count before the library's values of the same substance.
    """
    silent = tuple(spot.spot for spot in spots if spot.silent or "merged" in spot.codes)
    asked = [spot for spot in spots if spot.spot not in silent]
    least = sum(2 if "merged" in spot.codes else 1 for spot in spots)
    known = _known(spots, method, library, references, settings)
    if not spots or not known:
        blank = CANNOT_TELL if known else NOTHING
        return LaneAccount(blank, "no-references" if not known else "no-spots", (), (), silent, tuple(expected), least)
    edges = [_edges(spot, known, settings) for spot in asked]
    lone = tuple(spot.spot for spot, edge in zip(asked, edges, strict=True) if not edge)
    ways = list(islice(_ways([edge or [-1] for edge in edges]), settings.assignments + 1))
    passing = _passing(asked, known, ways[: settings.assignments], settings)
    tried = "silent-spots" if not asked else "near-miss" if ways else "crowded"
    many = len(ways) > settings.assignments
    outcome, reason = _lane_outcome(len(passing), tried, bool(lone), bool(silent), many)
    held = {key(name) for one in passing for name in one.substances}
    unseen = tuple(name for name in expected if key(name) not in held)
    return LaneAccount(outcome, reason, tuple(passing), lone, silent, unseen, least)


def _lane_outcome(passing: int, tried: str, lone: bool, silent: bool, many: bool) -> tuple[str, str]:
    if many:
        return CANNOT_TELL, "too-many"
    if lone:
        return NONE_FITS, "some-unaccounted"
    if not passing:
        return CANNOT_TELL, tried
    if silent:
        return CANNOT_TELL, "silent-spots"
    return (CONSISTENT, "one-set") if passing == 1 else (CANNOT_TELL, "several-sets")


def _known(
    spots: Sequence[Observed], method: Method, library: Library, references: Sequence[SheetReference], settings: CompareSettings
) -> list[_Known]:  # fmt: skip
    """Everything a spot of this lane may be: reference spots of its strip, and library values of other substances."""
    shelf = Shelf.under(method, library, settings)
    here = {(spot.strip, spot.lane) for spot in spots}
    strips = {strip for strip, _ in here}
    found = []
    for reference in references:
        own = [v for v in shelf.values if v.freedom_within and key(v.substance) == key(reference.substance)]
        u = repeatability(own, settings) / COVERAGE
        for there in reference.spots:
            if there.strip in strips and (there.strip, there.lane) not in here and not there.silent:
                found.append(_Known(reference.substance, there, there.rf or 0.0, u, there.colour, ""))
    beside_too = {key(one.substance) for one in found}
    for row in np.flatnonzero(shelf.best):
        value = shelf.values[row]
        if key(value.substance) not in beside_too and settings.least_rf <= value.rf <= settings.most_rf:
            found.append(
                _Known(value.substance, None, value.rf, float(shelf.U[row]) / COVERAGE, value.hex, value.colour)
            )
    return found


# ---- assigning


def _edges(spot: Observed, known: Sequence[_Known], settings: CompareSettings) -> list[int]:
    """The references that the spot is not ruled out to be."""
    near = []
    for n, one in enumerate(known):
        d, u = _apart(spot, one, settings)
        clash = colour.compared(spot.colour, one.hex, settings)[0] if one.hex else colour.compared_words(spot.colour, one.words, settings)  # fmt: skip
        if d <= settings.e_doubtful * COVERAGE * u and clash != colour.DIFFERS:
            near.append(n)
    return near


def _apart(spot: Observed, one: _Known, settings: CompareSettings) -> tuple[float, float]:
    """Difference and its standard uncertainty: in Rf, or in millimetres beside a reference where the front is not known."""
    if spot.rf is not None and (one.there is None or one.there.rf is not None):
        return abs(spot.rf - one.rf), math.sqrt(max(_shared((spot, one), (spot, one), settings), 1e-12))
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
        V = np.array([[_shared(a, b, settings) for b in pairs] for a in pairs])
        return d, V + 1e-12 * np.eye(len(pairs))
    apart = [_apart(spot, one, settings) for spot, one in pairs]
    return np.array([d / u for d, u in apart]), np.eye(len(pairs))


def _shared(a: tuple[Observed, _Known], b: tuple[Observed, _Known], settings: CompareSettings) -> float:
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
    spots: tuple[int, ...]
    """Numbers of the spots of the mixed lane that lie there."""
    would_split_mm: float
    """How far two substances would have to lie apart to show as two here; nearer ones stay single as well."""


def mixed_spot(
    sample: Observed, reference: Observed, mixed: Sequence[Observed], settings: CompareSettings = DEFAULTS.compare
) -> MixedSpot:
    """What the lane ``mixed`` (sample and reference on one another) says of a spot of the sample and the reference's spot.

    The same substance gives one spot where the sample's and the reference's are; two substances give two, if they lie far enough apart.
    """
    U = COVERAGE * settings.repeat_rf
    near = tuple(
        spot for spot in mixed
        if any(beside(spot, there, "", U, settings).e_n <= settings.e_doubtful for there in (sample, reference))
    )  # fmt: skip
    width = max([spot.width_mm for spot in (*near, sample, reference)])
    numbers = tuple(spot.spot for spot in near)
    if sample.silent or reference.silent:
        return MixedSpot(CANNOT_TELL, "A spot that did not move or ran with the front tells nothing, mixed or not.", numbers, width)  # fmt: skip
    if not near:
        return MixedSpot(CANNOT_TELL, "The mixed lane shows no spot there.", numbers, width)
    if any("merged" in spot.codes for spot in near):
        return MixedSpot(CANNOT_TELL, "The mixed spot seems to be more than one, but does not part.", numbers, width)
    if len(near) > 1:
        return MixedSpot(SPLITS, "The mixed spot splits: sample and reference differ under these conditions.", numbers, width)  # fmt: skip
    return MixedSpot(SINGLE, f"The mixed spot stays single: consistent with the reference. Two substances nearer than about {width:.0f} mm would too.", numbers, width)  # fmt: skip
