"""The catalogue of texts is what the sources say, and every language file present can be used as it stands."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from babel.messages.catalog import Catalog
from babel.messages.pofile import read_po

from tests.house import messages
from webcapture.web.language import MESSAGES, read_languages

FILES = sorted(MESSAGES.glob("*/LC_MESSAGES/messages.po"))
PLACES = re.compile(r"%\(\w+\)s|%%|</?\w+|href|datetime")
"""What a translation must keep: places to be filled in, markup."""
HEAD = 'msgid ""\nmsgstr "Content-Type: text/plain; charset=utf-8\\n"\n\n'


def faults(file: Path) -> Iterator[str]:
    """What is wrong with a language's file."""
    with file.open("rb") as source:
        read = read_po(source, locale=file.parents[1].name, abort_invalid=True)
    known = {message.id for message in messages.catalogue()}
    for message in read:
        forms = [message.id] if isinstance(message.id, str) else list(message.id)
        told = [message.string] if isinstance(message.string, str) else list(message.string)
        if not forms[0]:
            continue
        if message.id not in known:
            yield f"not in the catalogue: {forms[0]}"
        yield from (f"{error}: {forms[0]}" for error in message.check(Catalog(locale=file.parents[1].name)))
        wanted = [sorted(PLACES.findall(form)) for form in forms]
        yield from (f"places differ: {forms[0]}" for t in told if t and sorted(PLACES.findall(t)) not in wanted)


def test_the_catalogue_is_what_the_sources_say() -> None:
    text = messages.CATALOGUE.read_text(encoding="utf-8")
    assert text == messages.as_text(messages.catalogue()), "run: python -m tests.house.messages --write"


def test_the_catalogue_holds_texts_from_everywhere() -> None:
    """One of each way in which they are found."""
    known = {message.id for message in messages.catalogue()}
    assert len(known) > 400
    assert {
        "Photograph the card, get Rf",
        ("%(count)s photo waits on this phone.", "%(count)s photos wait on this phone."),
        "The card does not lie flat.",
        "Keep the lid on the tank.",
        "No calibration card was recognised in this photo.",
        "Only %(seen)s of the card's twelve square tags can be seen.",
        "Too many photos are waiting to be measured.",
        "How well the origin line was located in this lane.",
        "Station %(number)s",
    } <= known


def test_no_text_stands_alone_and_with_a_plural() -> None:
    """One entry holds both then, and the gettext of Python 3.11.2, not that of 3.11.7, leaves the one that stands alone in English."""
    texts = [text for _, text in messages.marked()]
    alone = {text for text in texts if isinstance(text, str)}
    assert alone
    assert not alone & {text[0] for text in texts if not isinstance(text, str)}


def test_every_language_can_be_used() -> None:
    assert [f"{file.parents[1].name}: {fault}" for file in FILES for fault in faults(file)] == []
    assert set(read_languages()) == {"en", *(file.parents[1].name for file in FILES)}


@pytest.mark.parametrize(
    ("text", "fault"),
    [
        ('msgid "Lane %(lane)s"\nmsgstr "Bahn %(bahn)s"\n', "places differ"),
        ('msgid "Lane %(lane)s"\nmsgstr "Bahn"\n', "places differ"),
        ('msgid "Long gone"\nmsgstr "x"\n', "not in the catalogue"),
        ('msgid "Lane %(lane)s"\nmsgstr "Bahn %(lane)s"\n', ""),
    ],
)
def test_a_fault_of_a_language_would_be_found(tmp_path: Path, text: str, fault: str) -> None:
    file = tmp_path / "de" / "LC_MESSAGES" / "messages.po"
    file.parent.mkdir(parents=True)
    file.write_text(HEAD + text, encoding="utf-8")
    found = list(faults(file))
    assert bool(found) == bool(fault)
    assert not fault or any(one.startswith(fault) for one in found)
