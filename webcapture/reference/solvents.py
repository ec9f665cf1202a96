"""Names of the usual solvents, brought to one name each.

Systematic and common names of one liquid are the same component; nothing else is: a name that is not in this table stands for itself,
and a name that could be two liquids is refused. Common knowledge of the trade, no source.
"""

from __future__ import annotations

_ROWS = (
    ("water", "distilled water", "deionised water", "deionized water", "pure water", "h2o", "aqua"),
    ("methanol", "methyl alcohol", "meoh"),
    ("ethanol", "ethyl alcohol", "etoh", "absolute ethanol"),
    ("propan-1-ol", "1-propanol", "n-propanol", "n-propyl alcohol"),
    ("propan-2-ol", "2-propanol", "isopropanol", "iso-propanol", "isopropyl alcohol", "iso-propyl alcohol"),
    ("butan-1-ol", "1-butanol", "n-butanol", "n-butyl alcohol", "buoh", "n-buoh"),
    ("butan-2-ol", "2-butanol", "sec-butanol", "sec-butyl alcohol"),
    ("2-methylpropan-1-ol", "isobutanol", "iso-butanol", "isobutyl alcohol"),
    ("2-methylpropan-2-ol", "tert-butanol", "t-butanol", "tert-butyl alcohol"),
    ("pentan-1-ol", "1-pentanol", "n-pentanol", "n-amyl alcohol"),
    ("propanone", "acetone"),
    ("butanone", "butan-2-one", "2-butanone", "methyl ethyl ketone", "mek"),
    ("methanoic acid", "formic acid", "hcooh"),
    ("ethanoic acid", "acetic acid", "glacial acetic acid", "glacial ethanoic acid", "ch3cooh", "hoac", "acoh"),
    ("ethyl ethanoate", "ethyl acetate", "etoac"),
    ("ethoxyethane", "diethyl ether", "ethyl ether"),
    ("petroleum ether", "petroleum spirit", "light petroleum", "pet ether", "ligroin"),
    ("hexane", "n-hexane"),
    ("heptane", "n-heptane"),
    ("cyclohexane",),
    ("methylbenzene", "toluene"),
    ("dichloromethane", "methylene chloride", "dcm"),
    ("trichloromethane", "chloroform"),
    ("ethanenitrile", "acetonitrile", "mecn", "methyl cyanide"),
    ("1,4-dioxane", "p-dioxane"),
    ("oxolane", "tetrahydrofuran", "thf"),
    ("pyridine",),
    ("phenol", "carbolic acid"),
    ("ammonia solution", "aqueous ammonia", "ammonia", "ammonium hydroxide", "nh4oh"),
    ("hydrochloric acid", "hcl"),
    ("nitric acid", "hno3"),
    ("sulfuric acid", "sulphuric acid", "h2so4"),
    ("sodium chloride solution", "aqueous sodium chloride"),
)
"""The name used here, then other names of the same liquid."""

NAMES = {other: row[0] for row in _ROWS for other in row}
"""Every name in the table to the one used here."""

SOLUTIONS = frozenset({"ammonia solution", "hydrochloric acid", "nitric acid", "sulfuric acid", "sodium chloride solution", "phenol"})  # fmt: skip
"""Whose per cent is a strength and not a volume."""
LIQUIDS = frozenset(row[0] for row in _ROWS) - SOLUTIONS
"""Of which a share by volume has one meaning."""

TWO_MEANINGS = {
    "butanol": ("butan-1-ol", "butan-2-ol"),
    "butyl alcohol": ("butan-1-ol", "butan-2-ol"),
    "propanol": ("propan-1-ol", "propan-2-ol"),
    "propyl alcohol": ("propan-1-ol", "propan-2-ol"),
    "pentanol": ("pentan-1-ol", "pentan-2-ol"),
    "amyl alcohol": ("pentan-1-ol", "3-methylbutan-1-ol"),
    "ether": ("ethoxyethane", "petroleum ether"),
    "alcohol": ("ethanol", "propan-2-ol"),
    "acid": ("ethanoic acid", "hydrochloric acid"),
}
"""Names that say too little, with what they could mean."""
