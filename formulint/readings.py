"""How far what is weighed may be off: by the divisions of the scales of which there are records, and what the house lets pass.

A reading is off by up to half a division, spread evenly, so that its standard deviation is a division over the root of
twelve; of several loads each by itself. Where the record of a scale says how far a weighing may be off (``tolerance``), that is spread evenly too and
independent of the division. What a sheet gives as a volume is metered: of meters there are no records. The batch is
that of the sheet; a larger one of the plant scatters less.

References
----------
JCGM 100:2008 (GUM), F.2.2.1: resolution of a digital indication (memory).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from math import hypot, sqrt

from msgspec.structs import replace

from formulint.amounts import Line, Resolved, Supply, sums, times
from formulint.content import Gap
from formulint.formula import Formula
from formulint.interval import ends
from formulint.scales import Bench
from formulint.slope import Slope
from formulint.swing import centre_of

READING = 1 / sqrt(12)  # standard deviation of a reading in divisions
EVENLY = 1 / sqrt(3)  # of what is spread evenly, in halves of its width


def deviation(kg: float, bench: Bench) -> float:
    """Standard deviation of what is weighed as so much [kg]; zero where there is no scale.

    >>> deviation(5.0, Bench((), "kg"))
    0.0
    """
    found = bench.weigh(kg)
    if found.scale is None or kg <= 0:
        return 0.0
    allowed = 0.0 if found.scale.tolerance is None else found.scale.tolerance.hi.base * kg
    return hypot(READING * found.division.base * sqrt(found.loads), EVENLY * allowed)


def weighed(formula: Formula, resolved: Resolved, bench: Bench) -> tuple[tuple[int, float], ...]:
    """The lines that go on a scale, by their place among the lines, with the standard deviation of each [kg]."""
    found = []
    for at, line in enumerate(resolved.lines if bench.scales else ()):
        amount = formula.stage[line.stage].additions[line.at].amount
        metered = amount is not None and not amount.to_fill and amount.dimension == "volume"
        if not metered and not isinstance(line.kg, Gap) and (off := deviation(centre_of(*ends(line.kg)), bench)) > 0.0:
            found.append((at, off))
    return tuple(found)


def moved(resolved: Resolved, places: Sequence[int], before: int, supply: Callable[[str], Supply | None]) -> Resolved:
    """The sums with each of these lines as a number that knows its derivative, behind ``before`` other inputs; what fills the batch does not make up."""
    lines: list[Line] = []
    supplies: list[Supply] = []
    for at, line in enumerate(resolved.lines):
        found = supply(line.code)
        if found is None:
            return resolved
        if at in places:
            by = tuple(float(one == before + places.index(at)) for one in range(before + len(places)))
            kg = line.kg + Slope(0.0, by)  # type: ignore[operator, arg-type]  # numbers: gaps are not weighed
            line = replace(line, kg=kg, litres=times(kg, found.columns["total_volume"]))  # type: ignore[arg-type]
        lines.append(line)
        supplies.append(found)
    totals, leaves = sums(lines, supplies)
    return replace(resolved, lines=tuple(lines), totals=totals, leaves=leaves)
