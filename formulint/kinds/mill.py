"""How a grind is loaded and how its disc runs: the mill base at the moment of dispersing, the disc in the tank that the sheet names."""

from collections.abc import Iterator
from functools import cache
from math import inf
from typing import Literal

from formulint.amounts import over, sums
from formulint.content import Gap, Value, joined
from formulint.errors import Misread
from formulint.finding import Fault, KeyPath, Place
from formulint.formula import Process
from formulint.rule import Pick, Rule
from formulint.science import machine
from formulint.subject import FormulaSubject
from formulint.verdict import CLOSE, judge_bounds, read_bounds, refuse_crossed, title_of, units_of
from formulint.vessels import Running, running
from formulint.wording import pick_words, window

NAMES = {"nonvolatile_mass": "the mill base, nonvolatile by mass,", "tip_speed": "the disc's edge", "disc_to_tank": "the disc over the tank"}


class Mill(Rule, frozen=True, kw_only=True, tag="mill", tag_field="kind"):
    """A figure of each step of dispersing lies inside its window: ``nonvolatile_mass`` of what is in the vessel then, where
    that holds one of ``of``; ``tip_speed`` and ``disc_to_tank`` by the record of the tank that the stage names.

    Silent where the sheet names no tank with a record, no turns, or a figure of what is in the vessel is missing.
    """

    of: Pick
    figure: Literal["nonvolatile_mass", "tip_speed", "disc_to_tank"]
    min: str | None = None
    max: str | None = None

    @property
    def about(self) -> tuple[Pick, ...]:
        """What is ground."""
        return (self.of,)

    def plainly_holds(self, subject: FormulaSubject) -> bool:
        """True where nothing is dispersed, or no tank has a record; of a mill base, where all that went in by then is well inside the window."""
        steps = [work.keys for work in subject.work if work.asks.step == "disperse"]
        if not steps:
            return True
        if self.figure != "nonvolatile_mass":
            return next(subject.evaluation.around.mills(), None) is None
        low, high = _well_inside(self.min, self.max)
        shares = [_charged_by(subject, keys) for keys in steps]
        return all(share is not None and low <= share <= high for share in shares)

    def check(self, subject: FormulaSubject) -> Iterator[Fault]:
        """A fault for each dispersing outside the window."""
        for step, value in self._values(subject):
            if value is None or isinstance(value, Gap):
                continue
            stage, at = step.spot
            keys = ("stage", stage, "process") if isinstance(step.work, Process) else ("stage", stage, "additions", at)
            place = Place(subject.path, (*keys, "step"))
            bounds = read_bounds(self.figure, self.min, self.max)
            look = units_of(self.figure, subject.units, subject.currency)
            name = f"{subject.formula.stage[stage].name}: {NAMES[self.figure]}"
            yield from judge_bounds(name, value, bounds, look, place)

    def _values(self, subject: FormulaSubject) -> Iterator[tuple[Running, Value | None]]:
        """The steps of dispersing what is selected, with the figure; None where nobody can tell."""
        spots = {charge.spot for charge in subject.charged(self.of)}
        around, resolved = subject.evaluation.around, subject.resolved
        if self.figure == "nonvolatile_mass":
            for step in running(subject.formula):
                if step.work.step == "disperse" and spots.intersection(step.inside):
                    yield step, _solids(subject, step)
            return
        for step, tank in around.mills():
            if spots.intersection(step.inside):
                disc, width, speed = (around.of_mill(name, step, tank, resolved) for name in ("disc", "tank", "rotation"))
                try:
                    yield step, joined(machine.tip_speed, disc, speed) if self.figure == "tip_speed" else joined(machine.disc_to_tank, disc, width)
                except ValueError:  # a disc or a tank of no width: the record of the equipment has a finding of its own
                    yield step, None

    def says(self) -> tuple[str, ...]:
        """The window, and of which grinds."""
        return (f"{title_of(self.figure)} in a step disperse, where it grinds {pick_words(self.of)}: {window(self.min, self.max)}.",)

    def unchecked(self, subject: FormulaSubject) -> str:
        """Grinds of which it is not known."""
        values = list(self._values(subject))
        open_ = [step for step, value in values if value is None or isinstance(value, Gap)]
        if self.figure != "nonvolatile_mass" and not values:
            return "the sheet names no tank of which there is a record"
        return f"it is not known for {len(open_)} of its grinds" if open_ else ""

    def faults_of_reading(self) -> Iterator[Misread]:
        """What is wrong with the rule itself: no bound, or one in another unit."""
        if self.min is None and self.max is None:
            yield Misread("a window needs min, max or both", at=("figure",))
        if self.of == Pick():
            yield Misread("this selects every material", "name functions, tags, cas or codes", ("of",))
        try:
            refuse_crossed(*read_bounds(self.figure, self.min, self.max))
        except Misread as error:
            yield Misread(error.message, error.remedy, error.at or ("figure",))


@cache
def _well_inside(least: str | None, most: str | None) -> tuple[float, float]:
    """The window of a share, by so much narrower as floats may lose."""
    low, high = read_bounds("nonvolatile_mass", least, most)
    return (-inf if low is None else low.base * (1 + CLOSE), inf if high is None else high.base * (1 - CLOSE))


def _charged_by(subject: FormulaSubject, keys: KeyPath) -> float | None:
    """The nonvolatile share by mass of all that was charged before a step; None where that may not be all there is in its vessel."""
    stages = subject.formula.stage[: int(keys[1]) + 1]
    poured = {line.stage for stage in subject.formula.stage for line in stage.additions}
    if any(line.stage is not None for stage in stages for line in stage.additions) or any(stage.name in poured for stage in stages[:-1]):
        return None
    if len({stage.vessel for stage in stages}) > 1:
        return None
    until = (int(keys[1]), int(keys[3]) if len(keys) > 3 else len(stages[-1].additions))
    supply, mass, solids = subject.evaluation.around.supply, 0.0, 0.0
    for line in subject.resolved.lines:
        if (line.stage, line.at) >= until:
            continue
        brought, kg = supply(line.code), line.kg
        share = None if brought is None else brought.columns.get("nonvolatile_mass")
        if not isinstance(kg, float) or not isinstance(share, float):
            return None
        mass += kg
        solids += kg * share
    return solids / mass if mass > 0 else None


def _solids(subject: FormulaSubject, step: Running) -> Value | None:
    """The nonvolatile share by mass of what is in the vessel while a step runs."""
    inside, supply = set(step.inside), subject.evaluation.around.supply
    pairs = [(line, one) for line in subject.resolved.lines if (line.stage, line.at) in inside and (one := supply(line.code)) is not None]
    if len(pairs) < len(inside):
        return None
    totals, _ = sums([line for line, _ in pairs], [one for _, one in pairs])
    return over(totals["nonvolatile_mass"], totals["total_mass"])
