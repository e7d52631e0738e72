"""A step of work runs inside its window: how warm, how long, how fast, how fine."""

from collections.abc import Hashable, Iterator, Sequence
from functools import lru_cache
from math import inf
from typing import Annotated, Literal, Self

from msgspec import Meta
from msgspec.structs import replace

from formulint.errors import Misread
from formulint.figure import Figure
from formulint.finding import Fault, Measured, Place
from formulint.formula import Addition, Process
from formulint.quantity import Quantity, read
from formulint.rule import Rule
from formulint.subject import FormulaSubject
from formulint.verdict import CLOSE, KEPT, apart, read_bound, refuse_crossed
from formulint.vocabulary import StageKind, StepKind
from formulint.wording import listed, window

DIMENSIONS = {"temperature": "temperature", "time": "time", "speed": "velocity", "fineness": "fineness hegman"}
Asked = Figure | Quantity


class Step(Rule, frozen=True, kw_only=True, tag="step", tag_field="kind"):
    """What ``steps`` (in ``stages`` of some kind) ask for must lie inside the window, bounds included.

    ``temperature``: the highest allowed against ``max``, the lowest against ``min``. ``speed``: that of the disc's edge,
    where the sheet gives it. ``fineness``: what the step runs until, on the Hegman scale. Silent where the sheet is; with
    ``said``, one of the steps has to say it, or another has to check it.
    """

    steps: Annotated[tuple[StepKind, ...], Meta(min_length=1)]
    stages: tuple[StageKind, ...] = ()
    figure: Literal["temperature", "time", "speed", "fineness"]
    min: str | None = None
    max: str | None = None
    said: bool = False

    @property
    def kin(self) -> Hashable:
        """What the same steps are asked: a class wants a finer grind than another, and that it is said at all."""
        return self.steps, self.stages, self.figure

    def narrowed(self, kin: Sequence[Self]) -> Self:
        """The window that lies inside all of them, to be said where one asks for that."""
        rules, dimension = (self, *kin), DIMENSIONS[self.figure]
        least = [(read_bound(one.min, dimension).base, one.min) for one in rules if one.min is not None]
        most = [(read_bound(one.max, dimension).base, one.max) for one in rules if one.max is not None]
        return replace(self, min=max(least)[1] if least else None, max=min(most)[1] if most else None, said=any(one.said for one in rules))

    def plainly_holds(self, subject: FormulaSubject) -> bool:
        """True where every step is inside, and one of them says so where one has to."""
        steps, stages, silent = self.steps, self.stages, False
        for work in subject.work:
            asks = work.asks
            if asks.step in steps and (not stages or work.stage in stages):
                low, high = self._asked(asks)
                if low is None and high is None:
                    silent = silent or self.said
                elif self._outruns(low, high):
                    return False
        return not silent

    def check(self, subject: FormulaSubject) -> Iterator[Fault]:
        """A fault for each step outside."""
        steps, stages = self.steps, self.stages
        if self.said:
            yield from self._unsaid(subject)
        for work in subject.work:
            if work.asks.step in steps and (not stages or work.stage in stages):
                low, high = self._asked(work.asks)
                if self._outruns(low, high):
                    place = Place(subject.path, (*work.keys, "until" if self.figure == "fineness" else self.figure))
                    yield from self._outside(low, high, place)

    def _outruns(self, low: Asked | None, high: Asked | None) -> bool:
        """True unless what is asked for lies plainly inside."""
        least, most = _span(DIMENSIONS[self.figure], self.min, self.max)
        return (low is not None and low.base < least) or (high is not None and _end(high) > most)

    def _unsaid(self, subject: FormulaSubject) -> Iterator[Fault]:
        """The fault of steps of which none says it, where no other step checks it."""
        works = [work for work in subject.work if work.asks.step in self.steps and (not self.stages or work.stage in self.stages)]
        if works and not any(self._told(work.asks) for work in (*works, *subject.work)):
            words = f"no step {listed(self.steps)} says its {self.figure}, and none checks it"
            yield Fault(Place(subject.path, works[-1].keys), words, self.remedy)

    def _told(self, asks: Addition | Process) -> bool:
        if self.figure == "fineness":
            return "fineness" in asks.until or asks.check == "fineness"
        return asks.step in self.steps and getattr(asks, self.figure) is not None

    def _outside(self, low: Asked | None, high: Asked | None, place: Place) -> Iterator[Fault]:
        least, most = self._bounds()
        if least is not None and low is not None and low.base < least.base - abs(least.base) * CLOSE:
            yield self._fault(low.lo if isinstance(low, Figure) else low, least, "below", place)
        elif most is not None and high is not None and _end(high) > most.base + abs(most.base) * CLOSE:
            yield self._fault(high.hi if isinstance(high, Figure) else high, most, "above", place)

    def _asked(self, asks: Addition | Process) -> tuple[Asked | None, Asked | None]:
        """What a step asks for, where against ``min`` and against ``max``; None where the sheet does not say it, or on another scale."""
        if self.figure == "temperature":
            ends = asks.temperature
            return (None, None) if ends is None else (ends.min, ends.max)
        if self.figure == "fineness":
            target = asks.until.get("fineness")
            return (None if target is None or target.min is None else _hegman(target.min)), None
        found: Figure | None = getattr(asks, self.figure)
        return (None, None) if found is None or found.dimension != DIMENSIONS[self.figure] else (found, found)

    def _fault(self, value: Quantity, bound: Quantity, side: str, place: Place) -> Fault:
        unit, dimension = value.unit.symbol, DIMENSIONS[self.figure]
        if dimension == "temperature":
            from formulint.quantity import show

            number, limit = str(value), show(bound.base, unit, max(0, value.decimals), dimension)
        else:
            number, limit = apart(value.base, bound, unit, max(0, value.decimals))
        words = f"{_WORDS[self.figure]} {number}, {side} {limit}"
        off = Measured(value.base, bound.base, dimension, unit)
        return Fault(place, words, measured=number, limit=limit, unit=unit, off=off)

    def _bounds(self) -> tuple[Quantity | None, Quantity | None]:
        dimension = DIMENSIONS[self.figure]
        least, most = (None if text is None else read_bound(text, dimension) for text in (self.min, self.max))
        return least, most

    def says(self) -> tuple[str, ...]:
        """The window, and of which steps."""
        stages = f" in a stage of kind {listed(self.stages)}" if self.stages else ""
        asked = f"A step {listed(self.steps)}{stages}: {_NOUNS[self.figure]} {window(self.min, self.max)}."
        told = f"A step {listed(self.steps)}{stages} says its {self.figure}, or another checks it."
        return (*((asked,) if self.min or self.max else ()), *((told,) if self.said else ()))

    def unchecked(self, subject: FormulaSubject) -> str:
        """The steps of which the sheet does not say it."""
        works = [work for work in subject.work if work.asks.step in self.steps and (not self.stages or work.stage in self.stages)]
        unsaid = [work for work in works if self._asked(work.asks) == (None, None)]
        return f"the sheet does not give the {self.figure} of {len(unsaid)} of its steps, or on another scale" if unsaid else ""

    def faults_of_reading(self) -> Iterator[Misread]:
        """What is wrong with the rule itself: no bound, one in another unit, the wrong end of a target."""
        if self.min is None and self.max is None and not self.said:
            yield Misread("a step needs min, max or both, or said = true", at=("figure",))
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
_NOUNS = {"temperature": "temperature", "time": "time", "speed": "speed of the disc's edge", "fineness": "ground until"}


@lru_cache(maxsize=KEPT)
def _hegman(text: str) -> Quantity | None:
    """A target on the Hegman scale; None where it is on another."""
    try:
        return read(text, (DIMENSIONS["fineness"],))
    except Misread:
        return None


@lru_cache(maxsize=KEPT)
def _span(dimension: str, least: str | None, most: str | None) -> tuple[float, float]:
    """Both bounds as numbers; every step of every formula is held against them, and nearly all lie inside."""
    low, high = (None if text is None else read_bound(text, dimension).base for text in (least, most))
    return -inf if low is None else low, inf if high is None else high


def _end(asked: Asked) -> float:
    """The upper end of what is asked for."""
    return asked.base if not isinstance(asked, Figure) or asked.known else asked.hi.base
