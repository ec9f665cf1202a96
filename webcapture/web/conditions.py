"""Under which conditions a practical is run: in their normal form, and by name."""

from __future__ import annotations

from webcapture.reference.method import Method, method_of
from webcapture.store.records import PracticalInfo


def method_as_written(practical: PracticalInfo) -> Method:
    """The practical's method in its normal form; raises UsageError where it cannot be read in one way only."""
    written = practical.plan.method
    return method_of(written.mobile_phase, written.paper, written.temperature_c, written.locating)


def conditions_name(method: Method) -> str:
    """Mobile phase and paper in one line, the same for the same conditions and for no others."""
    return f"{method.mobile_phase.text} | {method.paper}"
