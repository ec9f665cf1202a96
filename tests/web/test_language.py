"""Every text of the pages is in the catalogue, and shown in the reader's language."""

from __future__ import annotations

import json
import re
import shutil
from html import unescape
from pathlib import Path

import pytest
from babel.messages.catalog import Catalog, Message
from babel.messages.pofile import read_po
from babel.support import NullTranslations
from flask import Flask

from tests.house import messages
from tests.house.source import ROOT
from tests.web import pseudo
from tests.web.every_page import Pages, every_page
from webcapture.errors import UsageError
from webcapture.web import WebConfig, create_app
from webcapture.web.language import MESSAGES, check_language, gettext, ngettext, read_languages
from webcapture.web.script_words import script_words

DATA = re.compile(
    r"""
    https?://\S+ | [\w-]+\.jpg                        # addresses, files
    | \b(?:Bench\ \d | Mixture\ M | Saffron\ yellow | Tarn\ blue | Dyes\ of\ the\ market | Leaf\ dyes)   # labels of this test
    | water\ :\ ethanol\ 4\ :\ 1(?:;\ filter\ paper)?      # what its practical uses
    | \bwebcapture\b | \bLetter\b                       # names: the tool's, a paper size's
    | \b(?:mm | hRf | Rf | Rs | UTC)\b | \#[0-9a-f]{6}\b                  # units, symbols, colours
    | \b(?:CODE | KEY)\b                                # what every_page puts for chance
    | ‹[^›]*›                                           # what this test's measuring says
    """,
    re.VERBOSE,
)
"""What stays as it is in every language."""
ENGLISH_YET = {
    "Give a place between 0 and 140 mm.": "put together with numbers left of web/ (tests.house.messages.left_out)",
}
"""Texts that a page still says in English, with the reason."""
IN_TESTS = {"No calibration card was recognised.", "Get the card in."}
"""Made up by the tests' records, where the tool's own would stand."""
MAKE_BELIEVE = re.compile(r"Seen: [\w-]+\.")
"""What the measuring of these tests says of a photo, made up."""


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Translations into the made-up language."""
    made = tmp_path_factory.mktemp("messages")
    pseudo.write(messages.CATALOGUE, made)
    return made


@pytest.fixture(scope="module")
def pages(folder: Path, tmp_path_factory: pytest.TempPathFactory) -> Pages:
    """Every page in that language."""
    return every_page(tmp_path_factory.mktemp("pages"), messages=folder, lang=pseudo.CODE)


def missed(page: str) -> list[str]:
    """What that page says in plain letters and is neither data nor excused."""
    excused = {*ENGLISH_YET, *IN_TESTS}
    texts = [text for text in pseudo.said(page) if text not in excused and not MAKE_BELIEVE.fullmatch(text)]
    return [text for text in texts if pseudo.untranslated(text, DATA)]


def test_no_page_says_anything_that_was_not_translated(pages: Pages) -> None:
    assert len(pages) > 60
    assert {name: found for name, page in pages.items() if (found := missed(page))} == {}


def test_what_is_excused_is_said_somewhere(pages: Pages) -> None:
    said = {text for page in pages.values() for text in pseudo.said(page)}
    assert {*ENGLISH_YET, *IN_TESTS} - said == set()


@pytest.mark.parametrize(
    "planted",
    ["<p>Choose a photo</p>", '<img alt="The strip">', '<a aria-label="⟦Δελευε⟧ Bench 1 now"></a>', "<title>⟦Ϳοιν⟧ the class</title>"],
)  # fmt: skip
def test_a_text_left_in_a_page_is_found(pages: Pages, planted: str) -> None:
    page = pages["start"].replace("</main>", f"{planted}</main>")
    assert len(missed(page)) == 1


def test_one_message_left_out_of_the_catalogue_is_found(folder: Path, tmp_path: Path) -> None:
    shutil.copytree(folder, tmp_path / "m")
    file = next((tmp_path / "m").glob("*/LC_MESSAGES/messages.po"))
    file.write_text(
        file.read_text(encoding="utf-8").replace('msgid "Work safely"', 'msgid "Work otherwise"'), encoding="utf-8"
    )
    app = create_app(WebConfig(messages=tmp_path / "m", lang=pseudo.CODE))
    assert missed(app.test_client().get("/").text) == ["Work safely"]


def test_every_text_of_the_templates_was_on_a_page(pages: Pages) -> None:
    """Else the test above would not have seen it."""
    seen = " ".join(unescape(" ".join(pages.values())).split())
    wanted = {
        text if isinstance(text, str) else text[0]
        for place, text in messages.marked()
        if place.startswith("templates/")
    }
    assert len(wanted) > 150
    assert sorted(text for text in wanted if not _on(seen, text)) == []


def _on(seen: str, text: str) -> bool:
    """Whether the longest piece of that text between placeholders and tags is there."""
    pieces = [unescape(piece).strip() for piece in pseudo.KEPT.split(text)]
    return max(pieces, key=len).translate(pseudo.LETTERS) in seen


# --- the catalogue


def test_the_catalogue_is_what_the_sources_say() -> None:
    assert messages.CATALOGUE.read_text(encoding="utf-8") == messages.as_text(messages.catalogue()), (
        "write it anew: python -m tests.house.messages --write"
    )


def test_the_catalogue_has_texts_of_every_origin() -> None:
    """One of each way in which texts are found."""
    ids = {message.id for message in messages.catalogue()}
    assert {
        "Work safely",  # a template
        ("%(num)s spot", "%(num)s spots"),  # web/, with a plural
        "Check that this phone is in the same Wi-Fi network as before.",
        "No photo waits on this phone.",  # a script's
    } <= ids  # fmt: skip


@pytest.mark.parametrize(
    "file", sorted(MESSAGES.glob("*/LC_MESSAGES/messages.po")), ids=lambda file: str(file.parents[1].name)
)
def test_a_language_that_ships_keeps_what_stands_in_the_texts(file: Path) -> None:
    with file.open("rb") as source:
        assert troubles(read_po(source, locale=file.parents[1].name, abort_invalid=True)) == []
    check_language(file.parents[1].name)


def troubles(made: Catalog) -> list[object]:
    """Messages whose translation, where there is one, loses or adds a placeholder or a tag."""
    return [message.id for message in made if message.id and message.string and not _kept(message)]


def _kept(message: Message) -> bool:
    wanted = message.id if isinstance(message.id, tuple | list) else (message.id,)
    given = message.string if isinstance(message.string, tuple | list) else (message.string,)
    return all(
        sorted(pseudo.KEPT.findall(text)) in [sorted(pseudo.KEPT.findall(w)) for w in wanted] for text in given if text
    )


def test_the_language_made_on_the_fly_keeps_them_and_a_lost_one_is_found(folder: Path) -> None:
    with next(folder.glob("*/LC_MESSAGES/messages.po")).open("rb") as source:
        made = read_po(source, locale=pseudo.CODE)
    assert troubles(made) == []
    made["Spots, %(name)s"].string = "Τποτ"
    assert troubles(made) == ["Spots, %(name)s"]


# --- which language


@pytest.fixture
def app(folder: Path) -> Flask:
    return create_app(WebConfig(messages=folder))


@pytest.mark.parametrize(
    ("asked", "shown"),
    [
        ("eo", "eo"),
        ("eo-XX, en;q=0.5", "eo"),
        ("EO-Latn-XX, en", "eo"),
        ("eo;q=0, en;q=0.1", "en"),
        ("en, eo;q=0.9", "en"),
        ("fr, eo;q=0.2", "eo"),
        ("fr", "en"),
        ("", "en"),
        ("*", "en"),
        ("../../etc", "en"),
    ],
)
def test_the_browser_says_which_language(app: Flask, asked: str, shown: str) -> None:
    answer = app.test_client().get("/", headers={"Accept-Language": asked})
    assert f'<html lang="{shown}"' in answer.text
    assert ("Work safely" in answer.text) == (shown == "en")
    assert "Accept-Language" in answer.vary


def test_a_fixed_language_is_everybodys(folder: Path) -> None:
    client = create_app(WebConfig(messages=folder, lang="en")).test_client()
    answer = client.get("/", headers={"Accept-Language": "eo"})
    assert '<html lang="en"' in answer.text
    assert "Accept-Language" not in answer.vary


def test_a_language_that_is_not_there_is_refused() -> None:
    with pytest.raises(UsageError, match="xx"):
        create_app(WebConfig(lang="xx"))


def test_only_english_ships() -> None:
    """A translation nobody has read over would be worse than none."""
    assert {language: type(texts) for language, texts in read_languages().items()} == {"en": NullTranslations}


def test_an_error_for_a_program_is_translated_too(app: Flask) -> None:
    client = app.test_client()
    heads = {"Accept": "application/json", "Accept-Language": "eo"}
    error = client.post("/api/measure", headers=heads).get_json()["error"]
    assert error["code"] == "unsupported-type" or error["code"] == "no-photo"
    assert error["message"].startswith("⟦")


def test_numbers_choose_the_form(app: Flask) -> None:
    with app.test_request_context(headers={"Accept-Language": "en"}):
        assert [ngettext("%(num)s spot", "%(num)s spots", n) for n in (0, 1, 2)] == ["0 spots", "1 spot", "2 spots"]
        assert gettext("Sending: %(share)s %%", share=5) == "Sending: 5 %"


# --- scripts


LITERAL = re.compile(r'"([^"\n]*)"|`([^`]*)`|\'([^\'\n]*)\'')
COMMENT = re.compile(r"//.*?$|/\*.*?\*/", re.MULTILINE | re.DOTALL)


def said_by_script(source: str) -> list[str]:
    """String literals that read like a text: a large letter first, or several words."""
    literals = ["".join(found) for found in LITERAL.findall(COMMENT.sub("", source))]
    return [
        text
        for text in literals
        if re.match(r"[A-Z][a-z]+(?:$|[ .,:])", text) or re.search(r"[a-z]{2,} [a-z]{2,} ", text)
    ]


def test_scripts_have_no_text_of_their_own() -> None:
    assert said_by_script('a.textContent = "Saved"; b(`It is ${n} now`); // "Not this"') == ["Saved", "It is ${n} now"]
    found = {
        file.name: said_by_script(file.read_text(encoding="utf-8")) for file in (ROOT / "static" / "js").glob("*.js")
    }
    assert len(found) > 10
    assert {name: texts for name, texts in found.items() if texts} == {}


def test_scripts_ask_for_the_texts_that_the_page_carries(app: Flask) -> None:
    sources = "".join(file.read_text(encoding="utf-8") for file in sorted((ROOT / "static" / "js").glob("*.js")))
    asked = set(re.findall(r'(?:word|counted)\((?:\w+ \? )?"([\w-]+)"', sources))
    asked |= set(re.findall(r'word\(\w+ \? "[\w-]+" : "([\w-]+)"', sources))
    with app.test_request_context():
        carried = set(script_words())
    assert asked - carried == set()
    assert {name for name in carried - asked if not name.startswith("note-")} == set()


def test_the_page_carries_them_in_its_language(app: Flask) -> None:
    page = app.test_client().get("/", headers={"Accept-Language": "eo"}).text
    found = re.search(r'data-words="([^"]*)"', page)
    assert found
    words = json.loads(unescape(found[1]))
    assert words["saved"] == "⟦Ταξεδ⟧"
    assert set(words["wait"]) == {"one", "other"}
