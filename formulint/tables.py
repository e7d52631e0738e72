"""Tables of a report: properties against their limits, and what a change does to lines and properties."""

from __future__ import annotations

from collections.abc import Sequence

from msgspec.structs import replace

from formulint.catalog import Catalog, stem
from formulint.change import Change
from formulint.compare import FormulaChange, PropertyChange
from formulint.compare import formulas as compare_formulas
from formulint.content import Gap, Value
from formulint.finding import Level
from formulint.folding import causes_first
from formulint.gate import Answer
from formulint.interval import ends
from formulint.lines import LineChange
from formulint.properties import BY_ID, SUBSTANCE
from formulint.quantity import Quantity, in_unit
from formulint.report import (
    CAUTION,
    Cell,
    Located,
    Report,
    Section,
    Table,
    Tone,
    assumptions,
    by_record,
    counted,
    heading,
    located,
    state_words,
    stop_line,
    summary,
    title_line,
)
from formulint.scope import Touched
from formulint.side import Side, bounds_of, verdict_of
from formulint.staged import Staged
from formulint.verdict import shown, title_of, units_of

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


def properties_table(
    catalog: Catalog, values: dict[str, Value], bounds: dict[str, tuple[Quantity | None, Quantity | None, str]], names: dict[str, str]
) -> Table:
    """Every property with its limit and verdict."""
    rows = []
    for name, value in values.items():
        unit, digits = units_of(name, catalog.settings.units, catalog.settings.currency)
        least, most, verdict = bounds.get(name, (None, None, ""))
        tone: Tone = "bad" if verdict == "fail" else "warn" if verdict in ("open", "review") or isinstance(value, Gap) else "plain"
        estimate = " (estimate)" if name in BY_ID and BY_ID[name].estimate else ""
        rows.append(
            (
                Cell(named(name, unit, names) + estimate),
                Cell(_bare(value, unit, digits), tone),
                Cell(_bare_limits((least, most), unit, digits), "muted"),
                Cell(verdict_word(verdict), tone),
            )
        )
    return Table(("property", ">value", ">limit", "verdict"), tuple(rows))


def verdict_word(verdict: str) -> str:
    """The word people see for a verdict."""
    return {"pass": "holds", "fail": "fails", "open": "open", "review": "to review"}.get(verdict, "")


def limits_text(least: Quantity | None, most: Quantity | None, unit: str, digits: int) -> str:
    """Bounds for people: ``53 to 59 %``, ``at most 50 g/L``."""

    def text(bound: Quantity) -> str:
        return str(bound) if bound.unit.symbol == unit else f"{in_unit(bound.base, unit):.{digits}f} {unit}".strip()

    if least is not None and most is not None:
        return f"{text(least).removesuffix(unit).strip()} to {text(most)}"
    if most is not None:
        return f"at most {text(most)}"
    return f"at least {text(least)}" if least is not None else ""


def change_section(catalog: Catalog, change: FormulaChange, found: Sequence[Located]) -> Section:
    """One formula of a comparison: its lines, its properties, what is new; one line where it came or went as a whole."""
    policy = f", policy: {', '.join(change.policy)}" if change.policy else ""
    if change.before is None or change.after is None:
        return _whole(catalog, change, found)
    tables, remarks = [], []
    rewritten = change.change in (Change.editorial, Change.equivalent) and all(one.action == "changed" for one in change.additions)
    if change.additions and rewritten:
        remarks.append(f"{counted(len(change.additions), 'amount')} written otherwise, none moved")
    elif change.additions:
        tables.append(_lines_table(catalog, change.additions))
    moved = [one for one in change.properties if not _same_text(catalog, one)]
    told = [one for one in moved if not _only_follows(one)]
    if told:
        tables.append(_deltas_table(catalog, told, names_of(change)))
    if len(change.properties) > len(moved):
        remarks.append(f"{len(change.properties) - len(moved)} more without a printed difference")
    if len(moved) > len(told):
        remarks.append(f"{counted(len(moved) - len(told), 'substance')} moved by less than 5 % with the batch")
    if change.gone:
        remarks.append("no longer found: " + "; ".join(one.fault.message for one in change.gone[:5]))
    words = "the same paint, other prices" if change.change is Change.none and told else CHANGE_WORDS[change.change]
    title = f"{change.code}  {change.name}: {words}{policy}"
    return Section(title, tuple(found), tuple(tables), tuple(remarks))


