"""The method of a run in a normal form, so that the same conditions are equal and others are not.

A mobile phase is its components and their shares by volume. ``A:B 9:1``, ``A/B (9:1)`` and ``18 mL A + 2 mL B`` are the same;
the order of the components and the unit do not matter. What cannot be read in one way only is refused: a guess here would
compare values that must not be compared. A name that is none of the usual ones stands for itself, letter by letter.

A solution of stated strength (``ethanol 70 %``, ``0.1 mol/L hydrochloric acid``) is a component of its own, because volumes of
it and of what it is made from do not simply add. A text in double quotes is one component, whatever it says.
"""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache
from itertools import pairwise
from math import lcm

from webcapture.errors import UsageError
from webcapture.reference.solvents import LIQUIDS, NAMES, TWO_MEANINGS
from webcapture.settings import DEFAULTS, CompareSettings

REMEDY = (
    "Write components and proportions by volume, such as “propanone : petroleum ether 1 : 9” or “18 mL propanone + 2 mL water”, "
    "with a decimal point. Put a name of your own into double quotes."
)

NOT_NOTED = "nothing noted"
"""What a remark says in the place of a locating agent."""
STRENGTHS = Fraction(1, 10**9), Fraction(10**6)
"""Least and greatest number of a solution's strength; what lies beyond is a slip of the pen."""
LONGEST = 400
"""Characters of a mobile phase; the longest of the trade's have some hundred."""


class MethodUnclear(UsageError):
    """A mobile phase or a paper that cannot be read in one way only."""

    default_hint = REMEDY


@dataclass(frozen=True, slots=True)
class Part:
    """One component of a mobile phase."""

    name: str
    """In its normal form; a solution with its strength, such as ``ethanol 70 %``."""
    share: Fraction
    """Of the volume, above 0 to 1, exact."""


@dataclass(frozen=True, slots=True)
class MobilePhase:
    """Components in the order of their names; the shares add up to 1."""

    parts: tuple[Part, ...]

    @property
    def text(self) -> str:
        """The largest share first, in whole numbers; reading it gives the same mobile phase."""
        parts = sorted(self.parts, key=lambda part: (-part.share, part.name))
        if len(parts) == 1:
            return parts[0].name
        whole = lcm(*(part.share.denominator for part in parts))
        numbers = (str(part.share * whole) for part in parts)
        return f"{' : '.join(part.name for part in parts)} {' : '.join(numbers)}"


@dataclass(frozen=True, slots=True)
class Method:
    """How a chromatogram is run. Values compare only where mobile phase and paper are the same."""

    mobile_phase: MobilePhase
    paper: str
    """In its normal form."""
    temperature_c: float | None = None
    """None where it was not noted."""
    locating: str = ""
    """Locating agent in lower case; ``""`` where the spots show by themselves or it was not noted."""

    @property
    def conditions(self) -> tuple[MobilePhase, str]:
        """What must be the same for two values to be compared at all."""
        return self.mobile_phase, self.paper


@dataclass(frozen=True, slots=True)
class Remark:
    """Something to bear in mind with a comparison; it changes no number."""

    code: str
    text: str


def method_of(mobile_phase: str, paper: str, temperature_c: float | None = None, locating: str = "") -> Method:
    """The method as people write it, in its normal form; raises MethodUnclear where it cannot be read in one way only."""
    return Method(mobile_phase_of(mobile_phase), paper_of(paper), temperature_c, _plain(locating))


def remarks(
    first: Method, second: Method, settings: CompareSettings = DEFAULTS.compare,
) -> tuple[Remark, ...]:  # fmt: skip
    """What differs between two methods of the same conditions, or is not known, and may move Rf or colour."""
    found = []
    t1, t2 = first.temperature_c, second.temperature_c
    if t1 is None or t2 is None:
        found.append(Remark("temperature-unknown", "The temperature was not noted for both: Rf moves with it."))
    elif abs(t1 - t2) > settings.temperature_k:
        found.append(
            Remark(
                "temperature-differs",
                f"This run at {t1:g} °C, the reference at {t2:g} °C: Rf moves with temperature.",
            )
        )
    if first.locating != second.locating:
        here, there = first.locating or NOT_NOTED, second.locating or NOT_NOTED
        found.append(
            Remark("locating-differs", f"Located with {here} here, with {there} there: colours do not compare.")
        )
    return tuple(found)


