"""Certificates of this installation's own: what they allow, that they are checked by others' code, and that nothing is overwritten."""

from __future__ import annotations

import os
import subprocess
from datetime import UTC, datetime, timedelta
from ipaddress import ip_address
from pathlib import Path

import pytest
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import ExtendedKeyUsageOID
from cryptography.x509.verification import PolicyBuilder, Store, VerificationError

from webcapture.errors import UsageError
from webcapture.store.authority import Papers, papers

NOW = datetime(2026, 9, 14, 8, tzinfo=UTC)
PLACES = ["192.168.1.20", "10.0.0.7", "bench.local", "8.8.8.8", "school.example"]
FILES = {"authority.key", "authority.crt", "server.key", "server.crt"}


@pytest.fixture
def made(tmp_path: Path) -> Papers:
    return papers(tmp_path / "https", PLACES, NOW)


def certificate(file: Path) -> x509.Certificate:
    return x509.load_pem_x509_certificate(file.read_bytes())


def verify(found: Papers, place: str, moment: datetime = NOW) -> None:
    """As a client would, by the library's verifier (RFC 5280 and the web's own rules)."""
    try:
        subject: x509.GeneralName = x509.IPAddress(ip_address(place))
    except ValueError:
        subject = x509.DNSName(place)
    builder = PolicyBuilder().store(Store([certificate(found.authority)])).time(moment)
    builder.build_server_verifier(subject).verify(certificate(found.certificate), [])


@pytest.mark.parametrize("place", ["localhost", "127.0.0.1", "::1", "192.168.1.20", "10.0.0.7", "bench.local"])
def test_a_client_accepts_it_for_every_place(made: Papers, place: str) -> None:
    verify(made, place)


@pytest.mark.parametrize("place", ["8.8.8.8", "school.example", "192.168.1.21"])
def test_and_for_no_other(made: Papers, place: str) -> None:
    with pytest.raises(VerificationError):
        verify(made, place)


def test_what_is_public_is_left_out_and_said(made: Papers) -> None:
    assert set(made.left_out) == {"8.8.8.8", "school.example"}
    assert "192.168.1.20" in made.names


def test_openssl_agrees(made: Papers) -> None:
    """Another implementation: the chain, the purpose, the name constraints, the address."""
    command = [
        "openssl",
        "verify",
        "-purpose",
        "sslserver",
        "-verify_ip",
        "192.168.1.20",
        "-attime",
        str(int(NOW.timestamp())),
    ]
    said = subprocess.run(
        [*command, "-CAfile", str(made.authority), str(made.certificate)], capture_output=True, text=True, check=False
    )
    assert said.returncode == 0, said.stderr
    elsewhere = [part.replace("192.168.1.20", "192.168.1.99") for part in command]
    assert subprocess.run(
        [*elsewhere, "-CAfile", str(made.authority), str(made.certificate)], capture_output=True, check=False
    ).returncode


@pytest.mark.parametrize(("name", "accepted"), [("bench.lan", True), ("bank.example", False), ("lan.example", False)])
def test_the_authority_may_speak_for_nothing_on_the_internet(made: Papers, name: str, accepted: bool) -> None:
    """Its own key, misused, makes nothing that a client accepts for a public name."""
    key = certificate(made.authority)
    secret = serialization.load_pem_private_key((made.authority.parent / "authority.key").read_bytes(), None)
    assert isinstance(secret, ec.EllipticCurvePrivateKey)
    forged = (
        x509.CertificateBuilder()
        .subject_name(x509.Name([]))
        .issuer_name(key.subject)
        .public_key(secret.public_key())
        .serial_number(7)
        .not_valid_before(NOW - timedelta(days=1))
        .not_valid_after(NOW + timedelta(days=30))
        .add_extension(x509.SubjectAlternativeName([x509.DNSName(name)]), critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .add_extension(x509.AuthorityKeyIdentifier.from_issuer_public_key(secret.public_key()), critical=False)
        .sign(secret, hashes.SHA256())
    )
    builder = PolicyBuilder().store(Store([key])).time(NOW)
    verifier = builder.build_server_verifier(x509.DNSName(name))
    if accepted:
        verifier.verify(forged, [])
    else:
        with pytest.raises(VerificationError):
            verifier.verify(forged, [])


def test_lasts_no_longer_than_browsers_accept(made: Papers) -> None:
    """397 days: CA/Browser Forum baseline requirements, 6.3.2 (from memory)."""
    found = certificate(made.certificate)
    assert found.not_valid_after_utc - found.not_valid_before_utc <= timedelta(days=397)
    assert found.not_valid_before_utc < NOW
    basic = certificate(made.authority).extensions.get_extension_for_class(x509.BasicConstraints)
    assert basic.critical
    assert basic.value.path_length == 0


def test_keys_are_their_owners_alone(made: Papers) -> None:
    for name in ("authority.key", "server.key"):
        assert (made.authority.parent / name).stat().st_mode & 0o077 == 0
    assert {file.name for file in made.authority.parent.iterdir()} == FILES


def contents(found: Papers) -> dict[str, bytes]:
    return {file.name: file.read_bytes() for file in found.authority.parent.iterdir()}


def test_a_later_start_keeps_what_is_there(made: Papers) -> None:
    before = contents(made)
    again = papers(made.authority.parent, PLACES, NOW + timedelta(days=200))
    assert contents(made) == before
    assert again.fingerprint == made.fingerprint


@pytest.mark.parametrize(
    ("places", "later"), [([*PLACES, "192.168.44.5"], timedelta(days=1)), (PLACES, timedelta(days=340))]
)
def test_renewed_by_the_same_authority(made: Papers, places: list[str], later: timedelta) -> None:
    """Where an address is new, or the end is near."""
    before = contents(made)
    again = papers(made.authority.parent, places, NOW + later)
    assert contents(made)["server.crt"] != before["server.crt"]
    assert contents(made)["authority.crt"] == before["authority.crt"]
    verify(again, places[-1] if "192.168.44.5" in places else "10.0.0.7", NOW + later)


def test_a_broken_server_certificate_is_made_anew(made: Papers) -> None:
    made.certificate.write_bytes(b"not a certificate")
    verify(papers(made.authority.parent, PLACES, NOW), "10.0.0.7")


@pytest.mark.parametrize("harm", ["lost", "empty", "another's", "old"])
def test_an_authority_that_cannot_be_used_is_said_and_kept(made: Papers, harm: str, tmp_path: Path) -> None:
    key, moment = made.authority.parent / "authority.key", NOW
    if harm == "lost":
        key.unlink()
    elif harm == "empty":
        key.write_bytes(b"")
    elif harm == "another's":
        other = papers(tmp_path / "other", [], NOW)
        key.write_bytes((other.authority.parent / "authority.key").read_bytes())
    else:
        moment = NOW + timedelta(days=1820)
    before = contents(made)
    with pytest.raises(UsageError) as caught:
        papers(made.authority.parent, PLACES, moment)
    assert "backup" in caught.value.hint
    assert contents(made) == before


def test_two_installations_have_different_authorities(made: Papers, tmp_path: Path) -> None:
    assert papers(tmp_path / "other", PLACES, NOW).fingerprint != made.fingerprint


@pytest.mark.skipif(os.name != "posix", reason="the umask is a thing of UNIX")
def test_a_generous_umask_opens_nothing(tmp_path: Path) -> None:
    before = os.umask(0)
    try:
        found = papers(tmp_path / "https", [], NOW)
    finally:
        os.umask(before)
    assert (found.authority.parent / "authority.key").stat().st_mode & 0o077 == 0
    assert found.authority.parent.stat().st_mode & 0o077 == 0
