"""A package imports the base modules and packages to its left, never to its right. Read from the source itself."""

from __future__ import annotations

import ast
import subprocess
import sys

import pytest

from tests.house.source import PACKAGE, ROOT, Module, imports, modules

BASE = ["appearance", "descent", "errors", "flags", "model", "robust", "settings", "slopes"]
ROOMS = ["card", "imaging", "measure", "reference", "report", "review", "store", "web"]
"""In the order of the work, which is the order of the alphabet."""
TOP = ["", "__main__", "pipeline", "synthetic", "demo", "arguments", "files", "cli"]
"""May import all of it; "" is the package's own face."""

WEB_LIBRARIES = {"flask", "werkzeug", "jinja2", "markupsafe", "gunicorn", "waitress"}
RECORD_LIBRARIES = {"sqlalchemy", "alembic", "cattrs"}
WRITERS = {"write_text", "write_bytes", "mkdir", "unlink", "rmtree", "touch", "rename", "symlink_to"}


def rooms_used(module: Module) -> list[tuple[str, str]]:
    """(room, where) of everything of ours that a module imports."""
    used = []
    for name, line in imports(module):
        if name.split(".")[0] == PACKAGE:
            second = name.split(".")[1] if "." in name else ""
            used.append((second if second in {*BASE, *ROOMS, *TOP} else "", f"{module.place}:{line}"))
    return used


def allowed(room: str) -> set[str]:
    """What a module of that room may import."""
    if room in TOP:
        return {*BASE, *ROOMS, *TOP}
    if room in BASE:
        return set(BASE)
    left = {*BASE, *ROOMS[: ROOMS.index(room) + 1]}
    # The web tool uses the package as any program outside would: by its own face.
    return left | {""} if room == "web" else left


def outside(module: Module) -> list[tuple[str, str]]:
    """(top-level name, where) of every other library that a module imports."""
    found = [(name.split(".")[0], f"{module.place}:{line}") for name, line in imports(module)]
    return [(name, where) for name, where in found if name != PACKAGE]


def test_every_module_has_its_room() -> None:
    assert {m.room for m in modules()} <= {*BASE, *ROOMS, *TOP}
    assert sorted(ROOMS) == ROOMS
    assert len(modules()) > 20


def test_nothing_is_imported_from_the_right() -> None:
    wrong = [
        f"{where} imports {room or 'the face'}"
        for module in modules()
        for room, where in rooms_used(module)
        if room not in allowed(module.room)
    ]
    assert wrong == []


def test_the_rule_would_find_a_wrong_import() -> None:
    tree = ast.parse(
        "from webcapture.web import create_app\nfrom ..report import export\nimport webcapture.card.layout"
    )
    module = Module(ROOT / PACKAGE / "imaging" / "x.py", "webcapture.imaging.x", tree)
    assert [room for room, _ in rooms_used(module)] == ["web", "report", "card"]
    assert {"web", "report"} & allowed("imaging") == set()


def may_use_cv2(module: Module) -> bool:
    at_home = {"webcapture/report/annotate.py", "webcapture/card/printing.py"}
    return module.room in {"imaging", "synthetic"} or module.place in at_home


def test_cv2_stays_with_the_pixels() -> None:
    users = [(m, where) for m in modules() for name, where in outside(m) if name == "cv2"]
    assert users
    assert [where for m, where in users if not may_use_cv2(m)] == []


def test_flask_stays_in_the_web_tool() -> None:
    users = [(m, where) for m in modules() for name, where in outside(m) if name in WEB_LIBRARIES]
    assert users
    assert [where for m, where in users if m.room != "web"] == []


def test_records_stay_in_the_store() -> None:
    """The web tool hands sessions on and names their type; and the store knows neither the web nor pixels."""
    users = [(m.room, name) for m in modules() for name, _ in imports(m) if name.split(".")[0] in RECORD_LIBRARIES]
    assert {name.split(".")[0] for room, name in users if room == "store"} == RECORD_LIBRARIES
    assert {(room, name) for room, name in users if room != "store"} <= {("web", "sqlalchemy.orm.Session")}
    in_store = [name for m in modules() if m.room == "store" for name, _ in outside(m)]
    assert {"cv2", "PIL", "scipy", *WEB_LIBRARIES} & set(in_store) == set()


