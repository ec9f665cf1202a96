"""The pages of references in a real browser: axe, narrow windows, dark, keys, and the lead's way through them."""

from __future__ import annotations

from typing import Any

import pytest
from playwright.sync_api import Page, expect

from tests.web.conftest import OpenPage, Watched
from tests.web.room import Room
from tests.web.test_browser import LEAST_TARGET_PX, axe_violations, overflow
from tests.web.test_references import PHASE, accept, add_value
from tests.web.test_room_browser import AsLead, app, as_lead, fresh_token, room

__all__ = ["app", "as_lead", "room"]

pytestmark = pytest.mark.browser


@pytest.fixture
def entry(room: Room) -> str:
    """A kept value, with own runs of its substance in three practicals."""
    fresh_token(room)
    for practical, rfs in (("Monday", (0.30, 0.31)), ("Tuesday", (0.34, 0.33)), ("Friday", (0.32,))):
        for n, rf in enumerate(rfs):
            accept(room, rf, practical, n)
    return add_value(room)


def pages(entry: str) -> dict[str, str]:
    alike = "%22high-salt solution of weber and lacey 1978%22 | as published, unspecified"
    return {
        "list": "/references",
        "conditions": f"/references?under={alike}",
        "substance": "/references/substance?name=Marl red",
        "new": "/references/new",
        "value": f"/references/values/{entry}",
        "keep": "/references/keep",
    }


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [360, 1280])
def test_axe_finds_nothing(entry: str, as_lead: AsLead, site: str, scheme: str, width: int) -> None:
    page = as_lead("/references", width, color_scheme=scheme)
    for name, address in pages(entry).items():
        page.goto(site + address)
        for hidden in page.locator("summary").all():
            hidden.click()
        assert axe_violations(page) == [], name


def test_nothing_is_cut_off_at_320_px_and_targets_suit_a_thumb(entry: str, as_lead: AsLead, site: str) -> None:
    page = as_lead("/references", 320)
    for name, address in pages(entry).items():
        page.goto(site + address)
        assert overflow(page) == 0, name
        targets = page.locator("main a, main button, main input:not([type=hidden]), main select, main summary").all()
        seen = [one for one in targets if one.is_visible()]
        small = [one.evaluate("e => e.outerHTML") for one in seen if height(one) < LEAST_TARGET_PX]
        assert small == [], name


def height(target: Any) -> float:
    box = target.bounding_box()
    return float(box["height"]) if box else 0.0


def test_charts_are_drawn(entry: str, open_page: OpenPage, site: str) -> None:
    page = open_page(360, address=pages(entry)["substance"])
    drawn = page.locator("img.plot")
    expect(drawn).to_have_count(2)
    assert drawn.evaluate_all("all => all.every(e => e.complete && e.naturalWidth > 0)")
    page.goto(site + pages(entry)["conditions"])
    assert drawn.evaluate_all("all => all.length == 1 && all[0].complete && all[0].naturalWidth > 0")


def test_by_keys_alone_a_search_is_made(entry: str, open_page: OpenPage) -> None:
    page = open_page(360, address="/references", java_script_enabled=False)
    reach(page, "q")
    page.keyboard.type("marl")
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", name="3 values")).to_be_visible()
    expect(page.locator(".values li")).to_have_count(3)


def reach(page: Page, name: str) -> None:
    for _ in range(20):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.id") == name:
            return
    raise AssertionError(f"{name} is not reached by keys")


@pytest.mark.parametrize("scripts", [True, False])
def test_the_lead_adds_mends_retires_and_restores(room: Room, as_lead: AsLead, watched: Watched, scripts: bool) -> None:
    page = as_lead("/references/new", 360, java_script_enabled=scripts)
    for label, text in (("Substance", "Tarn blue"), ("Mobile phase", PHASE), ("Paper", "filter paper"), ("Rf", "62")):
        page.get_by_label(label).first.fill(text)
    page.get_by_label("Source").fill("invented for a test")
    page.get_by_label("Mark").select_option("invented")
    page.get_by_role("button", name="Add it").click()
    expect(page.get_by_role("alert")).to_contain_text("1 field needs a look")
    expect(page.get_by_text("An hRf of 31 is an Rf of 0.31.")).to_be_visible()
    expect(page.get_by_label("Source")).to_have_value("invented for a test")
    page.locator("#rf").fill("0.62")
    page.get_by_role("button", name="Add it").click()
    page.get_by_role("link", name="Edit").click()
    page.locator("#why").fill("old bottle")
    page.get_by_role("button", name="Retire").click()
    expect(page.get_by_text("This value is retired")).to_be_visible()
    page.get_by_role("button", name="Restore").click()
    expect(page.locator(".versions > li")).to_have_count(3)
    watched.complaints.clear()  # the browser logs each 4xx itself
