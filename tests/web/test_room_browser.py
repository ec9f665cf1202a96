"""The lead's pages and joining in a real browser: the way through them, live updating, axe, narrow windows, keys."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from flask import Flask
from playwright.sync_api import Page, expect

from tests.web.conftest import OpenPage, Watched
from tests.web.room import KEY, WORDS, Room
from tests.web.test_browser import LEAST_TARGET_PX, OFFLINE, REFUSED, axe_violations, overflow
from webcapture.store.records import PracticalInfo

pytestmark = pytest.mark.browser

LABELS = ("Owl", "Bench 2", "Bench 3", "Bench 4", "A label of 24 characters")
RFS = (0.61, 0.62, 0.60, 0.61, 0.85)
AsLead = Callable[..., Page]


@pytest.fixture
def room(tmp_path: Path) -> Room:
    found = Room(tmp_path)
    found.app.config["CLOCK"] = None  # the browser goes by the real time
    return found


@pytest.fixture
def app(room: Room) -> Flask:
    """The web tool with records, in place of the one without."""
    return room.app


@pytest.fixture
def as_lead(room: Room, site: str, open_page: OpenPage) -> AsLead:
    """Opens a page as the lead."""

    def opened(address: str, width: int = 1280, **options: Any) -> Page:
        page = open_page(width, address="/join", **options)
        page.context.add_cookies([{"name": "lead", "value": fresh_token(room), "url": site}])
        page.goto(site + address)
        return page

    return opened


def fresh_token(room: Room) -> str:
    with room.app.app_context():
        from webcapture.web.identity import now  # noqa: PLC0415

        room.clock.at = now()
    return room.lead_token()


@pytest.fixture
def full(room: Room) -> PracticalInfo:
    """A practical with five stations, one of them apart, one refused photo, one that waits."""
    fresh_token(room)
    practical = room.practical()
    for label, rf in zip(LABELS, RFS, strict=True):
        station, _ = room.station(practical, label)
        room.measured(station, (0.2, 0.55), (rf,), flags=("glare", "shadow") if label == "Owl" else ())
        if label == "Bench 3":
            room.refused(station, "No card was seen.")
        if label == "Bench 4":
            room.photo(station)
    room.station(practical, "Not yet")
    return practical


def pages(practical: PracticalInfo) -> dict[str, str]:
    base = f"/lead/practicals/{practical.id}"
    return {
        "home": "/lead",
        "new": "/lead/practicals/new",
        "edit": f"{base}/edit",
        "room": base,
        "delete": f"{base}/delete",
        "purge": f"{base}/purge",
        "code": "/join",
        "label": f"/join/{practical.join_code}",
        "own runs": f"{base}/own-runs",
    }


@pytest.mark.parametrize("scripts", [True, False])
def test_from_the_terminals_link_to_a_joined_phone(room: Room, site: str, open_page: OpenPage, scripts: bool) -> None:
    """Set the passphrase, set up a practical (one field wrong first), show the code, join on another device."""
    lead = open_page(1280, address=f"/lead/setup?key={KEY}", java_script_enabled=scripts)
    lead.get_by_label("Passphrase", exact=True).fill(WORDS)
    lead.get_by_label("The same once more").fill(WORDS)
    lead.get_by_role("button", name="Set the passphrase").click()
    lead.get_by_role("link", name="New practical").click()
    lead.get_by_label("Mobile phase").fill("propanone : petroleum ether 1 : 9")
    lead.get_by_label("Temperature").fill("21")
    lead.get_by_role("button", name="Show the cautions again").click()
    expect(lead.get_by_text("Highly flammable").first).to_be_visible()
    lead.get_by_role("button", name="Set it up").click()
    code = lead.locator(".code").inner_text()
    expect(lead.get_by_text("Nobody has joined yet")).to_be_visible()
    phone = open_page(360, address="/", java_script_enabled=scripts)
    phone.get_by_role("link", name="Join a practical").click()
    phone.get_by_label("Code").fill(f" {code[:3].lower()} {code[3:]} ")
    phone.get_by_role("button", name="Go on").click()
    phone.get_by_label("Bench number").fill("Owl")
    phone.get_by_role("button", name="Join").click()
    expect(phone.get_by_text("You are Owl")).to_be_visible()
    assert phone.url == f"{site}/work"
    if not scripts:
        lead.reload()
    expect(lead.get_by_role("heading", name="Owl")).to_be_visible()


def test_room_updates_by_itself_and_keeps_the_place_of_the_keyboard(
    room: Room, full: PracticalInfo, as_lead: AsLead
) -> None:
    page = as_lead(f"/lead/practicals/{full.id}")
    place = page.get_by_role("link", name="Delete the work of Bench 2")
    place.focus()
    station, _ = room.station(full, "Latecomer")
    expect(page.get_by_role("heading", name="Latecomer")).to_be_visible()
    expect(page.locator("#updates")).to_have_text("Updated")
    expect(place).to_be_focused()
    room.measured(station, (0.21, 0.54), (0.6,))
    expect(page.get_by_role("img", name="Open the newest result of Latecomer")).to_be_visible()


def test_nothing_is_put_in_place_while_nothing_changes(full: PracticalInfo, as_lead: AsLead) -> None:
    page = as_lead(f"/lead/practicals/{full.id}")
    page.evaluate("document.querySelector('.tile').dataset.mine = '1'")
    statuses = []
    page.on("response", lambda answer: statuses.append(answer.status) if answer.url.endswith("/part") else None)
    page.wait_for_event("response", lambda answer: answer.url.endswith("/part"))
    expect(page.locator("[data-mine]")).to_have_count(1)
    expect(page.locator("#updates")).to_have_text("")
    assert set(statuses) == {304}  # once, or more often where the test is slower than the page


def test_lost_connection_is_said_and_forgotten(full: PracticalInfo, as_lead: AsLead, watched: Watched) -> None:
    watched.foretell(OFFLINE)
    page = as_lead(f"/lead/practicals/{full.id}")
    expect(page.locator("#trouble")).to_be_hidden()
    page.context.set_offline(True)
    expect(page.locator("#trouble")).to_be_visible()
    page.context.set_offline(False)
    expect(page.locator("#trouble")).to_be_hidden()


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [360, 1280])
def test_axe_finds_nothing(full: PracticalInfo, as_lead: AsLead, site: str, scheme: str, width: int) -> None:
    page = as_lead("/lead", width, color_scheme=scheme)
    for name, address in pages(full).items():
        page.goto(site + address)
        assert axe_violations(page) == [], name
    page.goto(f"{site}/lead/practicals/{full.id}")
    page.get_by_role("link", name="Delete the work of Owl").click()
    expect(page.get_by_role("heading", name="Delete the work of Owl?")).to_be_visible()
    assert axe_violations(page) == []


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing_before_signing_in_and_after_mistakes(
    room: Room, full: PracticalInfo, open_page: OpenPage, site: str, watched: Watched, scheme: str
) -> None:
    watched.foretell(REFUSED)
    page = open_page(360, address="/lead/sign-in", color_scheme=scheme)
    assert axe_violations(page) == []
    page.goto(f"{site}/lead/setup?key={KEY}")
    assert axe_violations(page) == []
    room.set_passphrase()
    page.goto(f"{site}/lead/sign-in")
    page.get_by_label("Passphrase").fill("wrong words")
    page.get_by_role("button", name="Sign in").click()
    expect(page.get_by_text("That is not the passphrase.")).to_be_visible()
    assert axe_violations(page) == []
    page.get_by_label("Passphrase").fill(WORDS)
    page.get_by_role("button", name="Sign in").click()
    page.get_by_role("link", name="New practical").click()
    page.get_by_label("Mobile phase").fill("water")
    page.get_by_label("Temperature").fill("warm")
    page.get_by_role("button", name="Set it up").click()
    expect(page.get_by_role("alert")).to_contain_text("1 field needs a look")
    assert axe_violations(page) == []


@pytest.mark.parametrize("scripts", [True, False])
def test_nothing_is_cut_off_at_320_px(full: PracticalInfo, as_lead: AsLead, site: str, scripts: bool) -> None:
    page = as_lead("/lead", 320, java_script_enabled=scripts)
    for name, address in pages(full).items():
        page.goto(site + address)
        assert overflow(page) == 0 if scripts else page.locator("main").bounding_box()["width"] <= 320, name


def test_targets_are_large_enough_for_a_thumb(full: PracticalInfo, as_lead: AsLead, site: str) -> None:
    page = as_lead("/lead", 360)
    for address in pages(full).values():
        page.goto(site + address)
        targets = page.locator("main a, main button, main input:not([type=hidden]), main select, main textarea").all()
        assert targets
        # What is ticked is reached by its whole label.
        heights = [t.evaluate("e => (e.closest('label') ?? e).getBoundingClientRect().height") for t in targets]
        small = [
            t.evaluate("e => e.outerHTML") for t, high in zip(targets, heights, strict=True) if high < LEAST_TARGET_PX
        ]
        assert small == [], address


def test_code_is_readable_from_afar(full: PracticalInfo, as_lead: AsLead) -> None:
    page = as_lead(f"/lead/practicals/{full.id}")
    assert page.locator(".code").evaluate("e => parseFloat(getComputedStyle(e).fontSize)") >= 80
    for picture in (".qr", ".plot"):
        page.locator(picture).scroll_into_view_if_needed()
        assert page.locator(picture).evaluate("async (e) => { await e.decode(); return e.naturalWidth; }") > 0
