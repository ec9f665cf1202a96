"""What the terminal says: addresses, what to do next, and a code that a decoder reads."""

from __future__ import annotations

import io
import re
import socket
from pathlib import Path
from types import SimpleNamespace

import cv2
import numpy as np
import pytest

from webcapture.store.authority import Papers
from webcapture.web import addresses
from webcapture.web.greeting import HALVES, Where, greeting, qr_code, say

PHONES = "http://192.168.1.20:8000/"


@pytest.fixture
def networks(monkeypatch: pytest.MonkeyPatch) -> None:
    """Three networks: wireless, one of containers, one that is down; and the way out is the wireless one."""

    def entry(address: str, family: int = socket.AF_INET) -> SimpleNamespace:
        return SimpleNamespace(address=address, family=family)

    cards = {
        "lo": [entry("127.0.0.1")],
        "docker0": [entry("172.17.0.1")],
        "eth0": [entry("10.0.0.7"), entry("fe80::1", socket.AF_INET6), entry("169.254.3.4")],
        "eth1": [entry("10.9.9.9")],
        "wlan0": [entry("192.168.1.20")],
    }
    up = {name: SimpleNamespace(isup=name != "eth1") for name in cards}
    monkeypatch.setattr(addresses.psutil, "net_if_addrs", lambda: cards)
    monkeypatch.setattr(addresses.psutil, "net_if_stats", lambda: up)
    monkeypatch.setattr(addresses, "_address_towards", lambda target: "192.168.1.20")


@pytest.mark.usefixtures("networks")
def test_phones_are_told_every_network_that_may_hold_them_the_way_out_first() -> None:
    assert addresses.own_addresses("0.0.0.0") == ["192.168.1.20", "10.0.0.7"]
    assert addresses.own_addresses("192.168.7.7") == ["192.168.7.7"]
    assert addresses.own_addresses("127.0.0.1") == []


@pytest.mark.usefixtures("networks")
def test_it_says_where_it_is_and_what_to_do_next() -> None:
    words = greeting(Where("0.0.0.0", 8000, setup_key="abc"))
    assert words.count(PHONES) == 1
    assert "http://10.0.0.7:8000/" in words
    assert "172.17.0.1" not in words
    assert "http://127.0.0.1:8000/lead/setup?key=abc" in words
    assert words.splitlines()[-1] == "To stop it, press Ctrl+C."


@pytest.mark.usefixtures("networks")
def test_later_starts_ask_for_the_passphrase() -> None:
    words = greeting(Where("0.0.0.0", 8000))
    assert "setup" not in words
    assert "http://127.0.0.1:8000/lead and sign in" in words


def test_without_records_there_is_nothing_to_join() -> None:
    assert "join" not in greeting(Where("127.0.0.1", 8000, records=False))


@pytest.mark.parametrize(
    ("host", "address"),
    [("127.0.0.1", "http://127.0.0.1:8000/"), ("::1", "http://[::1]:8000/"), ("localhost", "http://localhost:8000/")],
)
def test_of_this_computer_only(host: str, address: str) -> None:
    words = greeting(Where(host, 8000))
    assert address in words
    assert "Phones cannot reach it" in words
    assert "--host 0.0.0.0" in words


@pytest.mark.usefixtures("networks")
def test_encrypted_it_tells_how_to_trust_it(tmp_path: Path) -> None:
    papers = Papers(tmp_path / "c", tmp_path / "k", tmp_path / "authority.crt", "AB:CD", ("localhost",), ("8.8.8.8",))
    words = greeting(Where("0.0.0.0", 8000, papers))
    assert "https://192.168.1.20:8000/" in words
    assert "http://" not in words
    assert "AB:CD" in words
    assert str(papers.authority) in words
    assert "/help/https" in words
    assert "8.8.8.8" in words


class Terminal(io.StringIO):
    """A terminal, or what is none."""

    def __init__(self, person: bool, encoding: str) -> None:
        super().__init__()
        self._person, self._encoding = person, encoding

    def isatty(self) -> bool:
        return self._person

    @property
    def encoding(self) -> str:  # type: ignore[override]
        return self._encoding


@pytest.mark.usefixtures("networks")
@pytest.mark.parametrize(
    ("person", "encoding", "kind", "shown"),
    [
        (True, "utf-8", "xterm", True),
        (False, "utf-8", "xterm", False),
        (True, "latin-1", "xterm", False),
        (True, "no-such", "xterm", False),
        (True, "utf-8", "dumb", False),
    ],
)
def test_a_code_only_where_a_person_can_see_it(
    monkeypatch: pytest.MonkeyPatch, person: bool, encoding: str, kind: str, shown: bool
) -> None:
    monkeypatch.setenv("TERM", kind)
    out = Terminal(person, encoding)
    say(Where("0.0.0.0", 8000), out)
    assert ("▀" in out.getvalue()) is shown
    assert PHONES in out.getvalue()


@pytest.mark.parametrize("address", [PHONES, "https://a-rather-long-name.of.some.school.example:8443/", "http://10.1/"])
def test_a_decoder_reads_the_code_as_it_stands_in_the_terminal(address: str) -> None:
    """Letters drawn as a terminal draws them, two squares to a letter, read by OpenCV's decoder."""
    lines = [re.sub(r"\x1b\[[\d;]*m", "", line)[2:] for line in qr_code(address).splitlines()]
    squares = {letter: pair for pair, letter in HALVES.items()}
    rows = [[squares[letter][half] for letter in line] for line in lines for half in (0, 1)]
    picture = np.kron(np.where(np.array(rows), 0, 255).astype(np.uint8), np.ones((8, 8), np.uint8))
    assert cv2.QRCodeDetector().detectAndDecode(picture)[0] == address


@pytest.mark.parametrize(
    "name", ["127.0.0.1", "192.168.77.77", "[fe80::1]", "::1", "localhost", "LOCALHOST.", "lab.example"]
)
def test_names_that_are_ours(name: str) -> None:
    assert addresses.is_ours(name, ["Lab.example"])


def test_this_computers_own_name_is_ours() -> None:
    assert addresses.is_ours(socket.gethostname(), ())
    assert addresses.is_ours(f"{socket.gethostname().split('.')[0]}.local", ())


@pytest.mark.parametrize(
    "name", ["elsewhere.example", "localhost.elsewhere.example", "192.168.1.20.example", "", "lab.example.com"]
)
def test_names_that_are_not(name: str) -> None:
    assert not addresses.is_ours(name, ["lab.example"])
