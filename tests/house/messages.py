"""The catalogue of every text that pages show, made from the sources.

``python -m tests.house.messages --write`` writes ``webcapture/web/messages/messages.pot``; without ``--write`` it prints it. Texts
are found in three ways: ``_()`` and its kin in ``web/`` and the templates; the registries of flags, errors and cautions; and, in all
that a page can show, the strings given to an error where it is raised. One that is put together with numbers becomes a text with
places for them; ``web/`` finds it again by what stands around them (``told``).
"""

from __future__ import annotations

import argparse
import ast
import io
import re
import sys
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

from babel.messages.catalog import Catalog
from babel.messages.extract import extract_from_file
from babel.messages.pofile import write_po

from tests.house.docs_tables import all_errors
from tests.house.source import PACKAGE, ROOT, Module, modules
from webcapture.flags import REGISTRY
from webcapture.imaging import photo
from webcapture.measure import recount, uncertainty
from webcapture.reference.match import REASONS
from webcapture.reference.method import NOT_NOTED, REMEDY
from webcapture.reference.mixture import LANE_REASONS, MIXED_REASONS
from webcapture.report import cautions
from webcapture.web.contexts import LOST
from webcapture.web.errors import TROUBLES
from webcapture.web.language import MESSAGES

CATALOGUE = MESSAGES / "messages.pot"
KEYWORDS: dict[str, tuple[int, ...] | None] = {"_": None, "gettext": None, "lazy_gettext": None, "ngettext": (1, 2)}
HEAD = """\
# Every text of the web pages. Made by python -m tests.house.messages --write; DEVELOPERS.md says how to add a language.
#"""
MADE = datetime(2026, 1, 1, tzinfo=UTC)
"""Stands in the head for the day of making: the file must change with the texts only."""
SHOWN = re.compile(r"webcapture/(?:imaging/|measure/correct|reference/|store/|web/(?!serving|language)|pipeline)")
"""Modules whose errors a page can show, not only a terminal."""
Text = tuple[str, str | tuple[str, str]]
"""(file, text), the text with its plural where it has one."""


def marked() -> Iterator[Text]:
    """What ``web/`` and the templates mark."""
    for file in sorted((ROOT / "templates").rglob("*.html")):
        options = {"trimmed": "true", "newstyle_gettext": "true"}
        yield from _extracted(file, "jinja2.ext:babel_extract", options)
    for file in sorted((ROOT / PACKAGE / "web").glob("*.py")):
        yield from _extracted(file, "python", {})


def _extracted(file: Path, method: str, options: dict[str, str]) -> Iterator[Text]:
    found = extract_from_file(method, file, keywords=KEYWORDS, options=options)
    yield from ((file.relative_to(ROOT).as_posix(), message) for _line, message, _notes, _context in found)


def registered() -> Iterator[Text]:
    """What stands in registries, under the file of each."""
    flags = (text for flag in REGISTRY.values() for text in (flag.text, flag.advice))
    rows = [*((about, text) for _pattern, about, text in cautions._KNOWN), *cautions._ALWAYS]
    careful = (*(text for row in rows for text in row), cautions.PRACTICE, cautions.DEFER)
    budget = (*uncertainty.REASONS, *uncertainty.REASONS.values())
    troubles = (text for trouble in (*TROUBLES.values(), LOST) for text in (trouble.message, trouble.hint))
    unread = (text for _start, _box, what, hint in photo._NOT_READ for text in (what, hint))
    for place, texts in (
        ("webcapture/flags.py", flags),
        ("webcapture/imaging/photo.py", unread),
        ("webcapture/errors.py", (error.default_hint for error in all_errors())),
        ("webcapture/report/cautions.py", careful),
        ("webcapture/measure/uncertainty.py", budget),
        ("webcapture/measure/recount.py", (recount._REASON,)),
        ("webcapture/reference/match.py", REASONS.values()),
        ("webcapture/reference/method.py", (REMEDY, NOT_NOTED)),
        ("webcapture/reference/mixture.py", (*LANE_REASONS.values(), *MIXED_REASONS.values())),
        ("webcapture/web/errors.py", troubles),
    ):
        yield from ((place, text) for text in texts if text)


def raised(module: Module) -> Iterator[ast.expr]:
    """Every message and hint given to an error in that module, constants of the module followed to their text."""
    names = {error.__name__ for error in all_errors()} | {"Declined", "MethodUnclear", "Remark"}
    constants = {
        target.id: node.value
        for node in module.tree.body
        if isinstance(node, ast.Assign)
        for target in node.targets
        if isinstance(target, ast.Name)
    }
    for node in ast.walk(module.tree):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in names:
            yield from (constants.get(a.id, a) if isinstance(a, ast.Name) else a for a in node.args)


def told_of() -> Iterator[Text]:
    """Those of them that are text; codes have no space."""
    for module in sorted(modules(), key=lambda module: module.place):
        texts = map(template, raised(module)) if SHOWN.match(module.place) else ()
        yield from ((module.place, text) for text in texts if " " in text)


def template(text: ast.expr) -> str:
    """The text, with a place for each value that is put into it; empty for what is no text.

    >>> template(ast.parse('f"Only {seen} of {len(all)} are 5 %."', mode="eval").body)
    'Only %(seen)s of %(value2)s are 5 %%.'
    """
    if isinstance(text, ast.Constant):
        return str(text.value)
    places, parts = 0, []
    for part in text.values if isinstance(text, ast.JoinedStr) else ():
        if isinstance(part, ast.FormattedValue):
            places += 1
            parts.append(f"%({part.value.id if isinstance(part.value, ast.Name) else f'value{places}'})s")
        else:
            parts.append(template(part).replace("%", "%%"))
    return "".join(parts)


def catalogue() -> Catalog:
    """All of them, each once, with the files it stands in."""
    made = Catalog(project=PACKAGE, header_comment=HEAD, creation_date=MADE, charset="utf-8", fuzzy=False)
    for place, text in (*marked(), *registered(), *told_of()):
        made.add(text, locations=[(place, 1)])
    return made


def as_text(made: Catalog) -> str:
    """The catalogue as a file; without line numbers, which change too often to be read."""
    out = io.BytesIO()
    write_po(out, made, width=120, include_lineno=False)
    return out.getvalue().decode()


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("--write", action="store_true")
    text = as_text(catalogue())
    if parser.parse_args().write:
        CATALOGUE.parent.mkdir(exist_ok=True)
        CATALOGUE.write_text(text, encoding="utf-8")
    else:
        sys.stdout.write(text)


if __name__ == "__main__":
    main()
