"""A station in a real browser: photos that wait on the phone, and results corrected by keys and by dragging.

The page comes over plain http under a name that browsers do not trust, as in a classroom. The fixtures check at the end of
each test that nothing complained and that no other host was asked for anything.
"""

from __future__ import annotations

import socket
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from flask import Flask
from playwright.sync_api import APIResponse, Locator, Page, Route, expect

from tests.web.conftest import OpenPage, Watched, jpeg
from tests.web.records import WORK, Room, close_room, known_work, open_room, send_and_wait
from tests.web.test_browser import LEAST_TARGET_PX, OFFLINE, WIDTHS, axe_violations, overflow, slow_upload
from webcapture.errors import TooLarge
from webcapture.settings import Settings
from webcapture.store import photos, stations
from webcapture.web.foreman import Declined, Done

pytestmark = pytest.mark.browser

BENCH = "Bench 1"
REST_MS = 1000
"""More than a mark has to rest before its place is sent."""


class Gate:
    """A measurement that waits while the gate is shut."""

    def __init__(self) -> None:
        self.open = threading.Event()
        self.open.set()

    def __call__(self, data: bytes, name: str, settings: Settings) -> Done | Declined:
        assert self.open.wait(60)
        return known_work(data, name, settings)


@pytest.fixture
def gate() -> Gate:
    return Gate()


@pytest.fixture
def room(tmp_path: Path, gate: Gate) -> Iterator[Room]:
    opened = open_room(tmp_path / "data", work=gate)
    yield opened
    gate.open.set()
    close_room(opened)


@pytest.fixture
def app(room: Room) -> Flask:
    """The web tool with records, in place of the one without."""
    return room.app


@pytest.fixture
def pictures(tmp_path: Path) -> dict[str, Path]:
    paths = {name: tmp_path / f"{name}.jpg" for name in ("strip 1", "strip 2", "no-card")}
    for number, path in enumerate(paths.values()):
        path.write_bytes(jpeg() + b"\0" * number)
    return paths


def joined(room: Room, label: str = BENCH) -> dict[str, Any]:
    """Context options of a phone with that station's cookie."""
    if label not in room.cookies:
        room.join(label)
    cookie = {
        "name": "station", "value": room.cookies[label], "domain": "lan.test", "path": "/", "expires": -1,
        "httpOnly": True, "secure": False, "sameSite": "Lax",
    }  # fmt: skip
    return {"storage_state": {"cookies": [cookie], "origins": []}}


@pytest.fixture
def at_work(open_page: OpenPage, room: Room) -> OpenPage:
    """Opens a station's page."""

    def opened(width: int = 360, height: int = 800, address: str = "/work", **options: Any) -> Page:
        return open_page(width, height, address, **joined(room), **options)

    return opened


@pytest.fixture
def result(room: Room) -> str:
    """The address of a measured photo."""
    return f"/results/{send_and_wait(room.join(BENCH))}"


def waiting(page: Page) -> Locator:
    return page.locator("#waiting")


def sent(page: Page) -> Locator:
    return page.locator("#sent .sent-photo")


def arrived(room: Room) -> list[str]:
    """Names of the photos in the records, each as often as it is there."""
    with room.store.database.reading() as session:
        return sorted(photo.name for photo in photos.of_practical(session, room.practical))


# --- capture


@pytest.mark.parametrize("width", WIDTHS)
def test_photo_is_sent_measured_and_opened(
    at_work: OpenPage, room: Room, pictures: dict[str, Path], width: int
) -> None:
    page = at_work(width)
    assert page.evaluate("window.isSecureContext") is False
    expect(waiting(page)).to_have_text("No photo waits on this phone.")
    page.set_input_files("#take", pictures["strip 1"])
    page.get_by_role("link", name="See the result of strip 1.jpg").click()
    expect(page.locator("article.strip")).to_have_count(6)
    # Two dyes were drawn on the first strip.
    expect(page.locator("article.strip").first.locator(".numbers tbody tr")).to_have_count(2)
    assert arrived(room) == ["strip 1.jpg"]


