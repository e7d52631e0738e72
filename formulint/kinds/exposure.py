"""What does not stand a step of work is not in the stage when that runs."""

from collections.abc import Iterator
from typing import Annotated

from msgspec import Meta

from formulint.errors import Misread
from formulint.finding import Fault, Place
from formulint.formula import Stage
from formulint.rule import Pick, Rule
from formulint.subject import FormulaSubject
from formulint.vocabulary import StepKind
from formulint.wording import listed, pick_words


class Exposure(Rule, frozen=True, kw_only=True, tag="exposure", tag_field="kind"):
    """No ``of`` is charged in a stage before a step of these kinds in it, or in one that is such a step as a whole."""

    of: Pick
    steps: Annotated[tuple[StepKind, ...], Meta(min_length=1)]
    must: bool = False

    @property
    def about(self) -> tuple[Pick, ...]:
        """What does not stand it."""
        return (self.of,)

    def check(self, subject: FormulaSubject) -> Iterator[Fault]:
        """A fault for each charge that a step meets."""
        for charge in subject.charged(self.of):
            i, j = charge.spot
            stage = subject.formula.stage[i]
            at = self._met(stage, j)
            if at is None or charge.code not in subject.stocks:  # what is inside an intermediate was judged where that is made
                continue
            name = f"{subject.stocks[charge.code].material.name} ({charge.code})"
            step = stage.process if at < 0 else stage.additions[at]
            words = f"{name} is in {stage.name} when the step {step.step if step is not None else ''} runs"
            keys = ("stage", i, "process") if at < 0 else ("stage", i, "additions", at, "step")
            place = Place(subject.path, ("stage", i, "additions", j, "material"))
            yield Fault(place, words, f"charge {charge.code} after that step, or in a stage of its own", related=(Place(subject.path, keys),))

    def _met(self, stage: Stage, j: int) -> int | None:
        """The first step that meets what line ``j`` charges; -1 for that of the whole stage."""
        if stage.process is not None and stage.process.step in self.steps:
            return -1
        return next((at for at in range(j + 1, len(stage.additions)) if stage.additions[at].step in self.steps), None)

    def says(self) -> tuple[str, ...]:
        """What is kept from which steps."""
        asked = f"None of this is in a stage when a step of kind {listed(self.steps)} runs there: {pick_words(self.of)}."
        return (asked, *(["It must be so: only two people together may concede it."] if self.must else []))

    def faults_of_reading(self) -> Iterator[Misread]:
        """What is wrong with the rule itself."""
        if self.of == Pick():
            yield Misread("this selects every material", "name functions, tags, cas or codes", ("of",))
