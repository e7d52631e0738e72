"""An interval that knows how it moves with each uncertain input, so that an input that occurs twice stays one.

Over a box of inputs a ``Swing`` holds three things: the ends of its value anywhere in the box, its value at the centre,
and for each input the ends of its derivative by that input. By the mean value theorem the value lies within the
centre's plus or minus the sum of the largest derivatives times half the widths: after each operation the ends are the
narrower of that and of plain interval arithmetic. Every number is rounded outwards, so that all three are outer bounds.
A derivative that cannot change its sign proves that the value is monotone in that input.

Laws of ``science`` take a ``Swing`` in place of a float as they take an interval. An operand that is a float or a plain
interval counts as a number that the inputs do not move.

References
----------
R. E. Moore, Interval Analysis (1966): mean value form and the test for monotonicity (memory).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from math import inf, nextafter

from formulint.interval import Interval, Number, ends

Ends = tuple[float, float]
SUMMED = 1 + 1e-13  # a sum of up to a hundred products of floats is off by less than this


class Swing(Interval):
    """A value over a box of inputs.

    Attributes
    ----------
    lo, hi : float
        Ends of the value anywhere in the box.
    centre : tuple of float
        Ends of the value where every input stands in the middle.
    slopes : mapping
        From the number of an input to the ends of the derivative by it, anywhere in the box.
    half : sequence of float
        Half of the width of each input, by its number.
    """

    __slots__ = ("centre", "half", "slopes")
    moves = True

    def __init__(self, lo: float, hi: float, centre: Ends, slopes: Mapping[int, Ends], half: Sequence[float]) -> None:
        reach = 0.0
        for at, (least, most) in slopes.items():
            reach += max(-least, most) * half[at]
        reach *= SUMMED
        low, high = nextafter(centre[0] - reach, -inf), nextafter(centre[1] + reach, inf)
        super().__init__(max(lo, low), min(hi, high))
        self.centre = centre
        self.slopes = slopes
        self.half = half

    def floored(self) -> Swing:
        """The values, with zero in place of those below it; where that is so, nothing moves them."""
        slopes = {at: (min(least, 0.0), max(most, 0.0)) for at, (least, most) in self.slopes.items()}
        centre = (max(self.centre[0], 0.0), max(self.centre[1], 0.0))
        return Swing(max(self.lo, 0.0), max(self.hi, 0.0), centre, slopes, self.half)

    def __add__(self, other: Number) -> Swing:
        low, high = ends(other)
        middle, slopes = (low, high), self.slopes
        if isinstance(other, Swing):
            middle = other.centre
            slopes = {**slopes, **other.slopes}
            for at in self.slopes.keys() & other.slopes.keys():
                slopes[at] = _plus(self.slopes[at], other.slopes[at])
        return Swing(*_plus((self.lo, self.hi), (low, high)), _plus(self.centre, middle), slopes, self.half)

    __radd__ = __add__

    def __neg__(self) -> Swing:
        slopes = {at: (-most, -least) for at, (least, most) in self.slopes.items()}
        return Swing(-self.hi, -self.lo, (-self.centre[1], -self.centre[0]), slopes, self.half)

    def __sub__(self, other: Number) -> Swing:
        return self + -other

    def __rsub__(self, other: Number) -> Swing:
        return -self + other

    def __mul__(self, other: Number) -> Swing:
        one, two = (self.lo, self.hi), ends(other)
        slopes = {at: _times(slope, two) for at, slope in self.slopes.items()}
        middle = two
        if isinstance(other, Swing):
            middle = other.centre
            for at, slope in other.slopes.items():
                part = _times(slope, one)
                slopes[at] = _plus(slopes[at], part) if at in slopes else part
        return Swing(*_times(one, two), _times(self.centre, middle), slopes, self.half)

    __rmul__ = __mul__

    def __truediv__(self, other: Number) -> Swing:
        if not isinstance(other, Swing):
            return self * _inverse(ends(other))
        inverse = _inverse((other.lo, other.hi))
        below = _inverse(other.centre)
        share = self.narrow(_times((self.lo, self.hi), ends(inverse)), _times(self.centre, ends(below)), other, inverse)
        # The derivative of a quotient holds the quotient itself: once that is narrower, so is the derivative.
        return self.narrow((share.lo, share.hi), share.centre, other, inverse)

    def narrow(self, value: Ends, centre: Ends, below: Swing, inverse: Interval) -> Swing:
        """The quotient of this by ``below``, of which the ends and the centre are known already."""
        slopes = {at: _times(slope, ends(inverse)) for at, slope in self.slopes.items()}
        for at, slope in below.slopes.items():
            part = _times(value, slope)
            above = self.slopes.get(at, (0.0, 0.0))
            slopes[at] = _times(_plus(above, (-part[1], -part[0])), ends(inverse))
        return Swing(*value, centre, slopes, self.half)

    def __rtruediv__(self, other: Number) -> Swing:
        low, high = ends(other)
        return Swing(low, high, (low, high), {}, self.half) / self

    def __repr__(self) -> str:
        return f"Swing({self.lo!r}, {self.hi!r}, {self.centre!r}, {dict(self.slopes)!r})"


def moving(at: int, lo: float, hi: float, half: Sequence[float]) -> Swing:
    """The input of that number: anything from ``lo`` to ``hi``, of which ``half`` has half the width."""
    middle = centre_of(lo, hi)
    return Swing(lo, hi, (middle, middle), {at: (1.0, 1.0)}, half)


def centre_of(lo: float, hi: float) -> float:
    """The middle of two ends, between them whatever the rounding."""
    return min(max(lo + (hi - lo) / 2, lo), hi)


def half_width(lo: float, hi: float) -> float:
    """How far the ends are from their middle, rounded up."""
    middle = centre_of(lo, hi)
    return nextafter(max(hi - middle, middle - lo), inf) if lo < hi else 0.0


def _plus(one: Ends, two: Ends) -> Ends:
    return nextafter(one[0] + two[0], -inf), nextafter(one[1] + two[1], inf)


def _times(one: Ends, two: Ends) -> Ends:
    a, b = one
    c, d = two
    corners = (a * c, a * d, b * c, b * d)
    return nextafter(min(corners), -inf), nextafter(max(corners), inf)


def _inverse(two: Ends) -> Interval:
    """One over a number; refused where that may be zero, as by any interval."""
    return Interval(1.0, 1.0) / Interval(*two)
