"""How shares of classified components make a class: weighted sums and single components, each against its own limit.

Both are one relation. A component counts with its share over a limit L: the class is reached where the sum of C/L over all
that count (or, in rows of ``each``, a single C/L) is 1 or more. L is the row's limit over the factor of the class, or the
component's specific limit in its place (ECHA, guidance on the application of the CLP criteria, 3.2.3.3: from memory).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import date
from fractions import Fraction
from functools import cache, lru_cache
from typing import NamedTuple

from formulint.hazard.ingredient import Ingredient, Profile, matches, parsed
from formulint.hazard.scheme import Row, Scheme, Term, figures, scheme_of, share

NOTHING = Fraction(0)


class Part(NamedTuple):
    """A component that a row looks at: its limit there, and the share from which it counts."""

    one: Ingredient
    limit: Fraction
    counts_from: Fraction

    def counts(self, high: bool) -> bool:
        """True where its share is large enough to count, at the upper or the lower end."""
        return self.amount(high) >= self.counts_from

    def amount(self, high: bool) -> Fraction:
        """Its share at the upper or the lower end."""
        return self.one.high if high else self.one.low


class Tried(NamedTuple):
    """A row tried on a paint: who is looked at, and how much of the limit is reached at either end."""

    row: Row
    parts: tuple[Part, ...]
    low: Fraction
    high: Fraction

    def counted(self, high: bool = False) -> tuple[Ingredient, ...]:
        """The components that bring it, the one that weighs most first."""
        found = [part for part in self.parts if part.counts(high) and (self.row.how == "sum" or part.amount(high) >= part.limit)]
        return tuple(part.one for part in sorted(found, key=lambda part: -part.amount(high) / part.limit))


def trials(name: str, today: date, ingredients: Iterable[Ingredient]) -> list[Tried]:
    """Every row of a scheme that is in force, tried on a mixture."""
    rows = in_force(name, today)
    parts: list[list[Part]] = [[] for _ in rows]
    for one in ingredients:
        if one.classes:
            for at, limit, counts_from in bearing(name, today, one.profile):
                parts[at].append(Part(one, limit, counts_from))
    return [_tried(row, found) if found else Tried(row, (), NOTHING, NOTHING) for row, found in zip(rows, parts, strict=True)]


def _tried(row: Row, parts: Sequence[Part]) -> Tried:
    high = _reached(row, parts, high=True)
    ranges = any(part.one.low != part.one.high for part in parts)
    return Tried(row, tuple(parts), _reached(row, parts, high=False) if ranges else high, high)


@cache
def in_force(name: str, today: date) -> tuple[Row, ...]:
    """The rows of a scheme on a day."""
    return tuple(row for row in figures().row if row.in_force(name, today))


@lru_cache(maxsize=2000)
def bearing(name: str, today: date, one: Profile) -> tuple[tuple[int, Fraction, Fraction], ...]:
    """In which rows a substance counts, with its limit there and the share from which it counts."""
    scheme = scheme_of(name)
    found = ((at, _part(scheme, row, one)) for at, row in enumerate(in_force(name, today)))
    return tuple((at, *part) for at, part in found if part is not None)


def _part(scheme: Scheme, row: Row, one: Profile) -> tuple[Fraction, Fraction] | None:
    if row.apart and one.additive:
        return None
    found = [(term, held) for term in row.of for held in one.classes if _held(term, held)]
    if not found:
        return None
    limits = [(own or share(row.least) / (term.times * one.m(term.m)), own) for term, held in found for own in (_own(scheme, row, held, one),)]
    limit, own = min(limits, key=lambda pair: pair[0])
    if row.how == "each":
        return limit, limit
    cut = min(_cut_off(scheme, term, held, one) for term, held in found)
    return limit, cut if own is None else min(cut, own)


def _held(term: Term, held: str) -> bool:
    return any(matches(wanted, held) for wanted in term.classes)


def _own(scheme: Scheme, row: Row, held: str, one: Profile) -> Fraction | None:
    """The component's own limit in a row, where the scheme and the row take such limits."""
    if not scheme.specific or row.specific == "none":
        return None
    own = _specific(one, row.result if row.specific == "result" else held)
    return None if own is None else own / row.over


def _specific(one: Profile, wanted: str) -> Fraction | None:
    """The component's own limit for a class: of that category, else of one that differs only by its letter."""
    name = parsed(wanted)
    same = [limit for key, limit in one.limits if parsed(key)[:2] == name[:2]]
    near = [limit for key, limit in one.limits if (parsed(key).name, parsed(key).step) == (name.name, name.step)]
    return min(same or near, default=None)


def _cut_off(scheme: Scheme, term: Term, held: str, one: Profile) -> Fraction:
    """The share from which a component of a class counts."""
    generic, over_m = generic_cut_off(scheme.id, held)
    return generic / (one.m(term.m or _kind(held)) if over_m else 1)


@cache
def generic_cut_off(name: str, held: str) -> tuple[Fraction, bool]:
    """The generic cut-off of a class in a scheme, and whether it is divided by the M-factor; nothing where there is none."""
    for cut in figures().cut_off:
        if name in cut.schemes and any(matches(listed, held) for listed in cut.classes):
            return share(cut.least), cut.over_m
    return NOTHING, False


def _kind(held: str) -> str:
    return "chronic" if "Chronic" in held else "acute"


def _reached(row: Row, parts: Sequence[Part], high: bool) -> Fraction:
    ratios = [part.amount(high) / part.limit for part in parts if part.counts(high)]
    return max(ratios, default=NOTHING) if row.how == "each" else sum(ratios, NOTHING)


def could(trial: Tried, scheme: Scheme, unknown: Sequence[Fraction]) -> bool:
    """True where these shares of unknown hazards would make the class, each of the worst class that the row looks at.

    Taken with generic limits and M-factors of 1: a substance of its own lower limit would do it sooner.
    """
    row = trial.row
    if row.apart or not unknown:
        return False
    limit, counts_from = worst(row, scheme.id)
    if row.how == "each":
        return max(unknown) >= limit
    return trial.high + sum((one for one in unknown if one >= counts_from), NOTHING) / limit >= 1


@cache
def worst(row: Row, name: str) -> tuple[Fraction, Fraction]:
    """The lowest generic limit of a row, and the share from which a component of that class counts."""
    ways = [(share(row.least) / term.times, min(generic_cut_off(name, held)[0] for held in term.classes)) for term in row.of]
    return min(ways, key=lambda pair: pair[0])


class More(NamedTuple):
    """How much more of a component, in place of what is not classified, until a class is reached [kg/kg]."""

    one: Ingredient
    share: Fraction


def until(trial: Tried) -> list[More]:
    """The components of which the least more makes the class; none where none of its classes is in the paint."""
    ways = []
    for part in trial.parts:
        if trial.row.how == "each":
            needed = part.limit
        else:
            others = trial.high - (part.one.high / part.limit if part.counts(True) else 0)
            needed = max(part.counts_from, (1 - others) * part.limit)
        ways.append(More(part.one, needed - part.one.high))
    least = min((way.share for way in ways), default=None)
    return [way for way in ways if way.share == least]
