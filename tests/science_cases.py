"""Reads the cases of science and checks one: inputs in any unit of the trade, laws by name, complaints as faults."""

from __future__ import annotations

import inspect
import re
import tomllib
from collections.abc import Callable, Iterator
from pathlib import Path
from types import ModuleType

from formulint.science import balance, cost, demand, film, machine, mixing, pigment, porosity, voc

Case = dict[str, object]
Law = Callable[..., float]

MODULES: tuple[ModuleType, ...] = (mixing, pigment, porosity, film, cost, voc, balance, demand, machine)
LAWS: dict[str, Law] = {
    name: law
    for module in MODULES
    for name, law in inspect.getmembers(module, inspect.isfunction)
    if law.__module__ == module.__name__ and not name.startswith("_")
}
FOLDER = Path(__file__).parent / "cases" / "science"

# What a batch offers to the laws of properties, with its unit.
TOTALS = {
    "total_mass": "kg", "total_volume": "L", "nonvolatile_mass": "kg", "nonvolatile_volume": "L",
    "pigment_volume_all": "L", "pigment_volume_binder_convention": "L", "pigment_volume_oil": "L", "oil_mass": "kg",
    "pigment_mass": "kg", "binder_mass": "kg", "binder_volume": "L", "water_mass": "kg", "water_volume": "L",
    "exempt_volume": "L", "exempt_mass": "kg", "voc_mass_us": "kg", "voc_mass_eu": "kg", "cost": "money",
    "volatile_volume": "L", "binder_index_volume": "L", "dispersant_needed": "kg", "dispersant_active": "kg",
    "pigment_area": "m2", "film_temperature_mass": "K kg", "film_temperature_drop": "K kg", "dry_film": "m",
    "coverage": "m2/L", "disc": "m", "tank": "m", "rotation": "1/s", "mill_volume": "L",
}  # fmt: skip
PROPERTY_LAWS = (
    "density", "nonvolatile_mass_share", "nonvolatile_volume_share", "pvc", "pvc_binder", "cpvc", "reduced_pvc",
    "pigment_binder", "water_share", "voc_material", "voc_less_water", "voc_ready_to_use", "voc_by_difference",
    "cost_mass", "cost_volume", "solids_content", "volume_balance", "oil_absorption_of_mixture", "binder_index", "cpvc_latex",
    "voids", "dispersant_demand", "dispersant_supply", "dispersant_on_area", "minimum_film_temperature", "spreading_rate",
    "wet_film", "wet_film_at_coverage", "dry_film_at_coverage", "mass_on_area", "cost_dry_volume", "cost_area", "tip_speed",
    "disc_to_tank", "disc_coverage",
)  # fmt: skip

# --- docstrings, read by machine ------------------------------------------------------------------------------------


def section(law: Law, title: str) -> str:
    """The text of one section of a docstring; empty where there is none."""
    found = re.search(rf"^{title}\n-+\n(.*?)(?=\n\n\w[^\n]*\n-+\n|\Z)", inspect.getdoc(law) or "", re.S | re.M)
    return found[1] if found else ""


def units(law: Law, title: str = "Parameters") -> dict[str, str]:
    """Unit by name, as the docstring states it."""
    return dict(re.findall(r"^(\w+) : \w+\n(?: +[^\n]*\n)*? +[^\n]*\[([^\]\n]+)\]$", section(law, title), re.M))


# --- figures of the cases -------------------------------------------------------------------------------------------

