"""What every answer carries, and who may send a photo.

The pages use nothing from elsewhere and hold no script or style inside, so the policy needs neither nonces nor exceptions.
"""

from __future__ import annotations

from functools import partial
from urllib.parse import urlsplit

from flask import Flask, Response, abort, request

from webcapture.web.addresses import is_ours

POLICY = "; ".join(
    (
        "default-src 'none'",
        "script-src 'self'",
        "style-src 'self'",
        "img-src 'self' blob:",
        "connect-src 'self'",
        "worker-src 'self'",
        "manifest-src 'self'",
        "form-action 'self'",
        "base-uri 'none'",
        "frame-ancestors 'none'",
    )
)

HEADERS = {
    "Content-Security-Policy": POLICY,
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    # Not no-referrer: with it a browser says "Origin: null" when a form is sent without JavaScript, and over plain http
    # that header is all there is to tell our own form from a foreign one. Either way nothing is told to other sites.
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(self), geolocation=(), microphone=()",
}
"""Names and values set on every answer. The policies follow the OWASP secure headers project, see DEVELOPERS.md."""

SAFE_METHODS = frozenset({"GET", "HEAD", "OPTIONS"})


def init_app(app: Flask, trusted_hosts: tuple[str, ...] | None) -> None:
    """Refuse foreign names and forms before anything is read, and put the headers on every answer."""
    if trusted_hosts is not None:
        app.before_request(partial(_refuse_other_names, trusted_hosts))
    app.before_request(_refuse_foreign)
    app.after_request(_add_headers)


def same_origin(fetch_site: str | None, origin: str | None, host: str) -> bool:
    """Whether a request that changes something comes from our own page, or from a program that is no browser.

    Browsers send ``Sec-Fetch-Site`` where the page is trusted (https, localhost) and ``Origin`` with every form. A client
    that sends neither is no browser and cannot be made to send anything by a foreign page.

    >>> same_origin(None, "http://192.168.1.20:8000", "192.168.1.20:8000")
    True
    >>> same_origin(None, "http://elsewhere.example", "192.168.1.20:8000")
    False
    """
    if fetch_site is not None:
        return fetch_site in {"same-origin", "none"}
    return origin is None or _host_of(origin) == host.lower()


def _host_of(origin: str) -> str | None:
    try:
        return urlsplit(origin).netloc.lower() or None
    except ValueError:
        return None


def _refuse_other_names(trusted: tuple[str, ...]) -> None:
    if not is_ours(urlsplit(f"//{request.host}").hostname or "", trusted):
        abort(421)


def _refuse_foreign() -> None:
    given = request.headers
    if request.method not in SAFE_METHODS and not same_origin(
        given.get("Sec-Fetch-Site"), given.get("Origin"), request.host
    ):
        abort(403)


def _add_headers(answer: Response) -> Response:
    for name, value in HEADERS.items():
        answer.headers[name] = value
    if "Cache-Control" not in answer.headers:
        # Not no-store: going back to a page must find its results, which are kept nowhere else.
        answer.headers["Cache-Control"] = "private, no-cache"
    return answer
