"""The rows of a batch sheet, in order: what is charged, what is done, what is checked, with room for the hand."""

from __future__ import annotations

from collections.abc import Iterator

from msgspec import Struct

from formulint.batch import Batch
from formulint.bearing import asked_words
from formulint.figure import MassOrVolume
from formulint.formula import Addition, Adjust, Bounds, Formula, Process, Stage
from formulint.quantity import Quantity
from formulint.scales import Bench, printed, rounded
from formulint.sized import Portion, Sized

VERBS = {"charge": "charge", "mix": "mix", "disperse": "disperse", "hold": "HOLD", "cool": "cool", "filter": "filter", "sample": "take a sample"}


class Row(Struct, frozen=True):
    """A line of the sheet: a portion to be charged, or work in words; ``reads`` is what the scale or the measure must show."""

    words: str
    code: str = ""
    kind: str = "work"
    portion: Portion | None = None

    @property
    def reads(self) -> Quantity | None:
        """What is weighed or measured; None for work."""
        one = self.portion
        return None if one is None else one.weighing.reads if one.weighing is not None else one.measured

    @property
    def scale(self) -> str:
        """The code of the scale; empty where none is on record, and where a volume is measured."""
        one = self.portion
        return one.weighing.scale.code if one is not None and one.weighing is not None and one.weighing.scale is not None else ""

    @property
    def loads(self) -> int:
        """In how many weighings."""
        return self.portion.weighing.loads if self.portion is not None and self.portion.weighing is not None else 1

    @property
    def tolerance(self) -> str:
        """How far the weighing may be off, as the record of the scale says it; empty where it says nothing."""
        one = self.portion
        scale = one.weighing.scale if one is not None and one.weighing is not None else None
        return "" if scale is None or scale.tolerance is None else scale.tolerance.text


def rows(made: Batch, found: Sized, number: int) -> Iterator[Row]:
    """The rows of one stage; the step that is written for the whole of it comes last."""
    stage: Stage = made.formula.stage[number]
    for at, line in enumerate(stage.additions):
        if line.material is not None:
            yield from _charged(made, found, line, found.portions[number, at])
        elif line.stage is not None:
            yield Row(f"put in all of {line.stage}" + _note(line), kind="stage")
        else:
            yield Row(work_words(made.formula, line), kind=line.step or "work")
    if stage.process is not None:
        yield Row(f"for the whole of {stage.name}: {work_words(made.formula, stage.process)}", kind=stage.process.step)


def _charged(made: Batch, found: Sized, line: Addition, portion: Portion) -> Iterator[Row]:
    code = portion.line.code
    fills = "; q.s., computed to the batch" if line.amount is not None and line.amount.to_fill else ""
    yield Row(f"{code} {made.names.get(code, '')}".strip() + fills + _note(line), code, "charge", portion)
    if line.adjust is not None:
        yield Row(adjust_words(made.formula, line.adjust, code, found), code, "adjust")


def adjust_words(formula: Formula, adjust: Adjust, code: str, found: Sized) -> str:
    """What may be added beyond the line, at this size, and to which end."""
    target = formula.tests.get(adjust.target)
    asked = f" ({asked_words(target)})" if target is not None else ""
    step, most = _times(adjust.step, found), _times(adjust.max, found, down=True)
    return f"ADJUST {adjust.target.replace('_', ' ')}{asked}: {code}, {step} at a time, at most {most} more than the line; write down what went in"


def _times(figure: MassOrVolume, found: Sized, down: bool = False) -> Quantity:
    """An amount of an adjustment at the size; a step finer than the scale shows is told as it is."""
    amount = figure.base * found.factor
    plain = printed(amount, figure.lo.unit.symbol)
    if figure.dimension != "mass":
        return rounded(amount, plain, down)
    bench: Bench = found.bench
    reads = bench.weigh(amount, down).reads
    return reads if reads.base > 0 else rounded(amount, plain, down)


def work_words(formula: Formula, work: Addition | Process) -> str:
    """A step with its conditions in one line: ``disperse, 1150 rpm, 20 min, at most 110 degF, until fineness at least 3 hegman``."""
    parts = [VERBS.get(work.step or "", work.step or "")]
    parts += [figure.text for figure in (work.speed, work.time) if figure is not None]
    if work.temperature is not None:
        low, high = work.temperature.min, work.temperature.max
        parts += [f"at least {low.text}"] if low is not None else []
        parts += [f"at most {high.text}"] if high is not None else []
    parts += [f"until {name.replace('_', ' ')} {_bounds(bounds)}".rstrip() for name, bounds in work.until.items()]
    if work.check is not None:
        target = formula.tests.get(work.check)
        asked = "" if target is None else f" {asked_words(target)}, {target.method}" + (f", after {target.after.text}" if target.after is not None else "")
        parts.append(f"check {work.check.replace('_', ' ')}{asked}".rstrip(", "))
    return ", ".join(parts) + _note(work)


def _bounds(one: Bounds) -> str:
    words = [f"at least {one.min}"] if one.min is not None else []
    words += [f"at most {one.max}"] if one.max is not None else []
    return ", ".join(words)


def _note(line: Addition | Process) -> str:
    return f"; {line.note}" if line.note else ""