UNITS = {
    "kg": (1.0, "kg"), "g": (1e-3, "kg"), "lb": (0.45359237, "kg"), "100g": (0.1, "kg"),
    "L": (1.0, "L"), "mL": (1e-3, "L"), "gal": (3.785411784, "L"), "sg": (8.337 * 0.45359237 / 3.785411784, "kg/L"),
    "m": (1.0, "m"), "um": (1e-6, "m"), "mil": (25.4e-6, "m"), "in": (0.0254, "m"), "hegman": (1.0, "hegman"),
    "m2": (1.0, "m2"), "ft2": (0.09290304, "m2"), "money": (1.0, "money"), "": (1.0, "1"),
    "%": (0.01, "share"), "ppm": (1e-6, "share"), "ft": (0.3048, "m"), "min": (60.0, "s"), "s": (1.0, "s"),
    "rpm": (1 / 60, "1/s"), "K": (1.0, "K"), "K_kg": (1.0, "K kg"),
}  # fmt: skip
KEYS = {"id", "function", "inputs", "expect", "within", "agrees", "refused", "evidence", "source", "url", "checked"}
KEYS |= {"note", "caveat", "complaint"}
REQUIRED = {"id", "function", "inputs", "evidence", "source"}
EVIDENCE = ("published", "derived", "circular", "constructed")


class CaseFault(Exception):
    """A case is written wrongly, or the law does not meet it."""


def factor(unit: str, wanted: str) -> float:
    """Factor of a unit to the base unit that a docstring asks for; faults where it measures something else."""
    factors = []
    for part in unit.split("/"):
        if part not in UNITS:
            raise CaseFault(f"unknown unit: {part}")
        factors.append(UNITS[part])
    base = "/".join(base for _, base in factors)
    if wanted == "um":
        factors = [(f * 1e6, base) for f, base in factors]
        base = "um" if base == "m" else base
    if base == "share" and wanted in ("kg/kg", "L/L"):
        base = wanted
    if base != wanted:
        raise CaseFault(f"is in {base}, its docstring says {wanted}")
    return factors[0][0] / (factors[1][0] if len(factors) > 1 else 1.0)


def figure(text: str, wanted: str) -> float:
    """``12 lb`` or ``12 lb * 0.5`` in the base unit."""
    number, _, rest = text.partition(" ")
    unit, *shares = rest.split(" * ")
    value = float(number) * factor(unit, wanted)
    for share in shares:
        value *= float(share)
    return value


def argument(raw: object, wanted: str) -> float:
    """An input: a figure, a list that is added up, or a table that is worked out."""
    if isinstance(raw, str):
        return figure(raw, wanted)
    if isinstance(raw, list):
        return sum(argument(part, wanted) for part in raw)
    assert isinstance(raw, dict), raw
    inner = {name: value for name, value in raw.items() if name != "function"}
    law = law_of(raw["function"])
    if units(law, "Returns") != {raw["function"]: wanted}:
        raise CaseFault(f"{raw['function']} does not give {wanted}")
    return law(**arguments(law, inner))


def law_of(name: object) -> Law:
    """The law of that name."""
    if not isinstance(name, str) or name not in LAWS:
        raise CaseFault(f"unknown function: {name}")
    return LAWS[name]


def arguments(law: Law, inputs: dict[str, object]) -> dict[str, float]:
    """Inputs of a case in base units, checked against the signature and the docstring."""
    needed = inspect.signature(law).parameters
    optional = {name for name, parameter in needed.items() if parameter.default is not parameter.empty}
    if not set(needed) - optional <= set(inputs) <= set(needed):
        raise CaseFault(f"arguments given: {sorted(inputs)}, needed: {list(needed)}")
    values = {}
    for name, raw in inputs.items():
        try:
            values[name] = argument(raw, units(law)[name])
        except CaseFault as fault:
            raise CaseFault(f"{name} {fault}" if str(fault).startswith("is in") else str(fault)) from None
    return values


