"""The documents say what is true of the code: every setting, flag, error and option, and no other."""

from __future__ import annotations

import ast
import importlib
import re
from dataclasses import fields

import pytest

from tests.house import docs_tables
from tests.house.source import ROOT, modules
from webcapture import errors
from webcapture.errors import ALL_ERRORS
from webcapture.flags import REGISTRY
from webcapture.settings import DEFAULTS, catalogue

README, GUIDE = ROOT / "README.md", ROOT / "DEVELOPERS.md"

CONTRACT_ERRORS = {"not-an-image", "too-large", "truncated", "no-card", "card-incomplete", "out-of-focus", "too-dark"}
CONTRACT_FLAGS = {
    *("out-of-focus", "too-dark", "glare", "shadow", "card-bent", "no-strip", "upside-down", "origin-missing"),
    *("front-missing", "front-slanted", "did-not-move", "near-front", "no-spots", "tailing", "merged", "faint"),
    "ink-line",
}


@pytest.mark.parametrize("name", docs_tables.TABLES)
def test_guide_holds_the_table(name: str) -> None:
    assert f"<!-- table:{name} -->" in GUIDE.read_text(encoding="utf-8")


def test_tables_of_the_guide_are_true() -> None:
    text = GUIDE.read_text(encoding="utf-8")
    assert text == docs_tables.filled(text), "run: python -m tests.house.docs_tables --write"


def test_every_module_stands_in_the_picture_of_the_house() -> None:
    picture = GUIDE.read_text(encoding="utf-8").split("```")[1]
    rooms = ast.get_docstring(next(m.tree for m in modules() if m.name == "webcapture.synthetic")) or ""
    shown = {m.place: picture if m.room != "synthetic" else rooms for m in modules() if m.path.name != "__init__.py"}
    assert [place for place, text in shown.items() if not re.search(rf"\b{place.split('/')[-1]}\b", text)] == []


def test_every_command_stands_in_the_readme_or_the_guide() -> None:
    text = README.read_text(encoding="utf-8") + GUIDE.read_text(encoding="utf-8")
    commands = {command for command, _, _ in docs_tables.options()}
    assert commands >= {"card", "measure", "demo", "serve"}
    assert [c for c in commands if f"python -m webcapture {c}" not in text] == []


def test_every_option_says_what_it_does() -> None:
    assert [(c, o) for c, o, text in docs_tables.options() if not text.strip()] == []


@pytest.mark.parametrize("document", [README, GUIDE], ids=lambda p: p.name)
def test_links_lead_somewhere(document: object) -> None:
    text = document.read_text(encoding="utf-8")
    targets = re.findall(r"\]\(([^)#\s]+)", text) + re.findall(r"<img[^>]*\ssrc=\"([^\"]+)\"", text)
    local = [t for t in targets if "://" not in t and not t.startswith("mailto:")]
    assert [t for t in local if not (ROOT / t).exists()] == []


def test_codes_that_others_build_on_exist() -> None:
    assert {e.code for e in ALL_ERRORS} >= CONTRACT_ERRORS
    assert set(REGISTRY) >= CONTRACT_FLAGS


def test_codes_are_unlike_each_other() -> None:
    codes = [e.code for e in ALL_ERRORS]
    assert len(codes) == len(set(codes))


def test_every_error_there_is_stands_in_a_table() -> None:
    for module in modules():
        importlib.import_module(module.name.removesuffix(".__main__"))
    tables = docs_tables.errors() + docs_tables.requests()
    assert [e.__name__ for e in docs_tables.all_errors() if f"`{e.code}`" not in tables] == []


def test_the_tree_of_errors_shows_every_class_and_its_code() -> None:
    rows = re.findall(r"[├└]── (\w+) +([a-z-]+) ", errors.__doc__ or "")
    assert rows == [(e.__name__, e.code) for e in ALL_ERRORS]
    own = {e for e in docs_tables.all_errors() if e.__module__ == errors.__name__}
    assert own == set(ALL_ERRORS)


def test_every_flag_says_what_was_seen_and_what_to_do() -> None:
    assert [f.code for f in REGISTRY.values() if not (f.text.endswith(".") and f.advice.endswith("."))] == []


def test_every_setting_has_a_reason_and_is_used() -> None:
    assert [k.name for k in catalogue() if not k.why.strip().endswith(".")] == []
    names = {f.name for group in fields(DEFAULTS) for f in fields(getattr(DEFAULTS, group.name))}
    code = "".join(m.path.read_text(encoding="utf-8") for m in modules() if m.room != "settings")
    assert [name for name in sorted(names) if not re.search(rf"\.{name}\b", code)] == []


def test_every_flag_is_raised_somewhere() -> None:
    code = "".join(m.path.read_text(encoding="utf-8") for m in modules() if m.room != "flags")
    assert [c for c in REGISTRY if f'"{c}"' not in code] == []


def test_every_error_is_raised_somewhere() -> None:
    code = "".join(m.path.read_text(encoding="utf-8") for m in modules() if m.room != "errors")
    assert [e.__name__ for e in ALL_ERRORS if not re.search(rf"\b{e.__name__}\(", code)] == []
