"""Two states of the repository: which formulas differ, in what, and what that does to the paint."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Literal

from msgspec import Struct

from formulint import digest
from formulint.amounts import Line
from formulint.catalog import Catalog, File
from formulint.change import Change, of_fields
from formulint.content import Gap, Value
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
    suppliers: dict[str, str]
    blends: dict[str, str]
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


def digests(catalog: Catalog, formula: Formula) -> tuple[Digests, dict[str, str]]:
    """Fingerprints of a formula in one snapshot, and those of the intermediates that it uses, by code."""
    found: dict[str, str] = {}

    def blend(code: str) -> str | None:
        if code not in found:
            file = None if catalog.find_material(code) else catalog.find_formula(code)
            if file is None or file.record is None:
                return None
            found[code] = ""  # what uses itself is not gone into again
            found[code] = digest.composition(file.record, blend)
        return found[code]

    composition = digest.composition(formula, blend)
    leaves = {leaf for code in codes_in(formula) for leaf in catalog.leaves(code)}
    materials = {code: stock.material for code in leaves if (stock := catalog.stock(code)) is not None}
    return Digests(composition, digest.making(formula, composition, blend), digest.data(materials)), found


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
    suppliers = {key: stock.material.supplier for key, stock in subject.stocks.items()}
    prints, blends = digests(catalog, file.record)
    return Side(
        file, file.record, full.values, subject.resolved.lines, names, prints, findings, judge.bounds(subject),
        _substance_names(subject), suppliers, blends, _litres(file.record, full.values.get("volume", 0.0)),
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
        return _rewritten(old, new, properties)
    if any(name and new.suppliers.get(code, name) not in ("", name) for code, name in old.suppliers.items()):
        return Change.compositional
    if old.digests.data != new.digests.data:
        return Change.data
    if old.digests.making != new.digests.making:
        return Change.procedural
    if old.formula != new.formula:
        return Change.editorial
    return Change.none


def _rewritten(old: Side, new: Side, properties: tuple[PropertyChange, ...]) -> Change:
    """What a change of composition comes to: equivalent where the amounts say the same and no printed digit moves."""
    back = digest.in_digits_of(old.formula, new.formula)
    if back is None or any(_printed_moves(one) for one in properties):
        return Change.compositional
    composition = digest.composition(back, new.blends.get)
    if (composition, new.digests.data) != (old.digests.composition, old.digests.data):
        return Change.compositional
    same = digest.making(back, composition, new.blends.get) == old.digests.making
    return Change.equivalent if same else Change.procedural


def _printed_moves(change: PropertyChange) -> bool:
    """True where a property of the paint moves by a printed digit, one unit of its last place.

    The batch's own mass and volume are no property of the paint. A main component in ppm has more printed digits than
    any sheet: of a substance three significant digits count.
    """
    if change.id in ("mass", "volume"):
        return False
    unit, digits = units_of(change.id, "metric", "USD")
    if change.before is None or change.after is None:
        return change.before is not change.after
    if isinstance(change.before, Gap) or isinstance(change.after, Gap):
        return isinstance(change.before, Gap) != isinstance(change.after, Gap)
    pairs = zip(ends(change.before), ends(change.after), strict=True)
    unit = unit if "/" not in unit or unit in ("kg/L", "g/L") else ""
    seen = [(_seen(one, unit), _seen(other, unit)) for one, other in pairs]
    if change.id.startswith(SUBSTANCE):
        return any(abs(one - other) >= _third_digit(max(one, other)) for one, other in seen)
    return any(abs(one - other) >= 10**-digits for one, other in seen)


def _third_digit(value: float) -> float:
    """One unit in the third significant digit."""
    return float(f"1e{int(f'{value:.2e}'.split('e')[1]) - 2}")


def _seen(value: float, unit: str) -> float:
    return in_unit(value, unit) if unit else value


def _additions(old: Side | None, new: Side | None) -> Iterable[LineChange]:
    """Every addition that differs; the same pairs, whichever of the two states is called the older."""
    before = _listed(old, {})
    after = _listed(new, _renamed(old, new))
    pairs = _same_line(before, after)
    gone = [key for key in before if key not in pairs]
    come = [key for key in after if key not in pairs.values()]
    moved = _pair(gone, come, lambda one, other: one[1] == other[1])
    gone, come = [key for key in gone if key not in moved], [key for key in come if key not in moved.values()]
    swapped = _pair(gone, come, lambda one, other: one[0] == other[0] and before[one].at == after[other].at)
    for key in before:
        if key in moved:
            yield _line_change("moved", before[key], after[moved[key]], old, new)
        elif key in swapped:
            yield _line_change("replaced", before[key], after[swapped[key]], old, new)
        elif key not in pairs:
            yield _line_change("removed", before[key], None, old, new)
    for key in come:
        if key not in swapped.values():
            yield _line_change("added", None, after[key], old, new)
    back = {other: key for key, other in pairs.items()}
    out_of_order = _moved(list(pairs), [back[key] for key in after if key in back])
    for key, other in pairs.items():
        if _text(before[key]) != _text(after[other]):
            yield _line_change("changed", before[key], after[other], old, new)
        elif key in out_of_order:
            yield _line_change("moved", before[key], after[other], old, new)


_Key = tuple[str, str, int]  # stage, material, occurrence in the stage


class _Listed(Struct, frozen=True):
    """An addition of a sheet: its stage, its place in it, the line, what it weighs, where it is written."""

    stage: str
    at: int
    line: Addition
    weighed: Line | None
    place: Place


def _renamed(old: Side | None, new: Side | None) -> dict[str, str]:
    """New names of stages that stand where another name stood before, with that name: the stage is the same."""
    if old is None or new is None:
        return {}
    before, after = ([stage.name for stage in one.formula.stage] for one in (old, new))
    return {name: was for was, name in zip(before, after, strict=False) if was not in after and name not in before}


def _listed(one: Side | None, renamed: dict[str, str]) -> dict[_Key, _Listed]:
    found: dict[_Key, _Listed] = {}
    if one is None:
        return found
    weighed = {(line.stage, line.at): line for line in one.lines}
    for i, stage in enumerate(one.formula.stage):
        name = renamed.get(stage.name, stage.name)
        for j, line in enumerate(stage.additions):
            if line.material is None:
                continue
            times = sum(1 for key in found if key[:2] == (name, line.material))
            place = Place(one.file.name, ("stage", i, "additions", j))
            found[name, line.material, times] = _Listed(stage.name, j, line, weighed.get((i, j)), place)
    return found


def _same_line(before: dict[_Key, _Listed], after: dict[_Key, _Listed]) -> dict[_Key, _Key]:
    """Lines of one material in one stage: those written alike first, then the others in order."""
    alike = _pair(before, after, lambda one, other: one[:2] == other[:2] and _text(before[one]) == _text(after[other]))
    gone, come = [key for key in before if key not in alike], [key for key in after if key not in alike.values()]
    others = _pair(gone, come, lambda one, other: one[:2] == other[:2])
    return {key: (alike | others)[key] for key in before if key in alike or key in others}


def _pair(gone: Iterable[_Key], come: Iterable[_Key], same: Callable[[_Key, _Key], bool]) -> dict[_Key, _Key]:
    """Each of the one with the first of the other that is left and is the same."""
    left = list(come)
    found: dict[_Key, _Key] = {}
    for key in gone:
        other = next((other for other in left if same(key, other)), None)
        if other is not None:
            left.remove(other)
            found[key] = other
    return found


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
    """A longest run; of several the first by its keys, so that both directions choose the same."""
    return min(runs, key=lambda run: (-len(run), run), default=[])


def _line_change(action: Action, one: _Listed | None, other: _Listed | None, old: Side | None, new: Side | None) -> LineChange:
    here = other or one
    assert here is not None
    code = here.line.material or ""
    names = {**(old.names if old else {}), **(new.names if new else {})}
    if action == "replaced" and one is not None:
        code = f"{one.line.material} -> {code}"
    return LineChange(
        action, here.stage, code, names.get(here.line.material or "", ""),
        _text(one), _text(other), _per_litre(one, old), _per_litre(other, new), here.place,
    )  # fmt: skip


def _text(listed: _Listed | None) -> str | None:
    """An amount as written, with all that says what it is of."""
    if listed is None or listed.line.amount is None:
        return None
    line = listed.line
    said = [("on", line.on), ("as", line.as_), ("of", line.of), *(("or", other) for other in line.alternates)]
    return " ".join([listed.line.amount.text, *(f"{word} {what}" for word, what in said if what)])


def _per_litre(listed: _Listed | None, one: Side | None) -> float | None:
    """Kilograms per litre of batch; None where either is not known."""
    if listed is None or one is None or listed.weighed is None:
        return None
    kg, litres = listed.weighed.kg, one.litres
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
