"""The pictures of README.md, made from the demonstration itself.

``python -m tests.house.readme_pictures`` writes them into ``static/readme/``. Run it when the card, the annotated picture
or the page has changed its looks, and look at what it made.
"""

from __future__ import annotations

import io
import logging
import os
import shutil
import sys
import tempfile
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from flask import Flask
from PIL import Image, ImageOps
from playwright.sync_api import Page, sync_playwright
from werkzeug.serving import make_server

from tests.house.source import ROOT
from tests.web.room import Room
from webcapture.card.layout import card_layout
from webcapture.card.printing import card_png
from webcapture.demo import run_demo
from webcapture.store.records import LaneRole
from webcapture.web import WebConfig, create_app
from webcapture.web.identity import LEAD_COOKIE

FOLDER = ROOT / "static" / "readme"
MOST_BYTES = 150_000
PHONE = {"width": 360, "height": 760}
PHONE_SCALE = 1.5
QUALITY = 82


def main() -> None:
    """Draw, measure, serve, and keep what is to be shown."""
    FOLDER.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as folder:
        out = Path(folder)
        if run_demo(out, serve=False):
            sys.exit("The demonstration failed: no pictures.")
        keep("photo", Image.open(out / "six-vats-tray.jpg"), 620)
        for name, width in (("vat-strip", 480), ("reference-sheet", 860), ("six-vats-tray", 800)):
            keep(name, Image.open(out / "annotated" / f"{name}-annotated.jpg"), width)
        for layout in ("sheet", "tray"):
            page = Image.open(io.BytesIO(card_png(card_layout(layout, "a4"), 150)))
            keep(f"card-{layout}", ImageOps.expand(page, 3, 160), 620)
        with served(out) as address:
            photograph_pages(address, out / "vat-strip.jpg")
        with served(out, out / "records") as address:
            photograph_references(address)
        photograph_evidence(out / "class")


def keep(name: str, picture: Image.Image, width: int) -> None:
    """Write one picture, upright, at most so wide and without anything but its pixels."""
    upright = ImageOps.exif_transpose(picture)
    size = (width, round(upright.height * width / upright.width))
    small = upright.convert("RGB").resize(size, Image.Resampling.LANCZOS) if width < upright.width else upright
    small.convert("RGB").save(FOLDER / f"{name}.jpg", quality=QUALITY, optimize=True, progressive=True)
    print(f"{name}.jpg: {size[0]} × {size[1]}, {(FOLDER / f'{name}.jpg').stat().st_size / 1000:.0f} kB")


@contextmanager
def served(examples: Path, data: Path | None = None) -> Iterator[str]:
    """The web tool on a port of this machine, while this lasts."""
    with listening(create_app(WebConfig(examples=examples, data=data))) as address:
        yield address


@contextmanager
def listening(app: Flask) -> Iterator[str]:
    """An application on a port of this machine, while this lasts."""
    logging.getLogger("werkzeug").setLevel(logging.WARNING)
    server = make_server("127.0.0.1", 0, app, threaded=True)
    thread = threading.Thread(target=server.serve_forever)
    thread.start()
    try:
        yield f"http://127.0.0.1:{server.server_port}"
    finally:
        server.shutdown()
        thread.join()
        server.server_close()


@contextmanager
def phone(address: str) -> Iterator[Page]:
    """A phone that has opened that address."""
    chromium = os.environ.get("CHROMIUM") or shutil.which("chromium") or shutil.which("google-chrome")
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium, args=["--no-sandbox", "--disable-gpu"])
        page = browser.new_page(viewport=PHONE, device_scale_factor=PHONE_SCALE, has_touch=True, is_mobile=True)
        page.goto(address)
        yield page
        browser.close()


def photograph_references(address: str) -> None:
    """The demonstration's invented dyes along Rf."""
    with phone(f"{address}/references?under=salt water | workshop paper") as page:
        page.locator("img.plot").evaluate("async (img) => { await img.decode(); }")
        page.locator("figure").evaluate("(chart) => chart.scrollIntoView({ behavior: 'instant' })")
        screen("phone-references", page)


INVENTED = {
    "salt water": {"Marl red": 0.31, "Tarn blue": 0.62, "Moss green": 0.33},
    "water : ethanol 4 : 1": {"Marl red": 0.55, "Tarn blue": 0.20, "Moss green": 0.72},
}
"""Mobile phase to dyes and their Rf, with which an unknown is run beside."""


def photograph_evidence(folder: Path) -> None:
    """An invented unknown, which is Marl red, run by five stations under two mobile phases."""
    folder.mkdir()
    room = Room(folder)
    lanes = (
        *(LaneRole(n, "reference", dye) for n, dye in enumerate(INVENTED["salt water"], 1)),
        LaneRole(4, "sample", "vat 7"),
    )
    for phase, rfs in INVENTED.items():
        practical = room.practical(title=f"Vats, {phase}", phase=phase, lanes=lanes)
        for bench in range(5):
            shift = 0.004 * (bench - 2)
            seen = [(rf + shift,) for rf in (*rfs.values(), rfs["Marl red"] + 0.002)]
            room.measured(room.station(practical, f"Bench {bench + 1}")[0], *seen)
    with listening(room.app) as address, phone(address) as page:
        page.context.add_cookies([{"name": LEAD_COOKIE, "value": room.lead_token(), "url": address}])
        page.goto(f"{address}/lead/evidence/unknown?label=vat+7")
        page.locator("h1").evaluate("(title) => title.scrollIntoView({ behavior: 'instant' })")
        screen("phone-evidence", page)
    room.store.close()


def photograph_pages(address: str, photo: Path) -> None:
    """The page as a phone shows it: at the start, and the two halves of a result."""
    with phone(address) as page:
        screen("phone-start", page)
        page.set_input_files("#choose", photo)
        page.locator("figure img").evaluate("async (img) => { await img.decode(); }")
        page.locator("article.result").evaluate("(article) => article.scrollIntoView()")
        screen("phone-picture", page)
        page.locator("article.result .scroll").evaluate("(table) => table.scrollIntoView({ behavior: 'instant' })")
        screen("phone-table", page)


def screen(name: str, page: Page) -> None:
    """Keep what the phone shows now."""
    keep(name, Image.open(io.BytesIO(page.screenshot())), round(PHONE["width"] * PHONE_SCALE))


if __name__ == "__main__":
    main()
