"""What pint does here: exact factors of the declared units, and compounds of them that the table does not list.

``units.txt`` is read in two ways: its order and spellings by ``declared``, its numbers by pint. pint sees only names
of units that were looked up before, never text of a file, so that its expression language cannot be reached.
Importing this module is cheap; pint itself is loaded at the first question.
"""

from __future__ import annotations

import os
from functools import cache
from typing import TYPE_CHECKING

from msgspec import Struct

if TYPE_CHECKING:
    from fractions import Fraction

    from pint import UnitRegistry

HERE = os.path.dirname(os.path.abspath(__file__))
LONGEST = 40  # characters of a unit
# a ratio of two like things is a pure number: what it measures follows from the things
_RATIO_OF = {"mass share": "mass", "oil absorption": "mass", "volume share": "volume"}
_COMPOUNDED = ("mass", "volume", "length", "area", "time")


class Declared(Struct, frozen=True):
    """One unit of ``units.txt``: its dimension, its name for pint, its spellings in formula files."""

    dimension: str
    name: str
    spellings: tuple[str, ...]


@cache
def declared() -> tuple[Declared, ...]:
    """The units in the order of their declaration; the first one of a dimension is its base unit."""
    found: list[Declared] = []
    dimension = ""
    with open(os.path.join(HERE, "units.txt"), encoding="utf-8") as lines:
        for line in lines:
            if line.startswith("@"):
                dimension = line.removeprefix("@group").strip().replace("_", " ") if line.startswith("@group") else ""
            elif dimension and "=" in line:
                name, _, *spellings = (part.strip() for part in line.split("="))
                found.append(Declared(dimension, name, tuple(one.replace("_", " ") for one in spellings)))
                if dimension == "temperature":
                    difference = f"delta_{name}" if "offset:" in line else name
                    found.append(Declared("temperature difference", difference, found[-1].spellings))
    return tuple(found)


@cache
def registry() -> UnitRegistry[Fraction]:
    """A pint registry that knows the units of ``units.txt`` and nothing else, and counts in fractions."""
    from fractions import Fraction

    from pint import UnitRegistry

    units: UnitRegistry[Fraction] = UnitRegistry(None, non_int_type=Fraction, on_redefinition="ignore")
    units.load_definitions(os.path.join(HERE, "units.txt"))
    return units


@cache
def bases() -> dict[str, Declared]:
    """The base unit of each dimension."""
    found: dict[str, Declared] = {}
    for unit in declared():
        found.setdefault(unit.dimension, unit)
    return found


def in_base(parts: dict[str, int], base: str, amount: int) -> Fraction:
    """An amount of a product of units (name -> power) in a base unit, exact.

    Raises
    ------
    pint.DimensionalityError
        Where the two measure different things.
    """
    from fractions import Fraction

    units = registry()
    measured = units.Quantity(Fraction(amount), units.UnitsContainer(parts))
    return Fraction(measured.to(units.UnitsContainer({base: 1})).magnitude)


def compound(spelled: str, dimensions: tuple[str, ...]) -> tuple[str, Fraction] | None:
    """Dimension and factor of a quotient such as ``g/gal`` or a power such as ``in2``.

    Parameters
    ----------
    spelled : str
        At most two parts; each is a spelling of ``units.txt``, or a length with 2 or 3 after it.
    dimensions : tuple of str
        What the field admits.

    Returns
    -------
    tuple of str and Fraction, or None
        None where a part is unknown or nothing admitted is measured in it.
    """
    if len(spelled) > LONGEST:
        return None
    top, slash, bottom = spelled.partition("/")
    upper = _parts().get(top)
    lower = _parts().get(bottom) if slash else None
    if upper is None or (slash and (lower is None or lower.dimension == "currency")) or not (slash or upper.power > 1):
        return None
    for dimension in dimensions:
        factor = _measures(dimension, upper, lower)
        if factor is not None:
            return dimension, factor
    return None


class _Part(Struct, frozen=True):
    dimension: str
    name: str
    power: int


@cache
def _parts() -> dict[str, _Part]:
    """What a compound may be made of, by spelling."""
    found = {"currency": _Part("currency", "currency", 1)}
    for unit in declared():
        for spelled in unit.spellings:
            if unit.dimension in _COMPOUNDED and spelled[0] != "/":
                found[spelled] = _Part(unit.dimension, unit.name, 1)
            if unit.dimension == "length":
                found[f"{spelled}2"] = _Part("area", unit.name, 2)
                found[f"{spelled}3"] = _Part("volume", unit.name, 3)
    return found


@cache  # as many as there are pairs of declared units
def _measures(dimension: str, upper: _Part, lower: _Part | None) -> Fraction | None:
    base = bases().get(dimension)
    alike = _RATIO_OF.get(dimension)
    if base is None or (alike is not None and (upper.dimension != alike or lower is None or lower.dimension != alike)):
        return None
    powers = {upper.name: upper.power}
    if lower is not None:
        powers[lower.name] = powers.get(lower.name, 0) - lower.power
    from pint import DimensionalityError

    try:
        return in_base(powers, base.name, 1)
    except DimensionalityError:
        return None


def generate() -> str:
    """The text of ``factors.py``."""
    table: dict[str, list[str]] = {}
    first = bases()
    for unit in declared():
        base = first[unit.dimension].name
        zero = in_base({unit.name: 1}, base, 0)
        factor = in_base({unit.name: 1}, base, 1) - zero
        figures = [factor.numerator, factor.denominator] + ([zero.numerator, zero.denominator] if zero else [])
        row = f'("{unit.dimension}", "{unit.spellings[0]}", {", ".join(map(str, figures))})'
        for spelled in unit.spellings:
            table.setdefault(spelled, []).append(row)
    lines = [f'    "{spelled}": ({", ".join(rows)}{"," if len(rows) == 1 else ""}),' for spelled, rows in table.items()]
    shape = "dict[str, tuple[tuple[str, str, int, int] | tuple[str, str, int, int, int, int], ...]]"
    head = (
        '"""Written by `python -m formulint.derivation` from units.txt with pint: not edited by hand.\n\n'
        "Spelling of a unit -> what it can measure, each with its first spelling and its factor to the base unit as\n"
        'numerator, denominator, and the same of its zero where that is not the base unit\'s.\n"""\n\n'
    )
    return f"{head}from __future__ import annotations\n\nFACTORS: {shape} = {{\n" + "\n".join(lines) + "\n}\n"


if __name__ == "__main__":
    with open(os.path.join(HERE, "factors.py"), "w", encoding="utf-8", newline="\n") as out:
        out.write(generate())
