"""Encrypted by certificates of this installation's own: the real server, a strict client, a real browser."""

from __future__ import annotations

import base64
import http.client
import re
import signal
import ssl
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from flask import Flask
from playwright.sync_api import Playwright

from tests.web.conftest import QUIET_BROWSER
from tests.web.running import Running
from webcapture.errors import UsageError
from webcapture.store.authority import Papers, papers
from webcapture.web import WebConfig, create_app, serving
from webcapture.web.identity import now

PROGRAM = "from pathlib import Path; from webcapture.web.serving import Door, serve; serve(Door(port=0, https=True), Path({!r}))"


@dataclass
class Encrypted:
    """A running tool and its folder of certificates."""

    running: Running
    folder: Path

    @property
    def address(self) -> str:
        return f"https://127.0.0.1:{self.running.port}"


@pytest.fixture(scope="module")
def tool(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Encrypted]:
    data = tmp_path_factory.mktemp("encrypted")
    running = Running(PROGRAM.format(str(data)))
    yield Encrypted(running, data / "https")
    running.stop(signal.SIGTERM)


def ask(tool: Encrypted, address: str, context: ssl.SSLContext) -> http.client.HTTPResponse:
    connection = http.client.HTTPSConnection("127.0.0.1", tool.running.port, timeout=30, context=context)
    connection.request("GET", address)
    return connection.getresponse()


def test_a_device_that_trusts_the_authority_is_served(tool: Encrypted) -> None:
    """Python's client checks the chain, the name and the dates (OpenSSL)."""
    trusting = ssl.create_default_context(cafile=str(tool.folder / "authority.crt"))
    answer = ask(tool, "/", trusting)
    assert answer.status == 200
    assert b"Take a photo" in answer.read()


def test_one_that_does_not_is_warned(tool: Encrypted) -> None:
    with pytest.raises(ssl.SSLCertVerificationError):
        ask(tool, "/", ssl.create_default_context())


def test_old_protocols_are_refused(tool: Encrypted) -> None:
    """RFC 8996: TLS 1.0 and 1.1 are not used any more."""
    old = ssl.create_default_context(cafile=str(tool.folder / "authority.crt"))
    with pytest.warns(DeprecationWarning):
        old.minimum_version = ssl.TLSVersion.TLSv1
        old.maximum_version = ssl.TLSVersion.TLSv1_1
    with pytest.raises(ssl.SSLError):
        ask(tool, "/", old)


def test_the_page_offers_the_certificate_whose_fingerprint_the_terminal_shows(tool: Encrypted) -> None:
    trusting = ssl.create_default_context(cafile=str(tool.folder / "authority.crt"))
    page = ask(tool, "/help/https", trusting).read().decode()
    shown = re.search(r"(?:[0-9A-F]{2}:){31}[0-9A-F]{2}", page)
    assert shown
    assert shown[0] in tool.running.greeting
    file = ask(tool, "/help/authority.crt", trusting)
    given = x509.load_pem_x509_certificate(file.read())
    assert given.fingerprint(hashes.SHA256()).hex(":").upper() == shown[0]
    assert file.headers["Content-Type"] == "application/x-x509-ca-cert"


@pytest.mark.browser
def test_a_browser_that_trusts_it_has_what_secure_pages_have(
    tool: Encrypted, playwright: Playwright, chromium: str
) -> None:
    """The worker registers, the camera can be asked for, the cookie is Secure.

    Trust is given by the key's digest, which needs no change of the machine's own list of authorities.
    """
    found = x509.load_pem_x509_certificate((tool.folder / "server.crt").read_bytes())
    key = found.public_key().public_bytes(serialization.Encoding.DER, serialization.PublicFormat.SubjectPublicKeyInfo)
    digest = hashes.Hash(hashes.SHA256())
    digest.update(key)
    pinned = f"--ignore-certificate-errors-spki-list={base64.b64encode(digest.finalize()).decode()}"
    browser = playwright.chromium.launch(executable_path=chromium, args=[*QUIET_BROWSER, pinned])
    page = browser.new_page()
    page.goto(tool.address)
    assert page.evaluate("isSecureContext")
    assert page.evaluate("navigator.serviceWorker.ready.then((found) => found.active.scriptURL)").endswith("/sw.js")
    assert page.evaluate("typeof navigator.mediaDevices.getUserMedia") == "function"
    browser.close()


@pytest.mark.browser
def test_without_trust_the_browser_shows_its_warning_instead(
    tool: Encrypted, playwright: Playwright, chromium: str
) -> None:
    browser = playwright.chromium.launch(executable_path=chromium, args=QUIET_BROWSER)
    page = browser.new_page()
    with pytest.raises(Exception, match="ERR_CERT_AUTHORITY_INVALID"):
        page.goto(tool.address)
    browser.close()


# --- the help page


@pytest.fixture
def encrypted_app(tmp_path: Path) -> Flask:
    plain = create_app()
    with plain.app_context():
        moment = now()
    found: Papers = papers(tmp_path / "https", ["192.168.1.20"], moment)
    return create_app(WebConfig(papers=found))


def test_the_help_says_what_it_is_not_for(encrypted_app: Flask) -> None:
    page = encrypted_app.test_client().get("/help/https").text
    assert "Never ask pupils to install a certificate" in page
    assert "192.168.1.20" in page
    assert "authority.key" in page


def test_no_address_gives_a_key(encrypted_app: Flask) -> None:
    client = encrypted_app.test_client()
    assert "PRIVATE" not in client.get("/help/authority.crt").text
    for name in ("authority.key", "server.key", "server.crt"):
        assert client.get(f"/help/{name}").status_code == 404


def test_a_plain_tool_has_no_certificate_and_says_so() -> None:
    client = create_app().test_client()
    assert client.get("/help/authority.crt").status_code == 404
    assert "no certificate to install" in client.get("/help/https").text


# --- where it cannot be had


def test_where_only_waitress_runs_a_proxy_is_recommended(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setattr(serving, "can_fork", lambda: False)
    with pytest.raises(UsageError, match="cannot serve https") as caught:
        serving.serve(serving.Door(port=0, https=True), tmp_path)
    assert "proxy" in caught.value.hint


def test_without_records_there_is_no_place_for_certificates() -> None:
    with pytest.raises(UsageError, match="folder"):
        serving.serve(serving.Door(port=0, https=True), None)
