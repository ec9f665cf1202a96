"""Strips that lie in one bay: their lanes are numbered through it, and a tray says that they share it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import replace

from webcapture.flags import flags
from webcapture.model import Strip

TRAY = "tray"
SHARED = "bay-shared"


def numbered_through(strips: Sequence[Strip], layout: str) -> tuple[Strip, ...]:
    """The strips of a photo, in the order of their bays and then from the left, each as one among those of its bay.

    On a sheet card the third lane from the left is then lane 3, whether the lanes lie on one paper or each on a strip of its own.
    On a tray every bay is meant for one strip: a second one there is doubted, since what is planned for a bay may mean either.
    """
    crowd = Counter(strip.bay for strip in strips)
    return tuple(_among(strip, taken, crowd[strip.bay] > 1, layout) for strip, taken in _taken(strips))


def _taken(strips: Sequence[Strip]) -> Iterator[tuple[Strip, int]]:
    """Each strip with how many numbers of lanes its bay has given away before it. A strip without a lane takes one, too."""
    taken: Counter[int] = Counter()
    for strip in strips:
        yield strip, taken[strip.bay]
        taken[strip.bay] += max(len(strip.lanes), 1)


def _among(strip: Strip, taken: int, shared: bool, layout: str) -> Strip:
    """The strip with its lanes' numbers going on after those ``taken``. What lies alone in its bay stays as it is."""
    if not shared:
        return strip
    return replace(
        strip,
        shared=True,
        lanes=tuple(replace(lane, lane=taken + n) for n, lane in enumerate(strip.lanes, 1)),
        flags=flags(*(flag.code for flag in strip.flags), *([SHARED] if layout == TRAY else [])),
    )


def tells_lanes(strip: Strip) -> bool:
    """Whether a spot's number needs its lane's beside it: there are other lanes, on this strip or in its bay."""
    return len(strip.lanes) > 1 or strip.shared
