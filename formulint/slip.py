"""Which line of a sheet that does not add up is probably a slip of unit or digit."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from decimal import Decimal

from msgspec import Struct

from formulint.amounts import Line, Resolved
from formulint.errors import Misread
from formulint.figure import Amount, MassShare
from formulint.finding import KeyPath
from formulint.formula import Formula
from formulint.quantity import Quantity, read

MIXED_UP = {"kg": ("lb", "L", "g"), "lb": ("kg", "gal"), "gal": ("lb",), "L": ("kg",), "g": ("kg",)}
"""Units that are typed for each other."""
FEWEST = 2  # lines that agree on a unit before another one stands out
MOST = 2  # slips that are named: more than that is a guess
CLEARLY = 4.0  # a slip closes the sheet clearly better than another where it comes so many times nearer; by trial on the example
ALIKE = 0.01  # relative: a line of water is as much as another brings; our own choice
FINEST = 2e-4  # relative: sheets close no better than their digits, so that nearer than this all are alike


Reading = tuple[Quantity, str]
"""What an amount may have been meant for, and how so in words."""


class Slip(Struct, frozen=True):
    """A line with what is written, what would close the sheet, the sum that it would come to [kg, L or share], and how so in words."""

    keys: KeyPath
    code: str
    written: str
    meant: str
    total: float
    why: str = ""

    @property
    def words(self) -> str:
        """What would close the sheet, and how so."""
        change = f"leaving out {self.written} of {self.code}" if self.meant.startswith("0 ") else f"{self.meant} of {self.code} instead of {self.written}"
        return f"{change} ({self.why})" if self.why else change


class Part(Struct, frozen=True):
    """What a material says of itself that a line may have been mistaken for: its nonvolatile and its water."""

    nonvolatile: MassShare | None
    water: MassShare | None


class Odd(Struct, frozen=True):
    """The one line whose amount is in another unit than all others: where, that unit's rival, and both in words."""

    keys: KeyPath
    unit: str
    words: str


def stands_out(formula: Formula) -> Odd | None:
    """The one line whose amount is in another unit than all others; None where there is no such line."""
    by_unit: dict[str, list[tuple[KeyPath, str, str]]] = {}
    for keys, code, amount in _amounts(formula):
        by_unit.setdefault(amount.unit.symbol, []).append((keys, code, str(amount)))
    alone = [unit for unit, lines in by_unit.items() if len(lines) == 1]
    others = [unit for unit in by_unit if unit not in alone]
    if len(by_unit) != 2 or len(alone) != 1 or len(by_unit[others[0]]) < FEWEST:
        return None
    keys, code, text = by_unit[alone[0]][0]
    return Odd(keys, others[0], f"{code} is given as {text}, all others in {others[0]}")


def likely(formula: Formula, resolved: Resolved, parts: Mapping[str, Part], whole: float, within: float) -> tuple[Slip, ...]:
    """The lines of which one, read otherwise, closes the sheet; none where many would.

    Read in another unit, with the point elsewhere, as what is dry in what is sold wet, or as water that another line brings.

    Of several, the line that stands out by its unit; else those that close it about as well as the best.

    ``whole`` is what the lines should come to, in kg, L or as a share, and ``within`` how far they may be off, relative.
    A line that hangs on others (``q.s.``, a dose) is no candidate, nor is any where its sum is not known.
    """
    kind = "share" if resolved.shares_total is not None else "mass" if formula.batch.dimension == "mass" else "volume"
    lines = {line.keys: line for line in resolved.lines}
    sums = [_part(line, kind) for line in resolved.lines]
    fixed = {keys: (code, amount) for keys, code, amount in _amounts(formula)}
    if kind == "share":
        sums = [amount.base for _, amount in fixed.values()]
    known = [one for one in sums if one is not None]
    if len(known) < len(sums):
        return ()
    found = []
    for keys, (code, amount) in fixed.items():
        readings = [(meant, "") for meant in _readings(amount, kind)]
        if kind != "share":
            readings += (*_as_supplied(amount, parts.get(code)), *_brought(lines[keys], amount, resolved.lines, parts))
        for meant, why in readings:
            change = _change(lines[keys], amount, meant, kind)
            if change is not None and abs(sum(known) + change - whole) <= within * whole:
                found.append(Slip(keys, code, str(amount), str(meant), sum(known) + change, why))
    return _best(found, whole, stands_out(formula))