def check(case: Case) -> None:
    """Faults where a case is not met; says nothing where it is."""
    if unknown := sorted(set(case) - KEYS):
        raise CaseFault(f"unknown key: {', '.join(unknown)}")
    if missing := sorted(REQUIRED - set(case)):
        raise CaseFault(f"missing key: {', '.join(missing)}")
    if case["evidence"] not in EVIDENCE:
        raise CaseFault(f"evidence is one of {EVIDENCE}")
    if case["evidence"] == "published" and case.get("checked") not in ("verified", "practice", "memory"):
        raise CaseFault("a published case says how it was checked")
    law, inputs = law_of(case["function"]), case["inputs"]
    assert isinstance(inputs, dict)
    try:
        value = law(**arguments(law, inputs))
    except ValueError as error:
        if str(error) != case.get("refused"):
            raise CaseFault(f"refused: {error}") from None
        return
    if "refused" in case:
        raise CaseFault("was not refused")
    compare(case, law, value)


def compare(case: Case, law: Law, value: float) -> None:
    """Faults where a result is not the expected one within the width, or is although it must not."""
    expect = str(case["expect"])
    if isinstance(value, bool):
        if expect != str(value).lower():
            raise CaseFault(f"{value}, expected {expect}")
        return
    if "within" not in case:
        raise CaseFault("no width: say within what it has to agree")
    name, unit = str(case["function"]), expect.partition(" ")[2]
    wanted = units(law, "Returns")[name]
    try:
        target, width = figure(expect, wanted), figure(str(case["within"]), wanted)
    except CaseFault as fault:
        raise CaseFault(f"the result {fault}") from None
    agrees = abs(value - target) <= width
    if agrees and case.get("agrees") is False:
        raise CaseFault(f"{expect} agrees, though the case says it must not")
    if not agrees and case.get("agrees", True):
        raise CaseFault(f"{value / factor(unit, wanted):.6g} {unit}, expected {expect} within {case['within']}")


def read(name: str, kind: str) -> list[Case]:
    """Tables of one kind from a file of cases."""
    tables = tomllib.loads((FOLDER / name).read_text(encoding="utf-8"))
    assert set(tables) <= {"case", "mixture"}, f"{name}: {sorted(tables)}"
    return list(tables.get(kind, []))


def collect(kind: str) -> Iterator[tuple[str, Case]]:
    """All that has to be met, with an id."""
    for path in sorted(FOLDER.glob("*.toml")):
        if path.name != "must_fail.toml":
            for case in read(path.name, kind):
                yield f"{path.stem}::{case['id']}", case


CASES = dict(collect("case"))
MIXTURES = dict(collect("mixture"))
MUST_FAIL = {str(case["id"]): case for case in read("must_fail.toml", "case")}


def named(raw: object) -> Iterator[str]:
    """Every function that a case works with, the inner ones included."""
    if isinstance(raw, dict):
        yield from (str(raw[key]) for key in ("function",) if key in raw)
        raw = list(raw.values())
    if isinstance(raw, list):
        for part in raw:
            yield from named(part)


# --- constructed mixtures -------------------------------------------------------------------------------------------


def expected(mixture: Case) -> dict[str, str]:
    """Results by the name of the law, or of the total."""
    table = mixture["expect"]
    assert isinstance(table, dict)
    return table


def totals(mixture: Case) -> dict[str, float]:
    """Totals of a mixture, row by row."""
    result = dict.fromkeys(TOTALS, 0.0)
    parts = mixture["parts"]
    assert isinstance(parts, list)
    for part in parts:
        mass, density = figure(part["mass"], "kg"), figure(part["density"], "kg/L")
        us = {"water": "water", "solid": "nonvolatile", "exempt": "exempt", "voc": "voc", "inorganic": ""}[part["us"]]
        for name, value in (("mass", mass), ("volume", mass / density)):
            result[f"total_{name}"] += value
            key = f"{us}_{name}" if us != "voc" else f"voc_{name}_us"
            result[key] = result.get(key, 0.0) + value
        result["voc_mass_eu"] += mass if part["eu"] == "voc" else 0.0
    return result


def call(name: str, known: dict[str, object] | dict[str, float]) -> float:
    """A law with its needs taken from a table of totals."""
    return LAWS[name](**{argument: known[argument] for argument in inspect.signature(LAWS[name]).parameters})
