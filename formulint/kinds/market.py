"""A market's limit: the category of the product in that market, then the property in the basis of that category."""

from collections.abc import Iterator
from datetime import date
from typing import Literal

from msgspec import Struct
from msgspec.structs import replace

from formulint.errors import Misread
from formulint.finding import Fault, Place
from formulint.rule import Applied, Goal, Rule, Where
from formulint.subject import FormulaSubject, measure_of
from formulint.verdict import judge_bounds, read_bounds, title_of, units_of
from formulint.wording import days, where_words

BASIS = {"less-water": "voc_less_water", "material": "voc_material", "ready-to-use": "voc_ready_to_use"}


class Category(Struct, frozen=True, forbid_unknown_fields=True, rename={"from_": "from"}):
    """A row of a market's table: the limit of one category, in force between two days."""

    name: str
    max: str
    basis: Literal["less-water", "material", "ready-to-use"]
    from_: date | None = None
    until: date | None = None
    where: Where | None = None
    checked: Literal["verified", "practice", "memory"] = "memory"
    note: str = ""

    def in_force(self, today: date) -> bool:
        """True on the days from ``from`` to ``until``, both included."""
        return (self.from_ is None or self.from_ <= today) and (self.until is None or today <= self.until)


class NotExempt(Struct, frozen=True, forbid_unknown_fields=True):
    """A compound of the national list that this market counts as VOC, or of which that is in doubt."""

    cas: str
    name: str
    checked: Literal["verified", "practice", "memory"] = "memory"
    note: str = ""


def _when(row: Category) -> str:
    """When a row is in force, and which paints it is for if nobody names it."""
    picked = "" if row.where is None else where_words(row.where)
    parts = [days(row.from_, row.until), f"taken for {picked}" if picked else ""]
    return "".join(f", {part}" for part in parts if part)


class Market(Rule, frozen=True, kw_only=True, tag="market", tag_field="kind"):
    """A product must stay below the VOC limit of its category in each of its markets."""

    scheme: Literal["us", "eu"]
    category: tuple[Category, ...]
    not_exempt: tuple[NotExempt, ...] = ()

    def row(self, subject: FormulaSubject) -> Category | None:
        """The category named by the formula, else the first in force that its class and use imply."""
        named = subject.formula.category.get(self.id)
        for row in self.category:
            if row.in_force(subject.today):
                if named is not None and row.name == named:
                    return row
                if named is None and row.where is not None and row.where.holds(subject.formula):
                    return row
        return None

    def check(self, subject: FormulaSubject) -> Iterator[Fault]:
        """The fault of a formula sold in this market that is above its limit, or of which nobody can say."""
        formula = subject.formula
        if self.id not in formula.markets:
            return
        row = self.row(subject)
        if row is None:
            yield self._no_category(subject)
            return
        place = Place(subject.path, ("category", self.id) if self.id in formula.category else ("markets",))
        yield from self._counted_here(subject, row, place)
        property_id = BASIS[row.basis]
        look = units_of(property_id, subject.units, subject.currency)
        bounds = read_bounds(property_id, None, row.max, place)
        name = f"{title_of(property_id)} ({self.id}, {row.name})"
        for fault in judge_bounds(name, subject.evaluation.value(property_id), bounds, look, place, subject.sharpen(measure_of(property_id))):
            yield replace(fault, checked=row.checked, property=property_id)

    def _counted_here(self, subject: FormulaSubject, row: Category, place: Place) -> Iterator[Fault]:
        """Open where a compound is deducted as exempt that this market counts."""
        for one in self.not_exempt:
            codes = [code for code, stock in subject.stocks.items() if one.cas in stock.content.substances]
            if codes:
                words = f"VOC ({self.id}, {row.name}) cannot be said: {one.name} in {', '.join(codes)} is deducted as exempt, and {self.id} counts it"
                helps = "compute this market by hand with it as VOC, or take another material"
                missing = tuple(Place(subject.stocks[code].path, ("component",)) for code in codes)
                yield Fault(place, words, helps, "open", limit=row.max, checked=one.checked, property=BASIS[row.basis], missing=missing)

    def goal(self, subject: FormulaSubject, fault: Fault) -> Goal | None:
        """VOC at or below the limit of the category."""
        row = self.row(subject)
        if row is None:
            return None
        name = BASIS[row.basis]
        _, most = read_bounds(name, None, row.max, fault.place)
        look = units_of(name, subject.units, subject.currency)
        return Goal(lambda one: one.evaluation.value(name), None, None if most is None else most.base, look)

    def bounds(self, subject: FormulaSubject) -> Iterator[Applied]:
        """The limit of the category that applies."""
        row = self.row(subject) if self.id in subject.formula.markets else None
        if row is not None:
            yield Applied(BASIS[row.basis], None, row.max, f"{self.id}, {row.name}")

    def says(self) -> tuple[str, ...]:
        """The table, row by row, and what is counted here and nowhere else."""
        rows = [f"{row.name}: at most {row.max}, {title_of(BASIS[row.basis])}{_when(row)} ({row.checked})." for row in self.category]
        counted = [f"Counted as VOC: {one.name}, CAS {one.cas} ({one.checked})." for one in self.not_exempt]
        return (f"By the {self.scheme} definition of VOC, for paints sold in {self.id}; the category follows from class and use, or is named.", *rows, *counted)

    def faults_of_reading(self) -> Iterator[Misread]:
        """What is wrong with the table itself: no row, or a limit that is no mass per volume."""
        if not self.category:
            yield Misread("a market needs at least one category", at=("category",))
        for at, row in enumerate(self.category):
            try:
                read_bounds(BASIS[row.basis], None, row.max, Place(""))
            except Misread as error:
                yield Misread(error.message, error.remedy, ("category", at, "max"))

    def _no_category(self, subject: FormulaSubject) -> Fault:
        from difflib import get_close_matches  # only when something is wrong

        formula = subject.formula
        named = formula.category.get(self.id)
        if named is None:
            place = Place(subject.path, ("class",))
            days = [row.from_ for row in self.category if row.from_ is not None and row.where is not None and row.where.holds(formula)]
            if days and min(days) > subject.today:
                words = f"{self.id} has no limit for class {formula.class_} in force on {subject.today}: its first is of {min(days)}"
                return Fault(place, words, "judge as on a later day, or leave this market out", "open")
            use = f", use {' and '.join(formula.product.use)}" if formula.product.use else " without a use"
            words = f"no category of {self.id} follows from class {formula.class_}{use}"
            return Fault(place, words, f"name one under [category] as {self.id} = \"...\"", "open")
        near = get_close_matches(named[:80], [row.name for row in self.category if row.in_force(subject.today)], 1, 0.4)
        hint = f'did you mean "{near[0]}"?' if near else "see the table of that market"
        words = f'{self.id} has no category "{named}" in force on {subject.today}'
        return Fault(Place(subject.path, ("category", self.id)), words, hint, "open")
