"""A property stays inside its bounds."""

from collections.abc import Iterator

from msgspec.structs import replace

from formulint.errors import Misread
from formulint.finding import Fault, Place
from formulint.rule import Applied, Goal, Rule
from formulint.subject import FormulaSubject, measure_of, value_of
from formulint.verdict import judge_bounds, read_bounds, refuse_crossed, title_of, units_of
from formulint.wording import window


def goal_of(property_id: str, least: str | None, most: str | None, subject: FormulaSubject, place: Place) -> Goal:
    """What bounds of a property ask for."""
    low, high = (None if bound is None else bound.base for bound in read_bounds(property_id, least, most))
    look = units_of(property_id, subject.units, subject.currency)
    return Goal(measure_of(property_id), low, high, look)


class Limit(Rule, frozen=True, kw_only=True, tag="limit", tag_field="kind"):
    """A property must stay inside its bounds, bounds included. It is about paints; of intermediates it speaks where
    ``where`` names that class, or the code."""

    property: str
    min: str | None = None
    max: str | None = None

    def about_paints(self) -> bool:
        """A figure of the paint."""
        return True

    def check(self, subject: FormulaSubject) -> Iterator[Fault]:
        """The fault of a formula that is outside, or cannot be judged."""
        place = Place(subject.path, ("code",))
        value = value_of(self.property, subject)
        look = units_of(self.property, subject.units, subject.currency)
        bounds = read_bounds(self.property, self.min, self.max)
        for fault in judge_bounds(title_of(self.property), value, bounds, look, place, subject.sharpen(measure_of(self.property))):
            yield replace(fault, property=self.property)

    def goal(self, subject: FormulaSubject, fault: Fault) -> Goal | None:
        """The property inside its bounds."""
        return goal_of(self.property, self.min, self.max, subject, fault.place)

    def bounds(self, subject: FormulaSubject) -> Iterator[Applied]:
        """The bounds as written."""
        yield Applied(self.property, self.min, self.max, self.title)

    def binds(self, property_id: str) -> bool:
        """Its own property."""
        return property_id == self.property

    def says(self) -> tuple[str, ...]:
        """The bounds."""
        return (f"{title_of(self.property)}: {window(self.min, self.max)}.",)

    def faults_of_reading(self) -> Iterator[Misread]:
        """What is wrong with the rule itself: no bound, no such property, a bound in another unit."""
        if self.min is None and self.max is None:
            yield Misread("a limit needs min, max or both", at=("kind",))
        try:
            refuse_crossed(*read_bounds(self.property, self.min, self.max))
        except Misread as error:
            yield Misread(error.message, error.remedy, error.at or ("property",))
