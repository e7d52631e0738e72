"""A number with its unit, read by a strict grammar, kept as written, converted exactly.

Grammar: at most 64 characters; a sign or none, up to 12 digits, a point with up to 12 digits or none, an exponent of
up to two digits or none, one space or none, a spelling of ``units.txt`` or a quotient of two (``g/gal``). There is
nothing else: no arithmetic, no comma, no fraction of two numbers, no letter and no blank beyond ASCII, so that a
figure cannot be read in two ways and two files that look alike are alike. What looks like a fraction in ``24/48 fl oz``
is a unit: the 48th of a fluid ounce, which is what machines for colorants count.
"""

from __future__ import annotations

from math import isfinite
from typing import TYPE_CHECKING

from msgspec import Struct

from formulint.units import FIGURE, KNOWN, LONGEST, Unit, find, unit_of

if TYPE_CHECKING:
    from fractions import Fraction


class Quantity(Struct, frozen=True, gc=False, cache_hash=True):
    """A number and its unit, both as written: ``digits`` "250.0" and ``spelled`` "lb".

    Two quantities are equal where they are written alike; ``exact`` compares what they mean.
    """

    digits: str
    unit: Unit
    spelled: str

    @property
    def value(self) -> float:
        """The number in its own unit."""
        return float(self.digits)

    @property
    def base(self) -> float:
        """The number in the base unit of its dimension: ``exact``, correctly rounded."""
        num, den = self._ratio()
        return num / den

    @property
    def exact(self) -> Fraction:
        """The number in the base unit of its dimension, without rounding."""
        from fractions import Fraction

        return Fraction(*self._ratio())

    @property
    def decimals(self) -> int:
        """Place of the last written digit after the point: 1 for ``250.0``, -2 for ``3e2``."""
        head, _, exponent = self.digits.lower().partition("e")
        return len(head.partition(".")[2]) - int(exponent or 0)

    @property
    def half_digit(self) -> Fraction:
        """Half of the last written digit, in the base unit: how far the figure may be from the truth by rounding."""
        from fractions import Fraction

        power = self.decimals
        return Fraction(self.unit.num, 2 * self.unit.den * 10**power) if power >= 0 else Fraction(self.unit.num * 10**-power, 2 * self.unit.den)

    @property
    def negative(self) -> bool:
        """True where the number as written is below zero; ``-0`` is not."""
        return self.digits.startswith("-") and float(self.digits) < 0

    def _ratio(self) -> tuple[int, int]:
        head, _, exponent = self.digits.lower().partition("e")
        whole, _, after = head.partition(".")
        unit = self.unit
        num, den = int(whole + after) * unit.num, unit.den
        power = int(exponent or 0) - len(after)
        if power > 0:
            num *= 10**power
        elif power < 0:
            den *= 10**-power
        if unit.offset_num:
            return num * unit.offset_den + unit.offset_num * den, den * unit.offset_den
        return num, den

    def __str__(self) -> str:
        if self.spelled.startswith("/"):  # the marks of a colorant machine: 24/48 fl oz
            return f"{self.digits}{self.spelled}"
        return f"{self.digits} {self.spelled}" if self.spelled else self.digits


NOTHING = Quantity("0", Unit("kg", "mass", 1, 1), "kg")
"""Stands where an amount is not a figure (``q.s.``); known by identity: ``read("0 kg", ...)`` is another object."""


def read(text: str, dimensions: tuple[str, ...]) -> Quantity:
    """The quantity that a text gives.

    Parameters
    ----------
    text : str
        E.g. ``250.0 lb``.
    dimensions : tuple of str
        What the field admits, e.g. ``("mass", "volume")``; ``number`` admits a number without a unit.

    Raises
    ------
    Misread
        With the fault in words of the bench and what to write instead.
    """
    match = FIGURE.fullmatch(text) if len(text) <= LONGEST else None
    if match is not None:
        digits, spelled = match.groups("")
        try:
            return Quantity(digits, KNOWN[dimensions][spelled], spelled)
        except KeyError:
            unit = find(spelled, dimensions)
        if unit is not None:
            return Quantity(digits, unit, spelled)
    from formulint.advice import misread

    raise misread(text, dimensions)


def in_unit(base: float, symbol: str, dimension: str = "") -> float:
    """A number in a base unit, given in the named unit; correctly rounded.

    ``dimension`` tells the two meanings of ``degF`` apart: a temperature, or a ``temperature difference``.
    """
    if not isfinite(base):
        return base
    unit = unit_of(symbol, dimension)
    num, den = base.as_integer_ratio()
    if unit.offset_num:
        num, den = num * unit.offset_den - unit.offset_num * den, den * unit.offset_den
    return num * unit.den / (den * unit.num)


def step_in(base: float, symbol: str) -> float:
    """A difference of two numbers in a base unit, given in the named unit: of temperatures without their zero."""
    return in_unit(base, symbol, "temperature difference" if symbol in ("degC", "degF") else "")


def show(base: float, symbol: str, digits: int, dimension: str = "") -> str:
    """A number in a base unit, printed in the named unit with fixed decimals: ``11.94 lb/gal``; never ``-0.0``."""
    number = f"{in_unit(base, symbol, dimension):.{digits}f}"
    if number.startswith("-") and not number.strip("-0."):
        number = number[1:]
    return number if symbol in ("", "1") else f"{number} {symbol}"
