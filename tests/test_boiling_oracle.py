"""Where known substances boil, held against the tables of a package that collects such data.

Its estimate from groups of atoms is left out. What is left are handbooks and collections of measured values, and equations of
state that were fitted to measured values ("HEOS"); of one collection ("YAWS") the package says that it holds predicted
values too, without saying which.
"""

from __future__ import annotations

import pytest
from chemicals import Tb

from formulint.boiling_points import Boils, boiling_points
from formulint.quantity import Quantity, read

MEASURED = ("HEOS", "CRC_INORG", "CRC_ORG", "COMMON_CHEMISTRY", "WEBBOOK", "YAWS", "WIKIDATA")
ESTIMATED = "JOBACK"

NOT_IN_TABLES = {
    "29911-28-2": "the one isomer is in no table; the figure is that of a supplier's data sheet",
    "55934-93-5": "in no table; the figure is recalled from literature of suppliers, and the row says so",
    "77-90-7": "recalled; the one value of the tables is that at 1 mmHg",
}
"""Substances of which the package has no measured value, and where the figure is from."""

AT_LESS_PRESSURE = {"77-90-7": 173}
"""Values of the tables that are said to be of a boiling point at 1 mmHg, in whole degC: nothing to compare a row with."""

BEYOND_TABLES = {
    "6846-50-0": "the upper end is from an encyclopedia article",
}
"""Rows that are wider than the tables, and why."""

FLOAT = 1e-9  # what floats make of kelvin and degrees
ROWS = boiling_points()


def found(cas: str) -> list[float]:
    """The boiling points that the tables have of a substance, in kelvin."""
    values = (Tb(cas, method=method) for method in MEASURED)
    return [value for value in values if value is not None and round(value - 273.15) != AT_LESS_PRESSURE.get(cas)]


def range_of(row: Boils) -> tuple[Quantity, Quantity]:
    """The ends of a row."""
    assert row.boiling_point.min is not None and row.boiling_point.max is not None
    return read(row.boiling_point.min, ("temperature",)), read(row.boiling_point.max, ("temperature",))


def within(value: float, low: Quantity, high: Quantity) -> bool:
    """Whether a value in kelvin lies between two ends, within the rounding of their digits."""
    return float(low.exact - low.half_digit) - FLOAT <= value <= float(high.exact + high.half_digit) + FLOAT


def test_what_no_table_has_is_named_with_its_source() -> None:
    assert {cas for cas in ROWS if not found(cas)} == set(NOT_IN_TABLES)


@pytest.mark.parametrize("cas", [cas for cas in ROWS if cas not in NOT_IN_TABLES])
def test_every_measured_value_lies_in_its_row(cas: str) -> None:
    assert [value for value in found(cas) if not within(value, *range_of(ROWS[cas]))] == []


@pytest.mark.parametrize("cas", [cas for cas in ROWS if cas not in NOT_IN_TABLES and cas not in BEYOND_TABLES])
def test_a_row_is_no_wider_than_what_was_measured(cas: str) -> None:
    low, high = range_of(ROWS[cas])
    assert within(min(found(cas)), low, low) and within(max(found(cas)), high, high)


def test_a_value_that_is_off_would_be_noticed() -> None:
    glycol = range_of(ROWS["107-21-1"])
    estimate = Tb("107-21-1", method=ESTIMATED)
    assert estimate is not None and not within(estimate, *glycol)
    assert not within(glycol[1].base + 0.006, *glycol) and within(glycol[1].base + 0.004, *glycol)
