"""The page in a real browser, as a phone and as a desktop see it, over an address that is trusted no more than a classroom's.

The fixtures check at the end of each test that nothing complained and that no other host was asked for anything.
Accessibility is checked with axe-core (Deque Systems), as shipped in the package axe-playwright-python.
"""

from __future__ import annotations

import threading
from importlib.resources import files
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Page, expect

from tests.web.conftest import Bench, OpenPage, Watched, jpeg
from webcapture.errors import NoCard, TooLarge
from webcapture.web.errors import TROUBLES

pytestmark = pytest.mark.browser

WIDTHS = [360, 1280]
LEAST_TARGET_PX = 44
OFFLINE, REFUSED = "ERR_INTERNET_DISCONNECTED", "status of 4"
"""What the browser itself logs of each request that fails for want of a network, and of each answer from 400 to 499."""


@pytest.fixture
def photos(tmp_path: Path) -> dict[str, Path]:
    """Photos by what their measurement gives."""
    names = {"good": "strip 1.jpg", "no-card": "no-card.jpg", "no-front": "no-front.jpg", "crash": "crash.jpg"}
    paths = {key: tmp_path / name for key, name in names.items()}
    for path in paths.values():
        path.write_bytes(jpeg())
    return paths


def results(page: Page) -> Any:
    """The finished results."""
    return page.locator("#results article:not(.job)")


