"""Two states of the repository: which formulas differ, in what, and what that does to the paint."""

from __future__ import annotations

from collections.abc import Iterable

from msgspec import Struct
from msgspec.structs import replace

from formulint import digest
from formulint.catalog import SETTINGS_FILE, Catalog, File, stem
from formulint.change import Change
from formulint.content import Gap, Value
from formulint.fields import FieldChange, of_records
from formulint.finding import Finding
from formulint.formula import Formula
from formulint.interval import ends
from formulint.judge import Judge
from formulint.lines import LineChange, additions
from formulint.making import of_making
from formulint.material import Material
from formulint.properties import BY_ID, DOSES, PROPERTIES, SUBSTANCE
from formulint.quantity import Quantity
from formulint.revision import of_change, slip_of
from formulint.scope import preload
from formulint.side import NONE, Side, bounds_of, side, verdict_of
from formulint.verdict import as_seen, units_of


class PropertyChange(Struct, frozen=True):
    """A property before and after, in base units; a value is a gap where it is open, None where there is no formula."""

    id: str
    before: Value | None
    after: Value | None
    delta: float | None
    limit_before: tuple[Quantity | None, Quantity | None]
    limit: tuple[Quantity | None, Quantity | None]
    verdict_before: str
    verdict_after: str


class FormulaChange(Struct, frozen=True):
    """One formula in two states.

    ``unread`` says why it cannot be read in one of them; ``own`` are findings about the change itself, which no state
    has alone.
    """

    code: str
    name: str
    change: Change
    policy: tuple[str, ...]
    fields: tuple[FieldChange, ...]
    additions: tuple[LineChange, ...]
    properties: tuple[PropertyChange, ...]
    new: tuple[Finding, ...]
    gone: tuple[Finding, ...]
    kept: tuple[Finding, ...]
    before: Side | None
    after: Side | None
    unread: str = ""
    own: tuple[Finding, ...] = ()


class RecordChange(Struct, frozen=True):
    """A material, or the settings, in two states: the fields that differ, as written.

    ``word`` says so where it is only on one side ("new", "removed"), or why it cannot be read.
    """

    code: str
    name: str
    path: str
    fields: tuple[FieldChange, ...]
    word: str = ""


def materials(before: Catalog, after: Catalog, names: Iterable[str], gone: Iterable[str] = ()) -> tuple[RecordChange, ...]:
    """The materials of these files that differ, and those of the codes that are gone, by code; then the settings."""
    codes = {*(stem(name) for name in names), *gone}
    told = (_material(before.find_material(code), after.find_material(code), before, after) for code in sorted(codes))
    found = [change for change in told if change is not None]
    one, other = before.settings_file.record, after.settings_file.record
    if one is not None and other is not None and one != other:
        found.append(RecordChange(SETTINGS_FILE, "settings of the repository", SETTINGS_FILE, tuple(of_records(one, other))))
    return (*found, *_machines(before, after))


def _machines(before: Catalog, after: Catalog) -> Iterable[RecordChange]:
    """Tanks and scales that differ."""
    for name in dict.fromkeys((*before.equipment(), *after.equipment())):
        old, new = (catalog.equipment()[name].record if name in catalog.equipment() else None for catalog in (before, after))
        if old is not None and new is not None and old != new:
            yield RecordChange(stem(name), new.name, name, tuple(of_records(old, new)))
        elif (old is None) != (new is None):
            yield RecordChange(stem(name), getattr(new or old, "name", ""), name, (), "new" if old is None else "removed, or cannot be read now")


def _material(old: File[Material] | None, new: File[Material] | None, before: Catalog, after: Catalog) -> RecordChange | None:
    here = new or old
    if here is None:
        return None
    was, now = None if old is None else old.record, None if new is None else new.record
    code, name = stem(here.name), getattr(now or was, "name", "")
    if new is None:
        return RecordChange(code, name, here.name, (), "removed")
    if now is None and not (old is not None and was is None and _same_text(before, old, after, new)):
        return RecordChange(code, name, here.name, (), cannot_be_read(after, new, "cannot be read now"))
    if now is not None and was is None:
        return RecordChange(code, name, here.name, (), "new" if old is None else cannot_be_read(before, old, "could not be read before"))
    if was is None or now is None or was == now:
        return None
    fields = sorted(of_records(was, now), key=lambda one: one.change is not Change.policy)
    return RecordChange(code, name, here.name, tuple(fields))


def _same_text(before: Catalog, old: File[Formula] | File[Material], after: Catalog, new: File[Formula] | File[Material]) -> bool:
    return before.snapshot.read(old.name) == after.snapshot.read(new.name)


def cannot_be_read(catalog: Catalog, file: File[Formula] | File[Material], words: str) -> str:
    """``words`` with the first fault of a file and its line."""
    if not file.faults:
        return words
    mark = catalog.locate(file.faults[0].place)
    return f"{words}: {mark.path}{f', line {mark.line}' if mark.line else ''}: {file.faults[0].message}"


