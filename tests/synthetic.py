"""A large formula repository, made up line by line from a number: thousands of wall paints that keep every shipped rule.

>>> from synthetic import TODAY, files
>>> made = files(formulas=2000)      # name -> text, the same to the byte each time
>>> write(tmp_path, made)            # then: formulint -C tmp_path lint --today TODAY

All of it is invented; the figures are typical of each class of material, so that the rules have something to judge.
Amounts are pounds per 100 gallons; the last water is what makes the volumes add up.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import NamedTuple

TODAY = "2026-02-01"
"""The day on which the prices and sheets of the made-up materials are young enough."""

GALLON_OF_WATER = 8.34  # lb
BATCH = 100.0  # gal

SETTINGS = """\
# A made-up paint works, as large as one needs.

format        = 1
currency      = "USD"
units         = "us"
water_density = "8.34 lb/gal"
closure       = "0.5 %"

[packs]
voc       = "2026.1"
order     = "2026.1"
dose      = "2026.1"
materials = "2026.1"
closure   = "2026.1"
"""


class Family(NamedTuple):
    """One job in a paint: what its materials are called and weigh, and how much of them a formula takes.

    ``density`` [lb/gal] and ``solids`` [%] are those of all members; ``film`` is the density of the nonvolatile part
    [lb/gal] where it is not the whole; ``dose`` is the least and the most [lb/100 gal]; ``fields`` are further lines of
    the record, ``part`` is what the first component is and how much of the material, ``more`` are its further lines.
    """

    function: str
    name: str
    form: str
    density: float
    solids: int
    film: float
    water: int
    price: str
    dose: tuple[float, float]
    tags: str
    fields: str
    part: str
    more: str

    def volume(self, pounds: float) -> float:
        """Gallons of so much of it."""
        return pounds / self.density

    def dry(self, pounds: float) -> float:
        """Gallons of what stays in the film."""
        return pounds * self.solids / 100 / (self.film or self.density)


FIXED = 'volatile = "no"\nhazards  = []\n'
FAMILIES = (
    Family("in-can-preservative", "In-can preservative, BIT 20 % dispersion", "slurry", 9.30, 24, 11.0, 76, "3.60", (1.2, 1.6),
           "", 'active      = "20 %"\nph          = "11.0"\n', "1,2-benzisothiazol-3(2H)-one (BIT)",
           'cas      = "2634-33-5"\nvolatile = "no"\nhazards  = ["Eye Dam. 1", "Skin Sens. 1A", "Aquatic Acute 1"]\n'
           'hazard_figures = { limits = { "Skin Sens. 1A" = "0.036 %" }, m_acute = "1", m_chronic = "1" }\n'),
    Family("cellulosic-thickener", "Hydroxyethyl cellulose", "powder", 11.40, 100, 0, 0, "4.20", (3.5, 5.0), '"hec"',
           'ph          = "7.0"\nionic       = "nonionic"\n', "hydroxyethyl cellulose", FIXED),
    Family("neutralizer", "Ammonia, 28 % solution", "solution", 7.50, 0, 0, 72, "0.35", (1.0, 2.0), "",
           'other_volatile = "28 %"  # no carbon: volatile, but never VOC\n', "ammonia",
           'cas      = "7664-41-7"\nvolatile = "inorganic"\nhazards  = ["Skin Corr. 1B", "Aquatic Acute 1"]\n'),
    Family("dispersant", "Polyacid sodium dispersant", "solution", 9.20, 25, 13.0, 75, "0.85", (8.0, 9.0), '"polyacid"',
           'active      = "25 %"\nph          = "7.8"\nionic       = "anionic"\n', "sodium polyacrylate", FIXED),
    Family("wetting-agent", "Nonionic wetting agent", "solution", 8.80, 70, 9.0, 30, "1.40", (2.5, 3.5), "",
           'active      = "70 %"\nph          = "6.5"\nionic       = "nonionic"\n', "alcohol ethoxylate",
           'volatile = "no"\nhazards  = ["Eye Dam. 1"]\n'),
    Family("defoamer", "Mineral-oil defoamer", "liquid", 7.50, 100, 0, 0, "1.20", (2.0, 4.0), '"mineral-oil"',
           'note        = "for the grind"\n', "mineral oil with hydrophobic silica", FIXED),
    Family("white-pigment", "Rutile TiO2, universal grade", "powder", 33.30, 100, 0, 0, "1.55", (180.0, 220.0), '"rutile"',
           'oil_absorption = "19 g/100 g"\nph          = "8.0"\n', "titanium dioxide", FIXED),
    Family("extender", "Calcined kaolin", "powder", 21.90, 100, 0, 0, "0.38", (80.0, 120.0), '"calcined-kaolin"',
           'oil_absorption = "55 g/100 g"\nph          = "5.5"\n', "calcined kaolin", FIXED),
    Family("extender", "Ground calcium carbonate, 5 um", "powder", 22.60, 100, 0, 0, "0.16", (150.0, 190.0),
           '"ground-calcium-carbonate"', 'oil_absorption = "15 g/100 g"\nph          = "9.3"\n', "calcium carbonate", FIXED),
    Family("coalescent", "Ester-alcohol coalescent", "liquid", 7.91, 0, 0, 0, "1.35", (6.0, 9.0), "",
           'voc         = "100 %"\n', "ester alcohol",
           'volatile = "organic"\nboiling_point = "255 degC"\ndensity  = "7.91 lb/gal"\nhazards  = []\n'),
    Family("glycol", "Propylene glycol", "liquid", 8.64, 0, 0, 0, "0.95", (5.0, 10.0), "",
           'voc         = "100 %"\n', "propylene glycol",
           'cas      = "57-55-6"\nvolatile = "organic"\nboiling_point = "188 degC"\ndensity  = "8.64 lb/gal"\nhazards  = []\n'),
    Family("binder", "Vinyl-acrylic latex, 55 % nonvolatile", "emulsion", 9.06, 55, 9.75, 45, "0.72", (270.0, 310.0),
           '"vinyl-acrylic"', 'ph          = "5.0"\nionic       = "anionic"\nminimum_film_temperature = "50 degF"\n',
           "vinyl acetate-acrylate copolymer", FIXED),
    Family("associative-thickener", "HEUR, low-shear builder, 20 % nonvolatile", "solution", 8.70, 20, 9.2, 80, "1.90", (3.0, 5.0),
           '"heur", "low-shear-builder"', 'ph          = "7.0"\nionic       = "nonionic"\n',
           "polyether urethane, hydrophobically modified", FIXED),
)  # fmt: skip
GRIND = 9
"""So many families are charged before the powder is dispersed; the others go into the letdown."""

WATER = """\
# Town water, softened.
code      = "M-0000"
name      = "Process water"
functions = ["water"]
form      = "liquid"
state     = "approved"

