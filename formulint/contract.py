"""Numbers as machines are told them: metric units whatever people see, 12 significant digits."""

from __future__ import annotations

from formulint.properties import BY_ID
from formulint.quantity import step_in
from formulint.verdict import as_seen, units_of

NOTHING = 1e-300


def number(value: float) -> float:
    """A number with 12 significant digits; the last place of a float around zero is none."""
    return float(f"{value:.12g}") if abs(value) > NOTHING else 0.0


def unit_of(property_id: str, currency: str) -> str:
    """The unit of a property in the machine contract: always metric."""
    unit, _ = units_of(property_id, "metric", currency)
    return "1" if property_id in BY_ID and not unit else unit


def in_contract(property_id: str, value: float, currency: str) -> float:
    """A value in the unit of the machine contract."""
    unit, _ = units_of(property_id, "metric", currency)
    return number(as_seen(value, unit))


def step_in_contract(property_id: str, value: float, currency: str) -> float:
    """A difference of two values in the unit of the machine contract."""
    unit, _ = units_of(property_id, "metric", currency)
    return number(step_in(value, unit) if unit else value)
