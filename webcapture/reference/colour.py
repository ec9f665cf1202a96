"""A spot's colour in a plain word, and whether two colours agree.

Colour is a supporting sign and no more: :data:`LIMITS`. It is compared at one depth: absorbance grows with the amount (Lambert and
Beer), so both colours are brought to the same largest absorbance before their CIEDE2000 difference is taken.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

import numpy as np

from webcapture.appearance import ciede2000, decoded, lab_from_linear
from webcapture.model import Floats
from webcapture.settings import DEFAULTS, CompareSettings

AGREES, DIFFERS, CANNOT_TELL = "agrees", "differs", "cannot tell"

LIMITS = (
    "Colour is a supporting sign. It changes with the amount, the locating agent, the time since, and the light; a phone alters it; "
    "many substances share one; and very pale or very dark spots show none. What has the same colour need not be the same."
)
"""What a page says beside any comparison of colours."""

_NEXT = (
    *(
        "pink red",
        "pink violet",
        "red orange",
        "red brown",
        "red violet",
        "orange yellow",
        "orange brown",
        "orange pink",
    ),
    *(
        "yellow green",
        "yellow brown",
        "yellow white",
        "green turquoise",
        "green brown",
        "turquoise blue",
        "blue violet",
    ),
    *(
        "blue grey",
        "violet grey",
        "brown black",
        "brown grey",
        "grey black",
        "grey white",
        "violet brown",
        "blue black",
    ),
    *("pink white", "green grey", "turquoise grey", "violet black"),
)
"""Words that two people may use of one colour."""
NEIGHBOURS = frozenset(frozenset(pair.split()) for pair in _NEXT)
WORDS = frozenset(word for pair in NEIGHBOURS for word in pair)
"""The plain words."""
_SYNONYMS = {"purple": "violet", "mauve": "violet", "lilac": "violet", "magenta": "pink", "rose": "pink", "gray": "grey", "cyan": "turquoise", "scarlet": "red", "crimson": "red", "gold": "yellow", "golden": "yellow", "tan": "brown", "colourless": "white"}  # fmt: skip


def word(colour: str, settings: CompareSettings = DEFAULTS.compare) -> str:
    """The plain word for ``#rrggbb``: one of ``WORDS``. A pale colour gets the word of its hue, as people would say it.

    >>> word("#f7bcd3"), word("#bcdcf7"), word("#f8da7b"), word("#ffffff")
    ('pink', 'blue', 'yellow', 'white')
    """
    absorbance = _absorbance(colour)
    top = float(absorbance.max())
    deeper = settings.colour_depth / top if settings.colour_least <= top < settings.colour_depth else 1.0
    lightness, chroma, hue = _lch(_lab(absorbance * deeper))
    if chroma < settings.grey_chroma:
        grey = "black" if lightness < settings.black_l else "grey"
        return "white" if lightness > settings.white_l else grey
    return _shaded(_hue_word(hue, chroma, settings), lightness, chroma, settings)


def words_in(text: str) -> frozenset[str]:
    """The plain words in what somebody wrote, such as ``brown-black``; empty where there are none."""
    found = (_SYNONYMS.get(piece, piece) for piece in re.findall(r"[a-z]+", text.casefold()))
    return frozenset(piece for piece in found if piece in WORDS)


def compared(seen: str, known: str, settings: CompareSettings = DEFAULTS.compare) -> tuple[str, float | None]:
    """Whether a colour seen agrees with a known one, both ``#rrggbb``; and their difference ΔE00 at one depth.

    ``cannot tell``, without a difference, where either is missing or too pale; with one where it lies between the two bounds.
    """
    return compared_all([(seen, known, "")], settings)[0]


def compared_all(
    asked: Sequence[tuple[str, str, str]], settings: CompareSettings = DEFAULTS.compare
) -> list[tuple[str, float | None]]:
    """The same for many at once: (colour seen, known colour, its words); the words are asked where no known colour is given."""
    said: list[tuple[str, float | None]] = [(CANNOT_TELL, None)] * len(asked)
    by_hex = [n for n, (seen, known, _) in enumerate(asked) if seen and known]
    for n, one in zip(by_hex, _apart([asked[n][:2] for n in by_hex], settings), strict=True):
        said[n] = one
    words: dict[tuple[str, str], str] = {}
    for n, (seen, known, text) in enumerate(asked):
        if seen and text and not known:
            if (seen, text) not in words:
                words[seen, text] = compared_words(seen, text, settings)
            said[n] = words[seen, text], None
    return said


def _apart(pairs: Sequence[tuple[str, ...]], settings: CompareSettings) -> list[tuple[str, float | None]]:
    """What pairs of colours say of each other, and how far they lie apart at one depth."""
    if not pairs:
        return []
    absorbance = _absorbances([colour for pair in pairs for colour in pair])
    top = absorbance.max(axis=1, keepdims=True)
    labs = _lab(absorbance * settings.colour_depth / np.maximum(top, 1e-6))
    apart = ciede2000(labs[::2], labs[1::2]).tolist()
    clear = np.minimum(top[::2], top[1::2]).ravel() >= settings.colour_least
    return [
        (_agreement(distance, settings), distance) if enough else (CANNOT_TELL, None)
        for distance, enough in zip(apart, clear.tolist(), strict=True)
    ]


def _agreement(apart: float, settings: CompareSettings) -> str:
    if apart <= settings.colour_agrees:
        return AGREES
    return DIFFERS if apart > settings.colour_differs else CANNOT_TELL


def compared_words(seen: str, known: str, settings: CompareSettings = DEFAULTS.compare) -> str:
    """The same for a colour seen, ``#rrggbb``, against what somebody wrote; a word next to all of those written decides nothing.

    >>> [compared_words(seen, "brown-black") for seen in ("#4a3a30", "#808080", "#f8da7b")]
    ['agrees', 'cannot tell', 'differs']
    """
    known_words = words_in(known)
    if not (seen and known_words) or _absorbance(seen).max() < settings.colour_least:
        return CANNOT_TELL
    seen_word = word(seen, settings)
    if seen_word in known_words:
        return AGREES
    near = all(frozenset((seen_word, other)) in NEIGHBOURS for other in known_words)
    return CANNOT_TELL if near else DIFFERS


def middle(colours: Sequence[str]) -> str:
    """The colour that lies nearest to all others, because colours do not average; ``""`` of none."""
    if len(colours) < 3:
        return colours[-1] if colours else ""
    labs = _lab(_absorbances(colours))
    return colours[int(ciede2000(labs[:, None], labs[None, :]).sum(axis=1).argmin())]


def _absorbance(colour: str) -> Floats:
    """(3,) absorbance against white; black counts as half a level of light."""
    return np.asarray(_absorbances([colour])[0])


def _absorbances(colours: Sequence[str]) -> Floats:
    """(n, 3) the same of several."""
    levels = np.frombuffer(bytes.fromhex("".join(colours).replace("#", "")), np.uint8).reshape(-1, 3)
    return np.asarray(-np.log10(decoded(np.maximum(levels, 0.5) / 255)))


def _lab(absorbance: Floats) -> Floats:
    return lab_from_linear(10.0**-absorbance)


def _lch(lab: Floats) -> tuple[float, float, float]:
    lightness, a, b = (float(v) for v in lab)
    return lightness, float(np.hypot(a, b)), float(np.degrees(np.arctan2(b, a)) % 360)


def _hue_word(hue: float, chroma: float, settings: CompareSettings) -> str:
    reach = {"blue": settings.blue_tilt * chroma}
    return next(name for upto, name in settings.hues if hue <= upto + reach.get(name, 0.0))


def _shaded(name: str, lightness: float, chroma: float, settings: CompareSettings) -> str:
    """The word for a hue at that lightness: dark orange is brown, light red pink."""
    if name == "red":
        return "pink" if lightness > settings.light_red_l else "brown" if lightness < settings.dark_red_l else name
    if name == "pink":
        return "red" if lightness < settings.dark_red_l else name
    dull = name == "orange" and chroma < settings.brown_chroma and lightness < settings.white_l
    return "brown" if name in ("orange", "yellow") and (lightness < settings.brown_l or dull) else name