density     = "8.34 lb/gal"
nonvolatile = "0 %"
water       = "100 %"

price      = "0.004 USD/lb"
price_date = 2026-01-05
sds_date   = 2025-01-08
disclosure = "full"
"""


def material_code(number: int) -> str:
    """The code of a material; 0 is water, the families follow in turn."""
    return f"M-{number:04d}"


def formula_code(number: int) -> str:
    """The code of a formula."""
    return f"F-{number:05d}"


def material(number: int) -> str:
    """The file of a material."""
    if number == 0:
        return WATER
    family = FAMILIES[(number - 1) % len(FAMILIES)]
    grade = (number - 1) // len(FAMILIES) + 1
    part = 28 if family.function == "neutralizer" else family.solids or 100
    if family.function == "in-can-preservative":
        part = 20
    lines = [f"# Grade {grade}; figures from the supplier's sheet.", f'code      = "{material_code(number)}"']
    lines += [f'name      = "{family.name}, grade {grade}"', f'functions = ["{family.function}"]']
    lines += [
        f'form      = "{family.form}"',
        'state     = "approved"',
        "",
        f'density     = "{family.density:.2f} lb/gal"',
    ]
    lines += [f'nonvolatile = "{family.solids} %"']
    lines += [f'water       = "{family.water} %"'] if family.water else []
    lines += [f'nonvolatile_density = "{family.film:.2f} lb/gal"'] if family.film else []
    lines += [
        f"{family.fields}",
        f'price      = "{family.price} USD/lb"',
        "price_date = 2026-01-05",
        "sds_date   = 2025-04-01",
    ]
    lines += [
        'disclosure = "full"',
        f'supplier   = "supplier {grade}"',
        f"tags       = [{family.tags}]",
        "",
        "[[component]]",
    ]
    name = family.part if "cas" in family.more else f"{family.part}, grade {grade}"
    return "\n".join([*lines, f'name     = "{name}"', f'share    = "{part} %"', family.more])


class Charge(NamedTuple):
    """A material of a formula, by number and family, and its pounds."""

    number: int
    family: Family
    pounds: float


def charges(number: int, materials: int) -> list[Charge]:
    """One of each family: which grade, and how much, follows from the number of the formula alone."""
    grades = (materials - 1) // len(FAMILIES)
    found = []
    for at, family in enumerate(FAMILIES):
        turn = number * (2 * at + 3) + number // 7 + at
        least, most = family.dose
        pounds = round(least + (most - least) * (turn % 11) / 10, 1)
        found.append(Charge(1 + at + len(FAMILIES) * (turn % grades), family, pounds))
    return found


def formula(number: int, materials: int = 300, markets: str = '"us-national"') -> str:
    """The file of a formula: 15 additions in two stages, closed by water."""
    taken = charges(number, materials)
    first = 240.0
    last = round((BATCH - sum(one.family.volume(one.pounds) for one in taken)) * GALLON_OF_WATER - first, 1)
    mass = first + last + sum(one.pounds for one in taken)
    pigment = sum(one.family.dry(one.pounds) for one in taken if one.family.function in ("white-pigment", "extender"))
    binder = sum(one.family.dry(one.pounds) for one in taken if one.family.function == "binder")
    share = 100 * pigment / (pigment + binder)
    grind = [_line(material_code(0), first, "water"), *(_charge(one) for one in taken[:GRIND])]
    letdown = [*(_charge(one) for one in taken[GRIND:]), _line(material_code(0), last, "water, to 100 gal")]
    return FORMULA.format(
        code=formula_code(number), number=number, markets=markets, grind="\n".join(grind), letdown="\n".join(letdown),
        low=mass / BATCH - 0.2, high=mass / BATCH + 0.2, least=share - 3, most=share + 3, time=15 + number % 10,
    )  # fmt: skip


def _charge(one: Charge) -> str:
    note = ', note = "sift in over 10 min"' if one.family.form == "powder" else ""
    return _line(material_code(one.number), one.pounds, one.family.name, note)


def _line(code: str, pounds: float, words: str, note: str = "") -> str:
    return f'  {{ material = "{code}", amount = "{pounds:.1f} lb"{note} }},  # {words}'


FORMULA = """\
# Amounts per 100 gal, in order of addition.
code     = "{code}"
name     = "Interior flat, white, variant {number}"
revision = 1
state    = "production"
class    = "flat"
markets  = [{markets}]
batch    = "100 gal"

