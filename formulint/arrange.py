"""The additions of a formula in an order that its rules accept: which have to move, and where each goes.

The fewest additions to move follow from the graph of demands; where each may go is tried out, with the vessels as they
are, and the rules themselves have the last word.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from itertools import islice, product

from msgspec import Struct
from msgspec.structs import replace

from formulint.finding import Level
from formulint.formula import Formula, Stage
from formulint.kinds.order import Order
from formulint.order_graph import Pair, consistent, implied, to_move
from formulint.subject import FormulaSubject
from formulint.vessels import Spot, by_code, charges, spans

MOST_WAYS = 64  # combinations of ways to keep the rules that are looked at
MOST_TRIED = 4  # of them whose moves are tried out
MOST_LINES = 120  # additions of a formula whose order is worked out

DELICATE = frozenset({"binder", "opaque-polymer", "wax"})  # must not come under the disc: see not_expressed in rules/order
POWDERS = frozenset({"white-pigment", "colored-pigment", "extender", "swelling-clay", "non-swelling-clay"})
DISPERSED = frozenset({"slurry", "pregel"})
HARSH = ("grind", "premix")

Layout = tuple[tuple[Spot, ...], ...]
"""For each stage its lines in order, each named by the place where it is written."""


class Demand(Struct, frozen=True):
    """A rule of order and what it asks of one formula; ``ways`` as ``Order.ways`` gives them.

    With ``contact`` the first of a pair must have met the second; without, they may also never meet before.
    """

    rule: str
    level: Level
    order: Order
    ways: tuple[tuple[Pair, ...], ...]

    @property
    def contact(self) -> bool:
        """True where the second of a pair may only go in where the first is."""
        return self.order.quantifier != "every"


class Move(Struct, frozen=True):
    """An addition and where it goes: into a stage, before one that is written there; None: to the end of the stage."""

    spot: Spot
    stage: int
    before: Spot | None


class Plan(Struct, frozen=True):
    """Moves after which the rules are kept, the formula as it is then, and where each of its lines was written."""

    moves: tuple[Move, ...]
    formula: Formula
    layout: Layout


class _Way(Struct, frozen=True):
    """One way to keep all demands: pairs with all that follows, those that ask for contact, and what has to move."""

    pairs: frozenset[Pair]
    contacts: frozenset[Pair]
    moved: frozenset[Spot]


def demand(rule: str, level: Level, order: Order, subject: FormulaSubject) -> Demand:
    """What a rule of order asks of a formula."""
    return Demand(rule, level, order, order.ways(subject))


def written(formula: Formula) -> Layout:
    """The lines where they are."""
    return tuple(tuple((i, j) for j in range(len(stage.additions))) for i, stage in enumerate(formula.stage))


def arranged(formula: Formula, layout: Layout) -> Formula:
    """The formula with its lines elsewhere."""
    stages = [
        replace(stage, additions=tuple(formula.stage[i].additions[j] for i, j in lines)) for stage, lines in zip(formula.stage, layout, strict=True)
    ]
    return replace(formula, stage=tuple(stages))


def moved_subject(subject: FormulaSubject, layout: Layout) -> FormulaSubject:
    """A formula with its lines elsewhere, as the rules of order see it."""
    formula = arranged(subject.formula, layout)
    new = {old: (i, j) for i, lines in enumerate(layout) for j, old in enumerate(lines)}
    resolved = subject.resolved
    lines = tuple(
        replace(line, stage=new[line.stage, line.at][0], at=new[line.stage, line.at][1]) for line in resolved.lines if (line.stage, line.at) in new
    )
    evaluation = subject.evaluation.of_lines(replace(resolved, lines=lines))
    charged = by_code(charges(formula))
    return replace(subject, formula=formula, evaluation=evaluation, charges=charged, spans=spans(charged))


def meetings(formula: Formula, layout: Layout) -> dict[Spot, frozenset[Spot]]:
    """For each addition those that are in the vessel when it goes in; all named by where they are written."""
    found = charges(arranged(formula, layout))
    return {layout[one.spot[0]][one.spot[1]]: frozenset(layout[i][j] for i, j in one.before) for one in found}


def broken(pairs: Iterable[Pair], contacts: Iterable[Pair], met: Mapping[Spot, frozenset[Spot]]) -> frozenset[Pair]:
    """The demands that are violated, among additions that are there."""
    wrong = {(one, other) for one, other in pairs if other in met.get(one, ())}
    wrong.update((one, other) for one, other in contacts if one in met and other in met and one not in met[other])
    return frozenset(wrong)


def pairs_of(demands: Sequence[Demand], chosen: Sequence[int] = ()) -> dict[Pair, list[str]]:
    """Every pair that the demands ask for, with the rules that ask for it; of several ways the chosen one, or the first."""
    found: dict[Pair, list[str]] = {}
    for at, one in enumerate(demands):
        if one.ways:
            for pair in one.ways[chosen[at] if chosen else 0]:
                found.setdefault(pair, []).append(one.rule)
    return found


def nearest(demands: Sequence[Demand], met: Mapping[Spot, frozenset[Spot]]) -> list[Demand]:
    """The demands, of each the way first that is least violated as things are."""
    return [
        replace(one, ways=tuple(sorted(one.ways, key=lambda way: len(broken(way, way if one.contact else (), met)))))
        for one in demands
    ]


def contradictory(demands: Sequence[Demand]) -> bool:
    """True where no way is left to meet all demands together."""
    choices = islice(product(*(one.ways for one in demands if one.ways)), MOST_WAYS)
    return not any(consistent(pair for way in choice for pair in way) for choice in choices)


def plan(subject: FormulaSubject, demands: Sequence[Demand]) -> Plan | None:
    """The fewest moves after which all these demands are met; None where they contradict each other, or none was found."""
    formula = subject.formula
    if sum(len(stage.additions) for stage in formula.stage) > MOST_LINES:
        return None
    met = meetings(formula, written(formula))
    weight = {(line.stage, line.at): line.kg for line in subject.resolved.lines if isinstance(line.kg, float)}
    ways = _ways([one for one in nearest(demands, met) if one.ways], met, weight)
    ways.sort(key=lambda way: (len(way.moved), sum(weight.get(spot, 0.0) for spot in way.moved), sorted(way.moved)))
    for way in ways[:MOST_TRIED]:
        layout = _placed(subject, demands, way)
        if layout is not None and not any(violations(moved_subject(subject, layout), demands)):
            return Plan(_moves(layout, way.moved), arranged(formula, layout), layout)
    return None


def _ways(demands: Sequence[Demand], met: Mapping[Spot, frozenset[Spot]], weight: Mapping[Spot, float]) -> list[_Way]:
    """Ways to keep all demands, each with the fewest additions that have to move."""
    found: dict[tuple[frozenset[Pair], frozenset[Pair]], _Way] = {}
    for choice in islice(product(*(one.ways for one in demands)), MOST_WAYS):
        direct = frozenset(pair for way in choice for pair in way)
        if not consistent(direct):
            continue
        contacts = frozenset(pair for one, way in zip(demands, choice, strict=True) if one.contact for pair in way)
        pairs = implied(direct)
        if (pairs, contacts) not in found:
            wrong = broken(pairs, contacts, met)
            found[pairs, contacts] = _Way(pairs, contacts, to_move(wrong, weight) if wrong else frozenset())
    return list(found.values())


def _placed(subject: FormulaSubject, demands: Sequence[Demand], way: _Way) -> Layout | None:
    """The lines with the moved ones put where they may go, each as near to where it was as the rules allow."""
    layout: Layout = tuple(tuple(spot for spot in lines if spot not in way.moved) for lines in written(subject.formula))
    for spot in _in_order(way):
        tried = (
            (_rank(subject, demands, spot, option), option)
            for option in _options(subject, layout, spot)
            if not _touching(way, spot, meetings(subject.formula, option))
        )
        best = min(tried, key=lambda one: one[0], default=None)
        if best is None:
            return None
        layout = best[1]
    return layout


def _in_order(way: _Way) -> list[Spot]:
    """The additions to move, each after those that must go in before it."""
    return sorted(way.moved, key=lambda spot: (sum(1 for one, other in way.pairs if other == spot), spot))


def _touching(way: _Way, spot: Spot, met: Mapping[Spot, frozenset[Spot]]) -> frozenset[Pair]:
    return frozenset(pair for pair in broken(way.pairs, way.contacts, met) if spot in pair)


def _options(subject: FormulaSubject, layout: Layout, spot: Spot) -> list[Layout]:
    """Every place where an addition may stand, for the work that is done on it there."""
    found = []
    for i, lines in enumerate(layout):
        for at in range(len(lines) + 1):
            if _bears(subject, subject.formula.stage[i], lines[at:], spot):
                changed = (*lines[:at], spot, *lines[at:])
                found.append((*layout[:i], changed, *layout[i + 1 :]))
    return found


def _bears(subject: FormulaSubject, stage: Stage, after: Sequence[Spot], spot: Spot) -> bool:
    """True where a stage suits an addition: nothing delicate under the disc, no dry powder where no disc follows."""
    formula = subject.formula
    line = formula.stage[spot[0]].additions[spot[1]]
    stocks = [subject.stocks[code] for code in subject.leaves_of(line.material or "") if code in subject.stocks]
    functions = {word for stock in stocks for word in stock.material.functions}
    dispersed = any(formula.stage[i].additions[j].step == "disperse" for i, j in after)
    dispersed = dispersed or (stage.process is not None and stage.process.step == "disperse")
    if functions & DELICATE:
        return not dispersed and (stage.kind not in HARSH or all(one.kind in HARSH for one in formula.stage))
    if functions & POWDERS and line.material in subject.stocks and not any(stock.material.form in DISPERSED for stock in stocks):
        return dispersed or not _disperses(formula)
    return True


def _disperses(formula: Formula) -> bool:
    """True where any stage comes under the disc."""
    return any(
        line.step == "disperse" for stage in formula.stage for line in stage.additions
    ) or any(stage.process is not None and stage.process.step == "disperse" for stage in formula.stage)  # fmt: skip


def _rank(subject: FormulaSubject, demands: Sequence[Demand], spot: Spot, layout: Layout) -> tuple[tuple[int, ...], bool, int, int]:
    """How good a place is: what is violated, whether the stage stays the same, how far it is."""
    order = [one for lines in layout for one in lines]
    at = order.index(spot)
    stage = next(i for i, lines in enumerate(layout) if spot in lines)
    passed = sum(1 for k, one in enumerate(order) if (k < at) != (one < spot) and one != spot)
    return violations(moved_subject(subject, layout), demands), stage != spot[0], passed, at


def violations(subject: FormulaSubject, demands: Iterable[Demand]) -> tuple[int, int, int]:
    """How many demands are violated, by level: errors, warnings, notes."""
    found = [one.level for one in demands if next(one.order.check(subject), None) is not None]
    return found.count(Level.error), found.count(Level.warning), found.count(Level.note)


def _moves(layout: Layout, moved: frozenset[Spot]) -> tuple[Move, ...]:
    """Each moved addition with the next one that stays where it is."""
    found = []
    for i, lines in enumerate(layout):
        for at, spot in enumerate(lines):
            if spot in moved:
                anchor = next((one for one in lines[at + 1 :] if one not in moved), None)
                found.append(Move(spot, i, anchor))
    return tuple(found)
