"""Which lines of a sheet that does not add up may be read otherwise, so that it does: slips of unit, digit or part."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from decimal import Decimal
from math import fsum

from msgspec import Struct
from msgspec.structs import replace

from formulint.amounts import Line, Resolved
from formulint.errors import Misread
from formulint.figure import Amount
from formulint.finding import KeyPath
from formulint.formula import Formula
from formulint.material import Material
from formulint.quantity import Quantity, read

MIXED_UP = {"kg": ("lb", "L", "g"), "lb": ("kg", "gal"), "gal": ("lb",), "L": ("kg",), "g": ("kg",)}
"""Units that are typed for each other."""
FEWEST = 2  # lines that agree on a unit before another one stands out
NEARLY = 0.005  # relative: so near to a known ratio two states of a line have to stand
PIGMENTS = {"white-pigment", "colored-pigment", "extender"}
ALIKE = 0.01  # relative: a line of water is as much as another brings; our own choice


Reading = tuple[Quantity, str]
"""What an amount may have been meant for, and how so in words."""


class Slip(Struct, frozen=True):
    """A line with what is written, what would close the sheet, the sum that it would come to [kg, L or share], and how so in words.

    ``with_``: another line that goes with it, as the water that a slurry brings.
    """

    keys: KeyPath
    code: str
    written: Quantity
    meant: Quantity
    total: float
    why: str = ""
    with_: Slip | None = None

    @property
    def words(self) -> str:
        """What would close the sheet, and how so."""
        change = f"{self.meant} of {self.code} instead of {self.written}" if self.meant.value else f"leaving out {self.written} of {self.code}"
        change = f"{change} ({self.why})" if self.why else change
        return f"{change} and {self.with_.words}" if self.with_ is not None else change

    def undone(self, formula: Formula) -> Formula:
        """The formula with the line as it may have been meant."""
        if self.with_ is not None:
            formula = self.with_.undone(formula)
        _, stage, _, at = self.keys
        stages = list(formula.stage)
        additions = list(stages[int(stage)].additions)
        additions[int(at)] = replace(additions[int(at)], amount=Amount(self.meant, self.meant))
        stages[int(stage)] = replace(stages[int(stage)], additions=tuple(additions))
        return replace(formula, stage=tuple(stages))


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


def closing(formula: Formula, resolved: Resolved, materials: Mapping[str, Material], whole: float, within: float) -> tuple[Slip, ...]:
    """Every way to read one line otherwise that closes the sheet; of a hundred ways some do by chance.

    Read in another unit, with the point elsewhere, as what is dry or active in what is sold wet or the other way round,
    as water that another line brings, or as a line copied once too often.

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
    now = fsum(known)
    found = []
    for keys, (code, amount) in fixed.items():
        readings = [(meant, "") for meant in _readings(amount, kind)]
        if kind != "share":
            readings += (*_of_a_part(amount, materials.get(code)), *_brought(lines[keys], amount, resolved.lines, materials))
            readings += _again(keys, code, amount, fixed)
        for meant, why in readings:
            change = _change(lines[keys], amount, meant, kind)
            if change is not None and abs(now + change - whole) <= within * whole:
                found.append(Slip(keys, code, amount, meant, now + change, why))
        if kind == "volume":
            found += (one for one in _as_dry(Slip(keys, code, amount, amount, now), lines, fixed, materials) if abs(one.total - whole) <= within * whole)
    return tuple(found)


def _as_dry(line: Slip, lines: Mapping[KeyPath, Line], fixed: Mapping[KeyPath, tuple[str, Quantity]], materials: Mapping[str, Material]) -> Iterator[Slip]:
    """A pigment slurry at the amount of its dry pigment, and the water that it brings not taken out of a line of water."""
    own = materials.get(line.code)
    share = None if own is None or own.form != "slurry" or not PIGMENTS & set(own.functions) else own.pigment or own.nonvolatile
    if share is None or share.lo != share.hi or not 0.0 < share.lo.base < 1.0 or line.written.unit.dimension != "mass":
        return
    meant = _near(line.written.value / share.lo.base, line.written)
    more = None if meant is None else _change(lines[line.keys], line.written, meant, "volume")
    if meant is None or more is None:
        return
    for keys, (code, amount) in fixed.items():
        wet = materials.get(code)
        if wet is None or "water" not in wet.functions or amount.unit.symbol != meant.unit.symbol:
            continue
        brought = meant.value - line.written.value
        left = _near(amount.value - brought, amount)
        less = None if left is None or left.value <= 0 else _change(lines[keys], amount, left, "volume")
        if left is not None and less is not None:
            why = f"it holds {share.text} of pigment, so {line.written} is what the dry grade would be"
            water = Slip(keys, code, amount, left, 0.0, f"the slurry brings {brought:.{max(line.written.decimals, 1)}f} {line.written.spelled} of it")
            yield Slip(line.keys, line.code, line.written, meant, line.total + more + less, why, water)


