"""Plain words for colours, and whether two colours agree."""

from itertools import combinations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from webcapture.appearance import ciede2000, decoded, lab_from_linear
from webcapture.measure.relate import colour_of
from webcapture.reference.colour import (
    AGREES,
    CANNOT_TELL,
    DIFFERS,
    WORDS,
    compared,
    compared_all,
    compared_words,
    middle,
    word,
    words_in,
)
from webcapture.synthetic.classes import DYES

CSS = {
    "red": "#ff0000", "orange": "#ffa500", "yellow": "#ffff00", "green": "#008000", "turquoise": "#40e0d0", "blue": "#0000ff", "violet": "#ee82ee",
    "pink": "#ffc0cb", "brown": "#a52a2a", "grey": "#808080", "black": "#000000", "white": "#ffffff",
}  # fmt: skip
"""CSS Color Module Level 4 (W3C), named colors: the twelve that bear one of our words."""
CSS_KIN = {
    "red": ["#dc143c", "#ff6347"],  # crimson, tomato
    "orange": ["#ff8c00"],  # darkorange
    "yellow": ["#ffd700"],  # gold
    "green": ["#00ff00", "#2e8b57", "#228b22"],  # lime, seagreen, forestgreen
    "turquoise": ["#00ffff", "#008080", "#48d1cc"],  # cyan, teal, mediumturquoise
    "blue": ["#000080", "#4169e1", "#87ceeb", "#4682b4"],  # navy, royalblue, skyblue, steelblue
    "violet": ["#800080", "#4b0082", "#8a2be2"],  # purple, indigo, blueviolet
    "pink": ["#ff69b4", "#ff1493"],  # hotpink, deeppink
    "brown": ["#8b4513", "#d2691e", "#800000"],  # saddlebrown, chocolate, maroon
    "grey": ["#c0c0c0", "#696969"],  # silver, dimgray
}
"""Further named colors of the same list, under the word that their name says or that people use."""
HEX = st.integers(0, 0xFFFFFF).map(lambda n: f"#{n:06x}")


def test_words_of_the_named_colours() -> None:
    assert {name: word(code) for name, code in CSS.items()} == {name: name for name in CSS}
    assert set(CSS) == set(WORDS)


@pytest.mark.parametrize("name", CSS_KIN)
def test_words_of_their_kin(name: str) -> None:
    assert {word(code) for code in CSS_KIN[name]} == {name}


@given(HEX)
def test_every_colour_has_a_word(code: str) -> None:
    assert word(code) in WORDS


@pytest.mark.parametrize("dye", DYES, ids=lambda dye: dye.name)
def test_a_dye_is_named_as_the_demonstration_names_it_at_any_depth(dye: object) -> None:
    # The invented dyes carry their colour in their name
    said = {"red": {"red", "pink"}}.get(dye.name.split()[-1], {dye.name.split()[-1]})  # type: ignore[attr-defined]
    assert {word(hex_of(dye, depth)) for depth in (0.1, 0.2, 0.4, 0.7)} <= said


def hex_of(dye: object, depth: float) -> str:
    return colour_of(np.array(dye.absorption) * depth)  # type: ignore[attr-defined]


def test_more_of_a_dye_is_not_another_colour() -> None:
    # Compared as they look, depths of 0.2 and 0.5 of one dye lie up to 16 apart
    seen = [
        compared(hex_of(dye, a), hex_of(dye, b)) for dye in DYES for a, b in combinations((0.12, 0.2, 0.35, 0.6), 2)
    ]
    assert {said for said, _ in seen} == {AGREES}
    assert max(apart for _, apart in seen if apart is not None) < 2


def test_unlike_dyes_differ_and_like_ones_are_not_told_apart() -> None:
    dyes = {dye.name: hex_of(dye, 0.3) for dye in DYES}
    assert compared(dyes["Tarn blue"], dyes["Gorse yellow"])[0] == DIFFERS
    assert compared(dyes["Moss green"], dyes["Marl red"])[0] == DIFFERS
    assert compared(dyes["Marl red"], dyes["Heather pink"])[0] == AGREES
    assert compared(dyes["Tarn blue"], dyes["Beck turquoise"])[0] == CANNOT_TELL


def test_the_difference_is_ciede2000_at_one_depth() -> None:
    # Both colours already have their largest absorbance at the depth of the settings (0.5), so nothing is brought anywhere
    first, second = colour_of(np.array([0.5, 0.2, 0.1])), colour_of(np.array([0.45, 0.5, 0.0]))
    labs = [
        lab_from_linear(decoded(np.array([int(c[i : i + 2], 16) for i in (1, 3, 5)]) / 255)) for c in (first, second)
    ]
    assert compared(first, second)[1] == pytest.approx(float(ciede2000(*labs)), abs=0.15)


@pytest.mark.parametrize("pale", ["", "#ffffff", "#fdfbfc"])
def test_what_shows_no_colour_says_nothing(pale: str) -> None:
    for said in (compared(pale, "#0000ff"), compared("#0000ff", pale)):
        assert said == (CANNOT_TELL, None)
    assert compared_words(pale, "blue") == CANNOT_TELL


@given(HEX, st.lists(st.one_of(st.just(""), HEX), max_size=6))
def test_many_at_once_are_the_same_as_one_by_one(seen: str, known: list[str]) -> None:
    assert compared_all([(seen, one, "") for one in known]) == [compared(seen, one) for one in known]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("brown-black", {"brown", "black"}),
        ("Purple, fading", {"violet"}),
        ("", set()),
        ("bright", set()),
        ("greyish blue", {"blue"}),
    ],
)
def test_words_in_what_people_write(text: str, words: set[str]) -> None:
    assert words_in(text) == words


def test_words_agree_differ_or_say_nothing() -> None:
    assert compared_words("#4682b4", "blue") == AGREES
    assert compared_words("#4682b4", "yellow") == DIFFERS
    assert compared_words("#4682b4", "violet") == CANNOT_TELL  # two people may well say either
    assert compared_words("#4682b4", "bluish") == CANNOT_TELL  # not one of the plain words
    assert compared_words("#ffd700", "brown-black") == DIFFERS


def test_the_middle_colour_is_one_of_them() -> None:
    assert middle(["#ff0000", "#0000ff", "#fe0101"]) in {"#ff0000", "#fe0101"}
    assert middle([]) == ""
    assert middle(["#ff0000", "#0000ff"]) == "#0000ff"
