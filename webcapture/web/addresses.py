"""Under which addresses and names this computer is reached, and which of them a request may use.

A phone is told an address; a page elsewhere could make a browser ask us under a name of its own choosing (DNS rebinding), and read
the answers as its own. So a request under a name that is not ours is refused. An address in figures cannot be used in that way, and
which ones this computer has may change while the tool runs: they all pass.
"""

from __future__ import annotations

import socket
from collections.abc import Iterable
from ipaddress import ip_address

import psutil

ANYWHERE = ("", "0.0.0.0", "::")
ROUTE_PROBE = ("192.0.2.1", 9)
"""An address set aside for documentation (RFC 5737). Nothing is sent to it; asking for the way there names our own address."""
BETWEEN_PROGRAMS = ("br-", "docker", "lo", "vboxnet", "veth", "virbr", "vmnet")
"""Beginnings of the names of networks inside a computer, where no phone is."""


def own_addresses(host: str) -> list[str]:
    """IPv4 addresses under which phones reach a tool that listens on ``host``, the likeliest first; empty for this computer only."""
    if host not in ANYWHERE:
        return [] if is_loopback(host) else [host]
    found = [_address_towards(ROUTE_PROBE), *_addresses_of_networks()]
    return [a for a in dict.fromkeys(found) if a and not is_loopback(a)]


def is_loopback(host: str) -> bool:
    """Whether only this computer reaches that address."""
    try:
        return ip_address(host).is_loopback
    except ValueError:
        return host == "localhost"


def is_ours(name: str, others: Iterable[str]) -> bool:
    """Whether a request may ask for that host name: an address in figures, this computer's own name, or one of ``others``.

    >>> is_ours("192.168.1.20", ()), is_ours("elsewhere.example", ()), is_ours("lab.example", ["lab.example"])
    (True, False, True)
    """
    name = name.lower().rstrip(".").strip("[]")
    try:
        ip_address(name)
    except ValueError:
        return name in own_names() or name in {other.lower() for other in others}
    return True


def own_names() -> frozenset[str]:
    """This computer's names in small letters: as it calls itself, as its neighbours see it (mDNS, RFC 6762), and localhost."""
    name = socket.gethostname().lower()
    short = name.split(".")[0]
    return frozenset({"localhost", name, short, f"{short}.local"})


def url(host: str, port: int, scheme: str = "http") -> str:
    """The address of the start page.

    >>> url("::1", 8000), url("192.168.1.20", 443, "https")
    ('http://[::1]:8000/', 'https://192.168.1.20/')
    """
    place = f"[{host}]" if ":" in host else host
    usual = {"http": 80, "https": 443}[scheme]
    return f"{scheme}://{place}/" if port == usual else f"{scheme}://{place}:{port}/"


def _address_towards(target: tuple[str, int]) -> str:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(target)
        except OSError:
            return ""
        return str(probe.getsockname()[0])


def _addresses_of_networks() -> list[str]:
    """Of every network that is up and may hold phones."""
    running = {name for name, state in psutil.net_if_stats().items() if state.isup}
    return [
        entry.address
        for name, entries in psutil.net_if_addrs().items()
        if name in running and not name.startswith(BETWEEN_PROGRAMS)
        for entry in entries
        if entry.family == socket.AF_INET and not ip_address(entry.address).is_link_local
    ]