def test_states_are_shown_as_they_change(at_work: OpenPage, gate: Gate, pictures: dict[str, Path]) -> None:
    gate.open.clear()
    page = at_work()
    page.set_input_files("#choose", [pictures["strip 1"], pictures["no-card"]])
    expect(sent(page).get_by_text("Being measured…")).to_be_visible()
    expect(sent(page).get_by_text("Waiting to be measured…")).to_be_visible()
    gate.open.set()
    expect(sent(page).filter(has_text="no-card.jpg")).to_contain_text("Photograph the whole card.")
    expect(sent(page).filter(has_text="strip 1.jpg")).to_contain_text("See the result")


def test_upload_progress_is_shown(at_work: OpenPage, tmp_path: Path) -> None:
    """The share sent has to pass through values between nothing and all."""
    page = at_work()
    slow_upload(page, "outbox", "#take", tmp_path)
    expect(sent(page)).to_have_count(1)
    shares = page.evaluate("window.shares")
    assert any(0.05 < share < 0.95 for share in shares)


def test_photo_chosen_before_the_script_has_come_is_sent_too(
    at_work: OpenPage, room: Room, pictures: dict[str, Path]
) -> None:
    page = at_work()
    held: list[Route] = []
    page.route("**/js/station.js", lambda route: held.append(route))  # noqa: PLW0108 - of a built-in Playwright can make no handler
    with page.expect_request("**/js/station.js"):
        page.reload(wait_until="commit")
    page.set_input_files("#choose", pictures["strip 1"])
    held[0].continue_()
    expect(sent(page)).to_have_count(1)
    assert arrived(room) == ["strip 1.jpg"]


def test_an_older_list_that_comes_late_takes_nothing_away(at_work: OpenPage, pictures: dict[str, Path]) -> None:
    page = at_work()
    held: list[Route] = []
    late: list[tuple[Route, APIResponse]] = []

    def answered(route: Route) -> None:
        if held or "x-part" not in route.request.headers:
            route.continue_()
        else:
            held.append(route)  # at once: while its answer is fetched the next request may come in here
            # Asked for from outside the browser, which alone knows the other name.
            late.append((route, route.fetch(url=route.request.url.replace("lan.test", "127.0.0.1"))))

    page.route(f"**{WORK}", answered)
    page.set_input_files("#choose", [pictures["strip 1"]])
    expect(waiting(page)).to_have_text("No photo waits on this phone.")
    page.set_input_files("#choose", [pictures["strip 2"]])
    expect(sent(page)).to_have_count(2)
    route, answer = late[0]
    page.evaluate("window.setTimeout = () => 0")  # nothing is asked anew
    with page.expect_event("requestfinished"):
        route.fulfill(response=answer)
    page.evaluate("() => new Promise((resolve) => requestAnimationFrame(() => requestAnimationFrame(resolve)))")
    expect(sent(page)).to_have_count(2)


def test_two_photos_taken_offline_arrive_once_after_the_page_was_closed(
    at_work: OpenPage, room: Room, pictures: dict[str, Path], watched: Watched
) -> None:
    watched.foretell(OFFLINE)
    page = at_work()
    context = page.context
    # The page itself cannot be loaded without a network; what it sends is cut off until its outbox was seen to hold both. From
    # the start: a page that is being closed could still send once the network is back.
    context.route(f"**{WORK}/photos/*", lambda route: route.abort("internetdisconnected"))
    context.set_offline(True)
    page.set_input_files("#choose", [pictures["strip 1"], pictures["strip 2"]])
    expect(waiting(page)).to_contain_text("2 photos wait on this phone. No connection")
    expect(page.locator("#outbox li")).to_have_count(2)
    assert arrived(room) == []
    address = page.url
    page.close()
    context.set_offline(False)
    page = context.new_page()
    page.goto(address)
    expect(waiting(page)).to_contain_text("2 photos wait on this phone.")
    assert arrived(room) == []
    context.unroute(f"**{WORK}/photos/*")
    page.evaluate("window.dispatchEvent(new Event('online'))")
    expect(waiting(page)).to_have_text("No photo waits on this phone.")
    expect(sent(page)).to_have_count(2)
    page.reload()
    expect(waiting(page)).to_have_text("No photo waits on this phone.")
    assert arrived(room) == ["strip 1.jpg", "strip 2.jpg"]


