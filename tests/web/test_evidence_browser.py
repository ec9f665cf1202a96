"""The pages of evidence in a real browser: axe, narrow windows, keys, the way through them, the print."""

from __future__ import annotations

from pathlib import Path

import pytest
from playwright.sync_api import expect

from tests.web.room import Room
from tests.web.test_browser import LEAST_TARGET_PX, axe_violations, overflow
from tests.web.test_room_browser import AsLead, app, as_lead, fresh_token
from webcapture.reference.library import Value
from webcapture.reference.method import method_of
from webcapture.store.records import LaneRole
from webcapture.web import library as shelves

__all__ = ["app", "as_lead"]
pytestmark = pytest.mark.browser

UNKNOWN = "/lead/evidence/unknown?label=Unknown+A"
PHASES = ("water", "ethanol", "propanone : water 9 : 1", "methanol")
KNOWN = {"Ash grey": (0.3, 0.7, 0.5, 0.2), "Bark brown": (0.3, 0.66, 0.8, 0.6), "Clay red": (0.8, 0.7, 0.5, 0.4)}


@pytest.fixture
def room(tmp_path: Path) -> Room:
    """An unknown on eight sheets under two mobile phases, and a practical that cannot be compared."""
    made = Room(tmp_path)
    with made.app.test_request_context():
        shelves.add(
            Value(name, method_of(phase, "filter paper"), rf, "invented", "invented for a test", sd=0.02, n=9)
            for name, rfs in KNOWN.items()
            for phase, rf in zip(PHASES, rfs, strict=True)
        )
    made.app.config["CLOCK"] = None  # the browser goes by the real time
    fresh_token(made)
    for phase, rfs in (
        (PHASES[0], (0.3, 0.31, 0.29, 0.3, 0.3, 0.82)),
        (PHASES[1], (0.68, 0.69)),
        ("50 % water + 40 % ethanol", ()),
    ):
        practical = made.practical(f"Run in {phase}", phase=phase, lanes=(LaneRole(1, "sample", "Unknown A"),))
        for n, rf in enumerate(rfs, 1):
            made.measured(made.station(practical, f"Bench {n}")[0], (rf,))
    return made


@pytest.mark.parametrize("width", [360, 1280])
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing(as_lead: AsLead, width: int, scheme: str) -> None:
    for address in ("/lead/evidence", UNKNOWN):
        page = as_lead(address, width, color_scheme=scheme)
        page.evaluate("document.querySelectorAll('details').forEach((one) => { one.open = true; })")
        assert axe_violations(page) == []


@pytest.mark.parametrize("address", ["/lead/evidence", UNKNOWN])
def test_at_320_px_only_the_table_scrolls_and_targets_are_large(as_lead: AsLead, address: str) -> None:
    page = as_lead(address, 320)
    assert overflow(page) == 0
    for target in page.locator("main a, main button, main summary, main label.tick").all():
        if target.is_visible():
            box = target.bounding_box()
            assert box and box["height"] >= LEAST_TARGET_PX, target.inner_text()


@pytest.mark.parametrize("scripts", [True, False])
def test_from_the_leads_home_to_a_run_left_out_by_keyboard(as_lead: AsLead, scripts: bool) -> None:
    page = as_lead("/lead", java_script_enabled=scripts)
    page.get_by_role("link", name="Evidence for an unknown").press("Enter")
    page.get_by_role("link", name="Unknown A").press("Enter")
    expect(page.get_by_text("Unknown A is consistent with Ash grey or Bark brown.")).to_be_visible()
    expect(page.get_by_text("5 agree, 1 disagrees").first).to_be_visible()
    page.get_by_label("Bench 6").press("Space")
    page.get_by_role("button", name="Work it out again").press("Enter")
    expect(page.get_by_text("5 agree").first).to_be_visible()
    expect(page.get_by_text("1 disagrees")).to_have_count(0)
    assert "without=" in page.url
    expect(page.get_by_label("Bench 6")).to_be_checked()


def test_the_print_holds_the_record_and_not_the_controls(as_lead: AsLead) -> None:
    page = as_lead(UNKNOWN)
    page.emulate_media(media="print")
    expect(page.get_by_text("Record of")).to_be_visible()
    expect(page.get_by_role("heading", name="Substance by mobile phase")).to_be_visible()
    expect(page.locator("img.plot")).to_be_visible()
    expect(page.get_by_text("necessary, not sufficient")).to_be_visible()
    expect(page.get_by_role("button", name="Work it out again")).to_be_hidden()
    expect(page.get_by_role("link", name="JSON")).to_be_hidden()
    assert page.pdf(format="A4").startswith(b"%PDF-")
