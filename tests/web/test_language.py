"""Every page in a made-up language: what is still English was forgotten."""

from __future__ import annotations

import json
import re
from html import unescape
from pathlib import Path

import pytest

from tests.house.messages import catalogue, marked
from tests.house.source import tracked
from tests.web.every_page import Pages, every_page
from tests.web.pseudo import CLOSE, CODE, KEPT, OPEN, english, outside, pseudo, shown, write_language
from webcapture.errors import UsageError
from webcapture.reference.exchange import TABLES, shipped
from webcapture.web import WebConfig, create_app
from webcapture.web.language import read_languages
from webcapture.web.script_words import script_words

LIBRARY = sorted(
    {
        re.escape(text)
        for name in TABLES
        for value in shipped(name)
        for text in (value.source, value.substance, value.method.mobile_phase.text, value.method.paper, value.colour)
        if text
    },
    key=len,
    reverse=True,
)
"""What the tables say, which stays as its source wrote it."""
TYPED = (
    "Marl red", "invented for a test", "made up", r"\ba test\b", r"\bred\b", r"\bpink\b", "old bottle", "read again", r"\biodine\b", r"Invented \d+", "ink water", r"\bink\b", "cloth",
    r"\bDyes\b", r"\bwater\b",
)  # fmt: skip
"""What stands in the references of the tests' own lead."""
FAULTS = (
    r"rf: “x” is not a number\.", r"source: empty\.", r"“y” is no mark:[^.]*\.", r"A value needs its source[^.]*\.",
)  # fmt: skip
"""What reading a CSV says of its lines is English so far."""
PHASES = sorted({re.escape(value.method.mobile_phase.text.strip('"')) for name in TABLES for value in shipped(name)})
LABELS = (
    *LIBRARY,
    r"Bench \d", "Mixture M", "Saffron yellow", "Tarn blue", "Dyes of the market", "water : ethanol 4 : 1", "filter paper",
    "Leaf dyes", "Unknown A", r"\w[\w-]*\.jpg", "xxxx+", "CODE", r"Seen: [a-z-]+\.", r"Get the card in\.", r"/join/\w+",
    r"http://[\w.:/]+", "zzzzzz", r"\btests\b", "high-salt solution of Weber and Lacey 1978", "as published, unspecified",
    r"50\s*%\s*(of )?water \+ 40\s*%\s*(of )?ethanol",
    "Dye vats", r"\bvat [79]\b", "Woad", "salt water", "workshop paper",
    *FAULTS, *TYPED,
    r"\b(?:Alike|Far) \d+", r"\b(?:Front|Elsewhere|Vat 7)\b", *PHASES, r"\b(?:water|ethanol|propanone|methanol)\b",
)  # fmt: skip
"""What the tests' own people typed or named."""
SYMBOLS = (
    r"\bh?Rf\b", r"\bRs\b", r"\bmm\b", r"\bUTC\b", r"\bwebcapture\b", r"#[0-9a-f]{6}\b", r"\bA4\b", r"\bLetter\b", r"\bIUPAC\b",
    r"\b(?:E_n|R_D|R_U|R_rel|JSON|CSV)\b",
)  # fmt: skip
"""Quantities, units, names of things that have one name everywhere."""
DATA = re.compile("|".join(sorted((*LABELS, *SYMBOLS), key=len, reverse=True)))
"""The longest first: a part of a name must not take it apart."""


def without_data(text: str) -> str:
    return DATA.sub("", re.sub(r"%\(\w+\)s", "", text))


def scripts_words(text: str) -> str:
    """The words for the scripts, which come as JSON, without their names."""
    if not text.startswith("{"):
        return text
    words = json.loads(text).values()
    return " ".join(form for word in words for form in (word.values() if isinstance(word, dict) else [word]))


def forgotten(pages: Pages) -> dict[str, list[str]]:
    """English words by page."""
    found = {
        name: sorted({word for text in shown(html) for word in english(without_data(scripts_words(text)))})
        for name, html in pages.items()
    }
    return {name: words for name, words in found.items() if words}


@pytest.fixture(scope="module")
def pages(tmp_path_factory: pytest.TempPathFactory) -> Pages:
    folder = tmp_path_factory.mktemp("language")
    return every_page(folder, messages=write_language(folder / "messages", catalogue()), lang=CODE)


