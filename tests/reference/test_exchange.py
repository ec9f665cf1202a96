"""References as CSV, and the tables that come with the program."""

import csv
import io
import math
import string

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.reference.values import shipped_library
from webcapture.reference.exchange import COLUMNS, TABLES, ImportRefused, read_csv, shipped, write_csv
from webcapture.reference.library import MARKS, Value
from webcapture.reference.method import method_of
from webcapture.synthetic.workshop import INVENTED_RF

HEAD = "substance,mobile_phase,paper,rf,mark,source"
GOOD = f"{HEAD}\nA,water,p,0.35,published,somewhere\n"

WORDS = st.text(string.ascii_letters + string.digits + "éß ()=+-@'\",;:#%&", min_size=1, max_size=20).map(str.strip).filter(bool)  # fmt: skip
SD = st.one_of(st.none(), st.floats(1e-4, 0.3))
PHASES = st.sampled_from(
    ["water", "a : b 9 : 1", "ethanol 70 %", "propan-2-ol : water : ammonia solution 20 : 2 : 1", '"own, 1: 2; 3"']
)
METHODS = st.builds(
    method_of, PHASES, st.sampled_from(["paper no 1", "-paper", "=p"]), st.one_of(st.none(), st.floats(-20, 60)), WORDS
)


@st.composite
def values(draw: st.DrawFn) -> Value:
    sd, within = draw(SD), draw(SD)
    return Value(
        draw(WORDS), draw(METHODS), draw(st.floats(0, 1)), draw(st.sampled_from(MARKS)), draw(WORDS), sd=sd,
        n=draw(st.integers(2 if sd is not None else 1, 400)), sd_within=within, freedom_within=0 if within is None else draw(st.integers(1, 99)),
        colour=draw(st.one_of(st.just(""), WORDS)), hex=draw(st.sampled_from(["", "#0a1b2c"])),
    )  # fmt: skip


@given(st.lists(values(), max_size=5, unique_by=lambda v: v.identity))
def test_what_is_written_reads_back_as_it_was(many: list[Value]) -> None:
    assert read_csv(write_csv(many)) == tuple(many)
    assert read_csv(write_csv(many).encode("utf-8-sig")) == tuple(many)


@given(st.lists(values(), min_size=1, max_size=3, unique_by=lambda v: v.identity))
def test_no_cell_is_a_formula_to_a_spreadsheet(many: list[Value]) -> None:
    # Cells that begin with = + - @ tab or return can run as formulas (OWASP, "CSV injection", from memory); plain numbers cannot
    rows = list(csv.reader(io.StringIO(write_csv(many))))
    assert tuple(rows[0]) == COLUMNS
    for cell in (cell for row in rows for cell in row):
        assert cell[:1] not in {"=", "+", "-", "@", "\t", "\r"} or plain_number(cell)


def plain_number(cell: str) -> bool:
    return math.isfinite(float(cell))  # a cell that is no number raises, and fails the test


def refused(data: bytes | str) -> list[tuple[int, str]]:
    with pytest.raises(ImportRefused) as refusal:
        read_csv(data)
    assert "nothing was taken over" in refusal.value.hint
    return [(fault.line, fault.text) for fault in refusal.value.faults]


def test_all_faults_are_told_at_once_with_their_lines() -> None:
    text = GOOD + (
        "B,water:,p,1.35,publ,x\n"
        "\n"
        ",water,p,,published,\n"
        "C,water,p,0.3,published\n"
        "A,Water, P ,0.36,published,Somewhere\n"
        'D,water,p,"0,35",published,x\n'
        "E,butanol,,zero,published,x\n"
    )
    faults = refused(text)
    assert sorted({line for line, _ in faults}) == [3, 5, 6, 7, 8, 9]
    by_line = {line: " ".join(text for at, text in faults if at == line) for line, _ in faults}
    assert all(word in by_line[3] for word in ("water:", "1.35", "publ"))
    assert by_line[5].count("empty") == 3
    assert "5 cells under 6 columns" in by_line[6]
    assert "line 2 already" in by_line[7]
    assert "decimal point" in by_line[8]
    assert all(word in by_line[9] for word in ("zero", "paper: empty", "butan-1-ol or butan-2-ol"))


def test_one_fault_and_nothing_is_read() -> None:
    assert len(read_csv(GOOD)) == 1
    assert refused(GOOD + "B,water,p,2,published,x\n") == [(3, "An Rf of 2 is impossible: it lies between 0 and 1.")]


