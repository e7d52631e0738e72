"""Whole reports: the properties of formulas, what differs between two states, the answer of the gate."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from msgspec import Struct
from msgspec.structs import replace

from formulint import hazard_report
from formulint.catalog import Catalog, stem
from formulint.changed import bare, bare_limits, change_sections, named, printed_moves, record_sections, verdict_word
from formulint.compare import FormulaChange, RecordChange
from formulint.compare import formulas as compare_formulas
from formulint.compare import materials as compare_materials
from formulint.content import Gap, Value
from formulint.finding import Finding
from formulint.folding import causes_first
from formulint.gate import Answer
from formulint.judge import Judge
from formulint.properties import BY_ID
from formulint.quantity import Quantity, show, step_in
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
    left_out,
    located,
    shown,
    state_words,
    stop_line,
    summary,
    title_line,
)
from formulint.scope import Touched
from formulint.side import Side, bounds_of, verdict_of
from formulint.spread import SPREAD, causes, spread, told
from formulint.staged import Staged
from formulint.stages import of_stages
from formulint.verdict import units_of

BEFORE = "was there before"
ON_BASE = "already on the base"


def properties_table(
    catalog: Catalog, values: dict[str, Value], bounds: dict[str, tuple[Quantity | None, Quantity | None, str]], names: dict[str, str],
    scatter: dict[str, float] | None = None,
) -> Table:
    """Every property with its limit and verdict; with ``scatter``, one standard deviation beside its value."""
    rows = []
    for name, value in values.items():
        unit, digits = units_of(name, catalog.settings.units, catalog.settings.currency)
        least, most, verdict = bounds.get(name, (None, None, ""))
        tone: Tone = "bad" if verdict == "fail" else "warn" if verdict in ("open", "review") or isinstance(value, Gap) else "plain"
        estimate = " (estimate)" if name in BY_ID and BY_ID[name].estimate else ""
        rows.append(
            (
                Cell(named(name, unit, names) + estimate),
                Cell(bare(value, unit, digits), tone),
                *(() if scatter is None else (Cell(f"{step_in(scatter[name], unit):.{digits + 1}f}" if name in scatter else "", "muted"),)),
                Cell(bare_limits((least, most), unit, digits), "muted"),
                Cell(verdict_word(verdict), tone),
            )
        )
    return Table(("property", ">value", *(() if scatter is None else (">spread",)), ">limit", "verdict"), tuple(rows))


def lines_table(catalog: Catalog, side: Side) -> Table:
    """Every line as it was resolved: what it weighs, what room it takes, its share of the batch."""
    us = catalog.settings.units == "us"
    mass, room = ("lb", "gal") if us else ("kg", "L")
    whole = side.values.get("mass")
    rows = []
    for line in side.lines:
        addition = side.formula.stage[line.stage].additions[line.at]
        kg, litres = line.kg, line.litres
        share = f"{100 * kg / whole:.3f}" if isinstance(kg, float) and isinstance(whole, float) and whole else ""
        rows.append(
            (
                Cell(side.formula.stage[line.stage].name, "muted"),
                Cell(f"{line.code} {side.names.get(line.code, '')}".strip()),
                Cell("" if addition.amount is None else addition.amount.text),
                Cell(_bare_amount(kg, mass, 2)),
                Cell(_bare_amount(litres, room, 3)),
                Cell(share),
            )
        )
    return Table(("stage", "material", ">as written", f">{mass}", f">{room}", ">% of the batch"), tuple(rows))


def stages_table(catalog: Catalog, side: Side) -> Table:
    """What every stage comes to by itself, and how its disc runs."""
    stages = of_stages(catalog, side)
    ids = dict.fromkeys(name for one in stages for name in one.values)
    looks = {name: units_of(name, catalog.settings.units, catalog.settings.currency) for name in ids}
    rows = [
        (
            Cell(f"{one.name} ({one.kind}{', ' if one.vessel else ''}{one.vessel})"),
            *(Cell(bare(one.values.get(name), *looks[name])) for name in ids),
        )
        for one in stages
    ]
    return Table(("stage", *(f">{named(name, looks[name][0], {})}" for name in ids)), tuple(rows))


def _bare_amount(value: Value, unit: str, digits: int) -> str:
    return show(value, unit, digits).removesuffix(unit).strip() if isinstance(value, float) else "open"


def filled(catalog: Catalog, side: Side) -> list[str]:
    """What q.s. came to, in words."""
    us = catalog.settings.units == "us"
    found = []
    for line in side.lines:
        amount = side.formula.stage[line.stage].additions[line.at].amount
        if amount is not None and amount.to_fill:
            name = f"{side.names.get(line.code, '')} ({line.code})".strip()
            kg, litres = line.kg, line.litres
            if isinstance(kg, float) and isinstance(litres, float):
                words = f"{show(kg, 'lb', 1)}, {show(litres, 'gal', 2)}" if us else f"{show(kg, 'kg', 2)}, {show(litres, 'L', 2)}"
                found.append(f"{name} q.s. comes to {words}")
            else:
                found.append(f"what {name} q.s. comes to cannot be computed")
    return found


def properties(
    catalog: Catalog, sides: Sequence[Side], unread: Sequence[str], lines: bool = False, scatter: bool = False, hazards: bool = False
) -> Report:
    """The report of computed properties; with ``scatter``, how they spread in production."""
    sections = []
    for one in sides:
        bounds = {name: (*bounds_of(one, name), verdict_of(one, name)) for name in one.values}
        tables = [lines_table(catalog, one), stages_table(catalog, one)] if lines else []
        tables.append(properties_table(catalog, one.values, bounds, one.substances, spread(catalog, one) if scatter else None))
        classes = hazard_report.hazards(catalog, one)
        tables.append(hazard_report.whole(classes) if hazards else hazard_report.short(classes))
        gaps = dict.fromkeys(item.what for value in one.values.values() if isinstance(value, Gap) for item in value.missing)
        remarks = [*filled(catalog, one), *(f"open because: {what}" for what in gaps), *told(causes(catalog, one))]
        remarks += [f"{BY_ID[name].title}: {BY_ID[name].estimate}" for name in one.values if name in BY_ID and BY_ID[name].estimate]
        remarks += hazard_report.remarks(classes)
        remarks.append(f"composition {one.digests.composition[:15]}  making {one.digests.making[:15]}  data {one.digests.data[:15]}")
        sections.append(Section(heading(catalog, one.formula.code), (), tuple(tables), tuple(remarks)))
    closing = [f"{counted(len(sides), 'formula')} computed", *((SPREAD,) if scatter else ())]
    closing += [f"{name} cannot be read: formulint lint says why" for name in unread]
    return Report(title_line(catalog), assumptions(catalog), tuple(sections), (*closing, CAUTION))


def diff(before: Catalog, after: Catalog, changes: Sequence[FormulaChange], records: Sequence[RecordChange], reach: Touched) -> Report:
    """The report of a comparison: records that many formulas share first, then each formula."""
    told = [one for one in changes if printed_moves(after, one) or one.new or one.gone]
    sections = record_sections(records)
    sections += change_sections(before, after, told, {one.code: _about(after, one) for one in told})
    facts = []
    if reach.through:
        facts.append("reached through what they use: " + ", ".join(f"{stem(name)} (by {code})" for name, code in sorted(reach.through.items())))
    if reach.policy:
        facts.append("policy changed: " + ", ".join(reach.policy))
    title = f"formulint: from {state_words(before.snapshot.label)} to {state_words(after.snapshot.label)}, judged as on {after.today} ({after.snapshot.date_origin})"
    new = [finding for one in changes for finding in (*one.own, *one.new)]
    gone = sum(len(one.gone) for one in changes)
    counts = f"{counted(len(told), 'formula')} changed" + (f", {counted(len(records), 'shared record')} too" if records else "")
    return Report(title, tuple(facts), tuple(sections), (f"{counts}; new findings: {summary(new)}; {gone} no longer found", CAUTION))


def _about(catalog: Catalog, change: FormulaChange) -> tuple[Located, ...]:
    """What is new in a formula, what the change itself shows, and what was there before and still stops, the worst first."""
    old = [one for one in change.kept if one.blocks]
    found = (*located(catalog, (*change.own, *change.new)), *marked(located(catalog, old), old, BEFORE))
    return tuple(sorted(found, key=lambda one: (one.said != "", -one.finding.level)))


def marked(found: Iterable[Located], old: Iterable[Finding], words: str) -> tuple[Located, ...]:
    """The findings, those that were there already with the words for it."""
    known = {one.about for one in old}
    return tuple(replace(one, said="; ".join(filter(None, (words, one.said)))) if one.finding.about in known else one for one in found)


def _on_base(answer: Answer, seen: Sequence[Finding]) -> list[Finding]:
    """What the base has already of the records that something is found in."""
    judge, base = Judge(answer.before), answer.before
    found: list[Finding] = []
    for code in sorted({one.formula or one.material for one in seen}):
        if (formula := base.find_formula(code)) is not None:
            found += judge.formula(formula)
        if (material := base.find_material(code)) is not None:
            found += judge.material(material)
    return found


class Deltas(Struct, frozen=True):
    """What a commit being made does: to paints, and to the records that they share."""

    formulas: tuple[FormulaChange, ...] = ()
    records: tuple[RecordChange, ...] = ()

    @property
    def own(self) -> tuple[Finding, ...]:
        """The findings about the changes themselves."""
        return tuple(finding for one in self.formulas for finding in one.own)


def deltas(staged: Staged) -> Deltas:
    """What a commit being made does to the paints it touches; nothing where it is the first."""
    before, after, reach = staged.before, staged.catalog, staged.reach
    if before is None:
        return Deltas()
    # A sheet that could not be read as it was meant has no deltas: they would say "removed", or "open" everywhere.
    unclear = {finding.formula for finding in staged.findings if finding.blocks and finding.rule.startswith("record/")}
    codes = [stem(name) for name in reach.formulas if stem(name) not in unclear]
    codes += [code for code in reach.gone if before.find_formula(code)]
    return Deltas(compare_formulas(before, after, codes), compare_materials(before, after, reach.materials, reach.gone))


def with_deltas(report: Report, staged: Staged, found: Deltas) -> Report:
    """The report of a commit being made, with what it does."""
    facts = report.facts
    if staged.elsewhere:
        words = f"{counted(staged.elsewhere, 'finding')} about records that this commit does not touch: formulint lint shows them"
        facts = (*facts, words)
    before, after = staged.before, staged.catalog
    if before is None:
        return replace(report, facts=facts)
    sections = record_sections(one for one in found.records if "cannot be read" not in one.word)  # said by the findings
    sections += change_sections(before, after, [one for one in found.formulas if printed_moves(after, one)], {})
    return replace(report, facts=facts, sections=(*report.sections, *sections))


def gate(answer: Answer, notes: bool) -> Report:
    """The answer of the gate: what was judged by what, what keeps it out, and what the proposal does to the paints."""
    seen = shown(answer.findings, notes)
    sections = by_record(answer.after, marked(located(answer.after, causes_first(seen)), _on_base(answer, seen), ON_BASE))
    sections += tuple(record_sections(answer.records))
    sections += tuple(change_sections(answer.before, answer.after, [one for one in answer.changes if printed_moves(answer.after, one)], {}))
    refused = answer.refused
    verdict = "The gate says no." if refused else "The gate says yes."
    facts = [f"{verdict} {_reasons(refused)}".strip(), f"judged by the settings and rules of the base, {answer.base[:7]}"]
    if answer.merged:
        facts.append("the proposal does not contain its base: what a merge of both would hold was written and judged")
    if answer.reach.through:
        facts.append("reached through what they use: " + ", ".join(f"{stem(name)} (by {code})" for name, code in sorted(answer.reach.through.items())))
    title = f"formulint gate: {answer.after.snapshot.label} into {answer.base[:7]}, judged as on {answer.after.today}"
    judged = f"{counted(len(answer.scope.formulas), 'formula')} and {counted(len(answer.scope.materials), 'material')} judged"
    closing = [f"{judged}: {summary(answer.findings)}"]
    closing += left_out(answer.findings, notes) if any(one.stood for one in answer.findings) else []
    closing += [f"NO: {stop_line(answer.after, one)}" for one in refused[:5]]
    closing += [f"and {len(refused) - 5} more"] if len(refused) > 5 else []
    closing.append(verdict)
    return Report(title, (*facts, *assumptions(answer.after)), sections, (*closing, CAUTION))


def _reasons(refused: Sequence[Finding]) -> str:
    """How many findings keep a proposal out, and by which rules."""
    rules: dict[str, int] = {}
    for one in refused:
        rules[one.rule] = rules.get(one.rule, 0) + 1
    listed = ", ".join(f"{rule} ({count})" if count > 1 else rule for rule, count in sorted(rules.items()))
    return f"{counted(len(refused), 'finding')} {'keeps' if len(refused) == 1 else 'keep'} it out: {listed}." if refused else ""
