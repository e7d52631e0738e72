"""The kilograms of a sheet once more, where a few of its amounts moved: what the other lines bring is kept."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from math import fsum

from formulint.amounts import Line, Resolved, Supply
from formulint.figure import Amount
from formulint.formula import Addition, Formula
from formulint.quantity import NOTHING
from formulint.vessels import Spot


class Weighing:
    """A sheet of nothing but masses of raw materials whose figures are single numbers, as most are.

    Sums are taken without loss by rounding, so that they come out the same however they were arrived at.
    """

    def __init__(self, formula: Formula, resolved: Resolved, supplies: list[Supply]) -> None:
        self._batch = formula.batch
        self._lines = list(resolved.lines)
        self._kg: list[float] = []
        self._supplies = supplies
        self._at = {(line.stage, line.at): number for number, line in enumerate(resolved.lines)}
        self._parts: dict[str, list[float]] = {}
        self._places: list[list[tuple[list[float], int, float]]] = []
        for line, supply in zip(resolved.lines, supplies, strict=True):
            assert isinstance(line.kg, float) and supply.plain is not None
            self._kg.append(line.kg)
            places = []
            for name, factor in supply.plain:
                column = self._parts.setdefault(name, [])
                places.append((column, len(column), factor))
                column.append(line.kg * factor)
            self._places.append(places)

    def moved(self, formula: Formula, spots: Iterable[Spot]) -> Resolved | None:
        """The sheet after the amounts at these places moved; None where it has to be resolved anew, and this weighing is of no more use."""
        if formula.batch != self._batch:
            return None
        for spot in spots:
            addition = formula.stage[spot[0]].additions[spot[1]]
            number = self._at.get(spot)
            if number is None or not _plain(addition):
                return None
            assert addition.amount is not None
            kg, line = addition.amount.base, self._lines[number]
            for column, place, factor in self._places[number]:
                column[place] = kg * factor
            litres = kg * self._supplies[number].columns["total_volume"]  # type: ignore[operator]  # plain: all of them are numbers
            self._lines[number] = Line(line.keys, line.stage, line.at, line.code, kg, litres)
            self._kg[number] = kg
        leaves: dict[str, float] = {}
        for line, kg in zip(self._lines, self._kg, strict=True):
            leaves[line.code] = leaves[line.code] + kg if line.code in leaves else kg
        totals = {name: fsum(numbers) for name, numbers in self._parts.items()}
        return Resolved(tuple(self._lines), {**totals}, {**leaves}, None, ())


def weighing(formula: Formula, resolved: Resolved, supply: Callable[[str], Supply | None]) -> Weighing | None:
    """What weighs a sheet again that was resolved; None where more than masses of raw materials with plain figures is in it."""
    lines = [line for stage in formula.stage for line in stage.additions if line.material is not None]
    supplies = [found for line in resolved.lines if (found := supply(line.code)) is not None and found.plain is not None and line.code in found.leaves]
    if resolved.faults or len(lines) != len(supplies) or not all(_plain(line) for line in lines):
        return None
    return Weighing(formula, resolved, supplies)


def _plain(line: Addition) -> bool:
    """True for a line that is a mass as written."""
    amount = line.amount
    return type(amount) is Amount and line.on is None and amount.lo is not NOTHING and amount.lo.unit.dimension == "mass"
