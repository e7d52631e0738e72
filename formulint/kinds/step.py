"""A step of work runs inside its window: how warm, how long, how fast, how fine."""

from collections.abc import Iterator
from typing import Annotated, Literal

from msgspec import Meta

from formulint.errors import Misread
from formulint.figure import Figure
from formulint.finding import Fault, KeyPath, Place
from formulint.formula import Addition, Formula, Process
from formulint.quantity import Quantity, read
from formulint.rule import Rule
from formulint.subject import FormulaSubject
from formulint.verdict import CLOSE, apart, read_bound, refuse_crossed
from formulint.vocabulary import StageKind, StepKind

DIMENSIONS = {"temperature": "temperature", "time": "time", "speed": "velocity", "fineness": "fineness hegman"}
Work = Addition | Process


def work_of(formula: Formula) -> Iterator[tuple[str, KeyPath, Work]]:
    """The steps of a formula, with the kind of their stage and where they stand; that of a whole stage comes first in it."""
    for i, stage in enumerate(formula.stage):
        if stage.process is not None:
            yield stage.kind, ("stage", i, "process"), stage.process
        for j, line in enumerate(stage.additions):
            if line.step is not None:
                yield stage.kind, ("stage", i, "additions", j), line


class Step(Rule, frozen=True, kw_only=True, tag="step", tag_field="kind"):
    """What ``steps`` (in ``stages`` of some kind) ask for must lie inside the window, bounds included.

    ``temperature``: the highest allowed against ``max``, the lowest against ``min``. ``speed``: that of the disc's edge,
    where the sheet gives it. ``fineness``: what the step runs until, on the Hegman scale. Silent where the sheet is.
    """

    steps: Annotated[tuple[StepKind, ...], Meta(min_length=1)]
    stages: tuple[StageKind, ...] = ()
    figure: Literal["temperature", "time", "speed", "fineness"]
    min: str | None = None
    max: str | None = None

    def check(self, subject: FormulaSubject) -> Iterator[Fault]:
        """A fault for each step outside."""
        for kind, keys, work in work_of(subject.formula):
            if work.step in self.steps and (not self.stages or kind in self.stages):
                yield from self._outside(work, Place(subject.path, (*keys, "until" if self.figure == "fineness" else self.figure)))

    def _outside(self, work: Work, place: Place) -> Iterator[Fault]:
        low, high = self._asked(work)
        least, most = self._bounds()
        if least is not None and low is not None and low.base < least.base - abs(least.base) * CLOSE:
            yield self._fault(low, least, "below", place)
        elif most is not None and high is not None and high.base > most.base + abs(most.base) * CLOSE:
            yield self._fault(high, most, "above", place)

    def _asked(self, work: Work) -> tuple[Quantity | None, Quantity | None]:
        """Both ends of what a step asks for; None where the sheet does not say it, or on another scale."""
        if self.figure == "temperature":
            ends = work.temperature
            least, most = (None, None) if ends is None else (ends.min, ends.max)
            return None if least is None else least.lo, None if most is None else most.hi
        if self.figure == "fineness":
            target = work.until.get("fineness")
            return (None if target is None else _hegman(target.min)), None
        found: Figure | None = getattr(work, self.figure)
        if found is None or found.dimension != DIMENSIONS[self.figure]:
            return None, None
        return found.lo, found.hi

    def _fault(self, value: Quantity, bound: Quantity, side: str, place: Place) -> Fault:
        unit, dimension = value.unit.symbol, DIMENSIONS[self.figure]
        if dimension == "temperature":
            from formulint.quantity import show

            number, limit = str(value), show(bound.base, unit, max(0, value.decimals), dimension)
        else:
            number, limit = apart(value.base, bound, unit, max(0, value.decimals))
        words = f"{_WORDS[self.figure]} {number}, {side} {limit}"
        return Fault(place, words, measured=number, limit=limit, unit=unit)

    def _bounds(self) -> tuple[Quantity | None, Quantity | None]:
        dimension = DIMENSIONS[self.figure]
        least, most = (None if text is None else read_bound(text, dimension) for text in (self.min, self.max))
        return least, most

    def faults_of_reading(self) -> Iterator[Misread]:
        """What is wrong with the rule itself: no bound, one in another unit, the wrong end of a target."""
        if self.min is None and self.max is None:
            yield Misread("a step needs min, max or both", at=("figure",))
        if self.figure == "fineness" and self.max is not None:
            yield Misread("a grind runs until it is at least so fine", "give a min", ("max",))
        for key in ("min", "max"):
            try:
                if getattr(self, key) is not None:
                    read_bound(getattr(self, key), DIMENSIONS[self.figure])
            except Misread as error:
                yield Misread(error.message, error.remedy, (key,))
                return
        try:
            refuse_crossed(*self._bounds())
        except Misread as error:
            yield error


_WORDS = {
    "temperature": "the step may reach", "time": "the step takes", "speed": "the disc's edge runs at", "fineness": "the grind runs until",
}  # fmt: skip


def _hegman(text: str | None) -> Quantity | None:
    """A target on the Hegman scale; None where there is none, or on another scale."""
    try:
        return None if text is None else read(text, (DIMENSIONS["fineness"],))
    except Misread:
        return None
