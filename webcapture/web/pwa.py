"""Installing the tool on a phone: the manifest, the worker that keeps the shell, the page shown without a network.

The worker keeps the files that pages are made of and one page, never a result, a picture or anything sent. It works only in
a secure context (Service Workers, W3C): over plain http browsers ignore all of this and the pages do without.
"""

from __future__ import annotations

import hashlib
import json
from pathlib import Path

from flask import Blueprint, Flask, Response, current_app, render_template, url_for

from webcapture.web.assets import TYPES
from webcapture.web.language import gettext as _
from webcapture.web.language import language

WORKER = "js/sw.js"
TOUCH_ICON = "img/apple-touch-icon-180.png"
PLACE = '"the shell"'
"""What stands in the worker's file where the list of the shell belongs."""

PAPER = "#f4efe2"
"""The colour behind the pages, as in the style sheet."""

ICONS = (
    ("img/icon-192.png", 192, "any"),
    ("img/icon-512.png", 512, "any"),
    ("img/icon-maskable-512.png", 512, "maskable"),
)
"""File, side in pixels, purpose (Web Application Manifest, W3C: icons)."""

pwa = Blueprint("pwa", __name__)


def init_app(app: Flask, folder: Path) -> None:
    """Serve manifest, worker and the two pages; ``folder`` holds the files that pages are made of."""
    found = [path.relative_to(folder).as_posix() for path in folder.rglob("*") if path.suffix in TYPES]
    app.extensions["shell"] = tuple(sorted(name for name in found if name != WORKER))
    app.extensions["touch_icon"] = (folder / TOUCH_ICON).read_bytes()
    app.extensions["worker"] = (folder / WORKER).read_text(encoding="utf-8")
    app.register_blueprint(pwa)


@pwa.get("/manifest.webmanifest")
def manifest() -> Response:
    """What a phone needs to put the tool among its apps."""
    icons = [
        {"src": _asset(name), "sizes": f"{side}x{side}", "type": "image/png", "purpose": purpose}
        for name, side, purpose in ICONS
    ]
    start = url_for("pages.start")
    about = {
        "id": start,
        "name": _("webcapture: paper chromatograms from a photo"),
        "short_name": "webcapture",
        "lang": language(),
        "start_url": start,
        "scope": start,
        "display": "standalone",
        "background_color": PAPER,
        "theme_color": PAPER,
        "icons": icons,
    }
    return Response(json.dumps(about), content_type="application/manifest+json")


@pwa.get("/apple-touch-icon.png")
def touch_icon() -> Response:
    """The icon of iPhones and iPads, at the address where they also look unasked (common practice, no source)."""
    return Response(current_app.extensions["touch_icon"], content_type=TYPES[".png"])


@pwa.get("/sw.js")
def worker() -> Response:
    """The worker, at the root so that it answers for every page."""
    code = current_app.extensions["worker"].replace(PLACE, json.dumps(_shell()))
    answer = Response(code, content_type=TYPES[".js"])
    answer.headers["Service-Worker-Allowed"] = "/"
    answer.headers["Cache-Control"] = "no-cache"
    return answer


@pwa.get("/offline")
def offline() -> str:
    """What stands in for a page that cannot be fetched; the same for everybody."""
    return render_template("pwa/offline.html")


@pwa.get("/help/install")
def install() -> str:
    """How to install, on each platform."""
    return render_template("pwa/install.html")


def _shell() -> dict[str, object]:
    """The addresses to keep, and the cache's name, which changes with any of their contents."""
    files = [_asset(name) for name in current_app.extensions["shell"]]
    page = url_for("pwa.offline")
    content = json.dumps(files) + offline()
    name = "shell-" + hashlib.sha256(content.encode()).hexdigest()[:16]
    return {"cache": name, "files": [*files, page], "offline": page}


def _asset(name: str) -> str:
    address: str = current_app.jinja_env.globals["asset"](name)  # type: ignore[operator]
    return address