def _near(number: float, like: Quantity) -> Quantity | None:
    """A number as an amount in the unit and the digits of another; None where nobody writes such a figure."""
    try:
        return read(f"{number:.{max(like.decimals, 1)}f} {like.spelled}", Amount.dimensions)
    except Misread:
        return None


def slipped(before: Quantity, after: Quantity, material: Material | None) -> str:
    """How an amount may have come from what it was before by a slip, in words; empty where no slip makes the one of the other."""
    for meant, why in (*((one, "") for one in _readings(after, "")), *_of_a_part(after, material)):
        if meant.unit.dimension == before.unit.dimension and abs(meant.base / before.base - 1) <= NEARLY:
            return why or ("the same figure in another unit" if meant.digits == after.digits else "the same digits with the point elsewhere")
    return ""


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
    texts = [(_plain(Decimal(amount.digits).scaleb(power)), amount.spelled) for power in (1, -1)]
    if kind != "share":
        texts += [(amount.digits, unit) for unit in MIXED_UP.get(amount.unit.symbol, ())]
    for digits, unit in texts:
        try:
            yield read(f"{digits} {unit}", Amount.dimensions)
        except Misread:
            continue


def _plain(number: Decimal) -> str:
    """A number in digits: one zero behind the point is a figure on a sheet, two are none."""
    text = f"{number:f}"
    return text.rstrip("0") + "0" if "." in text and text.endswith("00") else text


def _of_a_part(amount: Quantity, material: Material | None) -> Iterator[Reading]:
    """The amount as supplied, where the line says what is dry or active in it; and that part, where it was reckoned up a second time.

    None where the share is a range, or all or nothing.
    """
    if material is None or amount.unit.dimension != "mass":
        return
    for name, share in (("nonvolatile", material.nonvolatile), ("active part", material.active)):
        if share is None or share.lo != share.hi or not 0.0 < share.lo.base < 1.0:
            continue
        for number, why in (
            (amount.value / share.lo.base, f"which is the {name} of that, {share.text}"),
            (amount.value * share.lo.base, f"divided by the {name}, {share.text}, once too often"),
        ):
            try:
                yield read(f"{number:.{max(amount.decimals, 1)}f} {amount.spelled}", Amount.dimensions), why
            except Misread:
                continue  # a figure of more digits than anybody writes


def _brought(line: Line, amount: Quantity, lines: Iterable[Line], materials: Mapping[str, Material]) -> Iterator[Reading]:
    """Nothing in place of a line of water, where another line brings as much water in itself."""
    own = materials.get(line.code)
    if own is None or own.water is None or own.water.lo.base < 1.0 or not isinstance(line.kg, float) or line.kg <= 0:
        return
    for other in lines:
        share = None if other.keys == line.keys or other.code not in materials else materials[other.code].water
        if share is not None and share.lo.base < 1.0 and isinstance(other.kg, float) and abs(other.kg * share.lo.base / line.kg - 1) <= ALIKE:
            yield read(f"0 {amount.spelled}", Amount.dimensions), f"{other.code} brings as much water itself"


def _again(keys: KeyPath, code: str, amount: Quantity, fixed: Mapping[KeyPath, tuple[str, Quantity]]) -> Iterator[Reading]:
    """Nothing in place of a line that stands in its stage before, with the same amount."""
    for other, (same, as_much) in fixed.items():
        if other[:2] == keys[:2] and int(other[3]) < int(keys[3]) and same == code and as_much == amount:
            yield read(f"0 {amount.spelled}", Amount.dimensions), "it stands there twice"
            return


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
