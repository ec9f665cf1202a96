"""A lane in which sample and reference lie on one another: what it says, given the lanes of both beside it on the same strip."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from webcapture.measure.uncertainty import COVERAGE
from webcapture.reference.compare import CANNOT_TELL, SheetReference, beside
from webcapture.reference.library import key
from webcapture.reference.mixture import MixedSpot, mixed_spot
from webcapture.reference.observed import Observed
from webcapture.reference.plan import mixed_parts
from webcapture.settings import DEFAULTS, CompareSettings


@dataclass(frozen=True, slots=True)
class MixedPlace:
    """What the mixed lane says of one spot of the reference."""

    sample_spot: int
    """Number of the sample's spot that lies nearest to it."""
    reference_spot: int
    found: MixedSpot


@dataclass(frozen=True, slots=True)
class MixedLane:
    """A mixed lane as a whole. Evidence, never proof: substances that lie near enough stay single as well."""

    sample: str
    reference: str
    """As its label says them; empty where it does not."""
    outcome: str
    """``stays single``: evidence for the reference; ``splits``: evidence against; ``cannot tell``."""
    reason: str
    """A key of ``MIXED_REASONS``."""
    places: tuple[MixedPlace, ...] = ()
    """One for each spot of the reference."""


def mixed_lane(
    label: str, mixed: Sequence[Observed], samples: Mapping[str, Sequence[Observed]], references: Sequence[SheetReference],
    settings: CompareSettings = DEFAULTS.compare,
) -> MixedLane:  # fmt: skip
    """What the mixed lane of that label says; ``samples`` are the sample lanes of the same strip by their label."""
    parts = mixed_parts(label)
    if parts is None:
        return MixedLane("", "", CANNOT_TELL, "label")
    own = next((spots for name, spots in samples.items() if key(name) == key(parts[0])), ())
    there = next((one.spots for one in references if key(one.substance) == key(parts[1])), ())
    if not own or not there:
        return MixedLane(*parts, CANNOT_TELL, "no-reference" if own else "no-sample")
    places = tuple(_place(spot, own, mixed, settings) for spot in there)
    outcomes = {place.found.outcome for place in places}
    if len(outcomes) > 1:
        return MixedLane(*parts, CANNOT_TELL, "several-places", places)
    return MixedLane(*parts, places[0].found.outcome, places[0].found.reason, places)


def _place(
    reference: Observed, own: Sequence[Observed], mixed: Sequence[Observed], settings: CompareSettings
) -> MixedPlace:
    """The reference's spot with that of the sample's which could be the same substance: the nearest."""
    repeat = COVERAGE * settings.repeat_rf
    nearest = min(own, key=lambda spot: beside(spot, reference, "", repeat, settings)[0][8])
    others = [spot for spot in own if spot is not nearest]
    return MixedPlace(nearest.spot, reference.spot, mixed_spot(nearest, reference, mixed, others, settings))
