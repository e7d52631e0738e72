"""What a scale can show of an amount: which scale weighs it, in which unit, rounded to its division."""

from __future__ import annotations

from collections.abc import Iterable
from math import ceil, floor

from msgspec import Struct

from formulint.equipment import Equipment
from formulint.quantity import Quantity
from formulint.units import unit_of

SNAP = 1e-9  # of a division: nearer than this to half of one counts as half, which is shown as a whole one
FINE = 0.0001  # of an amount: so little may be lost by printing it where no scale is named; a fifth of what passes for the same amount (practice)
FINEST = 9  # decimals
LAB = 10.0  # kg; a batch below is weighed in grams (practice)


class Weighing(Struct, frozen=True):
    """An amount [kg] and what is to be read for it: on a scale, in ``loads``, or as printed where no scale is named."""

    kg: float
    reads: Quantity
    division: Quantity
    scale: Equipment | None = None
    loads: int = 1

    @property
    def off(self) -> float:
        """What rounding adds, as a share of the amount; below zero where it takes away."""
        return self.reads.base / self.kg - 1 if self.kg else 0.0

    @property
    def coarse(self) -> float:
        """Half a division as a share of the amount: how well the scale shows it at all; 0 where no scale is named."""
        return self.division.base / (2 * self.kg) if self.kg and self.scale is not None else 0.0


def rounded(amount: float, division: Quantity, down: bool = False) -> Quantity:
    """The multiple of a division nearest to an amount in base units (half a division up), or the last one not above it.

    Examples
    --------
    A batch of 50 gal asks for 0.70 lb of a preservative. A scale that shows 0.5 lb can show 0.5 lb or 1.0 lb; 0.70 over
    0.5 is 1.4 divisions, so it shows one, 29 % too little:

    >>> from formulint.quantity import read
    >>> half = read("0.5 lb", ("mass",))
    >>> str(rounded(0.70 * 0.45359237, half))
    '0.5 lb'
    >>> str(rounded(0.75 * 0.45359237, half)), str(rounded(0.75 * 0.45359237, half, down=True))
    ('1.0 lb', '0.5 lb')
    """
    from decimal import Decimal

    steps = floor(amount / division.base + (SNAP if down else 0.5 + SNAP))
    return Quantity(format(Decimal(division.digits) * steps, "f"), division.unit, division.spelled)


def printed(amount: float, symbol: str) -> Quantity:
    """The last digit that an amount (base units) is printed with in a unit, so that it is told to ``FINE`` of itself.

    >>> str(rounded(92.3363 * 0.45359237, printed(92.3363 * 0.45359237, "lb")))
    '92.34 lb'
    """
    unit = unit_of(symbol)
    for decimals in range(FINEST + 1):
        division = Quantity(f"{10.0**-decimals:.{decimals}f}", unit, symbol)
        if abs(rounded(amount, division).base - amount) <= FINE * amount:
            break
    return division


def usable(equipment: Iterable[Equipment]) -> tuple[Equipment, ...]:
    """The scales that say how much they weigh and what they show, the finest first."""
    scales = [one for one in equipment if one.kind == "scale" and one.division is not None and one.capacity is not None]
    return tuple(sorted((one for one in scales if _division(one).base > 0), key=lambda one: (_division(one).base, one.code)))


class Bench(Struct, frozen=True):
    """The scales at hand, the finest first, and the unit of the shop, in which an amount is printed where there is none."""

    scales: tuple[Equipment, ...]
    symbol: str

    def weigh(self, kg: float, down: bool = False) -> Weighing:
        """An amount on the finest scale that takes it in one load; else on the largest, in several."""
        fits = next((one for one in self.scales if kg <= _capacity(one)), None)
        scale = fits or max(self.scales, key=_capacity, default=None)
        if scale is None:
            plain = printed(kg, self.symbol)
            return Weighing(kg, rounded(kg, plain, down), plain)
        division = _division(scale)
        reads = rounded(kg, division, down)
        return Weighing(kg, reads, division, scale, max(1, ceil(kg / _capacity(scale) - SNAP)))


def _division(scale: Equipment) -> Quantity:
    assert scale.division is not None
    return scale.division.hi


def _capacity(scale: Equipment) -> float:
    assert scale.capacity is not None
    return scale.capacity.lo.base
