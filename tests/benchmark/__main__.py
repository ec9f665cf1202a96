"""The project's figures, measured on photos with known truth.

::

    python -m tests.benchmark --class typical --photos 40 --verbose

Prints each figure beside its target; ``--verbose`` adds where errors come from and every miss, false spot and large error
with its seed. Photos are drawn once and kept in ``.cache/``; whatever changes in how they are drawn draws them anew.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator, Sequence

from tests.benchmark.adverse import adverse_details, adverse_table
from tests.benchmark.names import names_table
from tests.benchmark.photos import CLASSES, SENT
from tests.benchmark.quick import quick_table
from tests.benchmark.room import room_table
from tests.benchmark.score import PhotoScore
from tests.benchmark.speed import memory_table, speed_table
from tests.benchmark.table import Group, causes, offenders, table
from tests.benchmark.work import Task, scored
from webcapture.synthetic.adverse import ADVERSE

GROUPS = {
    "typical": ("typical",),
    "hard": ("hard",),
    "tray": ("tray", "hard tray"),
    "sent": tuple(SENT),
    "all": tuple(CLASSES),
}
LARGE = {False: 0.004, True: 0.010}
"""Errors of Rf worth a line of their own: beyond the 95th percentile asked for, typical and hard."""


def main(arguments: Sequence[str] | None = None) -> None:
    """Run what is asked for and print it."""
    asked = _arguments(arguments)
    tasks = list(_tasks(asked.kind, asked.photos, asked.seed))
    scores = dict(zip(tasks, scored(tasks, asked.jobs), strict=True))
    by_group: dict[str, list[PhotoScore]] = {}
    for (name, _), found in scores.items():
        by_group.setdefault(name, []).append(found)
    groups = [Group(name, by_group[name]) for name in by_group if name not in ADVERSE]
    cases = {name: by_group[name] for name in by_group if name in ADVERSE}
    if groups:
        print(table(groups), end="\n\n")
    if cases:
        print(adverse_table(cases), end="\n\n")
    if asked.verbose:
        for group in groups:
            print(causes(group), offenders(group, LARGE["hard" in group.name]), sep="\n\n", end="\n\n")
        print(adverse_details(cases))
    if asked.kind in {"speed", "all"}:
        print(speed_table(asked.seed, rounds=9), memory_table(asked.seed), sep="\n\n")
    if asked.kind == "room":
        print(room_table(asked.seed))
    if asked.kind == "quick":
        print(quick_table(asked.seed, asked.photos, asked.jobs))
    if asked.kind == "names":
        print(names_table(asked.seed, asked.photos))


def _arguments(arguments: Sequence[str] | None) -> argparse.Namespace:
    parser = argparse.ArgumentParser(
        prog="python -m tests.benchmark", description="Figures on photos with known truth."
    )
    kinds = [*GROUPS, "adverse", "speed", "room", "names", "quick"]
    parser.add_argument("--class", dest="kind", choices=kinds, default="all", help="which photos (default: all)")
    parser.add_argument("--photos", type=int, default=40, help="photos a class; half as many trays of each kind; one of each adverse case for every twenty (default: 40)")  # fmt: skip
    parser.add_argument("--seed", type=int, default=0, help="first seed (default: 0)")
    parser.add_argument("--jobs", type=int, default=2, help="processes (default: 2)")
    parser.add_argument("--verbose", action="store_true", help="every miss, false spot and large error, and its causes")
    return parser.parse_args(arguments)


def _tasks(kind: str, photos: int, seed: int) -> Iterator[Task]:
    for name in GROUPS.get(kind, ()):
        count = max(photos // 2, 1) if "tray" in name else photos
        yield from ((name, seed + n) for n in range(count))
    if kind in {"adverse", "all"}:
        yield from ((name, seed + n) for name in ADVERSE for n in range(max(photos // 20, 1)))


if __name__ == "__main__":
    main()
