"""A number that knows how fast it changes: laws take it in place of a float and say by how much each input moves them."""

from __future__ import annotations

from typing import Union

Moving = Union[float, "Slope"]


class Slope:
    """A value with its derivatives by a fixed list of inputs; one rule of calculus for each operation.

    Comparisons look at the value alone, so that a law refuses what it would refuse as a plain number. With a number that
    is known only between two ends it makes such a number: it has no slope.

    >>> x, y = Slope(3.0, (1.0, 0.0)), Slope(4.0, (0.0, 1.0))
    >>> (x * y).by, (x / y).by
    ((4.0, 3.0), (0.25, -0.1875))
    """

    __slots__ = ("by", "value")

    def __init__(self, value: float, by: tuple[float, ...]) -> None:
        self.value = value
        self.by = by

    def __add__(self, other: Moving) -> Slope:
        if isinstance(other, Slope):
            return Slope(self.value + other.value, tuple([a + b for a, b in zip(self.by, other.by, strict=True)]))
        if not isinstance(other, int | float):
            return NotImplemented
        return Slope(self.value + other, self.by)

    __radd__ = __add__

    def __sub__(self, other: Moving) -> Slope:
        if isinstance(other, Slope):
            return Slope(self.value - other.value, tuple([a - b for a, b in zip(self.by, other.by, strict=True)]))
        if not isinstance(other, int | float):
            return NotImplemented
        return Slope(self.value - other, self.by)

    def __rsub__(self, other: float) -> Slope:
        return Slope(other - self.value, tuple([-a for a in self.by]))

    def __mul__(self, other: Moving) -> Slope:
        if isinstance(other, Slope):
            one, two = self.value, other.value
            return Slope(one * two, tuple([a * two + one * b for a, b in zip(self.by, other.by, strict=True)]))
        if not isinstance(other, int | float):
            return NotImplemented
        return Slope(self.value * other, tuple([a * other for a in self.by]))

    __rmul__ = __mul__

    def __truediv__(self, other: Moving) -> Slope:
        if isinstance(other, Slope):
            share, below = self.value / other.value, other.value
            return Slope(share, tuple([(a - share * b) / below for a, b in zip(self.by, other.by, strict=True)]))
        if not isinstance(other, int | float):
            return NotImplemented
        return Slope(self.value / other, tuple([a / other for a in self.by]))

    def __rtruediv__(self, other: float) -> Slope:
        share = other / self.value
        return Slope(share, tuple([-share * a / self.value for a in self.by]))

    def __neg__(self) -> Slope:
        return Slope(-self.value, tuple([-a for a in self.by]))

    def __lt__(self, other: Moving) -> bool:
        return self.value < plain(other)

    def __gt__(self, other: Moving) -> bool:
        return self.value > plain(other)

    def __le__(self, other: Moving) -> bool:
        return self.value <= plain(other)

    def __ge__(self, other: Moving) -> bool:
        return self.value >= plain(other)

    def __eq__(self, other: object) -> bool:
        """True for the same value that nothing moves: zero times anything may only be left out where it stays zero."""
        if isinstance(other, Slope):
            return self.value == other.value and self.by == other.by
        return self.value == other and not any(self.by)

    def __hash__(self) -> int:
        return hash((self.value, self.by))

    def __repr__(self) -> str:
        return f"Slope({self.value!r}, {self.by!r})"


def plain(number: Moving) -> float:
    """The value alone."""
    return number.value if isinstance(number, Slope) else number
