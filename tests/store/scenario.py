"""A practical, a station and photos to test with. All of it is invented."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from webcapture.store import photos, practicals, stations
from webcapture.store.records import LaneRole, Method, PracticalPlan

NOON = datetime(2026, 3, 9, 12, 0, 0, 250, tzinfo=UTC)
HOURS = timedelta(hours=12)
LEASE = timedelta(seconds=60)
PLAN = PracticalPlan(
    title="Felt pens, “second” run — ½ dose",
    method=Method("water 9 : propan-2-ol 1 (v/v)", "filter paper", 21.5, ""),
    layout="tray",
    page="a4",
    lanes=(LaneRole(1, "sample", "green pen"), LaneRole(2, "reference", "invented yellow"), LaneRole(3, "", "")),
    notes="No flames.\nLids on.",
    keep_days=30,
)


def later(**by):
    return NOON + timedelta(**by)


def practical(session, now=NOON, plan=PLAN):
    return practicals.create(session, plan, now, HOURS)


def station(session, label="Bench 1"):
    """A station in a practical of its own."""
    return stations.join(session, practical(session).id, label, NOON)[0]


def digest(letter):
    return letter * 64


def photo(session, station_id, photo_id="p1", content="a", now=NOON):
    return photos.accept(session, photo_id, station_id, "strip.jpg", digest(content), 1234, now)[0]
