"""Where a paint holds one thing, it must hold some of another: what is absent is otherwise silent."""

from collections.abc import Iterator
from typing import NamedTuple

from formulint.errors import Misread
from formulint.figure import Figure
from formulint.finding import Fault, Place
from formulint.kinds.compatibility import Side, Word, selects_everything, side_words
from formulint.kinds.plausibility import DIMENSIONS
from formulint.quantity import show
from formulint.rule import Pick, Rule
from formulint.subject import FormulaSubject
from formulint.verdict import CLOSE, read_bound
from formulint.wording import field_words

FIGURES = {**DIMENSIONS, "minimum_film_temperature": "temperature"}
"""Figures of a material that may decide whether it needs something, with what they measure."""


class Asking(NamedTuple):
    """A material that asks for something: in words why, or not known for want of its figure."""

    code: str
    why: str
    known: bool


class Presence(Rule, frozen=True, kw_only=True, tag="presence", tag_field="kind", rename={"but": "except"}):
    """Where a formula holds an ``of``, it must hold some ``needs``, through intermediates too; ``except`` is as good. With
    ``figure``, only an ``of`` whose figure lies ``above`` or ``below`` asks for it; where that is not known, the rule is open.
    """

    of: Side
    needs: Side
    needs_is: Word
    but: Side | None = None
    figure: str = ""
    above: str | None = None
    below: str | None = None

    @property
    def about(self) -> tuple[Pick, ...]:
        """What asks; a formula without it has no need."""
        return (self.of,)

    @property
    def asks(self) -> tuple[Pick, ...]:
        """What asks, what is asked for, and what is as good."""
        return (self.of, self.needs) if self.but is None else (self.of, self.needs, self.but)

    def check(self, subject: FormulaSubject) -> Iterator[Fault]:
        """The fault of a formula that lacks what one of its materials asks for."""
        picked = subject.picked
        if picked[self.needs] or (self.but is not None and picked[self.but]):
            return
        asking = [one for code in picked[self.of] for one in self._asking(subject, code)]
        surely = [one for one in asking if one.known]
        if surely:
            yield self._lacking(subject, surely)
        elif asking:
            yield self._unknown(subject, asking)

    def _asking(self, subject: FormulaSubject, code: str) -> Iterator[Asking]:
        """A raw material that asks or may ask; an intermediate is asked through what is in it."""
        stock = subject.stocks.get(code)
        if stock is None or code not in subject.resolved.leaves:
            return
        if not self.figure:
            yield Asking(code, "", True)
            return
        figure = getattr(stock.material, self.figure)
        words = self.figure.replace("_", " ")
        if not isinstance(figure, Figure) or getattr(figure, "derived", False):
            yield Asking(code, f"{code} has no {words}", False)
            return
        side, bound = ("above", self.above) if self.above is not None else ("below", self.below)
        dimension = FIGURES[self.figure]
        edge = read_bound(bound or "", dimension)
        near = abs(edge.base) * CLOSE
        low, high = figure.lo.base - edge.base, figure.hi.base - edge.base
        unit = figure.lo.unit.symbol
        told = show(edge.base, unit, max(0, figure.lo.decimals), dimension)
        if (low > near) if side == "above" else (high < -near):
            yield Asking(code, f"{words} {figure.text}, {side} {told}", True)
        elif (high > near) if side == "above" else (low < -near):
            yield Asking(code, f"{words} of {code} is {figure.text}, and {side} {told} it would", False)

    def _lacking(self, subject: FormulaSubject, asking: list[Asking]) -> Fault:
        first, *others = asking
        why = f"; {first.why}" if first.why else ""
        more = f", and so {'is' if len(others) == 1 else 'are'} {' and '.join(one.code for one in others[:2])}" if others else ""
        more += f" and {len(others) - 2} more" if len(others) > 2 else ""
        name = subject.stocks[first.code].material.name
        words = f"{name} ({first.code}{why}) is in the paint without {self.needs_is}{more}"
        return Fault(_place(subject, first.code), words, related=tuple(_place(subject, one.code) for one in others[:2]))

    def _unknown(self, subject: FormulaSubject, asking: list[Asking]) -> Fault:
        words = f"whether the paint needs {self.needs_is} cannot be said: {'; '.join(one.why for one in asking[:3])}"
        cause = "; ".join(one.why for one in asking)
        missing = tuple(Place(subject.stocks[one.code].path, (self.figure,)) for one in asking)
        remedy = f"add {self.figure} from the supplier's sheet"
        return Fault(_place(subject, asking[0].code), words, remedy, "open", missing=missing, cause=cause)

    def says(self) -> tuple[str, ...]:
        """What asks for what, and what is as good."""
        bound = f" whose {field_words(self.figure)} is {'above' if self.above else 'below'} {self.above or self.below}" if self.figure else ""
        asked = f"A paint that holds {side_words(self.of)}{bound} also holds {self.needs_is} ({side_words(self.needs)})."
        return (asked, *([f"As good is {side_words(self.but)}."] if self.but is not None else []))

    def faults_of_reading(self) -> Iterator[Misread]:
        """What is wrong with the rule itself: a selector of everything, a figure without a bound, a bound that is none."""
        for key, side in (("of", self.of), ("needs", self.needs), ("except", self.but)):
            if side is not None and selects_everything(side):
                yield Misread("this selects every material", "name functions, tags, cas, codes or any", (key,))
            if side is not None and side.staged:
                yield Misread("the whole paint is looked at: the stage of a charge does not count", "leave out stages", (key,))
        given = [key for key in ("above", "below") if getattr(self, key) is not None]
        if len(given) != (1 if self.figure else 0):
            yield Misread("a figure needs one bound, above or below, and a bound a figure", at=("figure",))
        elif self.figure and self.figure not in FIGURES:
            yield Misread(f'there is no figure "{self.figure}" that can be asked', "one of " + ", ".join(FIGURES), ("figure",))
        elif self.figure:
            try:
                read_bound(getattr(self, given[0]), FIGURES[self.figure])
            except Misread as error:
                yield Misread(error.message, error.remedy, (given[0],))


def _place(subject: FormulaSubject, code: str) -> Place:
    """The first line that brings the material, by itself or in an intermediate."""
    line = next(line for line in subject.resolved.lines if code in subject.leaves_of(line.code))
    return Place(subject.path, (*line.keys, "material"))
