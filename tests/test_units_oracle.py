"""The table of units against pint: renewed from ``units.txt``, and compared with the units that pint itself ships."""

from __future__ import annotations

from fractions import Fraction
from itertools import product
from pathlib import Path

import pint
import pytest

from formulint import derivation, factors
from formulint.factors import FACTORS
from formulint.units import find

SHIPPED: pint.UnitRegistry[float] = pint.UnitRegistry()

# base unit of each dimension in pint's words; None where pint has no such thing: own scales of instruments
BASES = {
    "mass": "kilogram", "length": "meter", "area": "meter**2", "volume": "liter", "density": "kilogram/liter",
    "mass share": "dimensionless", "volume share": "dimensionless", "oil absorption": "dimensionless",
    "price by mass": "1/kilogram", "price by volume": "1/liter", "price by area": "1/meter**2",
    "mass by area": "kilogram/meter**2", "area by mass": "meter**2/kilogram", "temperature": "kelvin",
    "temperature difference": "kelvin", "time": "second", "rotation": "1/second", "velocity": "meter/second",
    "spreading rate": "meter**2/liter", "viscosity": "pascal*second", "fineness hegman": None, "consistency": None,
}  # fmt: skip

# spellings that pint reads as something else or not at all -> the same in pint's words
IN_PINT = {
    "t": "metric_ton", "short ton": "US_ton", "mil": "thou", "pt": "pint", "fl oz": "fluid_ounce", "P": "poise",
    "imp gal": "imperial_gallon", "% vol": "percent", "%": "percent", "g/100 g": "g/(100*g)", "g/100g": "g/(100*g)",
    "kg/100 kg": "kg/(100*kg)", "lb/100 lb": "lb/(100*lb)", "lb/100 gal": "lb/(100*gal)",
    "Pa.s": "Pa*s", "mPa.s": "mPa*s", "rpm": "1/min", "g/cm3": "g/cm**3", "kg/m3": "kg/m**3", "m2": "m**2", "cm2": "cm**2", "ft2": "ft**2", "m3": "m**3",
    "/48 fl oz": "fluid_ounce/48", "kg/m2": "kg/m**2", "g/m2": "g/m**2", "mg/m2": "mg/m**2", "m2/kg": "m**2/kg", "m2/g": "m**2/g",
    "currency/m2": "1/m**2", "currency/ft2": "1/ft**2", "cm3": "cm**3", "ft3": "ft**3", "in3": "in**3", "m2/L": "m**2/L", "ft2/gal": "ft**2/gal",
    "currency/short ton": "1/US_ton", "currency/t": "1/metric_ton", "currency/m3": "1/m**3",
}  # fmt: skip

ROWS = [(spelled, row) for spelled, rows in FACTORS.items() for row in rows]
IDS = [f"{spelled} as {row[0]}" for spelled, row in ROWS]


def as_pint_ships_it(spelled: str, dimension: str, amount: float) -> float:
    """An amount of a unit in the base unit of its dimension, by the definitions that pint ships."""
    words = IN_PINT.get(spelled, spelled.replace("currency", "1"))
    if dimension.startswith("temperature"):
        unit = f"delta_{spelled}" if dimension == "temperature difference" and spelled != "K" else spelled
        return float(SHIPPED.Quantity(amount, unit).to("kelvin").magnitude)
    return float((amount * SHIPPED.parse_expression(words)).to(BASES[dimension]).magnitude)


def test_the_table_is_what_pint_makes_of_the_declaration() -> None:
    written = Path(factors.__file__).read_bytes()
    assert written == derivation.generate().encode()


@pytest.mark.parametrize(("spelled", "row"), ROWS, ids=IDS)
def test_factor_is_that_of_the_units_pint_ships(spelled: str, row: tuple[str, str, int, int, int, int]) -> None:
    dimension, _, num, den, *zero = row
    if BASES[dimension] is None:
        assert (num, den, zero) == (1, 1, [])
        return
    offset = Fraction(*zero) if zero else Fraction(0)
    assert as_pint_ships_it(spelled, dimension, 0.0) == pytest.approx(float(offset), rel=1e-12)
    one = float(Fraction(num, den) + offset)
    assert as_pint_ships_it(spelled, dimension, 1.0) == pytest.approx(one, rel=1e-12)


def test_a_wrong_factor_would_be_noticed() -> None:
    assert as_pint_ships_it("lb", "mass", 1.0) != pytest.approx(0.45359237 * (1 + 1e-11), rel=1e-12)


def test_every_dimension_begins_with_its_base_unit() -> None:
    assert set(derivation.bases()) == set(BASES)
    for dimension, base in derivation.bases().items():
        assert (dimension, base.spellings[0], 1, 1) in FACTORS[base.spellings[0]]


def test_pint_knows_nothing_that_is_not_declared() -> None:
    for word in ("farad", "coulomb", "molar", "hour_angle", "oz", "psi", "F", "C"):
        with pytest.raises(pint.UndefinedUnitError):
            derivation.registry().Unit(word)


SIMPLE = [(one, rows[0]) for one, rows in FACTORS.items() if rows[0][0] in ("mass", "volume", "area", "length", "time") and one[0] != "/"]
QUOTIENTS = {
    ("mass", "volume"): "density", ("mass", "mass"): "mass share", ("volume", "volume"): "volume share",
    ("area", "volume"): "spreading rate", ("length", "time"): "velocity",
}  # fmt: skip


def test_a_compound_is_the_quotient_of_its_parts() -> None:
    for (top, over), (bottom, under) in product(SIMPLE, repeat=2):
        dimension = QUOTIENTS.get((over[0], under[0]))
        if dimension is None or f"{top}/{bottom}" in FACTORS:
            continue
        found = find(f"{top}/{bottom}", (dimension,))
        assert found is not None, f"{top}/{bottom}"
        listed = Fraction(over[2], over[3]) / Fraction(under[2], under[3])
        assert Fraction(found.num, found.den) == listed  # the base units of the parts make that of the whole


@pytest.mark.parametrize(
    ("spelled", "dimension"),
    [
        *product(("kg/L", "L/kg", "m/m", "g/%", "in2/in2"), ["mass share"]),
        *product(("g/mL", "lb/lb"), ["volume share"]),
        *product(("lb/s", "degC/L", "kg", "g/", "/L", "g//L", "g/L/L", "g*L", "hegman/L", "2g/L"), ["density"]),
        *product(("lb/currency", "USD/USD", "currency/oz"), ["price by mass"]),
        *product(("m2", "in4", "lb3"), ["volume"]),
    ],
)
def test_no_compound_where_the_parts_do_not_make_it(spelled: str, dimension: str) -> None:
    assert find(spelled, (dimension,)) is None


@pytest.mark.parametrize(
    ("spelled", "dimension", "factor"),
    [("in2", "area", "16129/25000000"), ("mm3", "volume", "1/1000000"), ("cm2/mL", "spreading rate", "1/10")],
)
def test_powers_of_a_length(spelled: str, dimension: str, factor: str) -> None:
    unit = find(spelled, (dimension,))
    assert unit is not None
    assert Fraction(unit.num, unit.den) == Fraction(factor)
