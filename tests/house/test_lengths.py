"""Functions and modules stay short enough to be read in one go."""

from __future__ import annotations

from statistics import median, quantiles

from tests.house.source import functions, modules, tracked

MEDIAN, NINE_IN_TEN, LONGEST = 8, 30, 60
MODULE, SCRIPT = 400, 250


def test_functions_are_short() -> None:
    lengths = [lines for module in modules() for _, lines in functions(module)]
    assert len(lengths) > 100
    assert median(lengths) <= MEDIAN
    assert quantiles(lengths, n=10)[-1] <= NINE_IN_TEN


def test_no_function_is_long() -> None:
    everything = [f for folder in ("webcapture", "tests") for m in modules(folder) for f in functions(m)]
    assert [(place, lines) for place, lines in everything if lines > LONGEST] == []


def test_no_module_is_long() -> None:
    sizes = [(m.place, len(m.path.read_text(encoding="utf-8").splitlines())) for m in modules()]
    assert [(place, lines) for place, lines in sizes if lines > MODULE] == []


def test_no_script_is_long() -> None:
    scripts = tracked("static/*.js")
    assert scripts
    sizes = [(p.name, len(p.read_text(encoding="utf-8").splitlines())) for p in scripts]
    assert [(name, lines) for name, lines in sizes if lines > SCRIPT] == []
