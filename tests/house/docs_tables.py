"""The tables of DEVELOPERS.md, made from the registries they describe.

``python -m tests.house.docs_tables`` prints them; with ``--write`` it puts them into DEVELOPERS.md, between markers like
``<!-- table:settings -->`` and ``<!-- /table -->``. A test compares the document with what stands here.
"""

from __future__ import annotations

import argparse
import re
import sys
from collections.abc import Iterable

from tests.house.source import ROOT
from webcapture.cli import build_parser
from webcapture.errors import ALL_ERRORS, WebcaptureError
from webcapture.flags import REGISTRY
from webcapture.settings import catalogue
from webcapture.web.errors import REQUEST_ERRORS, STATUS, TROUBLES

DOCUMENT = ROOT / "DEVELOPERS.md"
MARKED = re.compile(r"(<!-- table:(\w+) -->\n).*?(<!-- /table -->)", re.S)


def table(head: Iterable[str], rows: Iterable[Iterable[object]]) -> str:
    """A markdown table."""
    head = list(head)
    lines = [head, ["---"] * len(head), *([_cell(value) for value in row] for row in rows)]
    return "".join(f"| {' | '.join(line)} |\n" for line in lines)


def _cell(value: object) -> str:
    return " ".join(str(value).split()).replace("|", "\\|")


def settings() -> str:
    rows = ((f"`{k.name}`", f"{k.default} {k.unit}".strip(), k.why) for k in catalogue())
    return table(("setting", "value", "why"), rows)


def flags() -> str:
    return table(("flag", "text", "advice"), ((f"`{f.code}`", f.text, f.advice) for f in REGISTRY.values()))


def errors() -> str:
    """What stops a measurement."""
    rows = ((f"`{e.code}`", (e.__doc__ or "").splitlines()[0], e.default_hint or "–") for e in ALL_ERRORS)
    return table(("error", "when", "hint"), rows)


def all_errors(above: type[WebcaptureError] = WebcaptureError) -> list[type[WebcaptureError]]:
    """Every class of error with a code of its own among the modules loaded."""
    found = [above] if "code" in vars(above) and above is not WebcaptureError else []
    return found + [error for below in above.__subclasses__() for error in all_errors(below)]


def requests() -> str:
    """What the web tool answers before anything is measured."""
    own = (
        (STATUS.get(e, 400), f"`{e.code}`", (e.__doc__ or "").splitlines()[0], e.default_hint) for e in REQUEST_ERRORS
    )
    known = ((t.status, f"`{t.code}`", t.message, t.hint) for t in TROUBLES.values())
    return table(("status", "code", "message", "hint"), [*own, *known])


def commands() -> str:
    rows = ((f"`{name}`", f"`{option}`", text) for name, option, text in options())
    return table(("command", "argument", "does"), rows)


def options() -> list[tuple[str, str, str]]:
    """(command, argument, help) of everything that can be given on the command line."""
    parsers = next(a for a in build_parser()._actions if isinstance(a, argparse._SubParsersAction))
    return [
        (name, _argument(action), action.help or "")
        for name, parser in parsers.choices.items()
        for action in parser._actions
        if not isinstance(action, argparse._HelpAction)
    ]


def _argument(action: argparse.Action) -> str:
    names = ", ".join(action.option_strings) or str(action.metavar or action.dest)
    if action.choices:
        return f"{names} {{{','.join(map(str, action.choices))}}}"
    takes_value = action.option_strings and action.nargs != 0
    return f"{names} {action.metavar or action.dest.upper()}" if takes_value else names


TABLES = {"settings": settings, "flags": flags, "errors": errors, "requests": requests, "commands": commands}


def filled(text: str) -> str:
    """The document with every marked table made anew."""
    return MARKED.sub(lambda found: found[1] + TABLES[found[2]]() + found[3], text)


def main(arguments: list[str]) -> None:
    if arguments == ["--write"]:
        DOCUMENT.write_text(filled(DOCUMENT.read_text(encoding="utf-8")), encoding="utf-8")
        return
    for name, make in TABLES.items():
        print(f"<!-- table:{name} -->\n{make()}<!-- /table -->\n")


if __name__ == "__main__":
    main(sys.argv[1:])
