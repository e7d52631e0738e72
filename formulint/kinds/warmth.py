"""What does not stand warmth does not meet a batch that is still warm from the work before."""

from collections.abc import Iterator
from functools import cache
from math import inf

from formulint.errors import Misread
from formulint.figure import Figure
from formulint.finding import Fault, Measured, Place
from formulint.formula import Addition, Process
from formulint.quantity import Quantity, show
from formulint.rule import Pick, Rule
from formulint.subject import FormulaSubject
from formulint.verdict import CLOSE, read_bound
from formulint.vessels import Charge, Running, running
from formulint.wording import pick_words


class Warmth(Rule, frozen=True, kw_only=True, tag="warmth", tag_field="kind"):
    """No ``of`` is charged upon a batch, and no batch is poured upon it, for which the last step asked for more than ``max``.

    What is known of the temperature is what the last step before allows. Silent where no step says one, and where
    something else went in since then or lies there already: how warm that is nobody wrote.
    """

    of: Pick
    max: str

    @property
    def about(self) -> tuple[Pick, ...]:
        """What does not stand it."""
        return (self.of,)

    def plainly_holds(self, subject: FormulaSubject) -> bool:
        """True where no step allows so much."""
        over = _over(self.max)
        return all(_reached(work.asks) <= over for work in subject.work)

    def check(self, subject: FormulaSubject) -> Iterator[Fault]:
        """A fault for each charge that meets a batch too warm for it."""
        most, over, steps = read_bound(self.max, "temperature"), _over(self.max), running(subject.formula)
        for charge in subject.charged(self.of):
            last = _met(charge, steps)
            if last is not None and _reached(last.work) > over:
                yield self._fault(subject, charge, last, most)

    def _fault(self, subject: FormulaSubject, charge: Charge, last: Running, most: Quantity) -> Fault:
        asked = last.work.temperature
        assert asked is not None and asked.max is not None
        end = asked.max.hi if isinstance(asked.max, Figure) else asked.max
        limit = show(most.base, end.unit.symbol, max(0, end.decimals), "temperature")
        name = subject.stocks[charge.code].material.name if charge.code in subject.stocks else charge.code
        met = "goes into a batch" if set(last.inside) <= set(charge.before) else "has a batch poured into it"
        words = f"{name} ({charge.code}) {met} that may be at {end} from {subject.formula.stage[last.spot[0]].name}, above {limit}"
        place = Place(subject.path, ("stage", charge.spot[0], "additions", charge.spot[1], "material"))
        stage, at = last.spot
        keys = ("stage", stage, "process") if isinstance(last.work, Process) else ("stage", stage, "additions", at)
        off = Measured(_reached(last.work), most.base, "temperature", end.unit.symbol)
        related = (Place(subject.path, (*keys, "temperature")),)
        return Fault(place, words, self.remedy, measured=str(end), limit=limit, off=off, related=related)

    def says(self) -> tuple[str, ...]:
        """What, and how warm at most."""
        return (f"No batch that the last step before lets be above {self.max} meets this: {pick_words(self.of)}.",)

    def unchecked(self, subject: FormulaSubject) -> str:
        """Charges of which the sheet does not say how warm it is where they go in."""
        steps = running(subject.formula)
        unknown = [charge for charge in subject.charged(self.of) if _met(charge, steps) is None]
        return f"the sheet does not say how warm the batch is for {len(unknown)} of its lines" if unknown else ""

    def faults_of_reading(self) -> Iterator[Misread]:
        """What is wrong with the rule itself."""
        if self.of == Pick():
            yield Misread("this selects every material", "name functions, tags, cas or codes", ("of",))
        try:
            read_bound(self.max, "temperature")
        except Misread as error:
            yield Misread(error.message, error.remedy, ("max",))


@cache
def _over(most: str) -> float:
    """From where on it is too warm [K]."""
    base = read_bound(most, "temperature").base
    return base + abs(base) * CLOSE


def _reached(work: Addition | Process) -> float:
    """The highest temperature that a step allows [K]; below all where it says none."""
    most = None if work.temperature is None else work.temperature.max
    if most is None:
        return -inf
    return most.hi.base if isinstance(most, Figure) else most.base


def _met(charge: Charge, steps: tuple[Running, ...]) -> Running | None:
    """The last step that says how warm the batch is that a charge meets; None where nobody can tell."""
    told = [step for step in steps if charge.spot not in step.inside and step.inside and _reached(step.work) > -inf]
    for step in reversed(told):
        inside, stages = set(step.inside), {stage for stage, _ in step.inside}
        if set(charge.before) == inside and step.spot < charge.spot:
            return step
        poured = {spot for spot in charge.vessel[charge.depth + 1 :] if spot[0] in stages}
        if poured == inside and charge.spot[0] not in stages:
            return step
    return None