def overflow(page: Page) -> int:
    """By how many pixels the page is wider than its window."""
    return int(page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth"))


def axe_violations(page: Page) -> list[str]:
    """What axe-core finds, best practices included."""
    page.evaluate(files("axe_playwright_python").joinpath("axe.min.js").read_text())
    found = page.evaluate("() => axe.run(document)")
    assert found["passes"], "axe did not run"
    return [f"{v['id']}: {v['help']} {[n['html'] for n in v['nodes']]}" for v in found["violations"]]


def test_page_is_as_untrusted_as_on_a_classrooms_network(open_page: OpenPage) -> None:
    page = open_page()
    assert page.evaluate("window.isSecureContext") is False


@pytest.mark.parametrize("width", WIDTHS)
def test_photo_becomes_picture_table_and_advice(open_page: OpenPage, photos: dict[str, Path], width: int) -> None:
    page = open_page(width)
    page.set_input_files("#choose", photos["good"])
    result = results(page).first
    expect(result.locator("h2")).to_have_text("strip 1.jpg")
    expect(result.locator("tbody tr")).to_have_count(4)
    expect(result.locator("tbody tr").nth(1)).to_contain_text("0.45 ± 0.01")
    expect(result).to_contain_text("Spot 2.2: This spot ran with the solvent front.")
    picture = result.locator("figure img")
    expect(picture).to_be_visible()
    assert picture.evaluate("async (img) => { await img.decode(); return img.naturalWidth; }") == 1050
    expect(page.get_by_role("status")).to_have_text("strip 1.jpg: 4 spots on 1 strip.")
    assert overflow(page) == 0


def test_patch_has_the_spots_colour(open_page: OpenPage, photos: dict[str, Path]) -> None:
    page = open_page()
    page.set_input_files("#choose", photos["good"])
    patch = results(page).locator("tbody tr").nth(1).locator(".patch rect")
    assert patch.evaluate("(r) => getComputedStyle(r).fill") == "rgb(47, 127, 160)"


def test_camera_control_measures_too(open_page: OpenPage, photos: dict[str, Path], bench: Bench) -> None:
    page = open_page()
    expect(page.get_by_label("Take a photo")).to_have_attribute("capture", "environment")
    page.set_input_files("#take", photos["good"])
    expect(results(page)).to_have_count(1)
    assert bench.seen == [("strip 1.jpg", len(jpeg()))]


def test_picture_opens_in_full(open_page: OpenPage, photos: dict[str, Path]) -> None:
    page = open_page()
    page.set_input_files("#choose", photos["good"])
    with page.context.expect_page() as opened:
        results(page).get_by_role("link", name="Open the picture in full").click()
    opened.value.wait_for_load_state()
    assert opened.value.evaluate("document.images[0].naturalWidth") == 1050


def test_several_photos_are_sent_one_by_one_and_stand_in_order(
    open_page: OpenPage, photos: dict[str, Path], bench: Bench
) -> None:
    page = open_page()
    page.set_input_files("#choose", [photos["good"], photos["no-card"], photos["no-front"]])
    expect(results(page)).to_have_count(3)
    assert results(page).locator("h2").all_inner_texts() == ["strip 1.jpg", "no-card.jpg", "no-front.jpg"]
    assert [name for name, _ in bench.seen] == ["strip 1.jpg", "no-card.jpg", "no-front.jpg"]
    page.set_input_files("#take", photos["good"])
    expect(results(page)).to_have_count(4)
    assert results(page).first.locator("h2").inner_text() == "strip 1.jpg"


def test_states_are_shown_and_announced(open_page: OpenPage, photos: dict[str, Path], bench: Bench) -> None:
    bench.hold = threading.Event()
    page = open_page()
    page.set_input_files("#choose", [photos["good"], photos["no-card"]])
    jobs = page.locator("article.job")
    expect(jobs.nth(0).locator(".state")).to_have_text("Measuring")
    expect(jobs.nth(0).get_by_role("progressbar")).to_be_visible()
    expect(jobs.nth(1).locator(".state")).to_have_text("Waiting")
    expect(page.get_by_role("status")).to_have_text("strip 1.jpg: measuring")
    bench.hold.set()
    expect(results(page)).to_have_count(2)


def slow_upload(page: Page, box: str, control: str, tmp_path: Path) -> None:
    """3 MB over a line of 1 MB/s, with what the progress bar in ``box`` shows kept in the page's own ``shares``."""
    devtools = page.context.new_cdp_session(page)
    devtools.send("Network.enable")
    slow = {"offline": False, "latency": 20, "downloadThroughput": 1_000_000, "uploadThroughput": 1_000_000}
    devtools.send("Network.emulateNetworkConditions", slow)
    page.evaluate(
        """(box) => {
            window.shares = [];
            new MutationObserver(() => {
                const bar = document.querySelector(`#${box} progress[value]`);
                if (bar) window.shares.push(bar.value);
            }).observe(document.getElementById(box), { subtree: true, attributes: true, childList: true });
        }""",
        box,
    )
    large = tmp_path / "large.jpg"
    large.write_bytes(jpeg() + b"\0" * 3_000_000)
    page.set_input_files(control, large)


def test_upload_progress_is_shown(open_page: OpenPage, tmp_path: Path) -> None:
    """The share sent has to pass through values between nothing and all."""
    page = open_page()
    slow_upload(page, "results", "#choose", tmp_path)
    expect(results(page)).to_have_count(1)
    shares = page.evaluate("window.shares")
    assert any(0.05 < share < 0.95 for share in shares)
    assert shares == sorted(shares)


@pytest.mark.parametrize("width", WIDTHS)
def test_error_shows_the_remedy(open_page: OpenPage, photos: dict[str, Path], width: int) -> None:
    page = open_page(width)
    page.set_input_files("#choose", photos["no-card"])
    trouble = results(page).locator(".trouble")
    expect(trouble).to_contain_text("Seen: no-card.")
    expect(trouble).to_contain_text(NoCard.default_hint)
    expect(page.get_by_role("status")).to_contain_text("no-card.jpg: not measured.")
    assert overflow(page) == 0


def test_failure_inside_spoils_one_photo_only(open_page: OpenPage, photos: dict[str, Path]) -> None:
    page = open_page()
    page.set_input_files("#choose", [photos["crash"], photos["good"]])
    expect(results(page)).to_have_count(2)
    expect(results(page).nth(0)).to_contain_text(TROUBLES[500].hint)
    expect(results(page).nth(1)).to_contain_text("4 spots")


def test_lost_connection_can_be_tried_again(open_page: OpenPage, photos: dict[str, Path], watched: Watched) -> None:
    watched.foretell(OFFLINE)
    page = open_page()
    page.context.set_offline(True)
    page.set_input_files("#choose", photos["good"])
    expect(results(page).locator(".trouble")).to_contain_text("The photo did not get through.")
    page.context.set_offline(False)
    page.get_by_role("button", name="Try again").click()
    expect(results(page).locator("tbody tr")).to_have_count(4)


def test_far_too_large_a_file_is_refused_before_it_is_sent(open_page: OpenPage, tmp_path: Path, bench: Bench) -> None:
    page = open_page()
    huge = tmp_path / "huge.jpg"
    with huge.open("wb") as file:
        file.truncate(70_000_000)
    page.set_input_files("#choose", huge)
    expect(results(page).locator(".trouble")).to_contain_text(TooLarge.default_hint)
    assert bench.seen == []


def test_example_is_measured_in_place(open_page: OpenPage) -> None:
    page = open_page()
    page.get_by_role("button", name="Leaf dyes").click()
    expect(results(page).locator("h2")).to_have_text("leaf-dyes.jpg")
    expect(results(page).locator("tbody tr")).to_have_count(4)
    assert page.url.endswith("/")


def test_card_is_downloaded(open_page: OpenPage) -> None:
    page = open_page()
    with page.expect_download() as download:
        page.get_by_role("link", name="Tray, A4 (PDF)").click()
    assert download.value.suggested_filename == "card-tray-a4.pdf"
    assert download.value.path().read_bytes().startswith(b"%PDF-")


@pytest.mark.parametrize("width", WIDTHS)
def test_everything_works_without_scripts(open_page: OpenPage, photos: dict[str, Path], width: int) -> None:
    page = open_page(width, java_script_enabled=False)
    page.set_input_files("#choose", [photos["good"], photos["no-card"]])
    page.get_by_role("button", name="Measure", exact=True).click()
    expect(results(page)).to_have_count(2)
    expect(results(page).nth(0).locator("tbody tr")).to_have_count(4)
    expect(results(page).nth(0).locator("figure img")).to_be_visible()
    expect(results(page).nth(1)).to_contain_text(NoCard.default_hint)
    page.get_by_role("button", name="Leaf dyes").click()
    expect(results(page).locator("h2")).to_have_text("leaf-dyes.jpg")


def test_empty_form_without_scripts_says_what_to_do(open_page: OpenPage, watched: Watched) -> None:
    watched.foretell("status of 400")
    page = open_page(java_script_enabled=False)
    page.get_by_role("button", name="Measure", exact=True).click()
    expect(page.locator(".trouble")).to_contain_text("No photo was chosen.")
    expect(page.get_by_role("link", name="Go to the start page")).to_be_visible()


def focused(page: Page) -> str:
    return str(page.evaluate("(document.activeElement.innerText || document.activeElement.id).trim()"))


def tab_to(page: Page, what: str) -> None:
    """Press Tab until the focus is on ``what``, as a person without a mouse does."""
    for _ in range(40):
        page.keyboard.press("Tab")
        if focused(page) == what:
            return
    pytest.fail(f"Tab never reaches {what}")


def test_keyboard_alone_is_enough(open_page: OpenPage, photos: dict[str, Path]) -> None:
    page = open_page(1280)
    # Listened for from now on: turned on with the key press, it can come too late.
    page.on("filechooser", lambda _: None)
    page.keyboard.press("Tab")
    assert focused(page) == "Skip to the content"
    page.keyboard.press("Enter")
    expect(page.locator("main")).to_be_focused()
    tab_to(page, "choose")
    with page.expect_file_chooser() as chooser:
        page.keyboard.press("Space")
    chooser.value.set_files(photos["good"])
    expect(results(page)).to_have_count(1)
    tab_to(page, "Open the picture in full")
    with page.context.expect_page() as opened:
        page.keyboard.press("Enter")
    opened.value.close()
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.getAttribute('aria-label')") == "Spots, strip 1.jpg"
    tab_to(page, "Leaf dyes")
    page.keyboard.press("Enter")
    expect(results(page)).to_have_count(2)


@pytest.mark.parametrize("what", ["take", "choose", "Sheet, A4 (PDF)", "Leaf dyes"])
def test_focus_is_visible(open_page: OpenPage, what: str) -> None:
    page = open_page()
    tab_to(page, what)
    style = "(e) => { const s = getComputedStyle(e); return [s.outlineStyle, parseFloat(s.outlineWidth)]; }"
    shown = page.evaluate_handle("document.activeElement.closest('.pick') || document.activeElement")
    assert shown.evaluate(style) == ["solid", 3]


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", WIDTHS)
def test_axe_finds_nothing(open_page: OpenPage, photos: dict[str, Path], scheme: str, width: int) -> None:
    page = open_page(width, color_scheme=scheme)
    assert axe_violations(page) == []
    page.set_input_files("#choose", [photos["good"], photos["no-card"], photos["no-front"]])
    expect(results(page)).to_have_count(3)
    assert axe_violations(page) == []


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing_on_error_pages(open_page: OpenPage, watched: Watched, scheme: str) -> None:
    watched.foretell("status of 404")
    page = open_page(address="/nothing-here", color_scheme=scheme)
    assert axe_violations(page) == []


def test_axe_would_find_something(open_page: OpenPage) -> None:
    """The check itself: a page made worse on purpose is found out."""
    page = open_page()
    page.evaluate("document.querySelector('main').append(document.createElement('img'))")
    assert any(found.startswith("image-alt") for found in axe_violations(page))


@pytest.mark.parametrize("scripts", [True, False])
def test_nothing_is_cut_off_at_320_px(open_page: OpenPage, photos: dict[str, Path], scripts: bool) -> None:
    """WCAG 2.2, 1.4.10: no scrolling in two directions at a width of 320 px; tables may scroll by themselves."""
    page = open_page(320, java_script_enabled=scripts)
    page.set_input_files("#choose", [photos["good"], photos["no-card"]])
    if not scripts:
        page.get_by_role("button", name="Measure", exact=True).click()
    expect(results(page)).to_have_count(2)
    widest = max(page.locator(tag).last.bounding_box()["width"] for tag in ("main", "article", "footer"))
    assert widest <= 320
    if scripts:
        assert overflow(page) == 0


@pytest.mark.parametrize("scripts", [True, False])
def test_targets_are_large_enough_for_a_thumb(open_page: OpenPage, photos: dict[str, Path], scripts: bool) -> None:
    page = open_page(java_script_enabled=scripts)
    page.set_input_files("#choose", photos["good"])
    if not scripts:
        page.get_by_role("button", name="Measure", exact=True).click()
    expect(results(page)).to_have_count(1)
    targets = page.locator("a:not(.skip), button, input").all()
    small = [
        t.evaluate("e => e.outerHTML")
        for t in targets
        if t.is_visible() and t.bounding_box()["height"] < LEAST_TARGET_PX
    ]
    assert small == []
    assert len(targets) > 8


def test_motion_is_left_out_where_it_is_unwanted(open_page: OpenPage) -> None:
    calm = open_page(reduced_motion="reduce")
    assert calm.evaluate("getComputedStyle(document.documentElement).scrollBehavior") == "auto"
    assert calm.locator(".button").first.evaluate("e => getComputedStyle(e).transitionDuration") == "0s"


def test_print_shows_the_results_and_not_the_controls(open_page: OpenPage, photos: dict[str, Path]) -> None:
    page = open_page()
    page.set_input_files("#choose", photos["good"])
    expect(results(page)).to_have_count(1)
    page.emulate_media(media="print")
    expect(page.locator("#capture")).to_be_hidden()
    expect(page.get_by_role("link", name="Sheet, A4 (PDF)")).to_be_hidden()
    expect(results(page).locator("table")).to_be_visible()
    expect(page.get_by_text("Your local rules")).to_be_visible()
