"""Class sets without photos: sheets of one unknown and its reference lanes, drawn as numbers from a stated model.

A sheet has one shift of Rf, shared by all its lanes; every spot repeats about it; origin line and front are each found with an error,
of which half (of the variance) is the line's and half the lane's; every centre with an error of its own. Two spots of a lane that lie
too near to part become one, and only half of those are told to be merged. Shifts, spreads and errors are what is stated here and
not what the comparison assumes: it takes both lines' errors as wholly shared.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from webcapture.reference.compare import SheetReference
from webcapture.reference.library import Library, Value
from webcapture.reference.match import CONSISTENT
from webcapture.reference.method import method_of
from webcapture.reference.mixture import LaneAccount, account
from webcapture.reference.observed import Observed
from webcapture.settings import DEFAULTS, CompareSettings

METHOD = method_of("propanone : petroleum ether 1 : 9", "paper for tests", 20.0)
NAMES = ("A", "B", "C", "D")
RUN, WIDTH, PARTS = 100.0, 6.0, 3.0
"""Run, width of a spot, and how far two must lie apart to show as two; millimetres."""
U_CENTRE, U_ORIGIN, U_FRONT = 0.08, 0.10, 0.15
"""Standard uncertainties of the photo, millimetres."""


@dataclass(frozen=True)
class Model:
    """How sheets vary."""

    shift: float = 0.03
    """Standard deviation of a sheet's shift of Rf."""
    repeat: float = 0.007
    """Of a spot about it, from lane to lane."""
    gap: float = 0.06
    """Least distance of two references."""
    foreign: float = 0.0
    """Chance that one of an unknown's components is none of the references."""


@dataclass(frozen=True)
class Sheet:
    """One sheet and its truth."""

    truth: frozenset[str]
    """Names of the references in the unknown; ``?`` for something else."""
    unknown: tuple[Observed, ...]
    references: tuple[SheetReference, ...]


def spaced(rng: np.random.Generator, count: int, gap: float, low: float = 0.12, high: float = 0.88) -> np.ndarray:
    """So many Rf, uniform, no two nearer than ``gap``."""
    while True:
        rf = np.sort(rng.uniform(low, high, count))
        if np.diff(rf).min() >= gap:
            return rng.permutation(rf)


def class_set(seed: int, model: Model, sheets: int = 30) -> tuple[np.ndarray, list[Sheet]]:
    """Four references' Rf, and thirty stations' sheets with unknowns of one to three of them."""
    rng = np.random.default_rng(seed)
    rf = spaced(rng, len(NAMES) + 1, model.gap)
    return rf[: len(NAMES)], [_sheet(rng, rf, model) for _ in range(sheets)]


def _sheet(rng: np.random.Generator, rf: np.ndarray, model: Model) -> Sheet:
    shift = rng.normal(0, model.shift)
    lines = rng.normal(0, [U_ORIGIN / 2**0.5, U_FRONT / 2**0.5])
    inside = list(rng.choice(len(NAMES), rng.integers(1, 4), replace=False))
    if rng.random() < model.foreign:
        inside[0] = len(NAMES)

    def lane(number: int, contents: Sequence[int]) -> tuple[Observed, ...]:
        true = [rf[n] + shift + rng.normal(0, model.repeat) for n in contents]
        return _lane(rng, number, sorted(true), lines)

    references = tuple(SheetReference(name, lane(n + 2, [n])) for n, name in enumerate(NAMES))
    return Sheet(frozenset((*NAMES, "?")[n] for n in inside), lane(1, inside), references)


def _lane(rng: np.random.Generator, number: int, true: Sequence[float], lines: np.ndarray) -> tuple[Observed, ...]:
    origin, front = lines + rng.normal(0, [U_ORIGIN / 2**0.5, U_FRONT / 2**0.5])
    return tuple(
        spot(number, n, RUN * place - origin + rng.normal(0, U_CENTRE), RUN + front - origin, codes)
        for n, (place, codes) in enumerate(_seen(rng, true), 1)
    )


def _seen(rng: np.random.Generator, true: Sequence[float]) -> Iterator[tuple[float, tuple[str, ...]]]:
    """Spots as they part: (Rf, codes)."""
    together: list[float] = []
    for n, place in enumerate(true):
        together.append(place)
        if n + 1 < len(true) and RUN * (true[n + 1] - place) < PARTS:
            continue
        merged = ("merged",) if len(together) > 1 and rng.random() < 0.5 else ()
        yield float(np.mean(together)), merged
        together = []


def spot(
    lane: int, number: int, distance: float, run: float, codes: tuple[str, ...] = (), colour: str = ""
) -> Observed:
    """An observed spot with the budget of a photo as they usually are."""
    rf = distance / run
    u = np.hypot(U_CENTRE, np.hypot((1 - rf) * U_ORIGIN, rf * U_FRONT)) / run
    codes = (*codes, *(["near-front"] if rf > 0.95 else []), *(["did-not-move"] if distance < 1 else []))
    return Observed(
        "1", lane, number, float(rf), float(2 * u), float(distance), WIDTH, run, run, U_CENTRE, U_ORIGIN, U_FRONT, colour=colour, codes=codes,
    )  # fmt: skip


def table(rf: np.ndarray, own_runs: int = 0, sd: float = 0.03) -> Library:
    """The references' true mean Rf, as a source prints them; or as own runs on so many sheets."""
    mark, extra = ("own runs", {"sd": sd, "n": own_runs}) if own_runs else ("published", {})
    return Library.of(
        Value(name, METHOD, round(float(r), 2), mark, "a test", **extra) for name, r in zip(NAMES, rf, strict=True)
    )


def verdict(found: LaneAccount, truth: frozenset[str]) -> str:
    """``right``, ``wrong`` or ``cannot tell``; a spot of something else must not be named."""
    if found.outcome == CONSISTENT:
        return "right" if frozenset(found.accounts[0].substances) == truth else "wrong"
    if "?" in truth and found.reason == "some-unaccounted":
        named = {frozenset(one.substances) for one in found.accounts}
        return "right" if named <= {truth - {"?"}} else "cannot tell"
    return "cannot tell"


def counted(seeds: Sequence[int], model: Model, way: str, settings: CompareSettings = DEFAULTS.compare) -> Counter[str]:
    """Verdicts over class sets; ``way``: ``beside`` the references, by the ``table`` or ``own`` runs, or the ``nearest`` of the table."""
    tally: Counter[str] = Counter()
    for seed in seeds:
        rf, sheets = class_set(seed, model)
        own = table(rf, 10, float(np.hypot(model.shift, model.repeat)))
        library = {"beside": Library.of(()), "own": own}.get(way, table(rf))
        for sheet in sheets:
            if way == "nearest":
                tally[_nearest(sheet, rf, settings.window_rf)] += 1
                continue
            beside = sheet.references if way == "beside" else ()
            tally[verdict(account(sheet.unknown, METHOD, library, beside, settings=settings), sheet.truth)] += 1
    return tally


def _nearest(sheet: Sheet, rf: np.ndarray, window: float) -> str:
    """As people do it: each spot gets the name of the nearest value within the window, and no uncertainty is asked."""
    named = set()
    for one in sheet.unknown:
        off = np.abs(rf - (one.rf or 0.0))
        named.add(NAMES[int(off.argmin())] if off.min() <= window else "?")
    return "right" if named == set(sheet.truth) else "wrong"
