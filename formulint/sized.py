"""A formula at another size: what each line comes to, what is to be weighed of it, and the sheet as it would be weighed."""

from __future__ import annotations

from collections.abc import Mapping

from msgspec import Struct
from msgspec.structs import replace

from formulint.amounts import Line, Resolved
from formulint.content import Gap, Value
from formulint.equipment import Equipment
from formulint.figure import Amount, MassOrVolume
from formulint.formula import Addition, Formula
from formulint.quantity import Quantity
from formulint.scales import LAB, Bench, Weighing, printed, rounded, usable
from formulint.units import unit_of
from formulint.vessels import Spot


class Portion(Struct, frozen=True):
    """A line at its size: to be weighed, or measured by volume where its weight is not known; neither where nobody can say."""

    line: Line
    addition: Addition
    weighing: Weighing | None = None
    measured: Quantity | None = None
    litres: float | None = None


class Sized(Struct, frozen=True):
    """A formula times ``factor``: its portions by their place, and the sheets with exact and with rounded amounts."""

    formula: Formula
    size: Quantity
    factor: float
    portions: Mapping[Spot, Portion]
    bench: Bench
    exact: Formula
    weighed: Formula


def factor_of(formula: Formula, resolved: Resolved, size: Quantity) -> float | str:
    """How many times the batch of a formula the size is; in words what is missing where a volume and a mass cannot be compared.

    Examples
    --------
    A batch of 100 gal at 500 gal is five batches, whatever is in it; at 250 kg it is 250 kg over what its lines weigh.
    """
    if size.unit.dimension == formula.batch.dimension:
        return float(size.exact / formula.batch.exact)
    total = resolved.totals.get(f"total_{size.unit.dimension}", 0.0)
    if isinstance(total, float) and total > 0:
        return size.base / total
    why = "; ".join(dict.fromkeys(item.what for item in total.missing)) if isinstance(total, Gap) else "it is known only as a range"
    return f"the batch of {formula.batch.text} cannot be told as a {size.unit.dimension}, so nobody can say how much of it {size} is: {why or 'nothing is known of it'}"


def sized(formula: Formula, resolved: Resolved, size: Quantity, factor: float, equipment: tuple[Equipment, ...], units: str) -> Sized:
    """The formula at a size, on the scales of the equipment."""
    weights = [line.kg * factor for line in resolved.lines if isinstance(line.kg, float)]
    symbol = "g" if sum(weights) < LAB else "lb" if units == "us" else "kg"
    bench = Bench(usable(equipment), symbol)
    portions = {}
    for line in resolved.lines:
        spot = (line.stage, line.at)
        portions[spot] = _portion(line, formula.stage[line.stage].additions[line.at], factor, bench)
    exact = {spot: found for spot, one in portions.items() if (found := _exact(one)) is not None}
    shown = {spot: one.weighing.reads if one.weighing else one.measured for spot, one in portions.items()}
    weighed = {spot: found for spot, found in shown.items() if found is not None}
    return Sized(formula, size, factor, portions, bench, written(formula, size, exact), written(formula, size, weighed))


def _portion(line: Line, addition: Addition, factor: float, bench: Bench) -> Portion:
    if isinstance(line.kg, float):
        return Portion(line, addition, weighing=bench.weigh(line.kg * factor))
    amount = addition.amount
    if amount is None or amount.to_fill or amount.dimension != "volume":
        return Portion(line, addition)
    litres = amount.base * factor
    return Portion(line, addition, measured=rounded(litres, printed(litres, amount.lo.unit.symbol)), litres=litres)


def _exact(one: Portion) -> Quantity | None:
    if one.weighing is not None:
        return Quantity(f"{one.weighing.kg:.17g}", unit_of("kg", ""), "kg")
    return None if one.litres is None else Quantity(f"{one.litres:.17g}", unit_of("L", ""), "L")


def written(formula: Formula, size: Quantity, amounts: Mapping[Spot, Quantity]) -> Formula:
    """The formula with these amounts in place of its own, as a batch of a size; nothing fills it up and nothing is dosed any more."""
    stages = []
    for i, stage in enumerate(formula.stage):
        additions = list(stage.additions)
        for j, line in enumerate(additions):
            if (i, j) in amounts:
                one = amounts[i, j]
                additions[j] = replace(line, amount=Amount(one, one), on=None, as_=None, of=None, alternates=(), max=None)
        stages.append(replace(stage, additions=tuple(additions)))
    return replace(formula, batch=MassOrVolume(size, size), stage=tuple(stages))


def unknown(value: Value) -> str:
    """Why a value is not one number, in words."""
    if isinstance(value, Gap):
        return "; ".join(dict.fromkeys(item.what for item in value.missing)) or "nobody can say how much"
    return "it is known only as a range"
