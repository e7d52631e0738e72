"""What would help, computed for findings that are shown: an amount changed, a material exchanged, an addition moved.

Never asked for on the way to "all is well". The work is bounded by counts, not by a clock, so that the same state gives
the same answer everywhere.
"""

from __future__ import annotations

from collections.abc import Sequence

from msgspec.structs import replace

from formulint.catalog import Catalog
from formulint.finding import Finding, Level, Remedy
from formulint.formula import Formula
from formulint.kinds.closure import BATCH, THE_BATCH
from formulint.kinds.limit import goal_of
from formulint.kinds.order import Order
from formulint.moves import move_remedies
from formulint.retouch import Retouch
from formulint.rule import Goal, Rule
from formulint.subject import FormulaSubject
from formulint.trial import Spent, Trial, opened

ALLOWED = 6000  # formulas computed for one report: about half a second
ALLOWED_AT_COMMIT = 800  # the same while somebody waits for the hook: less than a tenth of that
MOST_FINDINGS = 5
NOTHING = Remedy("no single amount helps, from half to twice of what it is")
UNCLOSED = Remedy("no single amount helps, for the batch no longer closes then; with q.s. for the water one would")
OWN = "own-limit/"


def helped(catalog: Catalog, findings: Sequence[Finding], notes: bool = False, waiting: bool = False) -> tuple[Finding, ...]:
    """The findings, the weightiest of them with remedies where a number or a move can mend them.

    Where the lines do not add up to the batch, that comes first: every other figure is wrong with it. ``notes`` are helped only where they are shown; ``waiting`` is for the hook.
    """
    unclosed = {one.formula for one in findings if one.rule == BATCH and one.fault.kind == "fail"}
    wanted = [one for one in findings if one.mendable and (notes or one.level is not Level.note)]
    wanted = [one for one in wanted if one.formula not in unclosed or one.rule == BATCH or one.rule.startswith("order/")]
    if not wanted:
        return tuple(findings)
    wanted.sort(key=lambda one: (-one.level, one.formula))
    trial = opened(catalog, ALLOWED_AT_COMMIT if waiting else ALLOWED)
    found: dict[Finding, Finding] = {}
    for finding in wanted[:MOST_FINDINGS]:
        remedies = remedies_of(trial, finding, not waiting)
        if remedies:
            found[finding] = with_remedies(finding, remedies)
    return tuple(found.get(one, one) for one in findings)


def with_remedies(finding: Finding, remedies: tuple[Remedy, ...]) -> Finding:
    """The finding with its remedies; a move says all that is to be done, and takes the place of what was said in general."""
    if remedies[0].moves:
        return replace(finding, remedies=remedies, fault=replace(finding.fault, remedy=remedies[0].text))
    return replace(finding, remedies=remedies)


def remedies_of(trial: Trial, finding: Finding, exchange: bool) -> tuple[Remedy, ...]:
    """The remedies of one finding; one that says so where nothing helps; none where the work was more than is allowed."""
    file = trial.catalog.find_formula(finding.formula)
    if file is None or file.record is None or file.document is None:
        return ()
    if finding.rule == BATCH and any(place.path != file.name for place in finding.fault.related):
        return ()  # a figure of a material is wrong, and no line
    found: list[Remedy] = []
    try:
        subject = trial.subject(file, {})
        rule = rule_of(trial, finding, subject.formula)
        if isinstance(rule, Order):
            return move_remedies(trial, finding, file)
        goal = own_goal(finding, subject) if rule is None else rule.goal(subject, finding.fault)
        if goal is None:
            return ()
        retouch = Retouch(trial, file, finding, goal, exchange)
        if not retouch.off:
            return ()
        found += retouch.remedies()
    except Spent:
        return tuple(found)
    if not found and finding.rule == BATCH and (finding.fault.related or THE_BATCH in finding.fault.remedy):
        return ()  # line or batch is named already; a neutralizer that slipped is not lowered without a window, and only by hand
    return tuple(found) or (UNCLOSED if retouch.unclosed else NOTHING,)


def rule_of(trial: Trial, finding: Finding, formula: Formula) -> Rule | None:
    """The rule that speaks in a finding; None for a formula's own limit."""
    entries = trial.catalog.rulebook.in_force(formula.markets)
    return next((entry.rule for entry in entries if entry.id == finding.rule), None)


def own_goal(finding: Finding, subject: FormulaSubject) -> Goal | None:
    """What a formula's own limit asks for."""
    name = finding.fault.property
    bounds = subject.formula.limits.get(name)
    if bounds is None or not finding.rule.startswith(OWN):
        return None
    return goal_of(name, bounds.min, bounds.max, subject, finding.fault.place)