def test_no_page_shows_english_but_for_data(pages: Pages) -> None:
    assert len(pages) > 50
    assert forgotten(pages) == {}


def test_what_is_not_data_stands_inside_the_brackets(pages: Pages) -> None:
    """Letters of either kind: a text that is translated in pieces would leave some outside."""
    loose = {
        name: re.findall(r"[^\W\d_]{2,}", without_data(outside(scripts_words(text))))
        for name, html in pages.items()
        for text in shown(html)
    }
    assert {name: words for name, words in loose.items() if words} == {}


def test_every_bracket_is_closed(pages: Pages) -> None:
    """One that is not was cut out of its sentence."""
    assert [name for name, html in pages.items() if html.count(OPEN) != html.count(CLOSE)] == []


def test_a_message_without_translation_is_found(tmp_path: Path) -> None:
    without = {"Work safely", "The card does not lie flat.", "Sending…", "This code has expired"}
    folder = write_language(tmp_path / "messages", catalogue(), without)
    found = forgotten(every_page(tmp_path, messages=folder, lang=CODE))
    assert {"Work", "safely", "Sending"} <= set(found["start"])
    assert {"does", "not", "lie", "flat"} <= set(found["result every flag"])
    assert {"code", "expired"} <= set(found["expired"])
    assert "expired" not in found["closed"]


@pytest.mark.parametrize(
    "planted",
    ["<p>Choose a photo</p>", '<img alt="The strip">', f'<a aria-label="{pseudo("Delete")} Bench 1 now"></a>', "<title>Join</title>"],
)  # fmt: skip
def test_a_text_left_in_a_page_is_found(pages: Pages, planted: str) -> None:
    page = pages["start"].replace("</main>", f"{planted}</main>")
    assert list(forgotten({"start": page})) == ["start"]


def test_every_text_of_the_templates_was_on_a_page(pages: Pages) -> None:
    """Else the tests above would not have looked at it."""
    seen = unescape(" ".join(pages.values()))
    texts = [text for place, text in marked() if place.startswith("templates/")]
    assert len(texts) > 200
    forms = [[text] if isinstance(text, str) else list(text) for text in texts]
    assert [one[0] for one in forms if not any(_longest_piece(pseudo(form)) in seen for form in one)] == []


def _longest_piece(text: str) -> str:
    return max((unescape(piece) for piece in KEPT.split(text) if not KEPT.fullmatch(piece)), key=len)


def test_the_page_says_which_language_it_is_in(pages: Pages) -> None:
    whole = [html for html in pages.values() if "<html" in html]
    assert len(whole) > 50
    assert [html for html in whole if f'<html lang="{CODE}">' not in html] == []


def test_numbers_keep_their_point(pages: Pages) -> None:
    assert "0.28 ± 0.01" in pages["results 0"]
    assert not re.search(r"\d,\d", pages["results 0"])


@pytest.mark.parametrize(
    ("asked", "given"),
    [
        (None, "en"), ("", "en"), ("*", "en"), ("de", "en"), ("../../etc", "en"), ("en, eo;q=0.9", "en"),
        ("eo;q=0, en;q=0.1", "en"), ("eo", CODE), ("eo-XX, en;q=0.5", CODE), ("EO-Latn-XX, en", CODE), ("de, eo;q=0.4", CODE),
    ],
)  # fmt: skip
def test_the_browser_chooses_among_the_languages_at_hand(tmp_path: Path, asked: str | None, given: str) -> None:
    app = create_app(WebConfig(messages=write_language(tmp_path, catalogue())))
    answer = app.test_client().get("/", headers={} if asked is None else {"Accept-Language": asked})
    assert f'<html lang="{given}">' in answer.text
    assert ("Work safely" in answer.text) == (given == "en")
    assert "Accept-Language" in answer.headers["Vary"]


def test_a_fixed_language_is_everybodys(tmp_path: Path) -> None:
    app = create_app(WebConfig(messages=write_language(tmp_path, catalogue()), lang="en"))
    answer = app.test_client().get("/", headers={"Accept-Language": CODE})
    assert '<html lang="en">' in answer.text
    assert "Vary" not in answer.headers


