"""What a change does, as a part of a report: policy first, then how it is made, its lines, its properties and their causes."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from math import fsum

from formulint.catalog import Catalog
from formulint.causes import Split, split
from formulint.change import Change
from formulint.compare import FormulaChange, PropertyChange, RecordChange
from formulint.content import Gap, Value
from formulint.fields import FieldChange
from formulint.interval import ends
from formulint.lines import LineChange
from formulint.properties import SUBSTANCE
from formulint.quantity import Quantity, in_unit, show
from formulint.report import Cell, Located, Section, Table, Tone, counted
from formulint.verdict import limits_text, shown, title_of, units_of

CHANGE_WORDS = {
    Change.none: "no change",
    Change.editorial: "the same paint (editorial)",
    Change.equivalent: "the same paint in other digits (equivalent)",
    Change.procedural: "the same composition, made in another way (procedural)",
    Change.data: "the same sheet, a material's figures changed (data)",
    Change.compositional: "another paint (compositional)",
    Change.policy: "policy",
}
FOLLOWS = 0.05  # a substance that moves by less than this share only follows the batch, and is counted, not listed
EXPLAINED = ("density", "pvc_binder", "voc_less_water", "cost_volume")  # explained whenever they move; others where a limit asks
FEW = 3  # causes of one delta that are told, the others folded
LINE_DIGITS = 2  # of a line's difference per 100 gal or 1000 L


def change_section(before: Catalog, after: Catalog, change: FormulaChange, found: Sequence[Located]) -> Section:
    """One formula of a comparison; one line where it came or went as a whole, or cannot be read."""
    if change.unread:
        return Section(f"{change.code}  {change.name}: {change.unread}", tuple(found))
    if change.before is None or change.after is None:
        return _whole(after, change, found)
    policy = [one for one in change.fields if one.change is Change.policy]
    made = [one for one in change.fields if one.change is Change.procedural]
    other = [one for one in change.fields if one not in policy and one not in made]
    tables = [fields_table(rows, head) for rows, head in ((policy, "policy"), (made, "made")) if rows]
    remarks = [f"no longer judged by the limits of {market}" for market in change.before.formula.markets if market not in change.after.formula.markets]
    lines, folded = _sorted_lines(after, change)
    remarks += folded
    if lines:
        tables.append(_lines_table(after, lines))
    moved = [one for one in change.properties if not _same_text(after, one)]
    told = [one for one in moved if not _only_follows(one)]
    if told:
        tables.append(_deltas_table(after, told, names_of(change)))
        remarks += _explained(before, after, change, told)
    if other:
        tables.append(fields_table(other, "also"))
    if len(change.properties) > len(moved):
        remarks.append(f"{len(change.properties) - len(moved)} more without a printed difference")
    if len(moved) > len(told):
        remarks.append(f"{counted(len(moved) - len(told), 'substance')} moved by less than 5 % with the batch")
    if change.gone:
        remarks.append("no longer found: " + "; ".join(one.fault.message for one in change.gone[:5]))
    words = "the same paint, other prices" if change.change is Change.none and told else CHANGE_WORDS[change.change]
    title = f"{change.code}  {change.name}: {words}" + (f", policy: {', '.join(change.policy)}" if change.policy else "")
    return Section(title, tuple(found), tuple(tables), tuple(remarks))


def record_section(change: RecordChange) -> Section:
    """A material or the settings: what differs in its own file."""
    return Section(f"{change.code}  {change.name}: its own file changed", (), (fields_table(change.fields, "field"),))


def fields_table(fields: Iterable[FieldChange], head: str) -> Table:
    """Fields before and after, as written."""
    rows = tuple((Cell(one.what), Cell(one.before or "not given"), Cell(one.after or "not given")) for one in fields)
    return Table((head, "before", "after"), rows)


def _whole(catalog: Catalog, change: FormulaChange, found: Sequence[Located]) -> Section:
    one = change.after or change.before
    assert one is not None
    unit, digits = units_of("mass", catalog.settings.units, catalog.settings.currency)
    weight = shown(one.values.get("mass", 0.0), unit, digits)
    word = "new" if change.after else "removed"
    return Section(f"{change.code}  {change.name}: {word}, {counted(len(one.lines), 'line')}, {weight}", tuple(found))


def printed_moves(catalog: Catalog, change: FormulaChange) -> bool:
    """True where the change shows: in its class or a field, in a printed figure such as the cost, or in that nobody can read it."""
    shows = change.change is not Change.none or change.fields or change.unread
    return bool(shows) or any(not _same_text(catalog, one) for one in change.properties)


# --- lines -------------------------------------------------------------------------------------------------------


def _sorted_lines(catalog: Catalog, change: FormulaChange) -> tuple[list[LineChange], list[str]]:
    """The lines that moved, the largest first, and the words for those that were only written otherwise."""
    us = catalog.settings.units == "us"
    exact = change.change is Change.editorial
    alike = change.change in (Change.editorial, Change.equivalent)
    told: list[LineChange] = []
    same: list[LineChange] = []
    for one in change.additions:
        delta = _per_batch(one, us)
        nothing = delta is None or round(delta, LINE_DIGITS) == 0
        if one.action == "filled" and (nothing or alike):
            continue
        rewritten = one.action == "changed" and (alike or (delta is not None and nothing))
        (same if rewritten else told).append(one)
    if same and alike:
        return told, [f"{counted(len(same), 'amount')} written otherwise, none moved" + ("" if exact else " by more than its rounding")]
    told.sort(key=lambda one: -abs(_per_batch(one, us) or 0.0))
    if not same:
        return told, []
    unit = "lb/100 gal" if us else "kg/1000 L"
    return told, [f"{counted(len(same), 'amount')} written otherwise, each moved by less than {10**-LINE_DIGITS / 2:g} {unit}"]


def _lines_table(catalog: Catalog, changes: Sequence[LineChange]) -> Table:
    us = catalog.settings.units == "us"
    rows = []
    for one in changes:
        same = one.before == one.after and one.action == "moved"
        rows.append(
            (
                Cell({"filled": "q.s."}.get(one.action, one.action)),
                Cell(f"{one.material} {one.name}"),
                Cell(one.stage, "muted"),
                Cell(_amount(one, 0, us)),
                Cell("" if same else _amount(one, 1, us)),
                Cell("" if same else per_batch(one, us), "muted"),
            )
        )
    unit = "lb/100 gal" if us else "kg/1000 L"
    return Table(("line", "material", "stage", ">before", ">after", f">{unit}"), tuple(rows))


def _amount(change: LineChange, side: int, us: bool) -> str:
    """An amount as written; of q.s. what it came to."""
    text, weight = (change.before, change.after)[side], change.weights[side]
    if text is None or not change.fills[side] or weight is None:
        return text or ""
    return f"{text} = {show(weight, 'lb' if us else 'kg', 1 if us else 2)}"


def _per_batch(change: LineChange, us: bool) -> float | None:
    if change.kg_before is None and change.kg_after is None:
        return None
    delta = (change.kg_after or 0.0) - (change.kg_before or 0.0)
    return in_unit(delta, "lb/gal") * 100 if us else delta * 1000


def per_batch(change: LineChange, us: bool) -> str:
    """The difference of a line in the shop's own basis: lb per 100 gal, or kg per 1000 L."""
    delta = _per_batch(change, us)
    return "" if delta is None else f"{delta:+.{LINE_DIGITS}f}"