# ---- papers

_NUMBER = re.compile(r"(?:\b(?:no|nr|number)\b\s*\.?\s*|\bno\s*\.?\s*|#\s*)(?=\d)")


def paper_of(text: str) -> str:
    """A paper's name in its normal form: case, spaces, hyphens and the ways of writing "number" do not matter.

    >>> paper_of("Filter-Paper  No.1") == paper_of("filter paper № 1") == paper_of("filter paper #1")
    True
    """
    plain = _plain(text).replace("-", " ").replace("_", " ")
    name = " ".join(_NUMBER.sub(" no ", plain).split()).strip(" .,;")
    if not name:
        raise MethodUnclear(
            "The paper is not named.", "Say which paper it is, as its packet does, or “filter paper, unspecified”."
        )
    return name


# ---- mobile phases

_AMOUNT = r"\d+(?:\.\d+)?"
_RATIO = rf"{_AMOUNT}(?:\s*[:/]\s*{_AMOUNT})+"
_AFTER = re.compile(rf"^(?P<names>.*?[^\d.,:/\s])\s*[=,]?\s*(?<![\d.,])\(?\s*(?P<ratio>{_RATIO})\s*\)?$")
_BEFORE = re.compile(rf"^\(?\s*(?P<ratio>{_RATIO})\s*\)?\s+(?P<names>\S.*)$")
_BETWEEN = re.compile(r"\s*(?::|/|\+|;|\s[-–—]\s|,\s|\sand\s|\s&\s)\s*")
_VOLUMES = {"ml": Fraction(1), "cm3": Fraction(1), "cc": Fraction(1), "l": Fraction(1000), "dm3": Fraction(1000), "cl": Fraction(10), "µl": Fraction(1, 1000), "ul": Fraction(1, 1000)}  # fmt: skip
_UNITS = {**{unit: ("volume", size) for unit, size in _VOLUMES.items()}, **dict.fromkeys(("part", "parts", "vol", "volume", "volumes"), ("part", Fraction(1))), "%": ("%", Fraction(1))}  # fmt: skip
_UNIT = "|".join(sorted(_UNITS, key=len, reverse=True))
_FIRST = re.compile(rf"^(?P<amount>{_AMOUNT})\s*(?P<unit>{_UNIT})(?![a-z])\s*(?:of\s+)?(?P<name>\S.*)$")
_LAST = re.compile(rf"^(?P<name>\S(?:.*?[^\s(])?)\s*\(?\b(?P<amount>{_AMOUNT})\s*(?P<unit>{_UNIT})\)?$")
_IN = re.compile(rf"^(?P<amount>{_AMOUNT})\s*%\s*(?P<name>\S.*?)\s+in\s+(?P<rest>\S.*)$")
_BY_VOLUME = re.compile(r"\(?\bv(?:/v)+\b\)?|\(?\bby vol(?:ume|\.)?(?:s)?\b\)?|\(\s*\)")
_MOLAR = re.compile(r"\bmol(?:\s*/\s*(?:l|dm3)|\s*(?:l|dm)\s?[-−]\s?[13])(?![a-z0-9])")
_STRENGTH_UNIT = r"(?:%(?:\s*\(?(?:w/v|w/w|m/v|m/m)\)?)?|molar|m|n)"
_STRONG_FIRST = re.compile(
    rf"^(?P<strength>{_AMOUNT})\s*(?P<unit>{_STRENGTH_UNIT})(?![a-z])\s*(?:of\s+)?(?P<name>\S.*)$"
)
_STRONG_LAST = re.compile(
    rf"^(?P<name>\S(?:.*?[^\s(,])?)\s*,?\s*\(?(?<![\d.,])(?P<strength>{_AMOUNT})\s*(?P<unit>{_STRENGTH_UNIT})\)?$"
)
_WORD = re.compile(r"(?:\d(?:,\d)*-)?\(?[^\W\d_][\w'()]*(?:,?-[\w'()]+)*\)?")
"""A word of a name: letters, digits after them, and the numbers in front of a hyphen that chemical names have."""
_MARK = "\ue000"
_QUOTED = re.compile(r"[\"“”„«»]([^\"“”„«»]+)[\"“”„«»]")