def test_coming_back_online_sends_what_waits(
    at_work: OpenPage, room: Room, pictures: dict[str, Path], watched: Watched
) -> None:
    watched.foretell(OFFLINE)
    page = at_work()
    page.evaluate("window.setTimeout = () => 0")  # no next try of its own: the browser itself must tell the page
    page.context.set_offline(True)
    page.set_input_files("#choose", [pictures["strip 1"], pictures["strip 2"]])
    expect(waiting(page)).to_contain_text("2 photos wait on this phone. No connection")
    page.context.set_offline(False)
    expect(waiting(page)).to_have_text("No photo waits on this phone.")
    assert arrived(room) == ["strip 1.jpg", "strip 2.jpg"]


def losing_the_first_answer(app: Any, statuses: list[str]) -> Any:
    """The application, whose first answer to a photo never gets through: the photo was taken, the phone does not know."""

    def wrapped(environ: Any, start: Any) -> Any:
        if environ["REQUEST_METHOD"] != "PUT":
            return app(environ, start)

        def noted(status: str, *rest: Any) -> Any:
            statuses.append(status)
            return start(status, *rest)

        answer = list(app(environ, noted))
        if len(statuses) == 1:
            environ["werkzeug.socket"].shutdown(socket.SHUT_RDWR)
        return answer

    return wrapped


def test_photo_whose_answer_was_lost_is_there_once(
    at_work: OpenPage, room: Room, pictures: dict[str, Path], watched: Watched
) -> None:
    watched.foretell("net::ERR_")
    statuses: list[str] = []
    room.app.wsgi_app = losing_the_first_answer(room.app.wsgi_app, statuses)  # type: ignore[method-assign]
    page = at_work()
    page.set_input_files("#take", pictures["strip 1"])
    expect(waiting(page)).to_contain_text("1 photo waits on this phone. No connection")
    expect(waiting(page)).to_have_text("No photo waits on this phone.")
    assert [status[:3] for status in statuses] == ["201", "200"]
    assert arrived(room) == ["strip 1.jpg"]


def test_photo_that_is_refused_says_what_to_do_and_blocks_no_other(
    at_work: OpenPage, room: Room, pictures: dict[str, Path], tmp_path: Path, watched: Watched
) -> None:
    watched.foretell("status of 400")
    empty = tmp_path / "empty.jpg"
    empty.write_bytes(b"")
    page = at_work()
    page.set_input_files("#choose", [empty, pictures["strip 1"]])
    expect(page.locator("#outbox .trouble")).to_contain_text("Take it again, or choose another one.")
    expect(sent(page)).to_have_count(1)
    page.reload()
    expect(page.locator("#outbox .trouble")).to_be_visible()
    page.get_by_role("button", name="Remove from this phone").click()
    expect(page.locator("#outbox li")).to_have_count(0)
    assert arrived(room) == ["strip 1.jpg"]


def test_far_too_large_a_file_is_refused_before_it_is_sent(at_work: OpenPage, tmp_path: Path) -> None:
    page = at_work()
    huge = tmp_path / "huge.jpg"
    with huge.open("wb") as file:
        file.truncate(70_000_000)
    page.set_input_files("#choose", huge)
    expect(page.locator("#outbox .trouble")).to_contain_text(TooLarge.default_hint)
    expect(waiting(page)).to_have_text("No photo waits on this phone.")


def test_photos_wait_until_a_deleted_station_joins_again(
    at_work: OpenPage, room: Room, pictures: dict[str, Path], watched: Watched
) -> None:
    watched.foretell("status of 403")
    page = at_work()
    with room.store.database.writing() as session:
        stations.delete(session, room.ids[BENCH])
    page.set_input_files("#take", pictures["strip 1"])
    expect(waiting(page)).to_contain_text("join again with the code")
    again = room.join("Bench 9")
    cookie = again.get_cookie("station")
    assert cookie is not None
    page.context.add_cookies([{"name": "station", "value": cookie.value, "domain": "lan.test", "path": "/"}])
    page.goto(page.url)
    expect(waiting(page)).to_have_text("No photo waits on this phone.")
    assert arrived(room) == ["strip 1.jpg"]


def test_form_works_without_scripts(at_work: OpenPage, room: Room, pictures: dict[str, Path]) -> None:
    page = at_work(java_script_enabled=False)
    page.set_input_files("#choose", [pictures["strip 1"], pictures["strip 2"]])
    page.get_by_role("button", name="Send", exact=True).click()
    expect(sent(page)).to_have_count(2)
    assert arrived(room) == ["strip 1.jpg", "strip 2.jpg"]