def _whole(catalog: Catalog, change: FormulaChange, found: Sequence[Located]) -> Section:
    one = change.after or change.before
    assert one is not None
    unit, digits = units_of("mass", catalog.settings.units, catalog.settings.currency)
    weight = shown(one.values.get("mass", 0.0), unit, digits)
    word = "new" if change.after else "removed"
    return Section(f"{change.code}  {change.name}: {word}, {counted(len(one.lines), 'line')}, {weight}", tuple(found))


def printed_moves(catalog: Catalog, change: FormulaChange) -> bool:
    """True where the change shows: in its class, or in a printed figure such as the cost."""
    return change.change is not Change.none or any(not _same_text(catalog, one) for one in change.properties)


def _lines_table(catalog: Catalog, changes: Sequence[LineChange]) -> Table:
    us = catalog.settings.units == "us"
    rows = [
        (
            Cell(one.action),
            Cell(f"{one.material} {one.name}"),
            Cell(one.stage, "muted"),
            Cell(one.before or ""),
            Cell("" if one.action == "moved" and one.before == one.after else one.after or ""),
            Cell("" if one.action == "moved" and one.before == one.after else per_batch(one, us), "muted"),
        )
        for one in changes
    ]
    unit = "lb/100 gal" if us else "kg/1000 L"
    return Table(("line", "material", "stage", ">before", ">after", f">{unit}"), tuple(rows))


def per_batch(change: LineChange, us: bool) -> str:
    """The difference of a line in the shop's own basis: lb per 100 gal, or kg per 1000 L."""
    if change.kg_before is None and change.kg_after is None:
        return ""
    delta = (change.kg_after or 0.0) - (change.kg_before or 0.0)
    number = in_unit(delta, "lb/gal") * 100 if us else delta * 1000
    return f"{number:+.2f}"


def names_of(change: FormulaChange) -> dict[str, str]:
    """What the substances of both sides are called."""
    return {**(change.before.substances if change.before else {}), **(change.after.substances if change.after else {})}


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
    return shown(change.before, unit, digits) == shown(change.after, unit, digits) and change.verdict_before == change.verdict_after


def _deltas_table(catalog: Catalog, changes: Sequence[PropertyChange], names: dict[str, str]) -> Table:
    rows = []
    for one in changes:
        unit, digits = units_of(one.id, catalog.settings.units, catalog.settings.currency)
        tone: Tone = "bad" if one.verdict_after == "fail" else "warn" if one.verdict_after in ("open", "review") else "plain"
        rows.append(
            (
                Cell(named(one.id, unit, names)),
                Cell(_bare(one.before, unit, digits)),
                Cell(_bare(one.after, unit, digits), tone),
                Cell(_delta(one, unit, digits)),
                Cell(_bare_limits(one.limit, unit, digits), "muted"),
                Cell(_verdicts(one), tone),
            )
        )
    return Table(("property", ">before", ">after", ">change", ">limit", "verdict"), tuple(rows))


def named(property_id: str, unit: str, names: dict[str, str]) -> str:
    """A property with its unit, a substance by its name: ``Density, lb/gal``."""
    name = names.get(property_id, title_of(property_id))
    return f"{name}, {unit}" if unit else name


def _bare_limits(limit: tuple[Quantity | None, Quantity | None], unit: str, digits: int) -> str:
    return limits_text(*limit, unit, digits).removesuffix(unit).strip()


def _bare(value: Value | None, unit: str, digits: int) -> str:
    return "" if value is None else shown(value, unit, digits).removesuffix(unit).strip()


def _delta(change: PropertyChange, unit: str, digits: int) -> str:
    if change.delta is None:
        return ""
    number = in_unit(change.delta, unit) if unit else change.delta
    while digits < 8 and number and round(number, digits) == 0:
        digits += 1  # a difference that is there is never shown as none
    return f"{number:+.{digits}f}"


def _verdicts(change: PropertyChange) -> str:
    before, after = verdict_word(change.verdict_before), verdict_word(change.verdict_after)
    return after if before in (after, "") else f"{before} -> {after}"


