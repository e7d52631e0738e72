"""An interior flat as it is usually made (common practice, no source): nothing is said of its order or of its work.

What nobody does is said: the dispersant behind the pigments, the latex in the grind, dry smectite at the end.
"""

from __future__ import annotations

import pytest
from in_memory import TODAY
from lint_cases import catalog_of

from formulint.judge import Judge

PACKS = ("order/", "process/")
FLAT = """
code    = "T-1"
name    = "interior flat, by common practice"
revision = 1
state   = "production"
class   = "flat"
markets = ["us-national", "us-south-coast"]
batch   = "100 gal"

[[stage]]
name   = "Grind"
kind   = "grind"
vessel = "TK-1"
additions = [
  { material = "WATER",      amount = "230 lb" },
  { material = "WETTER",     amount = "3 lb" },
  { material = "DISPERSANT", amount = "8 lb" },
  { material = "BIT",        amount = "1.5 lb" },
  { material = "DEFOAMER",   amount = "2 lb" },
  { material = "RUTILE",     amount = "150 lb" },
  { material = "KAOLIN",     amount = "120 lb" },
  { material = "SYENITE",    amount = "100 lb" },
  { material = "TALC",       amount = "60 lb" },
  { material = "GRIND-AID",  amount = "2 lb" },
  { step = "disperse", time = "20 min", temperature = { max = "82 degF" }, until = { fineness = { min = "5 hegman" } }, note = "water in the jacket" },
]

[[stage]]
name   = "Letdown"
kind   = "letdown"
vessel = "TK-2"
additions = [
  { material = "LATEX",      amount = "300 lb" },
  { stage = "Grind" },
  { material = "REACTIVE",   amount = "7 lb" },
  { material = "OPEN",       amount = "8 lb" },
  { material = "SILICA",     amount = "15 lb" },
  { material = "WAX",        amount = "10 lb" },
  { material = "INHIBITOR",  amount = "3 lb" },
  { material = "IPBC",       amount = "4 lb" },
  { material = "BENTONITE-GEL", amount = "40 lb" },
  { material = "HEUR",       amount = "12 lb" },
  { material = "COLORANT",   amount = "1 lb" },
  { step = "mix", time = "15 min" },
  { material = "WATER",      amount = "q.s." },
]

[product]
use = ["interior"]
"""
MATERIALS = {
    "KAOLIN": ('"extender"', "powder", "2.6 kg/L", "100 %", "0 %", '"calcined-kaolin"'),
    "SYENITE": ('"extender"', "powder", "2.6 kg/L", "100 %", "0 %", '"nepheline-syenite"'),
    "GRIND-AID": ('"grinding-aid"', "liquid", "1 kg/L", "100 %", "0 %", ""),
    "REACTIVE": ('"coalescent"', "liquid", "0.95 kg/L", "100 %", "0 %", ""),
    "OPEN": ('"open-time-additive"', "solution", "1.02 kg/L", "50 %", "50 %", ""),
}
"""What the shelf does not hold: functions, form, density, nonvolatile, water, tags."""


def line(material: str) -> str:
    """The line of a material in the sheet, with its line break."""
    return next(text for text in FLAT.splitlines(keepends=True) if f'"{material}"' in text)


def moved(material: str, behind: str) -> str:
    """The sheet with one line moved behind another."""
    return FLAT.replace(line(material), "").replace(line(behind), line(behind) + line(material))


def said(sheet: str) -> list[tuple[str, str]]:
    """Level and rule of everything that the packs say about order and work of a sheet, notes included."""
    files = {"formulint.toml": "format = 1\n", "formulas/T-1.toml": sheet}
    for code, (function, form, density, solids, water, tags) in MATERIALS.items():
        text = f'code = "{code}"\nname = "{code.lower()}"\nfunctions = [{function}]\nform = "{form}"\ndensity = "{density}"\nnonvolatile = "{solids}"\nwater = "{water}"\ntags = [{tags}]\n'
        files[f"materials/{code}.toml"] = text
    catalog = catalog_of(files, TODAY)
    found = tuple(Judge(catalog).formula(catalog.formula("formulas/T-1.toml")))
    assert not [one for one in found if one.rule.startswith("record/")]  # else nothing was judged
    return [(one.level.name, one.rule) for one in found if one.rule.startswith(PACKS)]


def test_the_usual_way_breaks_nothing() -> None:
    assert said(FLAT) == []


@pytest.mark.parametrize(
    ("sheet", "rule"),
    [
        (moved("DISPERSANT", "TALC"), ("error", "order/dispersant-before-pigment")),
        (moved("LATEX", "DEFOAMER"), ("error", "order/dry-pigment-not-on-latex")),
        (moved("LATEX", "DEFOAMER"), ("error", "order/latex-not-dispersed")),
        (FLAT.replace('"BENTONITE-GEL", amount = "40 lb"', '"BENTONITE", amount = "4 lb"'), ("warning", "order/swelling-clay-before-dispersant")),
        (FLAT.replace("82 degF", "150 degF"), ("warning", "process/grind-not-above-60-degrees")),
        (FLAT.replace("5 hegman", "2 hegman"), ("warning", "process/fineness-of-flats")),
    ],
    ids=["dispersant behind the pigments", "latex under the pigments", "latex in the grind", "dry smectite at the end", "a hot grind", "a coarse grind"],
)
def test_what_nobody_does_is_said(sheet: str, rule: tuple[str, str]) -> None:
    assert sheet != FLAT
    assert rule in said(sheet)
