"""Which unit a spelling names, and the grammar of a figure: one look-up for all that reads or explains one."""

from __future__ import annotations

import re

from msgspec import Struct

from formulint.factors import FACTORS

LONGEST = 64
"""Characters of a figure."""
FIGURE = re.compile(r"([+-]?[0-9]{1,12}(?:\.[0-9]{1,12})?(?:[eE][+-]?[0-9]{1,2})?)(?![0-9.])(?: ?([^ ].*))?")
"""Number and spelling of the unit; what the spelling may be is up to ``find``."""
_REMEMBERED = 1000  # spellings of one kind of field; more than the units there are, less than a hostile file has


class Unit(Struct, frozen=True, gc=False):
    """A unit for one dimension: value in the base unit = value * num / den + offset_num / offset_den.

    ``symbol`` is the first spelling of the unit in ``units.txt``, of a compound the one in the file, of a number ``1``.
    """

    symbol: str
    dimension: str
    num: int
    den: int
    offset_num: int = 0
    offset_den: int = 1

    @property
    def factor(self) -> float:
        """What one of the unit is in the base unit, correctly rounded; without the offset."""
        return self.num / self.den


NUMBER = Unit("1", "number", 1, 1)
"""The unit of a number that has none."""
DIMENSIONS = (*dict.fromkeys(row[0] for rows in FACTORS.values() for row in rows), "number")
"""Everything that can be measured, in the order of ``units.txt``; a number without a unit last."""
KNOWN: dict[tuple[str, ...], dict[str, Unit]] = {}
"""What ``find`` has found: dimensions -> spelling -> unit."""


def find(spelled: str, dimensions: tuple[str, ...]) -> Unit | None:
    """The unit of that spelling for the first of its dimensions that is among the given ones, or None.

    The order of ``units.txt`` counts, not that of ``dimensions``: ``%`` of an amount is by mass.
    """
    known = KNOWN.setdefault(dimensions, {"": NUMBER} if "number" in dimensions else {})
    unit = known.get(spelled)
    if unit is None:
        unit = _listed(spelled, dimensions) or _compound(spelled, dimensions)
        if unit is not None and len(known) < _REMEMBERED:
            known[spelled] = unit
    return unit


def _generic(spelled: str) -> tuple[str, str]:
    """The currency of a price and the spelling with ``currency`` in its place; ("", "") for the word itself."""
    currency, per = spelled[:3], spelled[3:]
    if per[:1] == "/" and per != "/" and currency.isascii() and currency.isalpha() and currency.isupper():
        return currency, f"currency{per}"
    return "", "" if spelled.startswith("currency") else spelled


def _listed(spelled: str, dimensions: tuple[str, ...]) -> Unit | None:
    currency, generic = _generic(spelled)
    for dimension, symbol, *figures in FACTORS.get(generic, ()):
        if dimension in dimensions:
            return Unit(symbol.replace("currency", currency), dimension, *figures)
    return None


def _compound(spelled: str, dimensions: tuple[str, ...]) -> Unit | None:
    """A quotient of declared units that the table does not list, worked out by pint."""
    generic = _generic(spelled)[1]
    if generic in FACTORS or not (generic[:1].isalpha() and generic.isascii()):
        return None
    from formulint.derivation import compound

    found = compound(generic, dimensions)
    if found is None:
        return None
    dimension, factor = found
    return Unit(spelled, dimension, factor.numerator, factor.denominator)


def unit_of(symbol: str, dimension: str = "") -> Unit:
    """The unit of that spelling; of several dimensions the one named, else the first in ``units.txt``.

    ``1`` and the empty text are the unit of a number.

    Raises
    ------
    ValueError
        Where there is no such unit.
    """
    if symbol in ("", "1"):
        return NUMBER
    unit = find(symbol, (dimension,) if dimension else DIMENSIONS)
    if unit is None:
        raise ValueError(f"no unit {symbol!r} for {dimension or 'anything'}")
    return unit


def unit_names(dimension: str) -> tuple[str, ...]:
    """The accepted spellings of a dimension, in the order of ``units.txt``; ``currency`` is any three capitals."""
    return tuple(spelled for spelled, rows in FACTORS.items() if any(row[0] == dimension for row in rows))
