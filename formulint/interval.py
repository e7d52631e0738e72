"""Numbers that are known only to lie between two ends; every law of ``science`` takes them in place of a float.

The result of any sequence of operations encloses every value that the inputs allow (an outer bound): it may be wider
than the truth where one input occurs twice, never narrower. Ends are rounded outwards by one unit in the last place.
"""

from __future__ import annotations

from math import fsum, inf, nextafter
from typing import Union

from formulint.slope import Slope

Number = Union[float, "Interval"]


class Interval:
    """All numbers from ``lo`` to ``hi``, both included.

    >>> Interval(1.0, 2.0) > 0.5, Interval(1.0, 2.0) > 1.5
    (True, False)
    """

    __slots__ = ("hi", "lo")
    moves = False  # True of an interval that knows what moves it

    def __init__(self, lo: float, hi: float) -> None:
        self.lo = lo
        self.hi = hi

    def __add__(self, other: Number) -> Interval:
        lo, hi = ends(other)
        return outward(self.lo + lo, self.hi + hi)

    __radd__ = __add__

    def __sub__(self, other: Number) -> Interval:
        lo, hi = ends(other)
        return outward(self.lo - hi, self.hi - lo)

    def __rsub__(self, other: Number) -> Interval:
        lo, hi = ends(other)
        return outward(lo - self.hi, hi - self.lo)

    def __mul__(self, other: Number) -> Interval:
        lo, hi = ends(other)
        corners = (self.lo * lo, self.lo * hi, self.hi * lo, self.hi * hi)
        return outward(min(corners), max(corners))

    __rmul__ = __mul__

    def __truediv__(self, other: Number) -> Interval:
        lo, hi = ends(other)
        if lo <= 0 <= hi:
            raise ValueError("the divisor may be zero")
        return self * Interval(*sorted((nextafter(1 / hi, -inf), nextafter(1 / lo, inf))))

    def __rtruediv__(self, other: Number) -> Interval:
        return Interval(*ends(other)) / self

    def floored(self) -> Interval:
        """The values, with zero in place of those below it."""
        return Interval(max(self.lo, 0.0), max(self.hi, 0.0))

    def __neg__(self) -> Interval:
        return Interval(-self.hi, -self.lo)

    def __gt__(self, other: Number) -> bool:
        """Certainly greater: every value is."""
        return self.lo > ends(other)[1]

    def __lt__(self, other: Number) -> bool:
        """Certainly smaller: every value is."""
        return self.hi < ends(other)[0]

    def __ge__(self, other: Number) -> bool:
        return self.lo >= ends(other)[1]

    def __le__(self, other: Number) -> bool:
        return self.hi <= ends(other)[0]

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Interval) and (self.lo, self.hi) == (other.lo, other.hi)

    def __hash__(self) -> int:
        return hash((self.lo, self.hi))

    def __repr__(self) -> str:
        return f"Interval({self.lo!r}, {self.hi!r})"


class AtLeast(Interval):
    """An interval of which the lower end is what is known, and the upper only what is left.

    ``known`` and ``possible`` are the numbers behind the two ends: what is known for certain, and all that there may be.
    """

    __slots__ = ("known", "possible")

    def __init__(self, lo: float, hi: float, known: Number | None = None, possible: Number | None = None) -> None:
        super().__init__(lo, hi)
        self.known: Number = lo if known is None else known
        self.possible: Number = hi if possible is None else possible


def ends(number: Number) -> tuple[float, float]:
    """Lowest and highest value of a number."""
    if isinstance(number, Interval):
        return number.lo, number.hi
    if isinstance(number, Slope):  # what moves has a value too
        return number.value, number.value
    return number, number


def outward(lo: float, hi: float) -> Interval:
    """The interval with both ends moved outwards by one unit in the last place, so that rounding cannot lose a value."""
    return Interval(nextafter(lo, -inf), nextafter(hi, inf))


def total(parts: list[Number]) -> Number:
    """Sum without loss by rounding; an interval if any part is one."""
    try:
        return fsum(parts)  # type: ignore[arg-type]
    except TypeError:
        ranges = [part for part in parts if isinstance(part, Interval)]
        if not ranges:
            return sum(parts)  # what moves is added with all that moves it
        if any(part.moves for part in ranges):
            known = fsum(part for part in parts if not isinstance(part, Interval))
            return sum(ranges, outward(known, known))
        pairs = [ends(part) for part in parts]
        return outward(fsum(lo for lo, _ in pairs), fsum(hi for _, hi in pairs))
