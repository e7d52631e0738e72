"""What looks like a slip of the hand on a sheet that adds up all the same."""

import re
from collections.abc import Iterator
from itertools import pairwise
from operator import eq
from typing import Literal

from formulint.errors import Misread
from formulint.figure import Amount
from formulint.finding import Fault, KeyPath, Place
from formulint.formula import Addition
from formulint.quantity import read, show
from formulint.rule import Rule
from formulint.subject import FormulaSubject
from formulint.verdict import CLOSE, read_bound

FIGURE_IN_NOTE = r"(?<![0-9.,/])([0-9]+(?:\.[0-9]+)?) ?(lb|kg|gal|g|L)\b(?![/ ]?(?:per|gal|lb|L|h|min))"
"""An amount in a note; compiled where a line has one."""
STARTS = tuple(before + unit for before in " 0123456789" for unit in ("lb", "kg", "gal", "g", "L"))  # any such figure holds one of these

SAYS = {
    "weighable": "No line weighs less than {least} in the batch.",
    "twice": "No line stands twice, one after the other, with the same amount.",
    "unit-apart": "No line is given in another unit than all others.",
    "note": "An amount in the note of a line is the amount of the line.",
}
"""What each check asks."""


class Sheet(Rule, frozen=True, kw_only=True, tag="sheet", tag_field="kind", rename={"check_for": "check"}):
    """``weighable``: no line weighs less than ``least``. ``twice``: no line is followed by its like.
    ``unit-apart``: no line is in another unit than all others. ``note``: an amount in a line's note is that of the line.
    """

    check_for: Literal["weighable", "twice", "unit-apart", "note"]
    least: str | None = None

    def check(self, subject: FormulaSubject) -> Iterator[Fault]:
        """The faults of one sheet."""
        if self.check_for == "weighable":
            yield from self._weighable(subject)
        elif self.check_for == "twice":
            yield from self._twice(subject)
        elif self.check_for == "note":
            yield from self._notes(subject)
        else:
            yield from self._apart(subject)

    def _weighable(self, subject: FormulaSubject) -> Iterator[Fault]:
        least = read_bound(self.least or "0 g", "mass")
        edge = least.base * (1 - CLOSE)
        for line in subject.resolved.lines:
            if isinstance(line.kg, float) and 0.0 < line.kg < edge:
                unit = least.unit.symbol
                words = f"{line.code} weighs {show(line.kg, unit, max(3, least.decimals))} in the batch, less than {least}"
                yield Fault(Place(subject.path, (*line.keys, "amount")), words, limit=str(least), unit=unit)

    def _twice(self, subject: FormulaSubject) -> Iterator[Fault]:
        for i, stage in enumerate(subject.formula.stage):
            codes = [line.material for line in stage.additions]
            if True not in map(eq, codes, codes[1:]):
                continue
            for j, (before, line) in enumerate(pairwise(stage.additions)):
                if line.material is not None and line.material == before.material and line.amount == before.amount and _figure(line):
                    words = f"{line.material} stands twice in {stage.name}, one line after the other, with {line.amount.text if line.amount else ''}"
                    yield Fault(_place(subject, i, j + 1, "material"), words, related=(_place(subject, i, j, "material"),))

    def _apart(self, subject: FormulaSubject) -> Iterator[Fault]:
        units = [line.amount.lo.unit for stage in subject.formula.stage for line in stage.additions if line.amount is not None]
        if not [one for one in units if one is not units[0] and one.symbol != units[0].symbol]:
            return
        from formulint.slip import stands_out

        odd = stands_out(subject.formula)
        if odd is not None:
            yield Fault(Place(subject.path, (*odd.keys, "amount")), odd.words)

    def _notes(self, subject: FormulaSubject) -> Iterator[Fault]:
        notes = [line.note for stage in subject.formula.stage for line in stage.additions if line.note]
        text = "\n".join(notes)
        if not any(start in text for start in STARTS) or not re.search(FIGURE_IN_NOTE, text):  # compiled where there may be one
            return
        for i, stage in enumerate(subject.formula.stage):
            for j, line in enumerate(stage.additions):
                amount = _figure(line)
                for number, unit in re.findall(FIGURE_IN_NOTE, line.note) if amount is not None else ():
                    told = read(f"{number} {unit}", ("mass", "volume"))
                    if amount is not None and told.unit.dimension == amount.dimension and abs(told.base - amount.base) > CLOSE * told.base:
                        words = f"the note says {told} of {line.material}, the line {amount.text}"
                        yield Fault(_place(subject, i, j, "note"), words, related=(_place(subject, i, j, "amount"),))

    def says(self) -> tuple[str, ...]:
        """What is looked for on a sheet."""
        return (SAYS[self.check_for].format(least=self.least),)

    def faults_of_reading(self) -> Iterator[Misread]:
        """What is wrong with the rule itself: a least amount that is missing, is no mass, or is asked for elsewhere."""
        if (self.check_for == "weighable") != (self.least is not None):
            yield Misread('"weighable" needs least, and only "weighable" does', at=("check",))
        try:
            read_bound(self.least or "0 g", "mass")
        except Misread as error:
            yield Misread(error.message, error.remedy, ("least",))


def _figure(line: Addition) -> Amount | None:
    """The amount of a line that stands for itself; None for steps, ``q.s.`` and doses."""
    amount = line.amount
    return amount if line.material is not None and amount is not None and not amount.to_fill and line.on is None else None


def _place(subject: FormulaSubject, i: int, j: int, key: str) -> Place:
    keys: KeyPath = ("stage", i, "additions", j, key)
    return Place(subject.path, keys)
