"""https without a domain: a certificate authority of this installation's own, and a certificate for this computer.

For the devices of whoever runs the tool, on which that person has installed the authority's certificate; never for pupils' phones. The
authority may speak for private addresses and local names only (RFC 5280, 4.2.1.10), so that its key, should it get lost, opens nothing on the
internet. Keys are readable by their owner alone. What is there is kept: a new authority would have to be installed anew on every device.
"""

from __future__ import annotations

import os
import socket
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from ipaddress import ip_address, ip_network
from pathlib import Path

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

from webcapture.errors import UsageError

AUTHORITY_DAYS = 1825
LEAF_DAYS = 365
"""Browsers refuse certificates of more than 398 days (CA/Browser Forum, ballot SC-031; from memory)."""
RENEWED_DAYS = 30
"""A certificate with less time left is made anew at the next start."""
EARLY = timedelta(hours=24)
"""Certificates begin so long ago: clocks of phones differ."""
NETWORKS = tuple(
    ip_network(net)
    for net in (
        *("10.0.0.0/8", "172.16.0.0/12", "192.168.0.0/16", "169.254.0.0/16", "127.0.0.0/8"),
        *("fc00::/7", "fe80::/10", "::1/128"),
    )
)
"""Private, link-local and loopback addresses (RFC 1918, 3927, 4193, 4291)."""
DOMAINS = ("localhost", "local", "lan", "internal", "home.arpa")
"""Names that lead nowhere outside (RFC 6761, 6762, 8375)."""
Key = ec.EllipticCurvePrivateKey


@dataclass(frozen=True, slots=True)
class Papers:
    """What a server needs for https, and what a device needs to trust it."""

    certificate: Path
    """The server's, PEM."""
    key: Path
    """Its private key, PEM."""
    authority: Path
    """The authority's certificate, PEM: the file to install on one's own devices."""
    fingerprint: str
    """SHA-256 of that certificate, in pairs, to compare by eye."""
    names: tuple[str, ...]
    """Addresses and names for which the certificate holds."""
    left_out: tuple[str, ...]
    """Those for which it cannot: public ones."""


def papers(folder: Path, places: Iterable[str], moment: datetime) -> Papers:
    """The certificates in ``folder``, made where there are none, renewed where they end soon or hold for other places.

    places: addresses and names of this computer. Raises UsageError where what is there cannot be used: nothing is overwritten then.
    """
    folder.mkdir(parents=True, exist_ok=True, mode=0o700)
    authority_key, authority = _authority(folder, moment)
    wanted = dict.fromkeys(["localhost", "127.0.0.1", "::1", *(place.lower() for place in places)])
    allowed = _names_allowed(authority)
    names = tuple(place for place in wanted if _may_speak_for(place, allowed))
    if not _still_good(folder, authority, names, moment):
        _write_leaf(folder, authority_key, authority, names, moment)
    return Papers(
        certificate=folder / "server.crt",
        key=folder / "server.key",
        authority=folder / "authority.crt",
        fingerprint=_in_pairs(authority.fingerprint(hashes.SHA256())),
        names=names,
        left_out=tuple(place for place in wanted if place not in names),
    )


def _in_pairs(digest: bytes) -> str:
    return digest.hex(":").upper()


# --- the authority


def _authority(folder: Path, moment: datetime) -> tuple[Key, x509.Certificate]:
    key_file, file = folder / "authority.key", folder / "authority.crt"
    if not key_file.exists() and not file.exists():
        _write_authority(folder, moment)
    try:
        key = _read_key(key_file)
        found = x509.load_pem_x509_certificate(file.read_bytes())
    except (OSError, ValueError, TypeError) as error:
        raise _unusable(folder, "cannot be read") from error
    if found.public_key() != key.public_key():
        raise _unusable(folder, "do not belong together")
    if found.not_valid_after_utc < moment + timedelta(days=RENEWED_DAYS):
        raise _unusable(folder, "are no longer valid, or not for long")
    return key, found


def _unusable(folder: Path, why: str) -> UsageError:
    return UsageError(
        f"The certificate authority in “{folder}” cannot be used: its two files {why}.",
        "Put them back from a backup; or move them away: a new authority is then made, and has to be installed anew on each device.",
    )


def _write_authority(folder: Path, moment: datetime) -> None:
    key = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, f"webcapture on {_computer()}, made {moment:%Y-%m-%d}")])
    made = (
        _begun(name, name, key.public_key(), moment, AUTHORITY_DAYS)
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .add_extension(_usage(key_cert_sign=True, crl_sign=True), critical=True)
        .add_extension(_constraints(), critical=True)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
        .sign(key, hashes.SHA256())
    )
    _write(folder / "authority.key", _pem(key), secret=True)
    _write(folder / "authority.crt", made.public_bytes(serialization.Encoding.PEM))


