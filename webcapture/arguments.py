"""Arguments that several commands share, and how a wrong one is told."""

from __future__ import annotations

import argparse
import re
from typing import Any, NoReturn

from webcapture.errors import UsageError

PORT = 8000


class Parser(argparse.ArgumentParser):
    """Speaks like the rest of the tool: what is wrong, then what to do."""

    def error(self, message: str) -> NoReturn:
        raise UsageError(f"{message[:1].upper()}{message[1:]}.", f"How to use it: {self.prog} --help")


def command(commands: Any, name: str, run: Any, words: str, more: str = "") -> argparse.ArgumentParser:
    """Add a command that ``run`` carries out; ``words`` say what it does, ``more`` what its own help adds."""
    sub: argparse.ArgumentParser = commands.add_parser(
        name, help=words, description=f"{words[:1].upper()}{words[1:]}. {more}"
    )
    sub.set_defaults(run=run)
    return sub


def spot_place(text: str) -> tuple[int, int, int]:
    """Read ``bay.lane.spot``; each counts from 1."""
    # Plain figures only: isdigit() takes a raised ² for one as well, and int() does not; nor does it take thousands of figures.
    parts = re.fullmatch(r"0*([1-9][0-9]{0,8})\.0*([1-9][0-9]{0,8})\.0*([1-9][0-9]{0,8})", text)
    if parts is None:
        raise argparse.ArgumentTypeError(f"“{text}” does not name a spot as bay.lane.spot, for example 1.1.2")
    bay, lane, spot = map(int, parts.groups())
    return bay, lane, spot


def add_door(sub: argparse.ArgumentParser) -> None:
    """How the web tool is reached, besides its address."""
    sub.add_argument(
        "--https",
        action="store_true",
        help="encrypt, with a certificate authority of this installation's own: for the devices of whoever runs the tool",
    )
    sub.add_argument(
        "--trusted-host",
        action="append",
        default=[],
        metavar="NAME",
        help="a name under which the tool may be asked for, besides this computer's own; can be given more than once",
    )
    sub.add_argument(
        "--behind-proxy",
        action="store_true",
        help="a reverse proxy stands before the tool: believe its X-Forwarded headers",
    )


def add_address(sub: argparse.ArgumentParser) -> None:
    """Where the web tool listens."""
    sub.add_argument("--host", default="127.0.0.1", help="address to listen on (default: this computer only)")
    sub.add_argument("--port", type=int, default=PORT, help=f"port to listen on (default: {PORT})")