@lru_cache(maxsize=1024)
def mobile_phase_of(text: str) -> MobilePhase:
    """The mobile phase that ``text`` describes; raises MethodUnclear where it cannot be read in one way only.

    >>> mobile_phase_of("A:B 9:1") == mobile_phase_of("2 mL b + 18 mL a")
    True
    >>> mobile_phase_of("n-butanol, acetic acid and water (4:1:5)").text
    'water : butan-1-ol : ethanoic acid 5 : 4 : 1'
    """
    if len(text) > LONGEST:
        raise MethodUnclear(f"A mobile phase of {len(text)} characters is too long.")
    plain, quoted = _without_quotes(_plain(text))
    plain = " ".join(_BY_VOLUME.sub(" ", _MOLAR.sub("molar", plain)).split()).strip(" .,;")
    if len(plain) > LONGEST:  # compatibility forms may be several characters
        raise MethodUnclear(f"A mobile phase of {len(plain)} characters is too long.")
    if not plain:
        raise MethodUnclear("The mobile phase is empty.")
    amounts = _by_ratio(plain) or _by_amounts(plain) or _by_share_in(plain) or [(plain, Fraction(1))]
    named = [(_component(name, quoted, plain), amount) for name, amount in amounts]
    return _shares(named, plain)


def _plain(text: str) -> str:
    """Lower case, compatibility forms resolved (cm³, №, full width), one space where there are several."""
    resolved = unicodedata.normalize("NFKC", text).replace("μ", "µ").replace("∶", ":").casefold()
    return " ".join(resolved.replace("μ", "µ").replace("‐", "-").replace("‑", "-").split())


def _without_quotes(plain: str) -> tuple[str, tuple[str, ...]]:
    """Quoted names out of the way of separators and numbers: each becomes a word that nobody writes."""
    plain = plain.replace(_MARK, " ")
    quoted = tuple(" ".join(found.split()) for found in _QUOTED.findall(plain))
    letters = iter(range(len(quoted)))
    return _QUOTED.sub(lambda _: f" {_MARK}{next(letters)}{_MARK} ", plain), quoted


def _by_ratio(plain: str) -> list[tuple[str, Fraction]] | None:
    """``A : B 9 : 1``, or the numbers first."""
    found = _AFTER.match(plain) or _BEFORE.match(plain)
    if not found:
        return None
    numbers = [Fraction(number) for number in re.split(r"\s*[:/]\s*", found["ratio"])]
    names = _BETWEEN.split(found["names"].strip(" ()"))
    if len(names) != len(numbers):
        raise MethodUnclear(f"“{plain}” names {_count(len(names), 'component')} and gives {_count(len(numbers), 'proportion')}.")  # fmt: skip
    return list(zip(names, numbers, strict=True))


def _by_amounts(plain: str) -> list[tuple[str, Fraction]] | None:
    """``18 mL A + 2 mL B``, ``A 9 parts, B 1 part``, ``90 % A + 10 % B``; a bare ``70 % A`` is a strength and none of these."""
    chunks = re.split(r"\s*(?:\+|;|,\s|\sand\s|\s&\s|\sin\s(?=\d))\s*", plain)
    found = [_FIRST.match(chunk) or _LAST.match(chunk) for chunk in chunks]
    if not all(found) or (len(found) == 1 and found[0] is not None and found[0]["unit"] == "%"):
        return None
    amounts = [match for match in found if match is not None]
    kinds = {_UNITS[match["unit"]][0] for match in amounts}
    if len(kinds) > 1:
        raise MethodUnclear(f"“{plain}” mixes {' and '.join(sorted(kinds))}: give all amounts in one way.")
    listed = [(match["name"], Fraction(match["amount"]) * _UNITS[match["unit"]][1]) for match in amounts]
    if kinds == {"%"} and sum(amount for _, amount in listed) != 100:
        raise MethodUnclear(f"The per cent of “{plain}” do not add up to 100.")
    return listed