def _constraints() -> x509.NameConstraints:
    names = [x509.DNSName(domain) for domain in (*DOMAINS, _computer())]
    return x509.NameConstraints([*names, *(x509.IPAddress(net) for net in NETWORKS)], None)


def _computer() -> str:
    return socket.gethostname().split(".")[0].lower() or "localhost"


# --- the server's certificate


def _names_allowed(authority: x509.Certificate) -> list[str]:
    """The domains for which an authority may speak."""
    constraints = authority.extensions.get_extension_for_class(x509.NameConstraints).value
    return [name.value for name in constraints.permitted_subtrees or () if isinstance(name, x509.DNSName)]


def _may_speak_for(place: str, domains: Iterable[str]) -> bool:
    try:
        address = ip_address(place)
    except ValueError:
        return any(place == domain or place.endswith(f".{domain}") for domain in domains)
    return any(address in net for net in NETWORKS if net.version == address.version)


def _still_good(folder: Path, authority: x509.Certificate, names: tuple[str, ...], moment: datetime) -> bool:
    """Whether the certificate that is there still does."""
    try:
        key = _read_key(folder / "server.key")
        found = x509.load_pem_x509_certificate((folder / "server.crt").read_bytes())
        found.verify_directly_issued_by(authority)
    except Exception:  # whatever is wrong with it, it can be made anew
        return False
    fits = found.public_key() == key.public_key() and _names_of(found) >= set(names)
    return fits and found.not_valid_after_utc > moment + timedelta(days=RENEWED_DAYS)


def _names_of(certificate: x509.Certificate) -> set[str]:
    names = certificate.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    return {*names.get_values_for_type(x509.DNSName), *map(str, names.get_values_for_type(x509.IPAddress))}


def _write_leaf(
    folder: Path, authority_key: Key, authority: x509.Certificate, names: tuple[str, ...], moment: datetime
) -> None:
    key = ec.generate_private_key(ec.SECP256R1())
    subject = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "webcapture")])
    days = min(LEAF_DAYS, (authority.not_valid_after_utc - moment).days)
    made = (
        _begun(subject, authority.subject, key.public_key(), moment, days)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(_usage(digital_signature=True), critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .add_extension(x509.SubjectAlternativeName([_general(name) for name in names]), critical=False)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
        .add_extension(x509.AuthorityKeyIdentifier.from_issuer_public_key(authority_key.public_key()), critical=False)
        .sign(authority_key, hashes.SHA256())
    )
    _write(folder / "server.key", _pem(key), secret=True)
    _write(folder / "server.crt", made.public_bytes(serialization.Encoding.PEM))


def _general(name: str) -> x509.GeneralName:
    try:
        return x509.IPAddress(ip_address(name))
    except ValueError:
        return x509.DNSName(name)


def _begun(
    subject: x509.Name, issuer: x509.Name, key: ec.EllipticCurvePublicKey, moment: datetime, days: int
) -> x509.CertificateBuilder:
    return (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(issuer)
        .public_key(key)
        .serial_number(x509.random_serial_number())
        .not_valid_before(moment.astimezone(UTC) - EARLY)
        .not_valid_after(moment.astimezone(UTC) + timedelta(days=days))
    )


def _usage(**given: bool) -> x509.KeyUsage:
    all_of_them = (
        *("digital_signature", "content_commitment", "key_encipherment", "data_encipherment", "key_agreement"),
        *("key_cert_sign", "crl_sign", "encipher_only", "decipher_only"),
    )
    return x509.KeyUsage(**{name: given.get(name, False) for name in all_of_them})


# --- files


def _read_key(file: Path) -> Key:
    key = serialization.load_pem_private_key(file.read_bytes(), None)
    if not isinstance(key, ec.EllipticCurvePrivateKey):
        raise TypeError("not a key of ours")
    return key


def _pem(key: Key) -> bytes:
    return key.private_bytes(
        serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
    )


def _write(file: Path, data: bytes, secret: bool = False) -> None:
    """Whole or not at all; a secret is never readable by others, not even for a moment."""
    part = file.with_suffix(f"{file.suffix}.part")
    part.unlink(missing_ok=True)
    handle = os.open(part, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600 if secret else 0o644)
    with os.fdopen(handle, "wb") as out:
        out.write(data)
        out.flush()
        os.fsync(out.fileno())
    part.replace(file)
