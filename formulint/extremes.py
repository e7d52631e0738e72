"""The highest and the lowest value that something takes over a box of inputs: outer bounds, and how far they may be off.

Branch and bound on ``Swing`` values. Where the derivative by an input cannot change its sign, the extreme lies at an
end of that input, so the input is fixed there; this alone settles what is monotone in every input, whatever the number
of inputs, by two evaluations. Where a sign is in doubt the box is split, and a part is put aside as soon as its bound
says that it cannot hold the extreme. Nothing is assumed about the value: the ends are outer bounds at every moment, and
the search ends when they are within ``NEAR`` of values that are really taken, or when its evaluations are used up.

Inputs whose sum is bounded (shares of one material) are no box. They are fixed together where the order of their
derivatives is certain, by giving to the most rewarding first; that is exact because what is taken from one and given
to another then never loses.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from heapq import heappop, heappush
from itertools import pairwise
from math import inf

from msgspec import Struct

from formulint.interval import Interval, Number, ends
from formulint.swing import Ends, Swing, centre_of

NEAR = 0.002  # of the width that is really taken: each end may lie so far outside
ROUNDING = 1e-12  # relative: nearer than this nothing is told apart
TINY = 4e-15  # shares that miss a sum by the rounding of floats
MOST = 120  # evaluations for each end

Box = tuple[Ends, ...]


class Sum(Struct, frozen=True):
    """What some inputs come to together lies between two ends."""

    members: tuple[int, ...]
    least: float
    most: float


class Bracket(Struct, frozen=True):
    """Outer bounds of a value, and the ends of what it was seen to take; both together say how wide the bounds may be of the truth."""

    lo: float
    hi: float
    seen: Ends

    @property
    def slack(self) -> float:
        """The most by which the bounds are wider than the truth, as a share of the width that was seen."""
        width = self.seen[1] - self.seen[0]
        return max(0.0, self.hi - self.lo - width) / width if width > 0 else inf


class Search:
    """Looks for the extremes of one value over a box.

    Parameters
    ----------
    value : callable
        From a box to the value over it: a ``Swing``, or a number that no input moves; None where nobody can say.
    sums : sequence of Sum
    most : int
        Evaluations for each end.
    """

    def __init__(self, value: Callable[[Box], Number | None], sums: Sequence[Sum] = (), most: int = MOST) -> None:
        self.value = value
        self.sums = sums
        self.most = most

    def bracket(self, box: Box) -> Bracket | None:
        """Bounds over a box in which every input may reach both of its ends; None where nobody can say."""
        found = self.value(box)
        if found is None:
            return None
        low, high = ends(found)
        if not isinstance(found, Swing):
            return Bracket(low, high, (low, high) if low == high else (inf, -inf))
        inner = self._certain(found, box)
        if inner is None:
            inner = (self._taken(self._corner(box, found, -1), -1), self._taken(self._corner(box, found, 1), 1))
        top, most = self._highest(box, found, 1, inner[1], inner[0])
        floor, least = self._highest(box, found, -1, -inner[0], -most)
        return Bracket(-floor, top, (-least, most))

    def _certain(self, found: Swing, box: Box) -> Ends | None:
        """Values that are taken for certain, because no input can turn: the centre, and the least that each input adds."""
        reach = 0.0
        for at, (least, most) in found.slopes.items():
            if least < 0.0 < most or self._bound(at, box):
                return None
            reach += min(abs(least), abs(most)) * found.half[at]
        return found.centre[1] - reach, found.centre[0] + reach

    def _taken(self, point: Box, sign: int) -> float:
        """A value that is taken at a point, rounded away from the side that is looked at."""
        found = self.value(point)
        if found is None:
            return -sign * inf
        low, high = ends(found)
        return low if sign > 0 else high

    def _highest(self, box: Box, found: Swing, sign: int, best: float, other: float) -> Ends:
        """The highest of ``sign`` times the value: an outer bound, and the best that was seen.

        ``best`` is what is taken for certain on this side, ``other`` on the other one.
        """
        heap: list[tuple[float, int, Box, Number]] = [(-_top(found, sign), 0, box, found)]
        spent = 0
        while heap:
            bound, _, part, known = heappop(heap)
            high = -bound
            if not any(_binds(one, part) for one in self.sums):
                best = max(best, _middle(known, sign))
            near = max(NEAR * (best - other), ROUNDING * abs(high))
            if high <= best + near or spent >= self.most or not isinstance(known, Swing):
                break
            parts = self._smaller(part, known, sign)
            if parts is None:
                break
            for smaller in parts:
                spent += 1
                value = self.value(smaller)
                top = high if value is None else min(high, _top(value, sign))
                heappush(heap, (-top, spent, smaller, known if value is None else value))
        return high, best

    def _smaller(self, box: Box, found: Swing, sign: int) -> list[Box] | None:
        """A box without the inputs that are settled; where none is, both halves by the input that moves most; None where it cannot be cut.

        One that cannot be cut, since it is settled and nobody says any more what is taken there, must not be forgotten: its bound stands.
        """
        settled = self._settled(box, found, sign)
        if settled != box:
            return [settled]
        moves = {at: max(-least, most) * found.half[at] for at, (least, most) in found.slopes.items() if box[at][0] < box[at][1]}
        if not moves:
            return None
        at = max(moves, key=lambda one: (moves[one], -one))
        low, high = box[at]
        middle = centre_of(low, high)
        halves = (contracted((*box[:at], side, *box[at + 1 :]), self.sums) for side in ((low, middle), (middle, high)))
        return [half for half in halves if half is not None]

    def _bound(self, at: int, box: Box) -> bool:
        """Whether an input may not go where it likes, because of what others of its sum are."""
        return any(at in one.members and _binds(one, box) for one in self.sums)

    def _settled(self, box: Box, found: Swing, sign: int) -> Box:
        """The box with each input at its end for which that is proven best."""
        result = list(box)
        for at, (low, high) in enumerate(box):
            if low < high and not self._bound(at, box):
                least, most = found.slopes.get(at, (0.0, 0.0))
                if least >= 0.0 or most <= 0.0:
                    up = (least >= 0.0) == (sign > 0)
                    result[at] = (high, high) if up else (low, low)
        for one in self.sums:
            if _binds(one, box) and _ordered(one, found):
                _share_out(one, result, found, sign)
        return tuple(result)

    def _corner(self, box: Box, found: Swing, sign: int) -> Box:
        """A point that is likely to be the best."""
        result = list(box)
        for at, (low, high) in enumerate(box):
            up = sign * _middle_slope(found, at) > 0.0
            result[at] = (high, high) if up else (low, low)
        for one in self.sums:
            if _binds(one, box):
                for at in one.members:
                    result[at] = box[at]
                _share_out(one, result, found, sign)
        return tuple(result)


def _top(found: Number, sign: int) -> float:
    low, high = ends(found)
    return high if sign > 0 else -low


def _middle(found: Number, sign: int) -> float:
    """The least of ``sign`` times the value that is taken for certain: that in the middle, or that of a point."""
    low, high = found.centre if isinstance(found, Swing) else ends(found)
    return low if sign > 0 else -high


def _middle_slope(found: Swing, at: int) -> float:
    least, most = found.slopes.get(at, (0.0, 0.0))
    return least / 2 + most / 2


def _binds(one: Sum, box: Box) -> bool:
    """Whether a sum keeps its inputs from any corner of the box."""
    low, high = (sum(box[at][end] for at in one.members) for end in (0, 1))
    return low < high and (low < one.least - TINY or high > one.most + TINY)


def _ordered(one: Sum, found: Swing) -> bool:
    """Whether it is certain which input of a sum moves the value most, and in which direction."""
    slopes = sorted(found.slopes.get(at, (0.0, 0.0)) for at in one.members)
    apart = all(left[1] <= right[0] for left, right in pairwise(slopes))
    return apart and all(least >= 0.0 or most <= 0.0 for least, most in slopes)


def _share_out(one: Sum, result: list[Ends], found: Swing, sign: int) -> None:
    """Put the inputs of a sum where they give the most: as much as is allowed of what helps, as little of what harms."""
    order = sorted(one.members, key=lambda at: (-sign * _middle_slope(found, at), at))
    given = {at: result[at][0] for at in order}
    for at in order:
        helps = sign * _middle_slope(found, at) > 0.0
        room = (one.most if helps else one.least) - sum(given.values())
        given[at] += min(max(room, 0.0), result[at][1] - given[at])
    for at in order:
        result[at] = (given[at], given[at])


def contracted(box: Box, sums: Sequence[Sum]) -> Box | None:
    """The box without what no sum allows; None where nothing is left."""
    result = list(box)
    for one in sums:
        low, high = (sum(result[at][end] for at in one.members) for end in (0, 1))
        for at in one.members:
            least = max(result[at][0], one.least - (high - result[at][1]) - TINY)
            most = min(result[at][1], one.most - (low - result[at][0]) + TINY)
            if least > most:
                if least > most + 4 * TINY:
                    return None
                least = most = centre_of(most, least)
            result[at] = (least, most)
            low, high = (sum(result[one_at][end] for one_at in one.members) for end in (0, 1))
    return tuple(result)


def hull(found: Interval, bracket: Bracket) -> Interval:
    """The narrower of two outer bounds, end by end."""
    return Interval(max(found.lo, bracket.lo), min(found.hi, bracket.hi))
