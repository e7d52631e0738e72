"""Which line of a sheet that does not add up is the slip, or which density of a material: the line that, read otherwise, leaves nothing else to say.

A sheet of twenty lines can be read otherwise in a hundred ways, and by chance some of them close it. So each is tried:
what it would bring must be nothing new, and something must speak for it beside the sum.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Sequence
from datetime import date
from math import fsum

from msgspec import Struct
from msgspec.structs import replace

from formulint.finding import Fault, Finding, Place
from formulint.formula import Bounds, Formula
from formulint.kinds.closure import BATCH
from formulint.kinds.plausibility import Plausibility
from formulint.quantity import read
from formulint.rule import Rule
from formulint.slip import Slip, closing, stands_out
from formulint.subject import FormulaSubject, MaterialSubject
from formulint.verdict import shown

MOST_TRIED = 24  # readings of one sheet that are judged, the nearest to closing first
MOST_TOLD = 3  # rules that are named as holding then
SHEET = "slips/"  # rules that say once more what the slip is
FINEST = 2e-4  # relative: sheets of whole ounces close so well; one other reading in twenty-five does by chance
FAR = 0.1  # relative: a sheet so far off is closed by few readings, and hardly one by chance (by trial on the example)

Judged = Callable[[Formula], Iterable[Finding]]
"""What would be found in a formula written otherwise."""


class Explained(Struct, frozen=True):
    """A reading with what becomes of the findings: how far off the sheet is then [1], rules kept again, of these those about the line, and rules that speak anew."""

    slip: Slip
    off: float
    kept: tuple[str, ...]
    own: tuple[str, ...]
    new: tuple[str, ...]

    @property
    def fine(self) -> bool:
        """True where the sheet closes as well as sheets do that nobody slipped in."""
        return self.off <= FINEST

    def speaks(self, apart: bool) -> bool:
        """True where something speaks for it beside the sum, and more than against it; ``apart`` where its unit does."""
        if self.new:  # as with a sheet that was not in order before
            return self.fine and (apart or len(self.kept) > len(self.new))
        return self.fine or apart or bool(self.own)


def explained(findings: Iterable[Finding], subject: FormulaSubject, judged: Judged, rules: Sequence[Rule], today: date) -> Iterator[Finding]:
    """The findings of a sheet; that it does not add up with the one line that explains it, or with the word that several could.

    Before all lines comes the material of which a density that is usual, by ``rules``, would close the sheet.
    """
    found = tuple(findings)
    for one in found:
        if one.rule != BATCH or one.fault.kind != "fail":
            yield one
            continue
        figure = next(_unusual(subject, rules, today), None)
        yield _with_slip(one, subject, found, judged) if figure is None else replace(one, fault=_laid_to(one.fault, figure))


def _unusual(subject: FormulaSubject, rules: Sequence[Rule], today: date) -> Iterator[Fault]:
    """Densities of materials outside the window of their class, where one inside it would close the sheet by volume."""
    if subject.formula.batch.dimension != "volume" or subject.resolved.shares_total is not None:
        return
    for rule in rules:
        if isinstance(rule, Plausibility) and "density" in rule.window:
            bounds = rule.window["density"]
            for stock in subject.stocks.values():
                faults = [one for one in rule.check_material(MaterialSubject(stock, today, subject.units)) if one.place.keys == ("density",)]
                if faults and _would_close(subject, stock.material.code, bounds):
                    yield faults[0]


def _would_close(subject: FormulaSubject, code: str, usual: Bounds) -> bool:
    """True where the sheet closes with some density of the window in place of the one that is written."""
    total, whole, within = subject.resolved.totals.get("total_volume"), subject.formula.batch.base, subject.closure
    if not isinstance(total, float) or usual.min is None or usual.max is None:
        return False
    lines = [(one.kg, one.litres) for one in subject.resolved.lines if one.code == code]
    known = [(kg, litres) for kg, litres in lines if isinstance(kg, float) and isinstance(litres, float)]
    weight, rest = fsum(kg for kg, _ in known), total - fsum(litres for _, litres in known)
    most, least = (rest + weight / read(end, ("density",)).base for end in (usual.min, usual.max))
    return len(known) == len(lines) > 0 and least <= whole * (1 + within) and most >= whole * (1 - within)


def _laid_to(fault: Fault, figure: Fault) -> Fault:
    words = f"look at {figure.place.path} before the lines: {figure.message}; with such a density the batch closes"
    return replace(fault, remedy=words, related=(figure.place, *fault.related))


def _with_slip(finding: Finding, subject: FormulaSubject, findings: Sequence[Finding], judged: Judged) -> Finding:
    shares = subject.resolved.shares_total is not None
    whole = 1.0 if shares else subject.formula.batch.base
    materials = {code: stock.material for code, stock in subject.stocks.items()}
    ways = closing(subject.formula, subject.resolved, materials, whole, subject.closure)
    odd = stands_out(subject.formula)
    apart = tuple(one for one in ways if odd is not None and one.keys == odd.keys and one.meant.unit.symbol == odd.unit)
    nearest = sorted(apart or ways, key=lambda one: abs(one.total - whole))[:MOST_TRIED]
    tried = [one for way in nearest if (one := _tried(way, whole, subject.formula, findings, judged)) is not None]
    alone = bool(apart) or (len(ways) == 1 and _off(subject, whole) > FAR)
    best = _best([one for one in tried if one.speaks(alone)])
    if not best:
        return finding
    return replace(finding, fault=_told(finding.fault, subject, best, "%" if shares else subject.formula.batch.lo.unit.symbol))


def _tried(slip: Slip, whole: float, formula: Formula, findings: Sequence[Finding], judged: Judged) -> Explained | None:
    """What becomes of the findings when a line is read otherwise; None where it does not close."""
    weightiest = sorted(findings, key=lambda one: -one.level)  # what is told of them begins with what stops
    before, after = Counter(map(_key, weightiest)), Counter(map(_key, judged(slip.undone(formula))))
    if any(rule == BATCH for rule, *_ in after):
        return None
    kept = before - after
    own = {_key(one) for one in findings if any(place.keys[:4] == slip.keys for place in (one.fault.place, *one.fault.related))}
    said = [tuple(dict.fromkeys(rule for rule, *_ in keys if rule != BATCH)) for keys in (kept, kept.keys() & own, after - before)]
    return Explained(slip, abs(slip.total / whole - 1), *said)


def _key(finding: Finding) -> tuple[str, str, str]:
    return finding.rule, finding.fault.kind, finding.fault.property


def _best(tried: list[Explained]) -> list[Explained]:
    """Those that say most of the line and mend most, and of these those that close the sheet finely, if any does."""
    ranked = sorted(tried, key=_weight)
    best = [one for one in ranked if _weight(one) == _weight(ranked[-1])]
    return [one for one in best if one.fine] or best


def _weight(one: Explained) -> tuple[int, int]:
    return len(one.own), len(one.kept) - len(one.new)


def _off(subject: FormulaSubject, whole: float) -> float:
    """How far a sheet is off as it is written [1]."""
    formula, resolved = subject.formula, subject.resolved
    total = resolved.shares_total if resolved.shares_total is not None else resolved.totals.get(f"total_{formula.batch.dimension}")
    return abs(total / whole - 1) if isinstance(total, float) else 0.0


def _told(fault: Fault, subject: FormulaSubject, best: list[Explained], unit: str) -> Fault:
    lines = dict.fromkeys(one.slip.keys for one in best)
    if len(lines) > 1:
        words = f"{len(lines)} lines could each be the slip of unit or digit, and nothing tells which: check the sheet against the notebook"
        return replace(fault, remedy=f"{words}. {fault.remedy[:1].upper()}{fault.remedy[1:]}")
    alike = {str(one.slip.meant): one.slip for one in reversed(best)}  # what is dry and what is active may be the same share
    words = f"{', or '.join(one.words for one in reversed(alike.values()))} would close it ({shown(best[0].slip.total, unit, 2)})"
    held = [rule for rule in best[0].kept if not rule.startswith(SHEET)]
    if held:
        more = f" and {len(held) - MOST_TOLD} more" if len(held) > MOST_TOLD else ""
        words += f", and {', '.join(held[:MOST_TOLD])}{more} would hold"
    places = (Place(subject.path, (*keys, "amount")) for keys in lines)
    related = (*fault.related, *(place for place in places if place not in fault.related))
    return replace(fault, remedy=f"{words}: check that line against the notebook first", related=related)
