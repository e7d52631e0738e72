"""Acute toxicity of a paint by the estimates (ATE) of its components, each route by itself.

100/ATE = sum of C/ATE over the components that count; above a stated share of unknown toxicity (100 - unknown)/ATE
(UN GHS 3.1.3.6.1 and 3.1.3.6.2.3).
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from functools import cache
from typing import NamedTuple

from formulint.hazard.ingredient import ACUTE, Ingredient, parsed, routes_of
from formulint.hazard.relation import More
from formulint.hazard.scheme import Acute, Route, Scheme, exact, figures, share


class Part(NamedTuple):
    """A component with its estimate [base unit] and the share from which it counts."""

    one: Ingredient
    estimate: Fraction
    counts_from: Fraction


class Toxicity(NamedTuple):
    """A route of a paint: what counts, and the sum of C/ATE and the part of the paint it is held against, at either end.

    The estimate of the paint is ``whole / sum``; where nothing counts there is none.
    """

    route: Route
    parts: tuple[Part, ...]
    low: Fraction
    high: Fraction
    whole: Fraction
    unknown: Fraction

    def category(self, scheme: Scheme, high: bool = False) -> int | None:
        """The category, 1 to 5, of which the upper limits are included."""
        reached = self.high if high else self.low
        if not self.parts:
            return None
        for at, limit in enumerate(self.limits(scheme), 1):
            if reached * limit >= self.whole and reached > 0:
                return at
        return None

    def limits(self, scheme: Scheme) -> tuple[Fraction, ...]:
        """Upper limits of the categories that the scheme has."""
        return limits_of(self.route, scheme.acute_categories)

    def counted(self, high: bool = False) -> tuple[Ingredient, ...]:
        """The components that bring it, the one that weighs most first."""
        found = [part for part in self.parts if (part.one.high if high else part.one.low) >= part.counts_from]
        return tuple(part.one for part in sorted(found, key=lambda part: -part.one.high / part.estimate))

    def until(self, scheme: Scheme, category: int) -> More | None:
        """The component of which the least more, in place of what is not toxic, makes a category."""
        if not self.parts:
            return None
        limit = self.limits(scheme)[category - 1]
        ways = []
        for part in self.parts:
            counted = part.one.high >= part.counts_from
            others = self.high - (part.one.high / part.estimate if counted else 0)
            needed = max(part.counts_from, (self.whole / limit - others) * part.estimate)
            ways.append(More(part.one, needed - part.one.high))
        return min(ways, key=lambda way: (way.share, way.one.name), default=None)


@cache
def limits_of(route: Route, most: int) -> tuple[Fraction, ...]:
    """Upper limits of the categories of a route, in base units; of a scheme that has so many."""
    return tuple(exact(text, route.dimension) for text in route.limits[:most])


def settings() -> Acute:
    """How acute toxicity treats what is not known."""
    found = figures().acute
    assert found is not None  # the shipped file has it; a test reads it
    return found


def toxicity(scheme: Scheme, route: Route, ingredients: Sequence[Ingredient], unknown: Sequence[Fraction]) -> Toxicity:
    """One route of a paint. ``unknown`` are the shares of which nobody says how toxic they are."""
    parts = parts_of(scheme, route, ingredients)
    low = sum((part.one.low / part.estimate for part in parts if part.one.low >= part.counts_from), Fraction(0))
    high = sum((part.one.high / part.estimate for part in parts if part.one.high >= part.counts_from), Fraction(0))
    relevant = sum((one for one in unknown if one >= share(settings().unknown_relevant)), Fraction(0))
    whole = 1 - relevant if relevant > share(settings().unknown_above) else Fraction(1)
    return Toxicity(route, parts, low, high, whole, relevant)


def parts_of(scheme: Scheme, route: Route, ingredients: Sequence[Ingredient]) -> tuple[Part, ...]:
    """The components that have an estimate within the categories of a scheme."""
    return tuple(part for one in ingredients if (one.classes or one.ate) and (part := _part(scheme, route, one)) is not None)


def _part(scheme: Scheme, route: Route, one: Ingredient) -> Part | None:
    estimate = _estimate(scheme, route, one)
    if estimate is None:
        return None
    category = next((at for at, limit in enumerate(limits_of(route, scheme.acute_categories)) if estimate <= limit), None)
    if category is None or estimate <= 0:
        return None  # outside every category of the scheme: not counted
    return Part(one, estimate, share(scheme.acute_relevant[category]))


def _estimate(scheme: Scheme, route: Route, one: Ingredient) -> Fraction | None:
    """The component's own figure, else the point that stands for its category."""
    if route.id in one.ate:
        return one.ate[route.id]
    found = []
    for held in one.classes or ():
        name = parsed(held)
        if name.name == ACUTE and name.category and route.id in _routes(held, one):
            at = int(name.category) - 1
            if at < min(scheme.acute_categories, len(route.points)):
                found.append(exact(route.points[at], route.dimension))
    return min(found, default=None)


def _routes(held: str, one: Ingredient) -> tuple[str, ...]:
    """The routes of a class; of "inhalation", the one for which the record gives an estimate, if it gives one."""
    routes = routes_of(held, one.volatile)
    given = [route for route in ("gas", "vapour", "dust_mist") if route in one.ate]
    return () if given and routes and routes[0] in ("vapour", "dust_mist") and parsed(held).more == "inhalation" else routes
