"""The ends of what ranges make of a paint, held against the lowest and the highest that a general-purpose optimizer finds.

The optimizer knows nothing of intervals, nor that extremes mostly lie in corners: it is given the paint at points, each a
repository of its own with figures in place of ranges, and walks from the middle and from the best corner.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from fractions import Fraction
from functools import cache

import pytest
from ranged import Point, Range, Ranged, known
from repository import Table
from scipy.optimize import minimize  # type: ignore[import-untyped]

from formulint.interval import ends

PROPERTIES = ("density", "nonvolatile_volume", "pvc", "reduced_pvc", "voc_less_water", "cost_volume")
ROUNDING = 1e-11  # of the value: what floats may make of two ends
WITHIN = 0.01  # of the width: how far an end may lie outside what was found
STEP = 1e-4  # of a range: how far apart the optimizer takes two points for a slope
ENOUGH = 1e-7  # of a value, in widths over the corners: the optimizer stops where a step brings no more


def lines(*written: str) -> tuple[Table, ...]:
    """Additions, each as "P 20 kg"."""
    return tuple({"material": code, "amount": amount} for code, _, amount in (one.partition(" ") for one in written))


def paint(batch: str, additions: tuple[Table, ...], **ranges: tuple[str, str]) -> Ranged:
    """A paint of these additions, where ``P_density`` and the like lie between two ends; PM is an intermediate."""
    keys = {name.partition("_")[::2]: Range(Fraction(low), Fraction(high)) for name, (low, high) in ranges.items()}
    return Ranged(additions, lines("P 40 kg", "B 10 kg", "W q.s."), batch, keys)


PAINTS = {
    "a pigment by volume and by mass": paint("250 kg", lines("P 10 L", "P 60 kg", "B 80 kg", "G 4 kg", "W q.s."), P_density=("2", "5")),
    "shares that close": paint(
        "250 kg", lines("P 40 kg", "E 30 kg", "B 80 kg", "G 6 kg", "W q.s."),
        B_nonvolatile=("45", "53"), B_water=("45", "53"), P_density=("3.6", "4.2"), E_density=("2.5", "2.9"),
    ),
    "filled up to a volume": paint(
        "250 L", lines("P 40 kg", "E 30 kg", "B 80 kg", "G 6 L", "W q.s."),
        B_density=("1.0", "1.1"), G_density=("0.9", "1.1"), G_price=("1.5", "2.5"), E_oil_absorption=("20", "45"),
    ),
    "a pigment by volume and in an intermediate": paint(
        "300 kg", lines("P 12 L", "PM 100 kg", "B 60 kg", "G 5 kg", "W q.s."),
        P_density=("1.8", "4.4"), B_density=("0.98", "1.1"), B_nonvolatile_density=("1.0", "1.3"), P_oil_absorption=("12", "30"),
    ),
    "a dispersant on what has a wide share": paint(
        "250 kg",
        (*lines("P 50 kg", "B 70 kg", "H 20 kg", "G 5 kg", "W q.s."), {"material": "D", "amount": "2 %", "on": "pigment", "as": "active"}),
        D_active=("10", "40"), D_density=("1", "1.3"), H_film_density=("0.5", "0.8"), D_price=("1", "4"),
    ),
}  # fmt: skip


class Reckoned:
    """A paint at points of the cube in which each range that is free goes from 0 to 1; a share that closes is what is left."""

    def __init__(self, paint: Ranged) -> None:
        self.paint = paint
        self.rest = {key[0]: key for key in paint.ranges if paint.sliced(key)}
        self.free = [key for key in paint.ranges if key not in self.rest.values()]
        self._known: dict[tuple[float, ...], Mapping[str, float]] = {}

    def at(self, place: Sequence[float]) -> Mapping[str, float]:
        """The properties at a place in the cube."""
        place = tuple(map(float, place))
        if place not in self._known:
            found = self.paint.evaluate(self._point(place))
            self._known[place] = {name: known(found[name]) for name in PROPERTIES}
        return self._known[place]

    def _point(self, place: Sequence[float]) -> Point:
        ranges = self.paint.ranges
        point = {key: ranges[key].lo + Fraction(part) * (ranges[key].hi - ranges[key].lo) for key, part in zip(self.free, place, strict=True)}
        for code, key in self.rest.items():
            point[key] = self.paint.whole(code) - sum(figure for other, figure in point.items() if other[0] == code and self.paint.sliced(other))
            assert ranges[key].lo <= point[key] <= ranges[key].hi, "the cube holds only what closes"
        return point

    @property
    def corners(self) -> list[tuple[float, ...]]:
        """The corners of the cube."""
        count = len(self.free)
        return [tuple(float(number >> bit & 1) for bit in range(count)) for number in range(2**count)]

    def lowest(self, value: Callable[[Mapping[str, float]], float]) -> float:
        """The lowest that the optimizer finds."""

        def at(place: Sequence[float]) -> float:
            return value(self.at(place))

        best = min(self.corners, key=at)
        scale = max(map(at, self.corners)) - at(best) or 1.0
        cube = [(0.0, 1.0)] * len(self.free)
        starts = ([0.5] * len(self.free), list(best))
        walks = [minimize(lambda place: at(place) / scale, start, method="L-BFGS-B", bounds=cube, options={"eps": STEP, "ftol": ENOUGH}) for start in starts]
        return min(at(best), *(at(walk.x) for walk in walks))

    def extremes(self, name: str) -> tuple[float, float]:
        """The lowest and the highest of a property."""
        return self.lowest(lambda found: found[name]), -self.lowest(lambda found: -found[name])


@cache
def reckoned(name: str) -> Reckoned:
    """A paint of the list."""
    return Reckoned(PAINTS[name])


@pytest.mark.parametrize("name", PAINTS)
def test_an_optimizer_finds_nothing_outside_and_comes_near_the_ends(name: str) -> None:
    values = PAINTS[name].evaluate()
    for what in PROPERTIES:
        (low, high), (least, most) = reckoned(name).extremes(what), ends(values[what])  # type: ignore[arg-type]
        rounding = ROUNDING * max(abs(least), abs(most))
        assert least - rounding <= low and high <= most + rounding, what
        assert max(low - least, most - high) <= WITHIN * (most - least) + rounding, what


@pytest.mark.parametrize("name", ["a pigment by volume and by mass", "a pigment by volume and in an intermediate"])
def test_an_end_that_only_corners_were_asked_for_would_be_noticed(name: str) -> None:
    low, high = reckoned(name).extremes("nonvolatile_volume")
    corner = min(reckoned(name).at(place)["nonvolatile_volume"] for place in reckoned(name).corners)
    assert low < corner - WITHIN * (high - low)
