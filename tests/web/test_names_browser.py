"""Mixed lanes, references in the room's plot and own values in a real browser: axe, narrow windows, keys. Substances are invented."""

from __future__ import annotations

import re

import pytest
from playwright.sync_api import expect

from tests.web.room import Room
from tests.web.test_browser import LEAST_TARGET_PX, axe_violations, overflow
from tests.web.test_room_browser import AsLead, app, as_lead, fresh_token, room
from webcapture.store.records import LaneRole

__all__ = ["app", "as_lead", "room"]
LANES = (
    LaneRole(1, "reference", "Marl red"), LaneRole(2, "reference", "Tarn blue"), LaneRole(3, "sample", "Vat 7"),
    LaneRole(4, "mixed", "Vat 7 + Marl red"),
)  # fmt: skip
RFS = ((0.31, 0.62, 0.31, 0.31), (0.30, 0.61, 0.305, 0.30), (0.32, 0.63, 0.32, 0.32), (0.31, 0.62, 0.45, 0.31))


@pytest.fixture
def pages(room: Room) -> dict[str, str]:
    """Addresses of a practical with a mixed lane, four stations and nothing accepted yet."""
    fresh_token(room)
    practical = room.practical(lanes=LANES)
    photos = [
        room.measured(room.station(practical, f"Bench {n}")[0], *((rf,) for rf in rfs)) for n, rfs in enumerate(RFS, 1)
    ]
    base = f"/lead/practicals/{practical.id}"
    return {"room": base, "edit": f"{base}/edit", "result": f"/results/{photos[0]}", "own": f"{base}/own-runs"}


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [360, 1280])
def test_axe_finds_nothing(pages: dict[str, str], as_lead: AsLead, site: str, scheme: str, width: int) -> None:
    page = as_lead("/lead", width, color_scheme=scheme)
    for name, address in pages.items():
        page.goto(site + address)
        page.evaluate("document.querySelectorAll('details').forEach((fold) => { fold.open = true; })")
        assert axe_violations(page) == [], name


def test_nothing_is_cut_off_at_320_px_and_targets_are_large(pages: dict[str, str], as_lead: AsLead, site: str) -> None:
    page = as_lead("/lead", 320)
    for name, address in pages.items():
        page.goto(site + address)
        assert overflow(page) == 0, name
    page.goto(site + pages["own"])
    ticks = page.locator(".runs label")
    assert ticks.count() == 2 * len(RFS)
    assert all(box["height"] >= LEAST_TARGET_PX for box in (one.bounding_box() for one in ticks.all()) if box)


@pytest.mark.parametrize("scripts", [True, False])
def test_own_values_are_kept_and_withdrawn_with_the_keyboard_alone(
    pages: dict[str, str], as_lead: AsLead, scripts: bool
) -> None:
    page = as_lead(pages["own"], 360, java_script_enabled=scripts)
    boxes = page.get_by_role("checkbox")
    expect(boxes).to_have_count(2 * len(RFS))
    boxes.first.focus()
    page.keyboard.press("Space")  # the first is left out
    page.get_by_role("button", name="Accept the chosen spots").focus()
    page.keyboard.press("Enter")
    expect(page.get_by_role("status")).to_have_text("7 runs of this practical count.")
    expect(boxes).to_have_count(1)
    page.get_by_role("button", name=re.compile("Withdraw ?: Tarn blue, Bench 2")).focus()
    page.keyboard.press("Enter")
    expect(page.get_by_role("status")).to_have_text("6 runs of this practical count.")


def test_a_mixed_spot_says_what_it_is_evidence_for(pages: dict[str, str], as_lead: AsLead) -> None:
    page = as_lead(pages["result"], 360)
    told = page.get_by_role("region", name="What could it be?")
    expect(told).to_contain_text("Evidence for Marl red, no proof.")
    expect(told).to_contain_text("stays single")
