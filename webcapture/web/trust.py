"""https with this installation's own certificates: what that is for, how a device is told to trust it, and the file it needs."""

from __future__ import annotations

from flask import Blueprint, Response, abort, current_app, render_template

from webcapture.store.authority import Papers

trust = Blueprint("trust", __name__, url_prefix="/help")

CERTIFICATE = "application/x-x509-ca-cert"
"""At which phones offer to install it (common practice, no source)."""


@trust.get("/https")
def help_page() -> str:
    """Three ways to run the tool, and how to trust this one on one's own devices."""
    return render_template("pwa/https.html", papers=_papers())


@trust.get("/authority.crt")
def authority() -> Response:
    """The certificate of this installation's authority; never its key. 404 where there is none."""
    papers = _papers()
    if papers is None:
        abort(404)
    answer = Response(papers.authority.read_bytes(), mimetype=CERTIFICATE)
    answer.headers["Content-Disposition"] = 'attachment; filename="webcapture-authority.crt"'
    return answer


def _papers() -> Papers | None:
    found: Papers | None = current_app.extensions["papers"]
    return found