[[stage]]
name = "Grind"
kind = "grind"
additions = [
{grind}
  {{ step = "disperse", speed = "1150 rpm", time = "{time} min", until = {{ fineness = {{ min = "3 hegman" }} }} }},
]

[[stage]]
name = "Letdown"
kind = "letdown"
additions = [
{letdown}
  {{ step = "hold", check = "consistency" }},
]

[product]
use       = ["interior"]
substrate = ["wall"]
gloss_60  = "2"
gloss_85  = "3"

[limits]
density    = {{ min = "{low:.2f} lb/gal", max = "{high:.2f} lb/gal" }}
pvc_binder = {{ min = "{least:.1f} %", max = "{most:.1f} %" }}

[tests]
consistency = {{ method = "ASTM D562", min = "95 KU", max = "105 KU", after = "24 h" }}
scrub       = {{ method = "ASTM D2486", min = "300", condition = "cycles to failure, dried 7 d" }}
ph          = {{ method = "ASTM E70", min = "8.3", max = "9.3" }}
"""


def files(formulas: int = 2000, materials: int = 300) -> dict[str, str]:
    """The whole repository: name of the file -> its text."""
    made = {"formulint.toml": SETTINGS}
    made |= {f"materials/{material_code(number)}.toml": material(number) for number in range(materials)}
    made |= {f"formulas/{formula_code(number)}.toml": formula(number, materials) for number in range(formulas)}
    return made


def write(folder: Path, made: Mapping[str, str]) -> Path:
    """Write the files below the folder; the folder."""
    for name, text in made.items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8")
    return folder