def _best(found: list[Slip], whole: float, odd: Odd | None) -> tuple[Slip, ...]:
    alone = [one for one in found if odd is not None and one.keys == odd.keys and one.meant.endswith(f" {odd.unit}")]
    ranked = sorted(alone or found, key=lambda one: abs(one.total - whole))
    if not ranked:
        return ()
    near = max(CLEARLY * abs(ranked[0].total - whole), FINEST * whole)
    best = tuple(one for one in ranked if abs(one.total - whole) <= near)
    return best if len(best) <= MOST else ()


def _amounts(formula: Formula) -> Iterator[tuple[KeyPath, str, Quantity]]:
    """The amounts that stand for themselves, with their lines."""
    for i, stage in enumerate(formula.stage):
        for j, line in enumerate(stage.additions):
            if line.material is not None and isinstance(line.amount, Amount) and not line.amount.to_fill and line.on is None:
                yield ("stage", i, "additions", j), line.material, line.amount.lo


def _part(line: Line, kind: str) -> float | None:
    value = line.litres if kind == "volume" else line.kg
    return value if isinstance(value, float) else None


def _readings(amount: Quantity, kind: str) -> Iterator[Quantity]:
    """What may have been meant: the point one place further, and units that are typed for each other."""
    texts = [(f"{Decimal(amount.digits).scaleb(power):f}", amount.spelled) for power in (1, -1)]
    if kind != "share":
        texts += [(amount.digits, unit) for unit in MIXED_UP.get(amount.unit.symbol, ())]
    for digits, unit in texts:
        try:
            yield read(f"{digits} {unit}", Amount.dimensions)
        except Misread:
            continue


def _as_supplied(amount: Quantity, part: Part | None) -> Iterator[Reading]:
    """The amount as supplied that holds so much of what stays in the film; none where that share is a range, or all or nothing."""
    share = None if part is None else part.nonvolatile
    if share is None or share.lo != share.hi or not 0.0 < share.lo.base < 1.0 or amount.unit.dimension != "mass":
        return
    number = f"{amount.value / share.lo.base:.{max(amount.decimals, 1)}f}"
    try:
        yield read(f"{number} {amount.spelled}", Amount.dimensions), f"which is the nonvolatile of that, {share.text}"
    except Misread:
        return  # a figure of more digits than anybody writes


def _brought(line: Line, amount: Quantity, lines: Iterable[Line], parts: Mapping[str, Part]) -> Iterator[Reading]:
    """Nothing in place of a line of water, where another line brings as much water in itself."""
    own = parts.get(line.code)
    if own is None or own.water is None or own.water.lo.base < 1.0 or not isinstance(line.kg, float) or line.kg <= 0:
        return
    for other in lines:
        share = None if other.keys == line.keys or other.code not in parts else parts[other.code].water
        if share is not None and share.lo.base < 1.0 and isinstance(other.kg, float) and abs(other.kg * share.lo.base / line.kg - 1) <= ALIKE:
            yield read(f"0 {amount.spelled}", Amount.dimensions), f"{other.code} brings as much water itself"


def _change(line: Line, amount: Quantity, meant: Quantity, kind: str) -> float | None:
    """How far the sum moves if the line is read otherwise; a volume is weighed with the density that the line has."""
    if kind == "share":
        return meant.base - amount.base
    kg, litres = line.kg, line.litres
    if not isinstance(kg, float) or not isinstance(litres, float) or kg <= 0 or litres <= 0:
        return None
    now = {"mass": kg, "volume": litres}
    if amount.unit.dimension not in now or meant.unit.dimension not in now:
        return None
    other = now[kind] / now[meant.unit.dimension] * meant.base
    return other - now[kind]
