"""Two states of the repository: which formulas differ, in what, and what that does to the paint."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Literal

from msgspec import Struct

from formulint import digest
from formulint.amounts import Line
from formulint.catalog import Catalog, File
from formulint.change import Change, of_fields
from formulint.content import Gap, Value
from formulint.figure import Amount
from formulint.finding import Finding, Place
from formulint.formula import Addition, Formula
from formulint.interval import ends
from formulint.judge import Judge, codes_in
from formulint.properties import DOSES, PROPERTIES, SUBSTANCE
from formulint.quantity import Quantity, in_unit
from formulint.rule import Applied
from formulint.subject import FormulaSubject
from formulint.verdict import narrowest, outcome, read_bounds, units_of


class Digests(Struct, frozen=True):
    """The three fingerprints of a formula; empty where a record behind it cannot be read."""

    composition: str
    making: str
    data: str


class Side(Struct, frozen=True):
    """One state of one formula."""

    file: File[Formula]
    formula: Formula
    values: dict[str, Value]
    lines: tuple[Line, ...]
    names: dict[str, str]
    digests: Digests
    findings: tuple[Finding, ...]
    bounds: tuple[Applied, ...]
    substances: dict[str, str]
    litres: Value


Action = Literal["added", "removed", "changed", "moved", "replaced"]


class LineChange(Struct, frozen=True):
    """An addition that differs: as written before and after, and in kilograms per litre of batch."""

    action: Action
    stage: str
    material: str
    name: str
    before: str | None
    after: str | None
    kg_before: float | None
    kg_after: float | None
    place: Place


class PropertyChange(Struct, frozen=True):
    """A property before and after, in base units; a value is a gap where it is open, None where there is no formula."""

    id: str
    before: Value | None
    after: Value | None
    delta: float | None
    limit: tuple[Quantity | None, Quantity | None]
    verdict_before: str
    verdict_after: str

    @property
    def moved(self) -> bool:
        """True where there is a difference at all."""
        return self.delta is None or self.delta != 0.0


class FormulaChange(Struct, frozen=True):
    """One formula in two states."""

    code: str
    name: str
    change: Change
    policy: tuple[str, ...]
    additions: tuple[LineChange, ...]
    properties: tuple[PropertyChange, ...]
    new: tuple[Finding, ...]
    gone: tuple[Finding, ...]
    kept: tuple[Finding, ...]
    before: Side | None
    after: Side | None


def digests(catalog: Catalog, formula: Formula) -> Digests:
    """Fingerprints of a formula in one snapshot."""
    cache: dict[str, str | None] = {}

    def blend(code: str) -> str | None:
        if code not in cache:
            cache[code] = None
            file = None if catalog.find_material(code) else catalog.find_formula(code)
            if file is not None and file.record is not None:
                cache[code] = digest.composition(file.record, blend)
        return cache[code]

    composition = digest.composition(formula, blend)
    leaves = {leaf for code in codes_in(formula) for leaf in catalog.leaves(code)}
    materials = {code: stock.material for code in leaves if (stock := catalog.stock(code)) is not None}
    return Digests(composition, digest.making(formula, composition, blend), digest.data(materials))


def side(catalog: Catalog, code: str) -> Side | None:
    """A formula of one snapshot with all that a comparison needs; None where it is not there or cannot be read."""
    file = catalog.find_formula(code)
    if file is None or file.record is None:
        return None
    subject = catalog.subject(file)
    full = catalog.full(subject)
    judge = Judge(catalog)
    findings = tuple(judge.formula(file))
    names = {key: stock.material.name for key, stock in subject.stocks.items()}
    return Side(
        file, file.record, full.values, subject.resolved.lines, names, digests(catalog, file.record), findings,
        judge.bounds(subject), _substance_names(subject), _litres(file.record, full.values.get("volume", 0.0)),
    )  # fmt: skip


def _litres(formula: Formula, summed: Value) -> Value:
    """Volume of the batch [L]: as written, else what the lines add up to."""
    return formula.batch.base if formula.batch.dimension == "volume" else summed


def _substance_names(subject: FormulaSubject) -> dict[str, str]:
    """What the materials call the substances they name, by property id."""
    found: dict[str, str] = {}
    for stock in subject.stocks.values():
        for one in stock.material.component:
            if one.cas:
                found.setdefault(SUBSTANCE + one.cas, one.name)
    return found


def formulas(before: Catalog, after: Catalog, codes: Iterable[str]) -> tuple[FormulaChange, ...]:
    """The formulas of ``codes`` that differ between two snapshots, by code."""
    found = (formula(side(before, code), side(after, code), code) for code in sorted(set(codes)))
    return tuple(one for one in found if one is not None)


def formula(old: Side | None, new: Side | None, code: str) -> FormulaChange | None:
    """What differs between two states of one formula; None where neither can be read."""
    one = new or old
    if one is None:
        return None
    policy = tuple(
        name for name, change in (of_fields(Formula, old.formula, new.formula) if old and new else {}).items()
        if change is Change.policy
    )  # fmt: skip
    before = {_key(finding): finding for finding in (old.findings if old else ())}
    after = {_key(finding): finding for finding in (new.findings if new else ())}
    properties = tuple(_properties(old, new))
    return FormulaChange(
        code=code,
        name=one.formula.name,
        change=_class(old, new, properties),
        policy=policy,
        additions=tuple(_additions(old, new)),
        properties=properties,
        new=tuple(finding for key, finding in after.items() if key not in before),
        gone=tuple(finding for key, finding in before.items() if key not in after),
        kept=tuple(finding for key, finding in after.items() if key in before),
        before=old,
        after=new,
    )


def _key(finding: Finding) -> tuple[str, str, str]:
    """What makes two findings the same one: rule, record, and what it is about, not the line or the number."""
    what = finding.fault.property or finding.fault.message.split(" is ")[0]
    return finding.rule, finding.formula or finding.material, what


def _class(old: Side | None, new: Side | None, properties: tuple[PropertyChange, ...]) -> Change:
    if old is None or new is None:
        return Change.compositional
    if old.digests.composition != new.digests.composition:
        return Change.equivalent if _equivalent(old, new, properties) else Change.compositional
    if old.digests.data != new.digests.data:
        return Change.data
    if old.digests.making != new.digests.making:
        return Change.procedural
    if old.formula != new.formula:
        return Change.editorial
    return Change.none


def _equivalent(old: Side, new: Side, properties: tuple[PropertyChange, ...]) -> bool:
    """Every amount agrees within half a last digit of the coarser side, and no printed digit of a property moves."""
    before, after = list(_amounts(old.formula)), list(_amounts(new.formula))
    if [code for code, _ in before] != [code for code, _ in after] or old.digests.data != new.digests.data:
        return False
    for (_, one), (_, other) in zip(before, after, strict=True):
        if one.to_fill or other.to_fill:
            if one.to_fill != other.to_fill:
                return False
        elif one.dimension != other.dimension or abs(one.exact - other.exact) > max(one.lo.half_digit, other.lo.half_digit):
            return False
    if old.formula.batch.exact != new.formula.batch.exact:
        return False
    return not any(_printed_moves(one) for one in properties)


def _amounts(formula: Formula) -> Iterable[tuple[str, Amount]]:
    for stage in formula.stage:
        for line in stage.additions:
            if line.material is not None and line.amount is not None:
                yield line.material, line.amount


def _printed_moves(change: PropertyChange) -> bool:
    unit, digits = units_of(change.id, "metric", "USD")
    if change.before is None or change.after is None:
        return change.before is not change.after
    if isinstance(change.before, Gap) or isinstance(change.after, Gap):
        return isinstance(change.before, Gap) != isinstance(change.after, Gap)
    pairs = zip(ends(change.before), ends(change.after), strict=True)
    unit = unit if "/" not in unit or unit in ("kg/L", "g/L") else ""
    half = 0.5 * 10**-digits
    return any(abs(_seen(one, unit) - _seen(other, unit)) > half for one, other in pairs)


def _seen(value: float, unit: str) -> float:
    return in_unit(value, unit) if unit else value


def _additions(old: Side | None, new: Side | None) -> Iterable[LineChange]:
    before, after = _listed(old), _listed(new)
    gone = [key for key in before if key not in after]
    come = [key for key in after if key not in before]
    for key in gone:
        swapped = next((other for other in come if other[0] == key[0] and _spot(after, other) == _spot(before, key)), None)
        if swapped is None:
            moved = next((other for other in come if other[1] == key[1]), None)
            if moved is not None:
                come.remove(moved)
                yield _line_change("moved", before[key], after[moved], old, new)
            else:
                yield _line_change("removed", before[key], None, old, new)
        else:
            come.remove(swapped)
            yield _line_change("replaced", before[key], after[swapped], old, new)
    for key in come:
        yield _line_change("added", None, after[key], old, new)
    yield from _same(before, after, old, new)


_Key = tuple[str, str, int]  # stage, material, occurrence in the stage
_Listed = tuple[str, int, Addition, Line | None, Place]


def _spot(listed: dict[_Key, _Listed], key: _Key) -> int:
    return listed[key][1]


def _listed(one: Side | None) -> dict[_Key, _Listed]:
    found: dict[_Key, _Listed] = {}
    if one is None:
        return found
    weighed = {(line.stage, line.at): line for line in one.lines}
    for i, stage in enumerate(one.formula.stage):
        for j, line in enumerate(stage.additions):
            if line.material is None:
                continue
            times = sum(1 for key in found if key[:2] == (stage.name, line.material))
            place = Place(one.file.name, ("stage", i, "additions", j))
            found[stage.name, line.material, times] = (stage.name, j, line, weighed.get((i, j)), place)
    return found


def _same(before: dict[_Key, _Listed], after: dict[_Key, _Listed], old: Side | None, new: Side | None) -> Iterable[LineChange]:
    common = [key for key in after if key in before]
    order = [key for key in before if key in after]
    out_of_order = _moved(order, common)
    for key in common:
        if _written(before[key]) != _written(after[key]):
            yield _line_change("changed", before[key], after[key], old, new)
        elif key in out_of_order:
            yield _line_change("moved", before[key], after[key], old, new)


def _moved(before: list[_Key], after: list[_Key]) -> set[_Key]:
    """The fewest lines that had to move to get from one order to the other: all but a longest common run."""
    rank = {key: place for place, key in enumerate(before)}
    best: list[list[_Key]] = []
    for key in after:
        shorter: list[list[_Key]] = [run for run in best if rank[run[-1]] < rank[key]]
        best.append([*_longest(shorter), key])
    kept = set(_longest(best))
    return {key for key in after if key not in kept}


def _longest(runs: list[list[_Key]]) -> list[_Key]:
    return max(runs, key=len) if runs else []


def _written(listed: _Listed) -> tuple[object, ...]:
    line = listed[2]
    amount = None if line.amount is None else line.amount.text
    return amount, line.on, line.as_, line.of, line.alternates


def _line_change(action: Action, one: _Listed | None, other: _Listed | None, old: Side | None, new: Side | None) -> LineChange:
    here = other or one
    assert here is not None
    code = here[2].material or ""
    names = {**(old.names if old else {}), **(new.names if new else {})}
    if action == "replaced" and one is not None:
        code = f"{one[2].material} -> {code}"
    return LineChange(
        action, here[0], code, names.get(here[2].material or "", ""),
        _text(one), _text(other), _per_litre(one, old), _per_litre(other, new), here[4],
    )  # fmt: skip


def _text(listed: _Listed | None) -> str | None:
    if listed is None or listed[2].amount is None:
        return None
    line = listed[2]
    assert line.amount is not None
    words = [line.amount.text]
    if line.on is not None:
        words.append(f"on {line.on}")
    if line.as_ is not None:
        words.append(f"as {line.as_}")
    return " ".join(words)


def _per_litre(listed: _Listed | None, one: Side | None) -> float | None:
    """Kilograms per litre of batch; None where either is not known."""
    if listed is None or one is None or listed[3] is None:
        return None
    kg, litres = listed[3].kg, one.litres
    if isinstance(kg, float) and isinstance(litres, float) and litres > 0:
        return kg / litres
    return None


def _properties(old: Side | None, new: Side | None) -> Iterable[PropertyChange]:
    ids = [one.id for one in PROPERTIES] + [one.id for one in DOSES]
    held = {key for one in (old, new) if one is not None for key in one.values}
    ids = [name for name in ids if name in held] + sorted(key for key in held if key.startswith(SUBSTANCE))
    for name in ids:
        before = _value(old, name)
        after = _value(new, name)
        delta = None
        if isinstance(before, float) and isinstance(after, float):
            delta = after - before
        limit = bounds_of(new or old, name)
        yield PropertyChange(name, before, after, delta, limit, verdict_of(old, name), verdict_of(new, name))


def _value(one: Side | None, name: str) -> Value | None:
    return None if one is None else one.values.get(name, 0.0)


def bounds_of(one: Side | None, name: str) -> tuple[Quantity | None, Quantity | None]:
    """The narrowest bounds that anything puts on a property."""
    applied = [] if one is None else [bound for bound in one.bounds if bound.property == name]
    return narrowest(read_bounds(name, bound.min, bound.max, Place("")) for bound in applied)


def verdict_of(one: Side | None, name: str) -> str:
    """How a property stands to the narrowest of its bounds; empty where nothing judges it."""
    least, most = bounds_of(one, name)
    if one is None or (least is None and most is None):
        return ""
    found = outcome(one.values.get(name, 0.0), least, most)[0]
    kinds = [finding.fault.kind for finding in one.findings if finding.fault.property == name]
    return "review" if found == "fail" and "review" in kinds and "fail" not in kinds else found