# --- properties --------------------------------------------------------------------------------------------------


def names_of(change: FormulaChange) -> dict[str, str]:
    """What the substances of both sides are called."""
    return {**(change.before.substances if change.before else {}), **(change.after.substances if change.after else {})}


def named(property_id: str, unit: str, names: dict[str, str]) -> str:
    """A property with its unit, a substance by its name: ``Density, lb/gal``."""
    name = names.get(property_id, title_of(property_id))
    return f"{name}, {unit}" if unit else name


def _only_follows(change: PropertyChange) -> bool:
    if not change.id.startswith(SUBSTANCE) or change.verdict_before or change.verdict_after:
        return False
    if change.before is None or change.after is None or isinstance(change.before, Gap) or isinstance(change.after, Gap):
        return False
    pairs = zip(ends(change.before), ends(change.after), strict=True)
    return all(abs(one - other) <= FOLLOWS * max(abs(one), abs(other)) for one, other in pairs)


def _same_text(catalog: Catalog, change: PropertyChange) -> bool:
    unit, digits = units_of(change.id, catalog.settings.units, catalog.settings.currency)
    if change.before is None or change.after is None:
        return change.before is change.after
    same = shown(change.before, unit, digits) == shown(change.after, unit, digits)
    return same and change.verdict_before == change.verdict_after and change.limit_before == change.limit