# --- correcting


def value(page: Page, field: str) -> float:
    return float(page.locator(f"#lane-1-1-{field}").input_value())


def mark(page: Page, field: str) -> Locator:
    return page.locator(f'.movable[data-form="lane-1-1"][data-field="{field}"]')


def stop_the_clock(page: Page) -> None:
    """The page's timers from now on run only when told: a slow machine cannot part what belongs together."""
    page.clock.install()
    page.clock.pause_at(page.evaluate("Date.now()") + 1000)


def posted(route: Route) -> bool:
    return route.request.method == "POST"


def said(page: Page, words: str) -> None:
    expect(page.locator("#said")).to_have_text(words)


def test_arrow_keys_move_a_spot_and_focus_stays(at_work: OpenPage, result: str) -> None:
    page = at_work(address=result)
    before = value(page, "spot-1")
    rf = page.locator("article.strip").first.locator("tbody tr").first.locator("td").first
    old = rf.inner_text()
    stop_the_clock(page)
    mark(page, "spot-1").focus()
    for key in ("Shift+ArrowUp", "Shift+ArrowUp", "ArrowUp", "ArrowDown", "ArrowUp"):
        page.keyboard.press(key)
    page.clock.run_for(REST_MS)
    said(page, "Saved")
    assert value(page, "spot-1") == pytest.approx(before + 2.1, abs=0.011)
    expect(rf).not_to_have_text(old)
    expect(mark(page, "spot-1")).to_be_focused()
    expect(page.locator(".history li")).to_have_count(2)
    expect(page.locator(".history li").first).to_contain_text(BENCH)


def test_what_is_moved_while_a_save_is_under_way_is_kept(at_work: OpenPage, result: str) -> None:
    page = at_work(address=result)
    before = value(page, "spot-1")
    held: list[Route] = []
    page.route(f"**{result}/**", lambda route: route.continue_() if held or not posted(route) else held.append(route))
    stop_the_clock(page)
    mark(page, "spot-1").focus()
    page.keyboard.press("Shift+ArrowUp")
    with page.expect_request(lambda sent: sent.method == "POST"):
        page.clock.run_for(REST_MS)
    page.keyboard.press("ArrowUp")
    with page.expect_event("requestfinished", lambda sent: sent.method == "POST"):
        held[0].continue_()
    page.keyboard.press("ArrowUp")
    page.clock.run_for(REST_MS)
    said(page, "Saved")
    assert value(page, "spot-1") == pytest.approx(before + 1.2, abs=0.011)
    expect(mark(page, "spot-1")).to_be_focused()


@pytest.mark.parametrize("width", WIDTHS)
def test_front_is_dragged(at_work: OpenPage, result: str, width: int) -> None:
    page = at_work(width, address=result)
    before = value(page, "front")
    handle = mark(page, "front")
    handle.scroll_into_view_if_needed()
    box = handle.locator(".hit").bounding_box()
    picture = page.locator("svg.marks").first
    scale = picture.evaluate("(p) => p.getBoundingClientRect().height / p.viewBox.baseVal.height")
    assert box
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x, y - 10, steps=4)
    page.mouse.up()
    said(page, "Saved")
    assert value(page, "front") == pytest.approx(before + 10 / scale, abs=0.3)


def test_front_is_dragged_by_a_finger(at_work: OpenPage, result: str) -> None:
    page = at_work(address=result, has_touch=True, is_mobile=True)
    before = value(page, "front")
    handle = mark(page, "front")
    handle.scroll_into_view_if_needed()
    box = handle.locator(".hit").bounding_box()
    assert box
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    devtools = page.context.new_cdp_session(page)
    for kind, step in (("touchStart", 0), ("touchMove", 6), ("touchMove", 12), ("touchEnd", None)):
        points = [] if step is None else [{"x": x, "y": y + step}]
        devtools.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})
    said(page, "Saved")
    assert value(page, "front") < before - 1


