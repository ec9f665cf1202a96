"""The files that pages are made of, at addresses that hold the digest of their content, so that browsers may keep them.

One digest covers the whole folder: a script that imports its neighbour by a relative address then finds the neighbour that
belongs to it. All files are read once, when the application is made; no path from a request ever reaches the disk.
"""

from __future__ import annotations

import hashlib
from pathlib import Path

from flask import Blueprint, Flask, Response, abort, url_for

TYPES = {
    ".css": "text/css; charset=utf-8",
    ".js": "text/javascript; charset=utf-8",
    ".svg": "image/svg+xml",
    ".png": "image/png",
}
"""Types by ending, stated here because what a machine's own list says differs from one to the next."""


def digest(files: dict[str, bytes]) -> str:
    """A short digest of names and contents; any change of any file changes it."""
    whole = hashlib.sha256()
    for name, content in sorted(files.items()):
        whole.update(f"{name}\0{len(content)}\0".encode() + content)
    return whole.hexdigest()[:16]


def init_app(app: Flask, folder: Path, age_s: int) -> None:
    """Serve the files of ``folder`` and give templates ``asset(name)``; files of a type not in TYPES are left out."""
    paths = [path for path in folder.rglob("*") if path.suffix in TYPES]
    files = {path.relative_to(folder).as_posix(): path.read_bytes() for path in paths}
    version = digest(files)
    assets = Blueprint("assets", __name__)

    @assets.get("/static/<version_asked>/<path:name>")
    def file(version_asked: str, name: str) -> Response:
        if version_asked != version or name not in files:
            abort(404)
        answer = Response(files[name], content_type=TYPES[Path(name).suffix])
        answer.headers["Cache-Control"] = f"public, max-age={age_s}, immutable"
        return answer

    app.register_blueprint(assets)
    app.add_template_global(lambda name: url_for("assets.file", version_asked=version, name=name), "asset")
