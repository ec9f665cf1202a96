"""Methods in a normal form. Names of solvents: IUPAC's systematic names beside the common ones, common knowledge of the trade, no source."""

from fractions import Fraction

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from webcapture.reference import method as ours
from webcapture.reference.method import MethodUnclear, method_of, mobile_phase_of, paper_of, remarks
from webcapture.reference.solvents import LIQUIDS, NAMES, TWO_MEANINGS

SAME = [
    ("A:B 9:1", "A/B (9:1)", "18 mL A + 2 mL B", "B : A 1 : 9", "A, B 9/1", "A and B 9:1", "9:1 A:B", "90 % A + 10 % B",
     "18 cm³ A and 2 cm³ B", "0.9 L A; 100 mL B", "A 9 parts, B 1 part", "A:B 4.5:0.5", "A : B = 9 : 1 (v/v)", "10 mL B in 90 mL A"),
    ("butan-1-ol : ethanoic acid : water 12 : 3 : 5", "n-BuOH/AcOH/H2O (60:15:25, v/v/v)", "n-butanol, acetic acid and water (12:3:5)",
     "60 mL 1-butanol + 15 mL glacial acetic acid + 25 mL distilled water"),
    ("propanone : petroleum ether 1 : 9", "Acetone : Petroleum spirit 1 : 9 (by volume)", "10 ml acetone + 90 ml light petroleum"),
    ("ethanol : water 7 : 3", "70 % ethanol in water"),
    ("0.1 mol/L hydrochloric acid", "0.1 M HCl", "hydrochloric acid 0.1 mol dm-3", "HCl 0.10 mol/dm³"),
    ("ethanol 70 %", "70 % ethanol", "Ethanol (70 %)", "70 % (v/v) ethanol"),
    ("water", "distilled water", "H2O", "50 mL water", "100 % water"),
    ('"our own, 3 to 1"', '  “Our  own, 3 to 1” '),
    ("ethanol 70 % : water 9:1", "9 mL 70 % ethanol + 1 mL water"),
]  # fmt: skip


@pytest.mark.parametrize("texts", SAME, ids=lambda texts: texts[0])
def test_ways_of_writing_one_mobile_phase(texts: tuple[str, ...]) -> None:
    read = [mobile_phase_of(text) for text in texts]
    assert all(one == read[0] for one in read)
    assert sum(part.share for part in read[0].parts) == 1


def test_all_these_mobile_phases_differ_from_each_other() -> None:
    read = [mobile_phase_of(texts[0]) for texts in SAME]
    assert len(set(read)) == len(read)


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("A:B 9:1", "A:B 1:9"),
        ("A:B 9:1", "A:C 9:1"),
        ("A:B 9:1", "A:B 91:9"),
        ("ethanol 70 %", "ethanol : water 7 : 3"),  # volumes of ethanol and water do not simply add
        ("ethanol 70 %", "ethanol 71 %"),
        ("ethanol 70 % w/w", "ethanol 70 %"),
        ("propan-1-ol", "propan-2-ol"),
        ("ethanol", "methylated spirit"),
        ("acetone", "aceton"),  # a name that is nearly another is not it
    ],
)
def test_what_is_not_the_same(one: str, other: str) -> None:
    assert mobile_phase_of(one) != mobile_phase_of(other)


UNCLEAR = [
    "", "   ", "A : B", "A + B", "A:B 9", "A:B 9:1:1", "A:B 0:1", "A:A 1:1", "acetone : propanone 1 : 1", "A:B 4,5:1", "A 9:1 B", "18 mL A + B",
    "18 mL A + 2 parts B", "90 % A + 20 % B", "9 % A in B", "9 % salt in water", "butanol : water 1 : 1", "ether", "ammonia 0.88",
    "butan-1-ol-ethanoic acid-water 4:1:5", "1:1", "ethanol 120 %", "0 % ethanol", "propanone 3 water", "A:B 9:1:", "water, 20 degrees 3",
    "butan-1-ol : ethanoic acid : water 4 : 1 : 5 upper layer", '"open',
]  # fmt: skip


@pytest.mark.parametrize("text", UNCLEAR)
def test_what_can_be_read_in_two_ways_or_none_is_refused_with_a_remedy(text: str) -> None:
    with pytest.raises(MethodUnclear) as refusal:
        mobile_phase_of(text)
    assert refusal.value.message
    assert refusal.value.hint
    assert refusal.value.code == "usage"


def test_the_refusal_says_which_it_could_be() -> None:
    with pytest.raises(MethodUnclear, match="butan-1-ol or butan-2-ol"):
        mobile_phase_of("butanol : water 4 : 1")


