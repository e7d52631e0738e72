"""A formula written otherwise, on trial: what it would measure, and whether every formula it touches would pass."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence

from msgspec.structs import replace

from formulint.catalog import Catalog, File, stem
from formulint.content import Gap
from formulint.errors import Misread
from formulint.figure import Amount
from formulint.finding import Edit, Finding
from formulint.formula import Formula, codes_in
from formulint.interval import ends
from formulint.judge import Judge
from formulint.quantity import Quantity
from formulint.rule import Goal
from formulint.splice import spliced
from formulint.subject import FormulaSubject
from formulint.verdict import CLOSE
from formulint.vessels import Spot

Told = Counter[tuple[str, str, str, str]]
"""How often each rule speaks: by formula, rule, kind of finding (or that it may stand) and property."""

USUAL = 20  # lines of a sheet
FORMULA_COSTS = 15  # to judge a formula written otherwise takes as long as to compute it so often (measured)


class Spent(Exception):
    """More work than was allowed."""


class Trial:
    """Trials in one state of a repository, with a bound on their work, counted in formulas computed."""

    def __init__(self, judge: Judge, allowed: int) -> None:
        self.judge = judge
        self.catalog = judge.catalog
        self.left = allowed
        self._told: dict[str, Told] = {}

    def spend(self, units: int = 1) -> None:
        """Count work.

        Raises
        ------
        Spent
            Where no more is allowed.
        """
        self.left -= units
        if self.left < 0:
            raise Spent

    def subject(self, file: File[Formula], lines: Mapping[Spot, Quantity], swap: Mapping[Spot, str] | None = None) -> FormulaSubject:
        """The values of a formula with other amounts on some lines, or with other materials."""
        self.spend()
        formula = file.record
        assert formula is not None
        stages = list(formula.stage)
        for (i, j), amount in lines.items():
            additions = list(stages[i].additions)
            additions[j] = replace(additions[j], amount=Amount(amount, amount))
            stages[i] = replace(stages[i], additions=tuple(additions))
        changed = replace(formula, stage=tuple(stages))
        return self.catalog.subject(File(file.name, None, changed, ()), swap)

    def touched(self, name: str) -> tuple[str, ...]:
        """Names of the formulas that a change of one touches: itself, and those that use it to any depth."""
        found, waiting = [name], [name]
        while waiting:
            code = stem(waiting.pop())
            record = self.catalog.find_formula(code)
            if record is None or record.record is None or record.record.class_ != "intermediate":
                continue
            for other in self.catalog.formulas_with(code):
                user = self.catalog.formula(other).record
                if other not in found and user is not None and code in codes_in(user):
                    found.append(other)
                    waiting.append(other)
        return tuple(found)

    def mends(self, finding: Finding, name: str, edits: Sequence[Edit]) -> bool:
        """True where the edits take a finding away, and bring none, in all formulas that they touch."""
        return self.against(finding, name, edits) == ()

    def against(self, finding: Finding, name: str, edits: Sequence[Edit]) -> tuple[str, ...]:
        """What speaks against edits that are to take a finding away: its own rule where it stays, rules that would speak anew."""
        file = self.catalog.formula(name)
        if file.document is None:
            return (finding.rule,)
        try:
            after = self.catalog.rewritten(name, spliced(file.document, edits))
        except Misread:
            return (finding.rule,)
        again = Judge(after, self.judge.strict)
        again.explains = 0
        for one in self.touched(name):
            self.spend(self._judging(one))
            now, before = told(again, one), self.before(one)
            asked = _key(finding)
            if one == name and now[asked] >= before[asked]:
                return (finding.rule,)
            worse = tuple(key[1] for key, number in now.items() if number > before[key])
            if worse:
                return worse
        return ()

    def _judging(self, name: str) -> int:
        """What it costs to judge a formula: each alternate is judged as a sheet of its own, and long sheets cost by their lines."""
        record = self.catalog.formula(name).record
        lines = [] if record is None else [line for stage in record.stage for line in stage.additions]
        sheets = 1 + sum(len(line.alternates) for line in lines)
        return FORMULA_COSTS * sheets * max(1, len(lines) // USUAL)

    def before(self, name: str) -> Told:
        """What is found in a formula as it is written."""
        if name not in self._told:
            self.spend(self._judging(name))
            self._told[name] = told(self.judge, name)
        return self._told[name]


def told(judge: Judge, name: str) -> Told:
    """What is found in a formula."""
    return Counter(_key(finding) for finding in judge.formula(judge.catalog.formula(name)))


def _key(finding: Finding) -> tuple[str, str, str, str]:
    kind = finding.fault.kind if finding.granted is None else "granted"  # leave that is lost makes it count
    return finding.formula, finding.rule, kind, finding.fault.property


def distance(goal: Goal, subject: FormulaSubject) -> float | None:
    """How far the worse end of a value is outside its bounds: 0 inside, below 0 on the low side; None where it is not known."""
    value = goal.measure(subject)
    if isinstance(value, Gap):
        return None
    low, high = ends(value)
    if goal.most is not None and high > goal.most + CLOSE * abs(goal.most):
        return high - goal.most
    if goal.least is not None and low < goal.least - CLOSE * abs(goal.least):
        return low - goal.least
    return 0.0


def lacking(goal: Goal, subject: FormulaSubject, above: bool) -> float | None:
    """What a value lacks to be where it should, coming from above or from below; 0 or less where it is there."""
    value = goal.measure(subject)
    if isinstance(value, Gap):
        return None
    low, high = ends(value)
    aim = goal.aim if goal.aim is not None else goal.most if above else goal.least
    if aim is None:
        return None
    return high - aim if above else aim - low


def opened(catalog: Catalog, allowed: int, strict: frozenset[str] = frozenset()) -> Trial:
    """Trials in the state of a catalog."""
    judge = Judge(catalog, strict)
    judge.explains = 0
    return Trial(judge, allowed)
