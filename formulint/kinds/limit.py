"""A property stays inside its bounds."""

from collections.abc import Iterator

from msgspec.structs import replace

from formulint.errors import Misread
from formulint.finding import Fault, Place
from formulint.rule import Applied, Rule
from formulint.subject import FormulaSubject
from formulint.verdict import judge_bounds, read_bounds, title_of, units_of


class Limit(Rule, frozen=True, kw_only=True, tag="limit", tag_field="kind"):
    """A property must stay inside its bounds, bounds included."""

    property: str
    min: str | None = None
    max: str | None = None

    def check(self, subject: FormulaSubject) -> Iterator[Fault]:
        """The fault of a formula that is outside, or cannot be judged."""
        place = Place(subject.path, ("code",))
        value = subject.evaluation.value(self.property)
        look = units_of(self.property, subject.units, subject.currency)
        bounds = read_bounds(self.property, self.min, self.max, place)
        for fault in judge_bounds(title_of(self.property), value, bounds, look, place):
            yield replace(fault, property=self.property)

    def bounds(self, subject: FormulaSubject) -> Iterator[Applied]:
        """The bounds as written."""
        yield Applied(self.property, self.min, self.max, self.title)

    def faults_of_reading(self) -> Iterator[Misread]:
        """What is wrong with the rule itself: no bound, no such property, a bound in another unit."""
        if self.min is None and self.max is None:
            yield Misread("a limit needs min, max or both", at=("kind",))
        try:
            read_bounds(self.property, self.min, self.max, Place(""))
        except Misread as error:
            yield Misread(error.message, error.remedy, error.at or ("property",))
