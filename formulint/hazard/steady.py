"""Whether two states of a paint surely have the same classes: looked at in floats, before anything is computed in fractions.

Every answer of a classification is a comparison of something that only grows with the shares of what the paint holds. Where
shares a little below both states and shares a little above both give the same answer to each of them, so do the two states.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from datetime import date
from functools import cache
from typing import NamedTuple

from formulint.hazard.acute import limits_of, parts_of, settings
from formulint.hazard.classify import in_force_of
from formulint.hazard.ingredient import Ingredient, known
from formulint.hazard.relation import bearing, in_force, worst
from formulint.hazard.scheme import SCHEMES, figures, scheme_of, share
from formulint.hazard.shares import is_water_named, unnamed_of, whole_of
from formulint.material import Material
from formulint.subject import FormulaSubject

OUTWARD = 1e-9  # relative: more than floats lose on the way to a share

Row = tuple[str, str, int]  # a scheme; a route and nothing, or nothing and the place of a row


class _Weight(NamedTuple):
    """How a component counts in a row or route: reached by so much a unit of share, from such a share on, alone or in a sum."""

    row: Row
    each: bool
    per_share: float
    counts_from: float


class _Traits(NamedTuple):
    """What of a component decides: the weights, and the schemes and routes in which nobody says what it is."""

    weights: tuple[_Weight, ...]
    dark: frozenset[str]
    told_routes: frozenset[str]


HARMLESS = _Traits((), frozenset(), frozenset())


class _Brought(NamedTuple):
    """A component of a material: its name in sums, the ends of its share [kg/kg], its traits."""

    key: str
    low: float
    high: float
    traits: _Traits


class _Record(NamedTuple):
    """A material, looked at once; it is kept so that its identity stays its own."""

    material: Material
    brought: tuple[_Brought, ...]
    unnamed: float


_RECORDS: dict[tuple[int, date], _Record] = {}
MOST = 5000  # records that are kept


def steady(one: FormulaSubject, other: FormulaSubject) -> bool:
    """True where no class, statement or open question can differ between two states; False where that takes a closer look."""
    pairs = _pairs(one, other)
    if pairs is None or one.today != other.today:
        return False
    held: dict[str, tuple[float, float, float, float, _Traits]] = {}
    unnamed: list[tuple[float, float]] = []
    for record, least, most in pairs:
        for part in record.brought:
            now = (least * part.low, most * part.low, least * part.high, most * part.high)
            before = held.get(part.key)
            if before is not None:
                if before[4] != part.traits:
                    return False
                now = (now[0] + before[0], now[1] + before[1], now[2] + before[2], now[3] + before[3])
            held[part.key] = (*now, part.traits)
        if record.unnamed:
            unnamed.append((least * record.unnamed, most * record.unnamed))
    kept = list(held.values())
    sure = _reached([(low, more, traits.weights) for low, more, _, _, traits in kept])
    likely = _reached([(less, high, traits.weights) for _, _, less, high, traits in kept])
    if sure is None or likely is None:
        return False
    dark = {name: [(less, high, traits) for _, _, less, high, traits in kept if name in traits.dark] for name in SCHEMES}
    return all(_same_in(name, one.today, (sure, likely), dark[name], unnamed) for name in SCHEMES)


def _pairs(one: FormulaSubject, other: FormulaSubject) -> list[tuple[_Record, float, float]] | None:
    """Each material with shares below and above those of both states [kg/kg]; None where they are no single figures."""
    sides: list[dict[str, float]] = []
    found: dict[str, _Record] = {}
    for subject in (one, other):
        mass = subject.resolved.totals.get("total_mass")
        if not isinstance(mass, float) or mass <= 0 or not subject.resolved.leaves or subject.resolved.faults:
            return None
        shares: dict[str, float] = {}
        for code, kg in subject.resolved.leaves.items():
            stock = subject.stocks.get(code)
            if stock is None or not isinstance(kg, float):
                return None
            record = _record(stock.material, subject.today)
            if found.setdefault(code, record) is not record and found[code].brought != record.brought:
                return None
            shares[code] = kg / mass
        sides.append(shares)
    ends = {code: sorted((sides[0].get(code, 0.0), sides[1].get(code, 0.0))) for code in found}
    return [(found[code], least * (1 - OUTWARD), most * (1 + OUTWARD)) for code, (least, most) in ends.items()]


def _record(material: Material, today: date) -> _Record:
    key = id(material), today
    found = _RECORDS.get(key)
    if found is None or found.material is not material:
        if len(_RECORDS) > MOST:
            _RECORDS.clear()
        found = _RECORDS[key] = _Record(material, tuple(_brought(material, today)), _unnamed(material))
    return found


def _unnamed(material: Material) -> float:
    """What it does not name [kg/kg], as ``shares.unnamed_of`` has it: in floats where that is plainly something or nothing."""
    named = [one.share for one in material.component]
    if material.water is not None and not is_water_named(material):
        named.append(material.water)
    rest = 1.0 - sum([one.lo.base for one in named])
    if material.disclosure == "full" and material.component:
        rest = min(rest, 1.0 - sum([one.hi.base + float(one.hi.half_digit) for one in named]))
    return max(rest, 0.0) if abs(rest) > OUTWARD else float(unnamed_of(material))


def _brought(material: Material, today: date) -> Iterator[_Brought]:
    for one in whole_of(material):
        yield _Brought(one.cas or one.name.casefold(), float(one.low), float(one.high), _traits(one, today))


_TRAITS: dict[tuple[object, ...], _Traits] = {}


def _traits(one: Ingredient, today: date) -> _Traits:
    """What of a component decides: the same in every material that says the same of it."""
    if one.classes == () and not one.ate:
        return HARMLESS
    key = (one.cas, one.classes, one.profile, tuple(one.ate.items()), one.volatile, today)
    if key not in _TRAITS:
        if len(_TRAITS) > MOST:
            _TRAITS.clear()
        weights: list[_Weight] = []
        dark = set()
        for name in SCHEMES:
            (kept,), _ = in_force_of(scheme_of(name), [one], today)
            if not known(kept):
                dark.add(name)
            weights += _weights(name, kept, today)
        _TRAITS[key] = _Traits(tuple(weights), frozenset(dark), frozenset(one.ate))
    return _TRAITS[key]


def _weights(name: str, one: Ingredient, today: date) -> Iterator[_Weight]:
    if one.classes:
        rows = in_force(name, today)
        for at, limit, counts_from in bearing(name, today, one.profile):
            yield _Weight((name, "", at), rows[at].how == "each", float(1 / limit), float(counts_from))
    for route in figures().route:
        for part in parts_of(scheme_of(name), route, [one]):
            yield _Weight((name, route.id, 0), False, float(1 / part.estimate), float(part.counts_from))


def _reached(held: Iterable[tuple[float, float, tuple[_Weight, ...]]]) -> dict[Row, tuple[float, float]] | None:
    """How much of each row is reached below and above; None where a component begins to count, or a class to be reached, in between."""
    found: dict[Row, tuple[float, float]] = {}
    for least, most, weights in held:
        for row, each, per_share, counts_from in weights:
            if (least >= counts_from) != (most >= counts_from):
                return None
            if most < counts_from:
                continue
            low, high = least * per_share, most * per_share
            if each and (low >= 1) != (high >= 1):
                return None
            below, above = found.get(row, (0.0, 0.0))
            found[row] = (max(below, low), max(above, high)) if each else (below + low, above + high)
    crossed = any((low >= 1) != (high >= 1) for (_, route, _), (low, high) in found.items() if not route)
    return None if crossed else found


def _same_in(
    name: str, today: date, reached: Sequence[dict[Row, tuple[float, float]]], dark: Sequence[tuple[float, float, _Traits]], unnamed: Sequence[tuple[float, float]]
) -> bool:
    """Whether one scheme says the same below and above."""
    ends = ([*(one[0] for one in dark), *(one[0] for one in unnamed)], [*(one[1] for one in dark), *(one[1] for one in unnamed)])
    if ends[1]:
        largest = (max(ends[0]), max(ends[1]))
        counted: dict[float, tuple[float, float]] = {}  # by the share from which one counts: few rows have one of their own
        for row, (each, apart, limit, counts_from) in enumerate(_worst_of(name, today)):
            if apart:
                continue
            if each:
                if (largest[0] >= limit) != (largest[1] >= limit):
                    return False
                continue
            if counts_from not in counted:
                counted[counts_from] = (sum([one for one in ends[0] if one >= counts_from]), sum([one for one in ends[1] if one >= counts_from]))
            sums, more = reached[1].get((name, "", row), (0.0, 0.0)), counted[counts_from]
            if (sums[0] + more[0] / limit >= 1) != (sums[1] + more[1] / limit >= 1):
                return False
    unknown, told_from = _unknown()
    for at, route in enumerate(figures().route):
        limits = _limits(name, at)
        told = [one for one in dark if route.id not in one[2].told_routes]
        wholes = []
        for shares in ([*(one[0] for one in told), *(one[0] for one in unnamed)], [*(one[1] for one in told), *(one[1] for one in unnamed)]):
            relevant = sum(one for one in shares if one >= unknown)
            wholes.append(1 - relevant if relevant > told_from else 1.0)
        found = [one[name, route.id, 0] for one in reached if (name, route.id, 0) in one]
        for sums in found:
            if _category(sums[0], wholes[0], limits) != _category(sums[1], wholes[1], limits):
                return False
    return True


def _category(reached: float, whole: float, limits: Sequence[float]) -> int:
    return next((at for at, limit in enumerate(limits) if reached * limit >= whole), len(limits))


@cache
def _worst_of(name: str, today: date) -> tuple[tuple[bool, bool, float, float], ...]:
    """Of each row: whether single components count, whether they stand apart, the lowest generic limit and its cut-off."""
    found = ((row, *((0, 0) if row.apart else worst(row, name))) for row in in_force(name, today))
    return tuple((row.how == "each", row.apart, float(limit), float(counts_from)) for row, limit, counts_from in found)


@cache
def _limits(name: str, route: int) -> tuple[float, ...]:
    return tuple(float(one) for one in limits_of(figures().route[route], scheme_of(name).acute_categories))


@cache
def _unknown() -> tuple[float, float]:
    """From which share on an unknown component counts, and above which sum it changes the estimate [kg/kg]."""
    return float(share(settings().unknown_relevant)), float(share(settings().unknown_above))
