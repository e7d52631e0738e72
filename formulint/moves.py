"""What the order of a formula asks for, in words: which addition moves where, why, and which rules contradict each other."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from msgspec import Struct

from formulint.arrange import Demand, Plan, contradictory, demand, pairs_of, plan
from formulint.catalog import File
from formulint.document import Document
from formulint.errors import Misread
from formulint.finding import Edit, Finding, Level, Remedy
from formulint.formula import Addition, Formula
from formulint.judge import Judge
from formulint.kinds.order import Order
from formulint.order_graph import Pair, knots
from formulint.splice import moves
from formulint.subject import FormulaSubject
from formulint.trial import Trial
from formulint.vessels import Spot

PLAN_COSTS = 100  # to work out an order takes about as long as to compute a formula so often (measured)
BY_HAND = "the lines of the sheet cannot be moved for you"


class Ordered(Struct, frozen=True):
    """The demands of order on a formula, and which of them are violated as it is written."""

    demands: tuple[Demand, ...]
    violated: tuple[Demand, ...]


def ordered(judge: Judge, subject: FormulaSubject) -> Ordered:
    """All rules of order in force that have something to say about a formula, at the level the house gives them."""
    found = []
    for check in judge.catalog.rulebook.checks(subject.formula).all:
        rule = check.entry.rule
        if isinstance(rule, Order) and rule.concerns(subject.formula):
            level = judge.levels.get(check.entry.id, Level[rule.level])
            one = demand(check.entry.id, level, rule, subject)
            if any(one.ways):
                found.append(one)
    violated = tuple(one for one in found if next(one.order.check(subject), None) is not None)
    return Ordered(tuple(found), violated)


def move_remedies(trial: Trial, finding: Finding, file: File[Formula]) -> tuple[Remedy, ...]:
    """The fewest moves that mend one finding of order and break no other rule; else those that mend them all."""
    trial.spend(PLAN_COSTS)
    subject = trial.subject(file, {})
    order = ordered(trial.judge, subject)
    kept = [one for one in order.demands if one not in order.violated or one.rule == finding.rule]
    weighty = [one for one in order.demands if one.level is not Level.note or one.rule == finding.rule]
    tried = (kept, [one for one in kept if one in weighty], weighty)
    for demands in tried:
        found = plan(subject, demands)
        if found is not None and found.moves:
            remedy = remedy_of(file, subject.formula, found)
            if not remedy.edits or trial.mends(finding, file.name, remedy.edits):
                return (remedy,)
    return (Remedy("; ".join(contradictions(subject.formula, weighty)) or "no move of additions helps"),)


def said(formula: Formula, found: Plan, spot: Spot) -> str:
    """``move RM-1401 in Grind before RM-1101``."""
    stage = next(i for i, lines in enumerate(found.layout) if spot in lines)
    at = found.layout[stage].index(spot)
    here, there = formula.stage[spot[0]].name, formula.stage[stage].name
    start = f"move {named(formula, spot)} in {here}" if stage == spot[0] else f"move {named(formula, spot)} from {here} to {there},"
    lines = found.layout[stage]
    after = lines[at + 1] if at + 1 < len(lines) else None
    if after is not None and line_of(formula, after).material is not None:
        return f"{start} before {named(formula, after)}"
    return f"{start} behind {named(formula, lines[at - 1])}" if at else f"{start} to the beginning"


def named(formula: Formula, spot: Spot) -> str:
    """What a line of the sheet charges or does."""
    line = line_of(formula, spot)
    return line.material or (f"the contents of {line.stage}" if line.stage is not None else f"the step {line.step}")


def line_of(formula: Formula, spot: Spot) -> Addition:
    """The line that is written at a place."""
    return formula.stage[spot[0]].additions[spot[1]]


def reasons(formula: Formula, pairs: Iterable[Pair], rules: Mapping[Pair, Sequence[str]]) -> str:
    """A chain of demands: ``RM-1401 before RM-1101 (order/dispersant-before-pigment), RM-1101 before ...``."""
    return ", ".join(f"{named(formula, one)} before {named(formula, other)} ({' and '.join(rules[one, other][:2])})" for one, other in pairs)


def contradictions(formula: Formula, demands: Sequence[Demand]) -> tuple[str, ...]:
    """The rules that cannot all be kept by this formula: of every knot of them one shortest circle."""
    if not contradictory(demands):
        return ()
    rules = pairs_of(demands)
    return tuple(f"rules contradict each other: {reasons(formula, circle, rules)}" for circle in knots(rules))


def remedy_of(file: File[Formula], formula: Formula, found: Plan) -> Remedy:
    """Moves as words, and as edits where each line of the sheet stands on a line of its own."""
    text = ", and ".join(said(formula, found, move.spot) for move in found.moves)
    try:
        edits = edits_of(file, formula, found)
    except Misread as error:
        return Remedy(f"{text}; {BY_HAND}: {error.message}", moves=True)
    return Remedy(text, edits, moves=True)


def edits_of(file: File[Formula], formula: Formula, found: Plan) -> tuple[Edit, ...]:
    """The moves as whole text lines.

    Raises
    ------
    Misread
        Where they cannot be moved so.
    """
    document = file.document
    assert isinstance(document, Document)
    return moves(document, [len(stage.additions) for stage in formula.stage], found.moves)