def _deltas_table(catalog: Catalog, changes: Sequence[PropertyChange], names: dict[str, str]) -> Table:
    rows = []
    for one in changes:
        unit, coarse = units_of(one.id, catalog.settings.units, catalog.settings.currency)
        digits = digits_of(one, unit, coarse)
        tone: Tone = "bad" if one.verdict_after == "fail" else "warn" if one.verdict_after in ("open", "review") else "plain"
        rows.append(
            (
                Cell(named(one.id, unit, names)),
                Cell(bare(one.before, unit, digits)),
                Cell(bare(one.after, unit, digits), tone),
                Cell(_delta(one, unit, digits)),
                Cell(_limits(one, unit, coarse), "muted"),
                Cell(_verdicts(one), tone),
            )
        )
    return Table(("property", ">before", ">after", ">change", ">limit", "verdict"), tuple(rows))


def digits_of(change: PropertyChange, unit: str, digits: int) -> int:
    """As many decimals as it takes for a change to show; one more where its rounded figure would contradict the others."""
    if not isinstance(change.before, float) or not isinstance(change.after, float):
        return digits
    first, last = ((in_unit(one, unit) if unit else one) for one in (change.before, change.after))
    for more in range(digits, digits + 6):
        printed = round(round(last, more) - round(first, more), more)
        if printed == round(last - first, more) and (printed != 0 or abs(last - first) < 10**-8):
            return more
        if printed != 0 and more > digits:
            return more
    return digits


def _delta(change: PropertyChange, unit: str, digits: int) -> str:
    """After less before, as both are printed."""
    if not isinstance(change.before, float) or not isinstance(change.after, float):
        return ""
    first, last = ((in_unit(one, unit) if unit else one) for one in (change.before, change.after))
    return _signed(round(last, digits) - round(first, digits), digits)


def _signed(number: float, digits: int) -> str:
    return f"{number:+.{digits}f}" if round(number, digits) else f"{0:.{digits}f}"


def bare(value: Value | None, unit: str, digits: int) -> str:
    """A value without its unit."""
    return "" if value is None else shown(value, unit, digits).removesuffix(unit).strip()


def bare_limits(limit: tuple[Quantity | None, Quantity | None], unit: str, digits: int) -> str:
    """Bounds without their unit."""
    return limits_text(*limit, unit, digits).removesuffix(unit).strip()


def _limits(change: PropertyChange, unit: str, digits: int) -> str:
    now, was = (bare_limits(one, unit, digits) for one in (change.limit, change.limit_before))
    if now == was:
        return now
    return f"{now or 'none'} (was {was or 'none'})"


def verdict_word(verdict: str) -> str:
    """The word people see for a verdict."""
    return {"pass": "holds", "fail": "fails", "open": "open", "review": "to review"}.get(verdict, "")


def _verdicts(change: PropertyChange) -> str:
    before, after = verdict_word(change.verdict_before), verdict_word(change.verdict_after)
    if before and not after:
        return f"{before} -> no longer judged"
    return after if before in (after, "") else f"{before} -> {after}"


# --- causes ------------------------------------------------------------------------------------------------------


def split_of(before: Catalog, after: Catalog, change: FormulaChange) -> Split:
    """The causes of a formula's deltas; none where it is only on one side."""
    if change.before is None or change.after is None:
        return Split((), {})
    return split(before, after, change.code, change.before.values, change.after.values)


def _explained(before: Catalog, after: Catalog, change: FormulaChange, told: Sequence[PropertyChange]) -> list[str]:
    """A line for each delta that somebody will ask about: what brings it, the largest part first."""
    asked = [one for one in told if one.delta and (one.id in EXPLAINED or one.verdict_after)]
    if not asked or change.change in (Change.editorial, Change.equivalent):
        return []
    found = split_of(before, after, change)
    if found.why_not:
        return [f"causes cannot be told apart: {found.why_not}"]
    if len(found.causes) < 2:
        return []
    return ["because of: " + _parts(after, found, one) for one in asked]


def _parts(catalog: Catalog, found: Split, change: PropertyChange) -> str:
    unit, coarse = units_of(change.id, catalog.settings.units, catalog.settings.currency)
    digits = digits_of(change, unit, coarse)

    def said(number: float) -> str:
        return _signed(in_unit(number, unit) if unit else number, digits)

    parts = sorted(((one.parts.get(change.id, 0.0), one.what) for one in found.causes), key=lambda part: -abs(part[0]))
    told = [part for part in parts[:FEW] if said(part[0]).strip("+-0.")]
    words = [f"{what} {said(part)}" for part, what in told]
    rest = fsum(part for part, _ in parts[len(told) :])
    words += [f"{counted(len(parts) - len(told), 'other')} {said(rest)}"] if len(parts) > len(told) else []
    left = found.residual.get(change.id)
    words += [f"not explained {said(left)}"] if left else []
    return f"{title_of(change.id)} {_delta(change, unit, digits)} {unit}".strip() + ": " + "; ".join(words)
