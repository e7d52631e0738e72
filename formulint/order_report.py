"""The order that the rules ask of a formula's additions: what goes in after what, what is violated, what would mend it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from msgspec import Struct

from formulint.arrange import Demand, broken, contradictory, meetings, nearest, pairs_of, plan, written
from formulint.catalog import Catalog, File
from formulint.clean import mermaid
from formulint.finding import Level, Remedy
from formulint.formula import Formula
from formulint.judge import Judge
from formulint.moves import contradictions, named, ordered, reasons, remedy_of
from formulint.order_graph import Pair, chain, implied, needed
from formulint.picture import Arrow, Arrows, Numbers
from formulint.report import CAUTION, Cell, Report, Section, Table, counted, heading, title_line
from formulint.subject import FormulaSubject
from formulint.vessels import Spot

MOST_DRAWN = 80  # arrows of one drawing


class Ordering(Struct, frozen=True):
    """What the rules ask of the order of one formula.

    ``rules`` are the pairs that go in one before the other, with the rules that ask for it; ``shown`` those of them that
    do not follow from others; ``wrong`` those that are violated, and ``chains`` what is violated as a consequence.
    """

    file: File[Formula]
    subject: FormulaSubject
    rules: Mapping[Pair, tuple[str, ...]]
    shown: tuple[Pair, ...]
    wrong: frozenset[Pair]
    chains: tuple[tuple[Pair, ...], ...]
    violated: tuple[Demand, ...]
    knots: tuple[str, ...]
    remedy: Remedy | None
    looked: bool

    def called(self, spot: Spot) -> str:
        """What a line of the sheet charges."""
        return named(self.subject.formula, spot)

    def stage(self, spot: Spot) -> str:
        """The name of the stage in which a line is written."""
        return self.subject.formula.stage[spot[0]].name


def ordering(judge: Judge, file: File[Formula], notes: bool) -> Ordering:
    """Work out the order of a readable formula; rules that are only notes count where they are asked for."""
    subject = judge.catalog.subject(file)
    order = ordered(judge, subject)
    formula = subject.formula
    demands = [one for one in order.demands if notes or one.level is not Level.note]
    violated = tuple(one for one in order.violated if one in demands)
    met = meetings(formula, written(formula))
    best = nearest(demands, met)
    rules = {pair: tuple(names) for pair, names in pairs_of(best).items()}
    contacts = {pair for one in best if one.contact and one.ways for pair in one.ways[0]}
    wrong = broken(rules, contacts, met)
    if contradictory(demands):
        return Ordering(file, subject, rules, tuple(sorted(rules)), wrong, (), violated, contradictions(formula, demands), None, False)
    shown = tuple(sorted(needed(rules) | wrong)) if rules else ()
    later = sorted(broken(implied(rules), (), met) - set(rules)) if wrong else []
    chains = tuple(chain(rules, *pair) for pair in later)
    found = plan(subject, demands) if violated else None
    remedy = remedy_of(file, formula, found) if found is not None else None
    return Ordering(file, subject, rules, shown, wrong, chains, violated, (), remedy, bool(violated))


def report(catalog: Catalog, found: Sequence[Ordering]) -> Report:
    """The order of formulas as a report, with a drawing for where one is drawn."""
    stops = sum(1 for one in found for demand in one.violated if demand.level is Level.error)
    closing = (f"{counted(len(found), 'formula')} looked at; {counted(stops, 'rule')} that must be kept {'is' if stops == 1 else 'are'} not", CAUTION)
    return Report(title_line(catalog), (), tuple(_section(catalog, one) for one in found), closing)


def _section(catalog: Catalog, found: Ordering) -> Section:
    rows = _rows(found)
    tables = (Table(("order", "is", "rule"), rows),) if rows else ()
    return Section(heading(catalog, found.subject.formula.code), (), tables, tuple(_remarks(found)), tuple(drawing(found)), pictures=_picture(found))


def _rows(found: Ordering) -> tuple[tuple[Cell, ...], ...]:
    """One row for additions that have to be in before the same others by one rule; what is violated first."""
    must = {one.rule for one in found.violated if one.level is Level.error}
    thens: dict[tuple[bool, str, Spot], list[Spot]] = {}
    for pair in found.shown:
        for name in found.rules.get(pair, ()):
            thens.setdefault((pair not in found.wrong, name, pair[0]), []).append(pair[1])
    firsts: dict[tuple[bool, str, tuple[Spot, ...]], list[Spot]] = {}
    for (kept, name, first), others in thens.items():
        firsts.setdefault((kept, name, tuple(others)), []).append(first)
    rows = []
    for (kept, name, after), group in sorted(firsts.items(), key=lambda one: (one[0][0], one[1], one[0])):
        said = Cell("kept") if kept else Cell("violated", "bad" if name in must else "warn")
        rows.append((Cell(f"{_where(found, group)} before {_where(found, after)}"), said, Cell(name)))
    return tuple(rows)


def _where(found: Ordering, spots: Sequence[Spot]) -> str:
    """Additions with their stages: ``RM-1101, RM-1203 in Grind``."""
    stages: dict[str, list[str]] = {}
    for spot in spots:
        stages.setdefault(found.stage(spot), []).append(found.called(spot))
    return "; ".join(f"{', '.join(codes)} in {stage}" for stage, codes in stages.items())


def _remarks(found: Ordering) -> Iterable[str]:
    formula = found.subject.formula
    if not found.rules:
        yield "no rule asks for an order here"
        return
    for way in found.chains:
        yield f"and so {named(formula, way[0][0])} before {named(formula, way[-1][1])}: {reasons(formula, way, found.rules)}"
    yield from found.knots
    if found.remedy is not None:
        yield f"do: {found.remedy.text}"
    elif found.looked:
        yield "no move of additions was found that helps"
    elif not found.violated and not found.knots:
        yield "every rule is kept: nothing has to move"


def _picture(found: Ordering) -> tuple[Arrows, ...]:
    """The demands as arrows between the additions, in the order of the sheet."""
    spots = sorted({spot for pair in found.shown for spot in pair})
    if not spots:
        return ()
    pairs = sorted(found.shown, key=lambda pair: (pair not in found.wrong, pair))
    arrows = tuple(Arrow(spots.index(first), spots.index(then), (first, then) in found.wrong) for first, then in pairs[:MOST_DRAWN])
    rows = tuple(
        (_where(found, [first]), _where(found, [then]), "violated" if (first, then) in found.wrong else "kept", ", ".join(found.rules.get((first, then), ())))
        for first, then in pairs
    )
    wrong = sum(1 for pair in pairs if pair in found.wrong)
    said = f"{counted(len(spots), 'addition')} in the order of the sheet, {counted(len(pairs), 'demand')} between them, {wrong} of them violated"
    title = f"What must be in before what: {wrong} violated" if wrong else "What must be in before what"
    numbers = Numbers(("first", "then", "is", "rule"), rows)
    return (Arrows(title, said, numbers, tuple(_told(found, spot) for spot in spots), arrows, len(pairs) - len(arrows)),)


def _told(found: Ordering, spot: Spot) -> str:
    """An addition with its stage and the name of what is charged."""
    code = found.called(spot)
    stock = found.subject.stocks.get(code)
    return f"{found.stage(spot)}: {code} {'' if stock is None else stock.material.name}".rstrip()


def drawing(found: Ordering) -> list[str]:
    """The demands as a Mermaid diagram: thick arrows are violated ones."""
    pairs = sorted(found.shown, key=lambda pair: (pair not in found.wrong, pair))[:MOST_DRAWN]
    if not pairs:
        return []
    lines = ["flowchart LR"]
    lines += [f"  a{i}_{j}[{mermaid(_where(found, [(i, j)]))}]" for i, j in sorted({spot for pair in pairs for spot in pair})]
    for (i, j), (k, m) in pairs:
        arrow = "==>" if ((i, j), (k, m)) in found.wrong else "-->"
        label = mermaid(" and ".join(found.rules.get(((i, j), (k, m)), ())[:2]))
        lines.append(f"  a{i}_{j} {arrow}|{label}| a{k}_{m}")
    return lines