@pytest.mark.parametrize(
    ("data", "word"),
    [
        ("", "missing"),
        ("substance,rf\nA,0.3\n", "“paper” is missing"),
        (GOOD.replace("source", "sauce"), "no column “sauce”"),
        (HEAD + ",rf\n", "there twice"),
        (GOOD.encode("utf-16"), "not UTF-8"),
        (GOOD.encode() + b"B,water,p,0.3,published,caf\xe9\n", "not UTF-8"),
        (f'{HEAD}\nA,water,p,0.3,published,"open\n', "quotes or lines"),
        (f"{HEAD}\nA,water,p,0.3,published,a\x00b\n", "character"),
        (f"{HEAD},n\nA,water,p,0.3,published,x,²\n", "whole number"),
        (f"{HEAD}\nA,water,p,nan,published,x\n", "not a number"),
        (f"{HEAD}\nA,water,p,0x1,published,x\n", "not a number"),
        (b"x" * 3_000_000, "read at most"),
    ],
)
def test_broken_files_are_refused_in_plain_words(data: bytes | str, word: str) -> None:
    assert word in " ".join(text for _, text in refused(data))


def test_the_line_of_a_wrong_byte_is_told() -> None:
    assert refused(GOOD.encode() + b"B,water,p,0.3,published,caf\xe9\n")[0][0] == 3


def test_semicolons_come_with_decimal_commas() -> None:
    text = GOOD.replace(",", ";").replace("0.35", "0,35")
    assert read_csv("\ufeff" + text) == read_csv(GOOD)
    assert read_csv(text.replace("\n", "\r\n").encode()) == read_csv(GOOD)


def test_header_in_any_order_and_case() -> None:
    text = "Source,Mark,RF,Paper,Mobile phase,Substance\nsomewhere,Published,0.35,p,water,A\n"
    assert read_csv(text) == read_csv(GOOD)


# ---- what comes with the program

CATIONS = {"nickel(II)": (0.8, "pink"), "cobalt(II)": (3.5, "brown-black"), "copper(II)": (6.0, "blue"), "cadmium(II)": (7.8, "yellow"), "mercury(II)": (9.5, "brown-black")}  # fmt: skip
"""Distance in cm over a front at 10.0 cm, and colour: after McCullough and Curlee 1993, in a published test passage (B)."""
AMINO_ACIDS = {"cysteine": 0.08, "lysine": 0.14, "glycine": 0.26, "serine": 0.27, "alanine": 0.38, "proline": 0.43, "valine": 0.60, "leucine": 0.73}  # fmt: skip
"""Butan-1-ol, ethanoic acid and water on paper: Complete Chemistry for Cambridge IGCSE, pp. 25-26 (B)."""
WEBA780101 = (
    0.89,
    0.88,
    0.89,
    0.87,
    0.85,
    0.82,
    0.84,
    0.92,
    0.83,
    0.76,
    0.73,
    0.97,
    0.74,
    0.52,
    0.82,
    0.96,
    0.92,
    0.20,
    0.49,
    0.85,
)
"""Weber and Lacey 1978 in AAindex's order A R N D C Q E G H I L K M F P S T W Y V (A)."""


def test_five_cations() -> None:
    table = {v.substance: (v.rf, v.colour) for v in shipped("cations")}
    assert table == {name: (pytest.approx(cm / 10.0), word) for name, (cm, word) in CATIONS.items()}


def test_amino_acids_of_the_textbook() -> None:
    assert {v.substance: v.rf for v in shipped("amino-acids")} == AMINO_ACIDS


def test_twenty_amino_acids() -> None:
    names = "alanine arginine asparagine aspartic_acid cysteine glutamine glutamic_acid glycine histidine isoleucine leucine lysine methionine phenylalanine proline serine threonine tryptophan tyrosine valine"  # fmt: skip
    expected = dict(zip((n.replace("_", " ") for n in names.split()), WEBA780101, strict=True))
    assert {v.substance: v.rf for v in shipped("amino-acids-salt")} == expected


def test_the_demonstrations_dyes_are_said_to_be_invented() -> None:
    table = shipped("workshop")
    assert {v.substance: v.rf for v in table} == INVENTED_RF
    assert {v.mark for v in table} == {"invented"}
    assert all("invented" in v.source for v in table)


def test_every_value_shipped_has_its_source_and_none_hides_its_mark() -> None:
    for name in TABLES:
        for value in shipped(name):
            assert len(value.source) > 20
            assert value.mark == ("invented" if name == "workshop" else "published")
            assert (
                value.mark == "invented" or value.source.rstrip(")")[-1] in "AB"
            )  # neither student reports nor memory
    assert len(shipped_library().values) == 38


def test_there_is_no_other_table() -> None:
    with pytest.raises(Exception, match="no table"):
        shipped("../../secrets")
