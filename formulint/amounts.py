"""From the written sheet to kilograms: masses, volumes, shares, doses on a basis, water to fill, intermediates.

Every line is a straight line in the batch mass M [kg]: kg = fixed + part * M. That settles percent formulas, doses on
what else is in the batch, and the water that fills it up, whatever mixture of them a sheet uses.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterator, Mapping, Sequence
from math import fsum
from operator import mul, sub, truediv

from msgspec import Struct

from formulint.content import TOTALS, Gap, Missing, Value, add, joined
from formulint.figure import Amount, MassOrVolume
from formulint.finding import Fault, KeyPath, Place
from formulint.formula import Addition, Formula
from formulint.interval import Number, ends, total
from formulint.quantity import NOTHING, show

_NAMES = frozenset(TOTALS)
_LITRES = TOTALS.index("total_volume")
CLOSE = 1e-9  # relative: what fills a batch is not held to the rounding of floats


class Supply(Struct, frozen=True):
    """What one kilogram of a code brings: a raw material, or an intermediate through its own lines.

    ``columns`` as in ``content.Content``; ``plain`` those of them that are not zero, and of a raw material ``row`` all in the
    order of ``TOTALS``, where all are single numbers; ``leaves`` maps raw material codes to their share [kg/kg]. Not ``known`` is a
    code of which there is no readable record: then every column is a gap. ``components`` maps what a component may be
    called (name, abbreviation in brackets, CAS number, in small letters) to its share [kg/kg].
    """

    code: str
    columns: Mapping[str, Value]
    leaves: Mapping[str, Value]
    functions: tuple[str, ...]
    active: Value
    plain: tuple[tuple[str, float], ...] | None = None
    row: tuple[float, ...] | None = None
    known: bool = True
    components: Mapping[str, Value] = {}


class Line(Struct, frozen=True):
    """One addition with what it weighs [kg] and takes up [L]."""

    keys: KeyPath
    stage: int
    at: int
    code: str
    kg: Value
    litres: Value


class Resolved(Struct, frozen=True):
    """A formula in kilograms: its lines, the sums over them, and what could not be resolved."""

    lines: tuple[Line, ...]
    totals: dict[str, Value]
    leaves: dict[str, Value]
    shares_total: Number | None
    faults: tuple[Fault, ...]


class _Draft:
    """A line while it is being resolved."""

    __slots__ = ("addition", "at", "fixed", "keys", "part", "stage", "supply", "to_fill")

    def __init__(self, stage: int, at: int, addition: Addition, supply: Supply) -> None:
        self.keys: KeyPath = ("stage", stage, "additions", at)
        self.stage = stage
        self.at = at
        self.addition = addition
        self.supply = supply
        self.fixed: Value = 0.0
        self.part: Value = 0.0
        self.to_fill = False


def plain(columns: Mapping[str, Value]) -> tuple[tuple[str, float], ...] | None:
    """The columns that are not zero; None where one of them is a gap or an interval."""
    numbers = [(name, value) for name, value in columns.items() if isinstance(value, float)]
    return tuple(pair for pair in numbers if pair[1] != 0.0) if len(numbers) == len(columns) else None


def row_of(columns: Mapping[str, Value]) -> tuple[float, ...] | None:
    """All columns in their order, zero where there is none; None where one of them is a gap or an interval."""
    found = [value for name in TOTALS if isinstance(value := columns.get(name, 0.0), float)]
    return tuple(found) if len(found) == len(TOTALS) and columns.keys() <= _NAMES else None


def times(left: Value, right: Value) -> Value:
    """Product; nothing of anything is nothing, known or not."""
    if left == 0.0 or right == 0.0:
        return 0.0
    if isinstance(left, Gap) or isinstance(right, Gap):
        return joined(mul, left, right)
    return left * right


def over(left: Value, right: Value) -> Value:
    """Quotient of two values; where the divisor may be zero, nobody can say."""
    if isinstance(left, Gap) or isinstance(right, Gap):
        return 0.0 if left == 0.0 else joined(truediv, left, right)
    try:
        return left / right
    except (ValueError, ZeroDivisionError):
        return Gap(())


def minus(left: Value, right: Value) -> Value:
    """Difference of two values."""
    if isinstance(left, Gap) or isinstance(right, Gap):
        return joined(sub, left, right)
    return left - right


def resolve(
    formula: Formula,
    path: str,
    supply: Callable[[str], Supply | None],
    swap: Mapping[tuple[int, int], str] | None = None,
) -> Resolved:
    """Resolve a formula whose lines are well-formed.

    Parameters
    ----------
    formula : Formula
    path : str
        Its file, for the places of faults.
    supply : callable
        From a code to what one kilogram of it brings; None where the code is unknown or its file cannot be read: then
        what the line brings is a gap (and somebody else reports the line).
    swap : mapping, optional
        From (stage, addition) to the code that is used instead of the one written: an alternate.
    """
    faults = list(_no_batch(formula.batch, path))
    if faults:
        gap = Gap(tuple(Missing(fault.message, fault.place, formula.code, "batch") for fault in faults))
        return Resolved((), dict.fromkeys(TOTALS, gap), {}, None, tuple(faults))
    found_plainly = _plain_masses(formula, supply, swap or {})
    if found_plainly is not None:
        return found_plainly
    drafts = []
    for i, stage in enumerate(formula.stage):
        for j, addition in enumerate(stage.additions):
            if addition.material is None:
                continue
            code = (swap or {}).get((i, j), addition.material)
            found = supply(code) or _unknown(code, Place(path, ("stage", i, "additions", j, "material")))
            drafts.append(_Draft(i, j, addition, found))
    for draft in drafts:
        _write(draft, formula.batch, path, faults)
    _doses(drafts, path, faults)
    mass = _batch_mass(formula.batch, drafts)
    lines = _weigh(drafts, mass, formula.batch, path, faults)
    totals, leaves = sums(lines, [draft.supply for draft in drafts])
    filled = f"total_{formula.batch.dimension}"
    if any(draft.to_fill for draft in drafts) and not isinstance(totals.get(filled), Gap):
        totals[filled] = formula.batch.base  # by definition, however little is known of the other lines
    shares = _shares_total(drafts)
    return Resolved(tuple(lines), totals, leaves, shares, tuple(faults))


def _plain_masses(
    formula: Formula, supply: Callable[[str], Supply | None], swap: Mapping[tuple[int, int], str]
) -> Resolved | None:
    """A sheet of nothing but masses of materials whose figures are single numbers, as most are; None for any other."""
    lines: list[Line] = []
    rows: list[list[float]] = []
    leaves: dict[str, Value] = {}
    for i, stage in enumerate(formula.stage):
        for j, addition in enumerate(stage.additions):
            if addition.material is None:
                continue
            amount = addition.amount
            if type(amount) is not Amount or addition.on is not None or amount.lo is NOTHING or amount.lo.unit.dimension != "mass":
                return None
            found = supply(swap.get((i, j), addition.material) if swap else addition.material)
            kg = amount.base
            if found is None or found.row is None or type(kg) is not float:
                return None
            code = found.code
            row = [kg * factor for factor in found.row]
            rows.append(row)
            leaves[code] = leaves[code] + kg if code in leaves else kg  # type: ignore[operator]
            lines.append(Line(("stage", i, "additions", j), i, j, code, kg, row[_LITRES]))
    totals: dict[str, Value] = {name: value for name, column in zip(TOTALS, zip(*rows, strict=True), strict=False) if (value := fsum(column))}
    return Resolved(tuple(lines), totals, leaves, None, ()) if totals else None


def _no_batch(batch: MassOrVolume, path: str) -> Iterator[Fault]:
    """What keeps the amounts from adding up to anything: a batch that is not one figure above zero."""
    if not batch.known or batch.base <= 0:
        words = "not above zero" if batch.known else "not one figure"
        yield Fault(Place(path, ("batch",)), f"the batch is {batch.text}, {words}", "write the yield that the lines add up to")


def _unknown(code: str, place: Place) -> Supply:
    """What a code brings of which there is no readable record: unknown is not zero."""
    gap = Gap((Missing(f"{code} has no record that can be read", place, code, "material"),))
    return Supply(code, dict.fromkeys(TOTALS, gap), {}, (), gap, known=False)


def _no_amount(draft: _Draft, path: str, what: str) -> Gap:
    return Gap((Missing(f"{draft.supply.code} {what}", Place(path, (*draft.keys, "amount")), draft.supply.code, "amount"),))


def _write(draft: _Draft, batch: MassOrVolume, path: str, faults: list[Fault]) -> None:
    addition, supply = draft.addition, draft.supply
    amount = addition.amount
    if amount is None:
        draft.fixed = _no_amount(draft, path, "has no amount")
    elif addition.on in ("pigment", "binder"):
        return
    elif amount.to_fill:
        draft.to_fill = True
    elif (dimension := amount.dimension) == "mass":
        draft.fixed = amount.base
    elif dimension == "volume":
        draft.fixed = over(amount.base, supply.columns["total_volume"])
    elif dimension == "mass share":
        draft.part = over(amount.base, _strength(draft, path))
    elif batch.dimension == "volume":
        draft.fixed = over(amount.base * batch.base, supply.columns["total_volume"])
    else:
        words = f"{supply.code} is given as {amount.text}, a share by volume, but the batch is {batch.text}, a mass"
        faults.append(Fault(Place(path, (*draft.keys, "amount")), words, "give the share by mass, or the batch as a volume"))
        draft.fixed = _no_amount(draft, path, "is a share by volume of a batch by mass")


def _strength(draft: _Draft, path: str) -> Value:
    """What one kilogram as supplied holds of that which the line asks for [kg/kg]."""
    kind, component = draft.addition.as_, draft.addition.of
    code = draft.supply.code
    if component is not None:
        words, keys = f'{code} has no component "{component}"', (*draft.keys, "of")
        found = draft.supply.components.get(component.casefold(), 0.0)
    elif kind in ("active", "nonvolatile"):
        words, keys = f"{code} holds nothing {kind}", (*draft.keys, "as")
        found = draft.supply.active if kind == "active" else draft.supply.columns["nonvolatile_mass"]
    else:
        return 1.0
    if isinstance(found, Gap) or found > 0:
        return found
    return Gap((Missing(words, Place(path, keys), code, "component" if component is not None else kind or ""),))


def _doses(drafts: list[_Draft], path: str, faults: list[Fault]) -> None:
    """Doses on pigment or binder, each after those that are part of what it is dosed on."""
    waiting = [draft for draft in drafts if draft.addition.on in ("pigment", "binder")]
    while waiting:
        ready = [draft for draft in waiting if not draft.supply.known or not any(_part_of(other, draft) for other in waiting if other is not draft)]
        for draft in ready or waiting:
            if ready:
                _dose(draft, drafts, path, faults)
            else:
                _refuse(draft, "what it is dosed on is dosed on it in turn", path, faults)
        waiting = [draft for draft in waiting if ready and draft not in ready]


def _part_of(other: _Draft, dosed: _Draft) -> bool:
    """Whether a line brings some of that which another line is dosed on."""
    return other.supply.columns.get(_column(dosed), 0.0) != 0.0


def _column(dosed: _Draft) -> str:
    return "pigment_mass" if dosed.addition.on == "pigment" else "binder_mass"


def _refuse(draft: _Draft, why: str, path: str, faults: list[Fault], remedy: str = "give its amount as a mass, a volume or a share of the batch") -> None:
    words = f"is dosed on {draft.addition.on}, and {why}"
    faults.append(Fault(Place(path, (*draft.keys, "on")), f"{draft.supply.code} {words}", remedy))
    draft.fixed = _no_amount(draft, path, words)


def _dose(draft: _Draft, drafts: list[_Draft], path: str, faults: list[Fault]) -> None:
    if draft.addition.amount is None:
        return
    if not draft.supply.known:
        draft.fixed = draft.supply.active
        return
    basis = [other for other in drafts if _part_of(other, draft)]
    if draft in basis:
        _refuse(draft, "is itself part of it", path, faults)
    elif any(other.to_fill for other in basis):
        _refuse(draft, "what fills the batch is part of it", path, faults)
    elif all(other.fixed == 0.0 and other.part == 0.0 for other in basis):
        _refuse(draft, "the formula holds none", path, faults, "check the functions of the materials, or dose on the batch")
    else:
        column = _column(draft)
        factor = over(draft.addition.amount.base, _strength(draft, path))
        draft.fixed = times(factor, add([times(other.fixed, other.supply.columns[column]) for other in basis]))
        draft.part = times(factor, add([times(other.part, other.supply.columns[column]) for other in basis]))


def _batch_mass(batch: MassOrVolume, drafts: list[_Draft]) -> Value:
    """Mass M of the batch [kg]: as written, or what the lines make of the written volume."""
    if batch.dimension == "mass":
        return batch.base
    parts = [draft for draft in drafts if draft.part != 0.0]
    if not parts:
        return 0.0
    fixed = add([draft.fixed for draft in drafts])
    shares = add([draft.part for draft in drafts])
    volume_of_fixed = add([times(draft.fixed, draft.supply.columns["total_volume"]) for draft in drafts])
    volume_of_parts = add([times(draft.part, draft.supply.columns["total_volume"]) for draft in drafts])
    fill = next((draft for draft in drafts if draft.to_fill), None)
    if fill is not None:
        space = fill.supply.columns["total_volume"]
        above = add([minus(batch.base, volume_of_fixed), times(fixed, space)])
        return over(above, add([volume_of_parts, times(minus(1.0, shares), space)]))
    if fixed == 0.0:
        return over(batch.base, volume_of_parts)
    rest = minus(1.0, shares)
    return over(fixed, rest) if isinstance(rest, Gap) or rest > 0 else Gap(())


def _weigh(drafts: list[_Draft], mass: Value, batch: MassOrVolume, path: str, faults: list[Fault]) -> list[Line]:
    weights = [draft.fixed if draft.part == 0.0 else add([draft.fixed, times(draft.part, mass)]) for draft in drafts]
    for i, draft in enumerate(drafts):
        if draft.to_fill:
            others = [(weight, other) for weight, other in zip(weights, drafts, strict=True) if other is not draft]
            weights[i] = _fill(draft, others, batch, path, faults)
    return [
        Line(draft.keys, draft.stage, draft.at, draft.supply.code, kg, times(kg, draft.supply.columns["total_volume"]))
        for draft, kg in zip(drafts, weights, strict=True)
    ]


def _fill(
    draft: _Draft, others: list[tuple[Value, _Draft]], batch: MassOrVolume, path: str, faults: list[Fault]
) -> Value:
    """What fills the batch up [kg]; a fault where the batch is full already or the line's own maximum is passed."""
    space = 1.0 if batch.dimension == "mass" else draft.supply.columns["total_volume"]
    bulks = [1.0 if batch.dimension == "mass" else other.supply.columns["total_volume"] for _, other in others]
    taken = add([times(weight, bulk) for (weight, _), bulk in zip(others, bulks, strict=True)])
    room = minus(batch.base, taken)
    kg = over(room, space)
    if isinstance(room, Gap) or isinstance(kg, Gap):
        return kg
    place = Place(path, (*draft.keys, "amount"))
    low, high = ends(room)
    if low < -CLOSE * batch.base:
        certain = high < 0
        over_by = show(-(high if certain else low), batch.lo.unit.symbol, 2)
        fill = "already fill" if certain else "may fill"
        words = f"no room for {draft.supply.code}: the other lines {fill} the batch of {batch.text}, by {'' if certain else 'up to '}{over_by} too much"
        faults.append(Fault(place, words, "take something out, or write a larger batch", "fail" if certain else "open"))
    most = draft.addition.max
    if most is not None:
        filled = kg if most.dimension == "mass" else times(kg, draft.supply.columns["total_volume"])
        if not isinstance(filled, Gap) and filled > most.base * (1 + CLOSE):
            unit = most.lo.unit.symbol
            words = f"{draft.supply.code} to fill would be {show(ends(filled)[0], unit, 1)}, above its max {most.text}"
            faults.append(Fault(place, words, "check the other lines: something is missing, or the batch is too large"))
    return kg