def _by_share_in(plain: str) -> list[tuple[str, Fraction]] | None:
    """``9 % A in B``, where both are liquids whose per cent has one meaning."""
    found = _IN.match(plain)
    if not found:
        return None
    names = (NAMES.get(found["name"]), NAMES.get(found["rest"]))
    amount = Fraction(found["amount"])
    if not all(name in LIQUIDS for name in names) or amount >= 100:
        raise MethodUnclear(f"“{plain}” does not say whether its per cent is by volume or by mass.", "Give volumes, such as “9 mL A + 91 mL B”; or write a solution of known strength as one name, such as “sodium chloride solution 1 %”.")  # fmt: skip
    return [(found["name"], amount), (found["rest"], 100 - amount)]


def _component(text: str, quoted: tuple[str, ...], plain: str) -> str:
    """One component's name in its normal form, with its strength where it has one."""
    name = text.strip(" .,;")
    if found := re.fullmatch(rf"{_MARK}(\d+){_MARK}", name):
        if not quoted[int(found[1])]:
            raise MethodUnclear(f"“{plain}” has a component without a name.")
        return f'"{quoted[int(found[1])]}"'
    if not name:
        raise MethodUnclear(f"“{plain}” has a proportion without a component.")
    strong = _STRONG_FIRST.match(name) or _STRONG_LAST.match(name)
    if not strong:
        return _known(name, plain)
    unit = " ".join(strong["unit"].replace("(", "").replace(")", "").split())
    unit = "mol/l" if unit in ("m", "molar") else unit
    amount = Fraction(strong["strength"])
    if not STRENGTHS[0] <= amount <= STRENGTHS[1] or (unit.startswith("%") and amount > 100):
        raise MethodUnclear(f"A strength of {strong['strength']} {unit} is impossible.")
    pure = unit == "%" and amount == 100
    return _known(strong["name"], plain) + ("" if pure else f" {_decimal(amount)} {unit}")


def _known(text: str, plain: str) -> str:
    name = " ".join(text.strip(" .,;").split())
    if name in TWO_MEANINGS:
        raise MethodUnclear(f"“{name}” could be {' or '.join(TWO_MEANINGS[name])}.", "Write which one it is.")
    if name in NAMES:
        return NAMES[name]
    if len(_BETWEEN.split(name)) > 1:
        raise MethodUnclear(f"“{plain}” does not give the proportions of all its components.")
    if not all(_WORD.fullmatch(word) for word in name.split(" ")) or {"in", "and"} & set(name.split(" ")):
        raise MethodUnclear(f"“{plain}” cannot be read as a mobile phase: “{name}” is not understood.")
    return name


def _shares(named: list[tuple[str, Fraction]], plain: str) -> MobilePhase:
    if not all(amount > 0 for _, amount in named):
        raise MethodUnclear(f"“{plain}” has a proportion of zero.", "Leave out what is not in the mobile phase.")
    ordered = sorted(named)
    twice = [a for (a, _), (b, _) in pairwise(ordered) if a == b]
    if twice:
        raise MethodUnclear(f"“{plain}” names {twice[0]} twice.")
    whole = sum((amount for _, amount in ordered), Fraction(0))
    return MobilePhase(tuple(Part(name, amount / whole) for name, amount in ordered))


def _count(n: int, word: str) -> str:
    return f"{n} {word}{'' if n == 1 else 's'}"


def _decimal(value: Fraction) -> str:
    return f"{float(value):.12f}".rstrip("0").rstrip(".")