def properties(catalog: Catalog, sides: Sequence[Side], unread: Sequence[str]) -> Report:
    """The report of computed properties."""
    sections = []
    for one in sides:
        bounds = {name: (*bounds_of(one, name), verdict_of(one, name)) for name in one.values}
        table = properties_table(catalog, one.values, bounds, one.substances)
        gaps = dict.fromkeys(item.what for value in one.values.values() if isinstance(value, Gap) for item in value.missing)
        remarks = [f"open because: {what}" for what in gaps]
        remarks += [f"{BY_ID[name].title}: {BY_ID[name].estimate}" for name in one.values if name in BY_ID and BY_ID[name].estimate]
        remarks.append(f"composition {one.digests.composition[:15]}  making {one.digests.making[:15]}  data {one.digests.data[:15]}")
        sections.append(Section(heading(catalog, one.formula.code), (), (table,), tuple(remarks)))
    closing = [f"{counted(len(sides), 'formula')} computed"]
    closing += [f"{name} cannot be read: formulint lint says why" for name in unread]
    return Report(title_line(catalog), assumptions(catalog), tuple(sections), (*closing, CAUTION))


def diff(before: Catalog, after: Catalog, changes: Sequence[FormulaChange], reach: Touched) -> Report:
    """The report of a comparison."""
    told = [one for one in changes if printed_moves(after, one) or one.new or one.gone]
    sections = [change_section(after, one, located(after, one.new)) for one in told]
    facts = []
    if reach.through:
        facts.append("reached through what they use: " + ", ".join(f"{stem(name)} (by {code})" for name, code in sorted(reach.through.items())))
    if reach.policy:
        facts.append("policy changed: " + ", ".join(reach.policy))
    title = f"formulint: from {state_words(before.snapshot.label)} to {state_words(after.snapshot.label)}, judged as on {after.today} ({after.snapshot.date_origin})"
    new = [finding for one in changes for finding in one.new]
    gone = sum(len(one.gone) for one in changes)
    closing = [f"{counted(len(told), 'formula')} changed; new findings: {summary(new)}; {gone} no longer found"]
    return Report(title, tuple(facts), tuple(sections), (*closing, CAUTION))


def with_deltas(report: Report, staged: Staged) -> Report:
    """The report of a commit being made, with what it does to the paints it touches."""
    facts = report.facts
    if staged.elsewhere:
        words = f"{counted(staged.elsewhere, 'finding')} about records that this commit does not touch: formulint lint shows them"
        facts = (*facts, words)
    before, after, reach = staged.before, staged.catalog, staged.reach
    if before is None:
        return replace(report, facts=facts)
    # A sheet that could not be read as it was meant has no deltas: they would say "removed", or "open" everywhere.
    unclear = {finding.formula for finding in staged.findings if finding.blocks and finding.rule.startswith("record/")}
    codes = [stem(name) for name in reach.formulas if stem(name) not in unclear]
    codes += [code for code in reach.gone if before.find_formula(code)]
    changes = compare_formulas(before, after, codes)
    sections = tuple(change_section(after, one, ()) for one in changes if printed_moves(after, one))
    return replace(report, facts=facts, sections=(*report.sections, *sections))


def gate(answer: Answer, notes: bool) -> Report:
    """The answer of the gate: what was judged by what, what keeps it out, and what the proposal does to the paints."""
    seen = [one for one in answer.findings if notes or one.level is not Level.note]
    sections = by_record(answer.after, located(answer.after, causes_first(seen)))
    sections += tuple(change_section(answer.after, one, ()) for one in answer.changes if printed_moves(answer.after, one))
    facts = [f"judged by the settings and rules of the base, {answer.base[:7]}"]
    if answer.merged:
        facts.append("the proposal does not contain its base: what a merge of both would hold was written and judged")
    if answer.reach.through:
        facts.append("reached through what they use: " + ", ".join(f"{stem(name)} (by {code})" for name, code in sorted(answer.reach.through.items())))
    title = f"formulint gate: {answer.after.snapshot.label} into {answer.base[:7]}, judged as on {answer.after.today}"
    refused = answer.refused
    judged = f"{counted(len(answer.scope.formulas), 'formula')} and {counted(len(answer.scope.materials), 'material')} judged"
    closing = [f"{judged}: {summary(answer.findings)}"]
    closing += [f"NO: {stop_line(answer.after, one)}" for one in refused[:5]]
    closing += [f"and {len(refused) - 5} more"] if len(refused) > 5 else []
    closing.append("The gate says no." if refused else "The gate says yes.")
    return Report(title, (*facts, *assumptions(answer.after)), sections, (*closing, CAUTION))
