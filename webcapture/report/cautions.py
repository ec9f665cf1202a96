"""The usual cautions for what a practical uses: general knowledge of the laboratory, never a risk assessment."""

from __future__ import annotations

import re
from dataclasses import dataclass

PRACTICE = "common practice, no source"
"""Mark of every row: what suppliers' safety data sheets and laboratory rules usually say, written from memory, not looked up."""


@dataclass(frozen=True, slots=True)
class Caution:
    """One caution."""

    about: str
    """What it is about, as the page names it."""
    text: str
    source: str
    """Where it comes from, or its mark where there is no source."""


_FLAMMABLE = "Highly flammable: no flame, spark or hot plate near it; let in fresh air."
_ROWS: tuple[tuple[str, str, str], ...] = (
    (r"propanone|acetone", "Propanone", _FLAMMABLE),
    (r"petroleum (?:ether|spirit)|light petroleum|ligroin|hexane|heptane", "Petroleum ether", _FLAMMABLE),
    (r"ethanol|methylated spirits?|propan-?[12]-?ol|isopropanol|ethyl alcohol", "Ethanol and the like", _FLAMMABLE),
    (r"methanol", "Methanol", "Highly flammable and toxic: no flame near it, and work in a fume cupboard."),
    (r"(?:n-?)?butan-?[12]?-?ol|(?:n-?)?butyl alcohol", "Butan-1-ol", "Flammable and irritant: use it in a fume cupboard."),
    (r"(?:ethanoic|acetic) acid", "Ethanoic acid", "Corrosive, burns the skin: wear gloves and eye protection."),
    (r"(?:hydrochloric|hydrogen chloride|nitric|sulfuric|sulphuric)(?: acid)?|hcl", "Mineral acid", "Corrosive, harmful vapour: wear gloves and eye protection, use a fume cupboard."),
    (r"ammonia|ammonium hydroxide", "Ammonia", "Corrosive, harmful vapour: use a fume cupboard, wear gloves and eye protection."),
    (r"ethyl (?:ethanoate|acetate)|diethyl ether|ethoxyethane|toluene", "Volatile solvent", "Highly flammable, harmful vapour: no flame near it, use a fume cupboard."),
    (r"chloroform|trichloromethane|dichloromethane", "Chlorinated solvent", "Harmful vapour, suspected of causing cancer: use a fume cupboard, and ask for a substitute."),
    (r"ninhydrin", "Ninhydrin spray", "Flammable, can cause an allergy, damages the eyes and stains the skin: wear gloves and eye protection, spray in a fume cupboard."),
    (r"iodine", "Iodine", "Harmful vapour, stains: use a fume cupboard, and keep the vessel closed."),
    (r"phenol", "Phenol", "Toxic, burns the skin: wear gloves and eye protection, use a fume cupboard."),
    (r"u\.?v\.?(?: ?lamp| ?light)?|ultra-?violet", "Ultraviolet lamp", "Never look into the lamp; shield it, and wear eye protection that stops ultraviolet."),
    (r"(?:iron|copper|cobalt|nickel|manganese|silver|mercury|lead|chromium|chromate|cadmium|barium)s?(?:\(|\b)|metal salts?", "Metal salts", "Toxic, and harmful to water: wear gloves, collect the waste."),
    (r"spray(?:ed)?", "Sprays", "Spray only in a fume cupboard, with gloves and eye protection."),
)  # fmt: skip
_ALWAYS = (
    ("Tank", "Keep the lid on the tank."),
    ("Laboratory", "Nothing from the laboratory is eaten or drunk."),
)
_KNOWN = tuple(
    (re.compile(rf"(?<![a-z])(?:{words})(?![a-z])", re.IGNORECASE), about, text) for words, about, text in _ROWS
)
DEFER = "These are the usual cautions and may miss some. The local risk assessment, local rules and the responsible person decide."


def cautions_for(*texts: str) -> tuple[Caution, ...]:
    """The cautions for what these texts name (mobile phase, locating agent, lanes), and those that hold always.

    >>> [caution.about for caution in cautions_for("propanone : water 1 : 9", "")]
    ['Propanone', 'Tank', 'Laboratory']
    """
    named = " ; ".join(texts)
    found = [(about, text) for pattern, about, text in _KNOWN if pattern.search(named)]
    return tuple(Caution(about, text, PRACTICE) for about, text in (*found, *_ALWAYS))
