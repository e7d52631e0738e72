"""Whole reports: what differs between two states, what a commit does, the answer of the gate."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

from msgspec.structs import replace

from formulint.catalog import Catalog
from formulint.changed import change_sections, printed_moves, record_sections
from formulint.compare import FormulaChange, RecordChange
from formulint.finding import Finding
from formulint.folding import causes_first
from formulint.judge import Judge
from formulint.overview import by_whom, mixed, overview
from formulint.proposal import POLICY
from formulint.reach import reached
from formulint.remeasured import ResultsChange
from formulint.remeasured_report import brought, results_sections
from formulint.report import (
    CAUTION,
    Located,
    Report,
    assumptions,
    by_record,
    counted,
    left_out,
    located,
    shown,
    state_words,
    stop_line,
    summary,
)
from formulint.scope import Touched

if TYPE_CHECKING:
    from formulint.gate import Answer
    from formulint.picture import Picture

LISTED = 12  # formulas that are named one by one
BEFORE = "was there before"
ON_BASE = "already on the base"


def diff(
    before: Catalog, after: Catalog, changes: Sequence[FormulaChange], records: Sequence[RecordChange], reach: Touched,
    pictures: bool = False, results: Sequence[ResultsChange] = (),
) -> Report:
    """The report of a comparison: records that many formulas share first, then each formula; with ``pictures``, for a page."""
    told = [one for one in changes if printed_moves(after, one) or one.new or one.gone]
    sections = record_sections(records)
    sections += change_sections(before, after, told, {one.code: _about(after, one) for one in told}, drawn=_drawn(before, after, told, pictures))
    sections += results_sections(results)
    facts = by_whom(after.snapshot.repository, before.snapshot.commit, after.snapshot.commit)
    facts += [*_left_undrawn(told, pictures), *mixed(told, reach.policy), *reached(after, changes, reach)]
    title = f"formulint: from {state_words(before.snapshot.label)} to {state_words(after.snapshot.label)}, judged as on {after.today} ({after.snapshot.date_origin})"
    new = [finding for one in changes for finding in (*one.own, *one.new)]
    gone = sum(len(one.gone) for one in changes)
    counts = f"{counted(len(told), 'formula')} changed" + (f", {counted(len(records), 'shared record')} too" if records else "")
    return Report(title, tuple(facts), tuple(sections), (f"{counts}; new findings: {summary(new)}; {gone} no longer found", CAUTION), overview=overview(told, records, reach.policy))


def _about(catalog: Catalog, change: FormulaChange) -> tuple[Located, ...]:
    """What is new in a formula, what the change itself shows, and what was there before and still stops, the worst first."""
    old = [one for one in change.kept if one.blocks]
    found = (*located(catalog, (*change.own, *change.new)), *marked(located(catalog, old), old, BEFORE))
    return tuple(sorted(found, key=lambda one: (one.said != "", -one.finding.level)))


def _drawn(before: Catalog, after: Catalog, changes: Sequence[FormulaChange], pictures: bool) -> dict[str, tuple[Picture, ...]]:
    """The pictures of as many formulas as a page holds; none where none are asked for."""
    if not pictures:
        return {}
    from formulint.pictured import MOST_PICTURED, of_change

    return {one.code: of_change(before, after, one) for one in changes[:MOST_PICTURED]}


def _left_undrawn(changes: Sequence[FormulaChange], pictures: bool) -> tuple[str, ...]:
    """What a page says where it draws only some of them."""
    if not pictures:
        return ()
    from formulint.pictured import not_pictured

    return tuple(not_pictured(len(changes)))


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


def gate(answer: Answer, notes: bool, pictures: bool = False) -> Report:
    """The answer of the gate: what was judged by what, what keeps it out, what the proposal does to the paints; last, what only warns and is old."""
    seen = shown(answer.findings, notes)
    found = by_record(answer.after, marked(located(answer.after, causes_first(seen)), _on_base(answer, seen), ON_BASE))
    old = tuple(one for one in found if all(finding.said.startswith(ON_BASE) and not finding.finding.blocks for finding in one.findings))
    told = [one for one in answer.changes if printed_moves(answer.after, one)]
    changed = change_sections(answer.before, answer.after, told, {}, drawn=_drawn(answer.before, answer.after, told, pictures))
    sections = (*(one for one in found if one not in old), *record_sections(answer.records), *changed, *results_sections(answer.results), *old)
    refused = answer.refused
    verdict = "The gate says no." if refused else "The gate says yes."
    facts = [f"{verdict} {_reasons(refused)}".strip(), *by_whom(answer.before.snapshot.repository, answer.base, answer.head), f"judged by the settings and rules of the base, {answer.base[:7]}"]
    policy = dict.fromkeys(one.fault.place.path for one in answer.findings if one.rule == POLICY and not one.formula)
    facts += [*_left_undrawn(told, pictures), *mixed(told, tuple(policy)), *brought(answer.results), *_approved(answer)]
    if answer.merged:
        facts.append("the proposal does not contain its base: what a merge of both would hold was written and judged")
    facts += reached(answer.after, answer.changes, answer.reach)
    title = f"formulint gate: {answer.after.snapshot.label} into {answer.base[:7]}, judged as on {answer.after.today}"
    judged = f"{counted(len(answer.scope.formulas), 'formula')} and {counted(len(answer.scope.materials), 'material')} judged"
    closing = [f"{judged}: {summary(answer.findings)}"]
    closing += left_out(answer.findings, notes) if any(one.stood for one in answer.findings) else []
    stops = causes_first(refused)
    closing += [f"NO: {stop_line(answer.after, one)}" for one in stops[:5]]
    closing += [f"and {len(stops) - 5} more"] if len(stops) > 5 else []
    closing.append(verdict)
    return Report(title, (*facts, *assumptions(answer.after)), sections, (*closing, CAUTION), overview=overview(told, answer.records, tuple(policy)))


def _approved(answer: Answer) -> list[str]:
    """Who approved what changes in production, and how that is known; or that nobody was asked."""
    told = [
        f"{one.code} revision {one.revision} is approved by {each.by} ({each.how}{f', key {each.key}' if each.key else ''}, {each.kind} {each.object[:10]} of {each.on})"
        for one in answer.due for each in one.given
    ]  # fmt: skip
    free = [f"{one.code} revision {one.revision}" for one in answer.due if not one.asked]
    more = f" and {len(free) - LISTED} more" if len(free) > LISTED else ""
    return [*told, *([f"no approval was asked for {', '.join(free[:LISTED])}{more}: the settings of the base name no approvers of formulas, or no list of signers"] if free else [])]


def _reasons(refused: Sequence[Finding]) -> str:
    """How many findings keep a proposal out, and by which rules."""
    rules: dict[str, int] = {}
    for one in refused:
        rules[one.rule] = rules.get(one.rule, 0) + 1
    listed = ", ".join(f"{rule} ({count})" if count > 1 else rule for rule, count in sorted(rules.items()))
    return f"{counted(len(refused), 'finding')} {'keeps' if len(refused) == 1 else 'keep'} it out: {listed}." if refused else ""