NAME = st.sampled_from(
    [*sorted(LIQUIDS), "a", "ethanol 70 %", "hydrochloric acid 0.1 mol/l", '"x: 1, y"', "salt water"]
)
AMOUNT = st.integers(1, 999).map(lambda n: Fraction(n, 10))


def number(value: Fraction) -> str:
    return f"{float(value):g}"


@given(st.lists(st.tuples(NAME, AMOUNT), min_size=1, max_size=5, unique_by=lambda part: part[0]), st.randoms(), AMOUNT)
def test_order_scale_and_unit_do_not_matter(parts: list[tuple[str, Fraction]], order: object, scale: Fraction) -> None:
    whole = sum(amount for _, amount in parts)
    expected = {name: amount / whole for name, amount in parts}
    shuffled = list(parts)
    order.shuffle(shuffled)  # type: ignore[attr-defined]
    more = [(name, amount * scale) for name, amount in shuffled]
    ways = [
        " + ".join(f"{number(amount)} mL {name}" for name, amount in parts),
        " + ".join(f"{float(amount * scale):.12g} cm³ {name}" for name, amount in shuffled),
        "; ".join(f"{float(amount / 1000):.12g} L {name}" for name, amount in shuffled),
    ]
    if len(parts) > 1:
        ways.append(f"{' : '.join(n for n, _ in more)} {' : '.join(f'{float(a):.12g}' for _, a in more)}")
    for text in ways:
        assert {part.name: part.share for part in mobile_phase_of(text).parts} == expected, text


@given(st.lists(st.tuples(NAME, st.fractions(Fraction(1, 50), 50, max_denominator=50)), min_size=1, max_size=4, unique_by=lambda p: p[0]))  # fmt: skip
def test_the_normal_form_reads_back_as_itself(parts: list[tuple[str, Fraction]]) -> None:
    whole = sum(amount for _, amount in parts)
    phase = ours.MobilePhase(tuple(ours.Part(name, amount / whole) for name, amount in sorted(parts)))
    assert mobile_phase_of(phase.text) == phase


@given(st.text(max_size=60))
def test_any_text_is_read_or_refused_and_reads_back(text: str) -> None:
    try:
        phase = mobile_phase_of(text)
    except MethodUnclear:
        return
    assert sum(part.share for part in phase.parts) == 1
    again = mobile_phase_of(phase.text)
    assume(phase.text.isascii())  # beyond ASCII, lower case need not be its own lower case
    assert again == phase


def test_every_name_leads_to_one_liquid() -> None:
    assert all(NAMES[name] == name for name in NAMES.values())
    assert not set(TWO_MEANINGS) & set(NAMES)


PAPERS = (
    "Filter Paper No. 1",
    "filter paper no 1",
    "filter-paper № 1",
    "FILTER  PAPER #1",
    "filter paper number 1",
    "filter paper Nr.1",
)


def test_papers_by_case_spaces_and_number() -> None:
    assert {paper_of(text) for text in PAPERS} == {"filter paper no 1"}
    assert (
        len({paper_of(text) for text in ("filter paper no 1", "filter paper no 2", "filter paper", "paper no 1")}) == 4
    )


@pytest.mark.parametrize("text", ["", "  ", "."])
def test_a_paper_must_be_named(text: str) -> None:
    with pytest.raises(MethodUnclear):
        paper_of(text)


def test_temperature_and_locating_agent_are_remarked_on_and_do_not_separate() -> None:
    cool, warm = (method_of("water", "p", t, agent) for t, agent in ((18.0, "ninhydrin"), (26.0, "UV")))
    assert cool.conditions == warm.conditions
    assert [remark.code for remark in remarks(cool, warm)] == ["temperature-differs", "locating-differs"]
    assert remarks(cool, cool) == ()
    assert [r.code for r in remarks(cool, method_of("water", "p", None, "Ninhydrin"))] == ["temperature-unknown"]


@pytest.mark.parametrize(
    "text",
    [
        "㊿" * 155 + "n hcl",
        '" "',
        "0." + "0" * 12 + "1 mol/l hydrochloric acid",
        "9" * 320 + " mol/l hydrochloric acid",
    ],
)
def test_what_grows_or_has_no_name_is_unclear(text: str) -> None:
    """Compatibility forms make one character several; a number may be longer than any scale."""
    with pytest.raises(MethodUnclear):
        mobile_phase_of(text)


def test_a_small_strength_is_read_back_as_it_was() -> None:
    once = mobile_phase_of("0.00001 mol/l hydrochloric acid")
    assert mobile_phase_of(once.text) == once
