"""Why a property moved: its delta split among the single changes of a comparison.

The way from before to after is walked in a straight line on which all changes grow together; a change is credited with
what it adds along that way. The parts add up, and do not depend on the order in which changes are listed.

References
----------
.. [1] R. J. Aumann and L. S. Shapley, Values of Non-Atomic Games, Princeton 1974 (memory).
"""

from __future__ import annotations

from collections.abc import Collection
from functools import lru_cache
from math import cos, fsum, pi

from msgspec import Struct

from formulint.catalog import Catalog
from formulint.content import Value
from formulint.errors import UserError
from formulint.finding import Place
from formulint.slope import Slope
from formulint.way import Way

AGREES = 1e-9  # relative: how well the parts of a delta must add up to it
POINTS = (3, 6, 12)  # of a piece of the way at which slopes are taken, until the parts agree
MOST_PIECES = 200  # of the way: a kink takes some thirty halvings, and what grows a thousandfold a dozen
OF_A_PIECE = 1 / 32  # how much better a piece must agree, for there are many
Ends = dict[str, tuple[float, float]]
"""Values by property at the beginning and at the end of a way, or of a piece of it."""


class Cause(Struct, frozen=True):
    """One change, in words, where it stands, and the part of each property's delta that it brings, in base units."""

    what: str
    place: Place
    parts: dict[str, float]


class Split(Struct, frozen=True):
    """The causes of a comparison; by property what they leave unexplained, and why properties are not split."""

    causes: tuple[Cause, ...]
    residual: dict[str, float]
    why_not: str = ""


def split(
    before: Catalog, after: Catalog, code: str, old: dict[str, Value], new: dict[str, Value], names: Collection[str] | None = None
) -> Split:
    """The deltas between the values of two states of a formula, of all properties or of those named, split among its changes.

    Properties that are no single number on one of the sides are left out.
    """
    if names is not None:
        old, new = ({name: side[name] for name in names if name in side} for side in (old, new))
    deltas = {
        name: (one, other)
        for name, other in new.items()
        if isinstance(one := old.get(name, 0.0), float) and isinstance(other, float) and one != other
    }
    deltas.update({name: (one, 0.0) for name, one in old.items() if name not in new and isinstance(one, float) and one != 0.0})
    if not deltas:
        return Split((), {})
    try:
        way = Way(before, after, code)
    except UserError as error:
        return Split((), {}, error.message)
    count = len(way.changes)
    if count == 0:
        return Split((), {name: last - first for name, (first, last) in deltas.items()})
    parts = [{name: last - first for name, (first, last) in deltas.items()}] if count == 1 else _walked(way, deltas)
    residual = {name: last - first - fsum(one.get(name, 0.0) for one in parts) for name, (first, last) in deltas.items()}
    return Split(
        tuple(Cause(change.what, change.place, part) for change, part in zip(way.changes, parts, strict=True)),
        {name: rest for name, rest in residual.items() if not _agrees(name, rest, deltas, parts)},
    )


def _walked(way: Way, deltas: Ends) -> list[dict[str, float]]:
    """Parts by change: the mean slope along the way, piece by piece where the whole is too bent for it."""
    parts: list[dict[str, list[float]]] = [{name: [] for name in deltas} for _ in way.changes]
    waiting: list[tuple[float, float, Ends]] = [(0.0, 1.0, deltas)]
    for count in range(MOST_PIECES):
        if not waiting:
            break
        start, end, ends = waiting.pop()
        found, left = _piece(way, start, end, ends, deltas)
        middle = (start + end) / 2
        between = way.at([middle] * len(way.changes), left) if left and count + len(waiting) < MOST_PIECES - 2 else {}
        halves = {name: (first, value, last) for name, (first, last) in left.items() if isinstance(value := between.get(name), float)}
        for sums, one in zip(parts, found, strict=True):
            for name in ends.keys() - halves.keys():
                sums[name].append(one[name])
        if halves:
            waiting.append((start, middle, {name: (first, value) for name, (first, value, _) in halves.items()}))
            waiting.append((middle, end, {name: (value, last) for name, (_, value, last) in halves.items()}))
    return [{name: fsum(found) for name, found in one.items()} for one in parts]


def _piece(way: Way, start: float, end: float, ends: Ends, whole: Ends) -> tuple[list[dict[str, float]], Ends]:
    """Parts over a piece of the way, at more and more points until they agree with the values at its ends; and what does not."""
    closeness = AGREES if end - start == 1.0 else AGREES * OF_A_PIECE
    parts: list[dict[str, float]] = [{} for _ in way.changes]
    left = ends
    for points in POINTS:
        for one, better in zip(parts, _at(way, start, end, left, points), strict=True):
            one.update(better)
        rests = {name: last - first - fsum(one[name] for one in parts) for name, (first, last) in left.items()}
        left = {name: left[name] for name, rest in rests.items() if not _agrees(name, rest, whole, parts, closeness)}
        if not left:
            break
    return parts, left


def _agrees(name: str, rest: float, deltas: Ends, parts: list[dict[str, float]], closeness: float = AGREES) -> bool:
    first, last = deltas[name]
    return abs(rest) <= closeness * max(abs(first), abs(last), fsum(abs(one.get(name, 0.0)) for one in parts))


def _at(way: Way, start: float, end: float, names: Collection[str], points: int) -> list[dict[str, float]]:
    count, wide = len(way.changes), end - start
    parts: list[dict[str, list[float]]] = [{name: [] for name in names} for _ in range(count)]
    for where, weight in nodes(points):
        degrees = [Slope(start + wide * where, tuple([1.0 if at == i else 0.0 for at in range(count)])) for i in range(count)]
        values = way.at(degrees, names)
        for name in names:
            value: object = values.get(name)
            if isinstance(value, Slope):
                for one, slope in zip(parts, value.by, strict=True):
                    one[name].append(wide * weight * slope)
    return [{name: fsum(found) for name, found in one.items()} for one in parts]


@lru_cache
def nodes(count: int) -> tuple[tuple[float, float], ...]:
    """Points and weights of the Gauss-Legendre rule on 0 to 1: exact for polynomials up to degree 2 count - 1."""
    found = []
    for i in range(count):
        x = cos(pi * (i + 0.75) / (count + 0.5))
        for _ in range(100):
            value, slope = _legendre(count, x)
            step = value / slope
            x -= step
            if abs(step) < 1e-15:
                break
        slope = _legendre(count, x)[1]
        found.append(((1 + x) / 2, 1 / ((1 - x * x) * slope * slope)))
    return tuple(found)


def _legendre(degree: int, x: float) -> tuple[float, float]:
    """The Legendre polynomial and its derivative."""
    last, value = 1.0, x
    for k in range(2, degree + 1):
        last, value = value, ((2 * k - 1) * x * value - (k - 1) * last) / k
    return value, degree * (x * value - last) / (x * x - 1)
