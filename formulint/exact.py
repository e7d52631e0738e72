"""A number that is not rounded: amounts and shares take it in place of a float where a bound lies on the last digit."""

from __future__ import annotations

from fractions import Fraction
from typing import Union

Plain = Union[float, "Exact"]


class Exact:
    """A fraction that takes floats as the binary numbers they are; it never turns into a float by itself.

    >>> 1.0 - Exact(Fraction(1, 3)) == Exact(Fraction(2, 3))
    True
    """

    __slots__ = ("value",)

    def __init__(self, value: Fraction) -> None:
        self.value = value

    def __add__(self, other: Plain) -> Exact:
        return Exact(self.value + fraction(other))

    __radd__ = __add__

    def __sub__(self, other: Plain) -> Exact:
        return Exact(self.value - fraction(other))

    def __rsub__(self, other: Plain) -> Exact:
        return Exact(fraction(other) - self.value)

    def __mul__(self, other: Plain) -> Exact:
        return Exact(self.value * fraction(other))

    __rmul__ = __mul__

    def __truediv__(self, other: Plain) -> Exact:
        return Exact(self.value / fraction(other))

    def __rtruediv__(self, other: Plain) -> Exact:
        return Exact(fraction(other) / self.value)

    def __neg__(self) -> Exact:
        return Exact(-self.value)

    def __lt__(self, other: Plain) -> bool:
        return self.value < fraction(other)

    def __gt__(self, other: Plain) -> bool:
        return self.value > fraction(other)

    def __le__(self, other: Plain) -> bool:
        return self.value <= fraction(other)

    def __ge__(self, other: Plain) -> bool:
        return self.value >= fraction(other)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Exact | float | int) and self.value == fraction(other)

    def __hash__(self) -> int:
        return hash(self.value)

    def __repr__(self) -> str:
        return f"Exact({self.value!r})"


def fraction(number: Plain) -> Fraction:
    """The number as a fraction."""
    return number.value if isinstance(number, Exact) else Fraction(number)