def test_steppers_work_in_place_and_keep_the_focus(at_work: OpenPage, result: str) -> None:
    page = at_work(address=result)
    page.locator("article.strip").first.get_by_text("Correct by hand").click()
    before = value(page, "origin")
    up = page.locator("article.strip").first.get_by_role("button", name="Origin: 0.5 mm up")
    up.click()
    expect(page.locator("#lane-1-1-origin")).to_have_value(f"{before + 0.5:.2f}")
    expect(up).to_be_focused()
    page.get_by_role("button", name="Take back").click()
    expect(page.locator("#lane-1-1-origin")).to_have_value(f"{before:.2f}")


def test_what_fits_nothing_is_told_in_place(at_work: OpenPage, result: str, watched: Watched) -> None:
    watched.foretell("status of 400")
    page = at_work(address=result)
    page.locator("article.strip").first.get_by_text("Correct by hand").click()
    page.locator("#lane-1-1-front").fill("1")
    page.keyboard.press("Enter")
    said(page, "Not saved")
    expect(page.locator("#result .trouble")).to_contain_text("The front must lie above the origin line.")


def test_correcting_offline_says_so(at_work: OpenPage, result: str, watched: Watched) -> None:
    watched.foretell(OFFLINE)
    page = at_work(address=result)
    page.context.set_offline(True)
    mark(page, "front").focus()
    page.keyboard.press("ArrowUp")
    expect(page.locator("#result .lost")).to_contain_text("there is no connection")
    page.context.set_offline(False)


def test_corrections_work_without_scripts(at_work: OpenPage, result: str) -> None:
    page = at_work(address=result, java_script_enabled=False)
    strip = page.locator("article.strip").first
    strip.get_by_text("Correct by hand").click()
    before = value(page, "front")
    page.locator("#lane-1-1-front").fill(f"{before - 2:.2f}")
    page.keyboard.press("Enter")
    expect(page.locator("#lane-1-1-front")).to_have_value(f"{before - 2:.2f}")
    page.get_by_role("button", name="Take back").click()
    expect(page.locator("#lane-1-1-front")).to_have_value(f"{before:.2f}")


# --- appearance


def open_all(page: Page) -> None:
    page.evaluate("document.querySelectorAll('details').forEach((d) => d.setAttribute('open', ''))")


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", WIDTHS)
def test_axe_finds_nothing(
    at_work: OpenPage, room: Room, pictures: dict[str, Path], tmp_path: Path, watched: Watched, scheme: str, width: int
) -> None:
    watched.foretell("status of 400")
    empty = tmp_path / "empty.jpg"
    empty.write_bytes(b"")
    page = at_work(width, color_scheme=scheme)
    assert axe_violations(page) == []
    page.set_input_files("#choose", [empty, pictures["no-card"], pictures["strip 1"]])
    expect(page.locator("#outbox .trouble")).to_be_visible()
    expect(sent(page).get_by_text("See the result")).to_be_visible()
    expect(sent(page).locator(".trouble")).to_be_visible()
    assert axe_violations(page) == []
    page.get_by_role("link", name="See the result").click()
    page.wait_for_url("**/results/*")  # with its scripts
    open_all(page)
    mark(page, "spot-1").focus()
    page.keyboard.press("Shift+ArrowUp")
    said(page, "Saved")
    assert axe_violations(page) == []


@pytest.mark.parametrize("scripts", [True, False])
def test_no_horizontal_scroll_at_320_px(at_work: OpenPage, result: str, scripts: bool) -> None:
    """Reflow: WCAG 2.2, 1.4.10."""
    for address in ("/work", result):
        page = at_work(320, address=address, java_script_enabled=scripts)
        if scripts:
            open_all(page)
        assert overflow(page) == 0


def test_targets_are_large_enough(at_work: OpenPage, result: str) -> None:
    for address in ("/work", result):
        page = at_work(address=address)
        open_all(page)
        page.evaluate("window.scrollTo(0, 0)")
        controls = page.locator("main :is(button, .button, input, summary, .pick):visible").all()
        boxes = [(c.evaluate("(e) => e.outerHTML.slice(0, 90)"), c.bounding_box()) for c in controls]
        small = [
            html for html, box in boxes
            if box and box["height"] < LEAST_TARGET_PX and 'class="quiet"' not in html and "radio" not in html and "checkbox" not in html
        ]  # fmt: skip
        assert small == []