def test_a_language_that_is_not_at_hand_is_refused() -> None:
    with pytest.raises(UsageError, match="no language “xx”"):
        create_app(WebConfig(lang="xx"))


def test_errors_for_programs_are_translated_but_for_their_code(tmp_path: Path) -> None:
    app = create_app(WebConfig(messages=write_language(tmp_path, catalogue())))
    answer = app.test_client().post("/api/measure", data=b"x", headers={"Accept-Language": CODE})
    assert answer.json == {
        "error": {
            "code": "unsupported-type",
            "message": pseudo("The request is not a form with photos."),
            "hint": pseudo("Send the photos as multipart/form-data in fields named “photo”."),
        }
    }


def test_plural_forms_follow_the_language(tmp_path: Path) -> None:
    """Polish has one form for 1, one for 2 to 4, one for 5 and more (GNU gettext's manual, 11.2.6; from memory)."""
    file = tmp_path / "pl" / "LC_MESSAGES" / "messages.po"
    file.parent.mkdir(parents=True)
    file.write_text(
        'msgid ""\nmsgstr "Content-Type: text/plain; charset=utf-8\\n'
        'Plural-Forms: nplurals=3; plural=(n==1 ? 0 : n%10>=2 && n%10<=4 && (n%100<10 || n%100>=20) ? 1 : 2);\\n"\n\n'
        'msgid "%(count)s photo waits on this phone."\nmsgid_plural "%(count)s photos wait on this phone."\n'
        'msgstr[0] "1: %(count)s"\nmsgstr[1] "2: %(count)s"\nmsgstr[2] "5: %(count)s"\n',
        encoding="utf-8",
    )
    html = create_app(WebConfig(messages=tmp_path, lang="pl")).test_client().get("/").text
    words = next(json.loads(text) for text in shown(html) if text.startswith("{"))
    assert words["wait"] == {"one": "1: %(count)s", "few": "2: %(count)s", "many": "5: %(count)s"}


def test_scripts_hold_no_text_of_their_own() -> None:
    """Everything that people read comes by name from the page."""
    hits = [f"{file.name}: {text}" for file in tracked("static/*.js") for text in spoken_in(file.read_text("utf-8"))]
    assert hits == []
    assert spoken_in('state("Sending: all"); say(`${name}: sending it`); select("a b.c");') == [
        "Sending: all",
        "${name}: sending it",
    ]


NO_WORDS = {"trouble lost", "the shell"}
"""Two names of a style, and a place that the server fills in."""


def spoken_in(script: str) -> list[str]:
    """Strings of a script that read like words: a capital letter and small ones, or several words without a sign."""
    code = re.sub(r"(?<![:\"'`])//.*", "", script)
    strings = [text for _quote, text in re.findall(r"([\"'`])((?:(?!\1).)*)\1", code)]
    words = [text for text in strings if re.search(r"[A-Za-z]{3,}[,.:;]? [A-Za-z]{2,}|: [a-z]{3,}", text)]
    return [text for text in words if not re.search(r"[\[\]#>()]|translate", text) and text not in NO_WORDS]


def test_scripts_ask_for_the_words_that_the_page_carries() -> None:
    sources = "".join(file.read_text("utf-8") for file in tracked("static/*.js"))
    calls = re.findall(r"\b(?:word|counted)\(([^()]*)", sources)
    asked = {name for call in calls for name in re.findall(r'"([a-z-]+)"', call)}
    with create_app().test_request_context():
        carried = set(script_words())
    assert len(asked) > 15
    assert asked - carried == set()
    live = {name for name in carried if name.startswith("live-")}
    by_state = {"note-sending", "note-lost", "note-not-joined"} | live
    assert carried - asked == by_state
    of_browsers = {f"live-{name}" for name in ("NotAllowedError", "NotFoundError", "NotReadableError")}
    assert {name for name in live if f'"{name.removeprefix("live-")}"' not in sources} == of_browsers


def test_only_english_is_at_hand_so_far() -> None:
    """A language that is added belongs into this list, and its texts are then checked in tests/house."""
    assert list(read_languages()) == ["en"]