def sums(lines: Sequence[Line], supplies: Sequence[Supply]) -> tuple[dict[str, Value], dict[str, Value]]:
    """The totals of some lines, and what there is of each raw material in them [kg]."""
    parts: defaultdict[str, list[Number]] = defaultdict(list)
    gaps: dict[str, list[Value]] = {}
    leaves: dict[str, Value] = {}
    for line, supply in zip(lines, supplies, strict=True):
        kg = line.kg
        if isinstance(kg, float) and supply.plain is not None:
            for name, factor in supply.plain:
                parts[name].append(kg * factor)
        else:
            for name, value in supply.columns.items():
                product = times(kg, value)
                if isinstance(product, Gap):
                    gaps.setdefault(name, []).append(product)
                else:
                    parts[name].append(product)
        for code, share in supply.leaves.items():
            mass = kg if share == 1.0 else times(kg, share)
            leaves[code] = add([leaves[code], mass]) if code in leaves else mass
    totals: dict[str, Value] = {name: total(numbers) for name, numbers in parts.items()}
    for name, unknown in gaps.items():
        totals[name] = add([*unknown, totals.get(name, 0.0)])
    return totals, leaves


def _shares_total(drafts: list[_Draft]) -> Number | None:
    """Sum of the shares by mass as supplied, where every line that brings anything is one; else None."""
    if any(draft.fixed != 0.0 or draft.to_fill for draft in drafts):
        return None
    shares = add([draft.part for draft in drafts])
    return None if isinstance(shares, Gap) or shares == 0.0 else shares
