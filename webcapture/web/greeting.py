"""What the terminal says once the tool is running: where it is, and what to do next."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from typing import TextIO

import segno

from webcapture.store.authority import Papers
from webcapture.web.addresses import ANYWHERE, own_addresses, url

QUIET = 2
"""White modules around a code in the terminal; the four of ISO/IEC 18004 cost lines, and phones read it with two (tried with a decoder)."""
DARK_ON_LIGHT = "\x1b[38;5;16;48;5;231m"
"""Black on white whatever the terminal's own colours are (ECMA-48, 256 colours)."""
PLAIN = "\x1b[0m"
HALVES = {(False, False): " ", (True, False): "▀", (False, True): "▄", (True, True): "█"}
"""Two modules, one above the other, in one letter."""


@dataclass(frozen=True, slots=True)
class Where:
    """A running tool, as its terminal tells of it."""

    host: str
    port: int
    papers: Papers | None = None
    """Its certificates where it is encrypted."""
    records: bool = True
    """Whether it keeps records: without them there is nothing to join."""
    setup_key: str | None = None
    """Given while the lead has no passphrase yet."""

    @property
    def here(self) -> str:
        """Its address on this computer."""
        return url("127.0.0.1" if self.host in ANYWHERE else self.host, self.port, self.scheme)

    @property
    def scheme(self) -> str:
        """Of its addresses."""
        return "https" if self.papers else "http"

    @property
    def for_phones(self) -> list[str]:
        """Its addresses in the network, the likeliest first."""
        return [url(address, self.port, self.scheme) for address in own_addresses(self.host)]


def say(where: Where, out: TextIO | None = None) -> None:
    """Print the greeting, and where the terminal can show one, a QR code of the first address for phones."""
    out = out or sys.stdout
    code = qr_code(where.for_phones[0]) if where.for_phones and _shows_codes(out) else ""
    print(greeting(where, code), file=out, flush=True)


def greeting(where: Where, code: str = "") -> str:
    """The words; ``code`` is the QR code to put between them."""
    parts = [_places(where), _code(where, code), _next_steps(where), _encrypted(where)]
    return "\n".join([line for part in parts for line in part] + ["To stop it, press Ctrl+C."])


def _places(where: Where) -> Iterator[str]:
    yield "The tool is running."
    yield f"  On this computer:              {where.here}"
    for n, address in enumerate(where.for_phones):
        yield f"  {'On phones in the same network:' if n == 0 else '':31}{address}"
    if not where.for_phones:
        yield "  Phones cannot reach it. To let them, start it with  --host 0.0.0.0"


def _code(where: Where, code: str) -> Iterator[str]:
    if code:
        yield code
        yield f"  This code opens {where.for_phones[0]}"


def _next_steps(where: Where) -> Iterator[str]:
    if not where.records:
        return
    yield "Next:"
    if where.setup_key is not None:
        yield "  1. On this computer, open this address and set the lead's passphrase:"
        yield f"     {where.here}lead/setup?key={where.setup_key}"
    else:
        yield f"  1. Open {where.here}lead and sign in with the lead's passphrase."
    yield "  2. Set up a practical there. Its page shows a join code, and a QR code that opens it."
    yield "  3. Phones scan that code, or open the address above and type the join code."
    if where.for_phones:
        yield "  If a phone finds nothing, both are not in one network, or a firewall is in between."


def _encrypted(where: Where) -> Iterator[str]:
    if where.papers is None:
        return
    yield "Encrypted, for devices that trust this installation's certificate authority:"
    yield f"  its certificate      {where.papers.authority}"
    yield f"  SHA-256 fingerprint  {where.papers.fingerprint}"
    yield f"  How to trust it on your own devices, never on pupils': {where.here}help/https"
    if where.papers.left_out:
        yield f"  It does not hold for {', '.join(where.papers.left_out)}: it speaks for private addresses and local names only."


def qr_code(address: str) -> str:
    """The address as a QR code in letters, two modules to a letter, dark on light on any terminal."""
    rows = [list(map(bool, row)) for row in segno.make(address, error="l", micro=False).matrix_iter(border=QUIET)]
    rows += [[False] * len(rows[0])] if len(rows) % 2 else []
    lines = ("".join(HALVES[pair] for pair in zip(*rows[n : n + 2], strict=True)) for n in range(0, len(rows), 2))
    return "\n".join(f"  {DARK_ON_LIGHT}{line}{PLAIN}" for line in lines)


def _shows_codes(out: TextIO) -> bool:
    """Whether a person looks at ``out``, and it can show the letters and colours of a code."""
    if not out.isatty() or os.environ.get("TERM") == "dumb":
        return False
    try:
        "▀▄█".encode(out.encoding or "ascii")
    except (LookupError, UnicodeEncodeError):
        return False
    return True