@pytest.mark.parametrize("room", ["measure", "reference"])
def test_numbers_and_names_know_numpy_and_scipy_only(room: str) -> None:
    known = {"numpy", "scipy", *sys.stdlib_module_names}
    users = [(name, where) for m in modules() if m.room == room for name, where in outside(m)]
    assert users
    assert [(name, where) for name, where in users if name not in known] == []


def test_comparing_colours_loads_no_pixels() -> None:
    code = "import webcapture.reference.evidence, webcapture.reference.exchange, webcapture.reference.advise, webcapture.reference.mixture, sys; print(*sys.modules)"
    run = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True)
    assert {"cv2", "flask", "sqlalchemy", "PIL"} & {name.split(".")[0] for name in run.stdout.split()} == set()


def test_nothing_is_imported_by_a_name_in_a_string() -> None:
    """Such an import escapes the rule; only the package's face does it, for names that it lists. Reading a package's data is none."""
    by_name = [(m.place, name) for m in modules() for name, _ in imports(m) if name.startswith("importlib")]
    users = {place for place, name in by_name if not name.startswith("importlib.resources")}
    assert users <= {"webcapture/__init__.py"}


def test_no_module_changes_its_own_globals() -> None:
    users = [f"{m.place}:{n.lineno}" for m in modules() for n in ast.walk(m.tree) if isinstance(n, ast.Global)]
    assert users == []


def writes(module: Module) -> list[str]:
    """Places at which a module writes to the disk."""
    found = []
    for node in ast.walk(module.tree):
        if isinstance(node, ast.Call):
            name = node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")
            if name in WRITERS or (name == "open" and _opens_to_write(node)):
                found.append(f"{module.place}:{node.lineno} {name}")
    return found


def _opens_to_write(call: ast.Call) -> bool:
    words = [a.value for a in [*call.args, *(k.value for k in call.keywords)] if isinstance(a, ast.Constant)]
    return any(isinstance(word, str) and set(word) <= set("rwxabt+") and set(word) & set("wxa+") for word in words)


def test_only_store_and_the_command_lines_files_write_to_the_disk() -> None:
    assert [place for m in modules() if m.room not in {"store", "files"} for place in writes(m)] == []


@pytest.mark.parametrize(
    ("source", "count"),
    [("open(p, 'w')", 1), ("p.open('rb')", 0), ("p.open(mode='ab')", 1), ("p.write_text(t)", 1), ("open('wax')", 1)],
)
def test_the_rule_would_find_a_write(source: str, count: int) -> None:
    assert len(writes(Module(ROOT / "x.py", "x", ast.parse(source)))) == count


def loaded_by(*arguments: str) -> set[str]:
    """Top-level names of all modules that a command loads, as the interpreter itself reports them."""
    command = [sys.executable, "-X", "importtime", "-m", PACKAGE, *arguments]
    run = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False, timeout=120)
    assert run.returncode == 0, run.stderr[-2000:]
    rows = [line for line in run.stderr.splitlines() if line.startswith("import time:")]
    return {row.rsplit("|", 1)[1].strip().split(".")[0] for row in rows}


HEAVY = {"cv2", "scipy", "flask", "werkzeug", "gunicorn"}


def test_help_loads_nothing_heavy() -> None:
    loaded = loaded_by("--help")
    assert PACKAGE in loaded
    assert loaded & {*HEAVY, "numpy", "PIL", "reportlab"} == set()


@pytest.mark.parametrize("ending", ["pdf", "png"])
def test_card_loads_nothing_heavy(tmp_path: object, ending: str) -> None:
    loaded = loaded_by("card", "--layout", "tray", "--paper", "a4", "--out", f"{tmp_path}/card.{ending}")
    assert PACKAGE in loaded
    assert loaded & HEAVY == set()
