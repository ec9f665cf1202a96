"""Libraries of several mobile phases without photos: substances, mobile phases that spread them well or badly, an unknown to find."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from tests.reference.classes import spot
from webcapture.reference.advise import what_next
from webcapture.reference.evidence import UnknownRun, evidence
from webcapture.reference.library import OWN_RUNS, Library, Value
from webcapture.reference.method import Method, method_of

SD, SHEETS = 0.02, 8
"""Of own runs from sheet to sheet, and on how many they rest."""


@dataclass(frozen=True)
class World:
    """True Rf (substances, mobile phases), and the library that knows them from own runs."""

    true: np.ndarray
    methods: tuple[Method, ...]
    names: tuple[str, ...]
    library: Library


def world(seed: int, substances: int = 24, phases: int = 8) -> World:
    """A third of the mobile phases spread the substances widely, a third crowd them at one end, the others order them as an earlier one does."""
    rng = np.random.default_rng(seed)
    columns: list[np.ndarray] = []
    for n in range(phases):
        if n % 3 == 0:
            columns.append(rng.uniform(0.08, 0.92, substances))
        elif n % 3 == 1:
            columns.append(np.clip(rng.beta(2, 8, substances), 0.04, 0.92))
        else:
            columns.append(np.clip(columns[n - 2] * 0.9 + rng.normal(0, 0.04, substances), 0.04, 0.94))
    true = np.stack(columns, axis=1)
    methods = tuple(method_of(f"propanone : water {n + 1} : 10", "paper for tests", 20.0) for n in range(phases))
    names = tuple(f"substance {n}" for n in range(substances))
    return World(true, methods, names, _library(rng, true, methods, names))


def _library(rng: np.random.Generator, true: np.ndarray, methods: Sequence[Method], names: Sequence[str]) -> Library:
    """Means and standard deviations as so many sheets give them, not as they are."""
    values = []
    for i, name in enumerate(names):
        for j, method in enumerate(methods):
            runs = np.clip(true[i, j] + rng.normal(0, SD, SHEETS), 0, 1)
            values.append(
                Value(name, method, float(runs.mean()), OWN_RUNS, "a test", sd=float(runs.std(ddof=1)), n=SHEETS)
            )
    return Library.of(values)


def run(truth: World, unknown: int, phase: int, rng: np.random.Generator) -> UnknownRun:
    """The unknown on a new sheet under that mobile phase."""
    rf = float(np.clip(truth.true[unknown, phase] + rng.normal(0, SD), 0, 1))
    return UnknownRun(truth.methods[phase], (spot(1, 1, 100 * rf, 100.0),))


def runs_needed(seed: int, advised: bool, rounds: int = 8) -> tuple[int, bool, list[int]]:
    """Runs until one candidate stands, or ``rounds`` + 1; whether the unknown still stands; and how many stand after each run."""
    truth = world(seed)
    rng = np.random.default_rng([seed, 1])
    unknown = int(rng.integers(len(truth.names)))
    chances = np.random.default_rng([seed, 2])  # both ways meet the same unknown, and their own scatter
    left = list(range(len(truth.methods)))
    done: list[UnknownRun] = []
    standing, counts = truth.names, []
    for n in range(rounds):
        phase = _advised(standing, truth, done) if advised else left[int(chances.integers(len(left)))]
        left.remove(phase)
        done.append(run(truth, unknown, phase, rng))
        standing = evidence(done, truth.library).standing
        counts.append(len(standing))
        if len(standing) <= 1:
            return n + 1, truth.names[unknown] in standing, counts
    return rounds + 1, truth.names[unknown] in standing, counts


def _advised(standing: Sequence[str], truth: World, done: Sequence[UnknownRun]) -> int:
    return truth.methods.index(what_next(standing, truth.library, [one.method for one in done])[0].method)