def formulas(before: Catalog, after: Catalog, codes: Iterable[str]) -> tuple[FormulaChange, ...]:
    """The formulas of ``codes`` that differ between two snapshots, or cannot be read in one, by code."""
    wanted = sorted(set(codes))
    for catalog in (before, after):
        files = [name for code in wanted for name in catalog.formula_names.get(code.casefold(), ())]
        preload(catalog, files)
    found = (_formula(before, after, code) for code in wanted)
    return tuple(one for one in found if one is not None)


def _formula(before: Catalog, after: Catalog, code: str) -> FormulaChange | None:
    """One formula; with the words why one of its states cannot be read, where a file is there all the same."""
    old, new = side(before, code), side(after, code)
    change = formula(old, new, code)
    was, now = before.find_formula(code), after.find_formula(code)
    if now is not None and now.record is None:
        if was is not None and was.record is None and _same_text(before, was, after, now):
            return None  # nobody can read it, and nobody touched it
        change = change or _nothing(code)
        kept = {one.about for one in (Judge(before).formula(was) if was and was.record is None else ())}
        found = tuple(Judge(after).formula(now))
        return replace(
            change, unread=cannot_be_read(after, now, "cannot be read now"), additions=(), properties=(), gone=(),
            new=tuple(one for one in found if one.about not in kept), kept=tuple(one for one in found if one.about in kept),
        )  # fmt: skip
    if was is not None and was.record is None:
        word = "could not be read before" if now else "removed, and could not be read before"
        return replace(change or _nothing(code), unread=cannot_be_read(before, was, word))
    return change


def _nothing(code: str) -> FormulaChange:
    """A formula that nobody can read in either state."""
    return FormulaChange(code, "", Change.compositional, (), (), (), (), (), (), (), None, None)


def formula(old: Side | None, new: Side | None, code: str) -> FormulaChange | None:
    """What differs between two states of one formula; None where neither can be read."""
    one = new or old
    if one is None:
        return None
    fields = (*of_records(old.formula, new.formula), *of_making(old.formula, new.formula)) if old and new else ()
    before = {finding.about: finding for finding in (old.findings if old else ())}
    after = {finding.about: finding for finding in (new.findings if new else ())}
    properties = tuple(_properties(old, new))
    sort = _class(old, new, properties)
    lines = tuple(additions(old, new))
    came = tuple(finding for key, finding in after.items() if key not in before)
    return FormulaChange(
        code=code,
        name=one.formula.name,
        change=sort,
        policy=tuple(dict.fromkeys(str(one.keys[0]) for one in fields if one.change is Change.policy)),
        fields=fields,
        additions=lines,
        properties=properties,
        new=came,
        gone=tuple(finding for key, finding in before.items() if key not in after),
        kept=tuple(finding for key, finding in after.items() if key in before),
        before=old,
        after=new,
        own=(*of_change(old, new, sort, fields), *slip_of(old, new, lines, came)) if old and new else (),
    )


def _class(old: Side | None, new: Side | None, properties: tuple[PropertyChange, ...]) -> Change:
    if old is None or new is None:
        return Change.compositional
    if old.digests.other_paint(new.digests):
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
    if composition != old.digests.composition or new.digests.data != old.digests.data:
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
    seen = [(as_seen(one, unit), as_seen(other, unit)) for one, other in pairs]
    if unit == "ppm":
        return any(abs(one - other) >= _third_digit(max(one, other)) for one, other in seen)
    return any(abs(one - other) >= 10**-digits for one, other in seen)


def _third_digit(value: float) -> float:
    """One unit in the third significant digit."""
    return float(f"1e{int(f'{value:.2e}'.split('e')[1]) - 2}")


def _properties(old: Side | None, new: Side | None) -> Iterable[PropertyChange]:
    ids = [one.id for one in PROPERTIES] + [one.id for one in DOSES]
    held = {key for one in (old, new) if one is not None for key in one.values}
    ids = [name for name in ids if name in held] + sorted(key for key in held if key.startswith(SUBSTANCE))
    bounded = {bound.property for one in (old, new) if one is not None for bound in one.bounds}
    for name in ids:
        before = _value(old, name)
        after = _value(new, name)
        delta = None
        if isinstance(before, float) and isinstance(after, float):
            delta = after - before
        if name not in bounded:
            yield PropertyChange(name, before, after, delta, NONE, NONE, "", "")
            continue
        limits = (bounds_of(old or new, name), bounds_of(new or old, name))
        yield PropertyChange(name, before, after, delta, *limits, verdict_of(old, name), verdict_of(new, name))


def _value(one: Side | None, name: str) -> Value | None:
    return None if one is None else one.values.get(name, None if name in BY_ID else 0.0)
