"""A figure is there, and not too old."""

from collections.abc import Iterator
from datetime import date, timedelta
from typing import Literal

from formulint.errors import Misread
from formulint.finding import Fault, Place
from formulint.formula import Formula, Product
from formulint.material import Material
from formulint.quantity import read
from formulint.rule import Pick, Rule
from formulint.subject import FormulaSubject, MaterialSubject
from formulint.wording import field_words, listed, pick_words

DAY = 86400  # s


class Completeness(Rule, frozen=True, kw_only=True, tag="completeness", tag_field="kind"):
    """The fields named must be there; a date must not be older than ``max_age`` nor in the future. Of formulas it is about
    paints; of intermediates it speaks where ``where`` names that class, or the code."""

    record: Literal["material", "formula"]
    of: Pick = Pick()
    needs: tuple[str, ...]
    max_age: str | None = None

    def about_paints(self) -> bool:
        """What a paint has to say, a premix need not."""
        return self.record == "formula"

    @property
    def of_formulas(self) -> bool:
        """True where fields of formulas are asked for."""
        return self.record == "formula"

    def check(self, subject: FormulaSubject) -> Iterator[Fault]:
        """The faults of a formula in which something is missing."""
        if self.record == "formula":
            for field in self.needs:
                yield from self._field(subject.formula, field, subject.path, subject.formula.code, subject.today)

    def check_material(self, subject: MaterialSubject) -> Iterator[Fault]:
        """The faults of a material in which something is missing or too old."""
        material = subject.stock.material
        if self.record == "material" and self.of.holds(material):
            for field in self.needs:
                yield from self._field(material, field, subject.stock.path, material.code, subject.today)

    def _field(self, record: Material | Formula, field: str, path: str, code: str, today: date) -> Iterator[Fault]:
        value: object = record
        for part in field.split("."):
            value = getattr(value, _attribute(type(value), part))
        words = field.replace("_", " ").replace(".", ", ")
        place = Place(path, tuple(field.split(".")))
        if value in (None, "", (), {}):
            yield Fault(place, f"{code} does not give its {words}", self.remedy or f"add {field}")
        elif isinstance(value, date) and value > today:
            yield Fault(place, f"{code}: {words} {value} lies after {today}", "correct the date")
        elif isinstance(value, date) and self.max_age is not None and value < self._oldest(today):
            age = (today - value).days
            message = f"{code}: {words} {value} is {self._age(value, today)} old on {today}, more than {self.max_age.replace(' a', ' years')}"
            yield Fault(place, message, self.remedy, measured=f"{age} d", limit=self.max_age, unit="d")

    def _oldest(self, today: date) -> date:
        """The oldest day allowed; whole years are years of the calendar.

        Raises
        ------
        Misread
        """
        age = read(self.max_age or "0 d", ("time",))
        if age.negative:
            raise Misread(f'the age "{age}" is below zero', "write how old it may be, such as 3 a or 90 d")
        if age.unit.symbol == "a" and age.value.is_integer() and age.value < today.year:
            return _years_before(today, int(age.value))
        return today - timedelta(days=min(int(age.exact // DAY), today.toordinal() - 1))

    def _age(self, value: date, today: date) -> str:
        days = (today - value).days
        if days < 400:
            return "1 day" if days == 1 else f"{days} days"
        text = f"{days / 365.2425:.1f} years"
        if text.removesuffix(".0 years") != (self.max_age or "").removesuffix(" a"):
            return text
        years = today.year - value.year - (value > _years_before(today, today.year - value.year))
        rest = (_years_before(today, years) - value).days
        return f"{years} years and {rest} day{'s' if rest > 1 else ''}" if rest else f"{years} years"

    def says(self) -> tuple[str, ...]:
        """Which figures are asked of which records."""
        picked = "every material" if self.of == Pick() else f"every record of {pick_words(self.of)}"
        whose = "Every formula" if self.record == "formula" else picked.capitalize()
        age = f", not older than {self.max_age.replace(' a', ' years')} and not in the future" if self.max_age is not None else ""
        return (f"{whose} gives: {listed(map(field_words, self.needs), 'and')}{age}.",)

    def faults_of_reading(self) -> Iterator[Misread]:
        """What is wrong with the rule itself: a field that no record has, an age that is no time."""
        record = Material if self.record == "material" else Formula
        for at, field in enumerate(self.needs):
            if not _is_field(record, field.split(".")):
                yield Misread(f'a {self.record} has no field "{field}"', at=("needs", at))
        if self.max_age is not None:
            try:
                self._oldest(date.max)
            except Misread as error:
                yield Misread(error.message, error.remedy, ("max_age",))


def _attribute(record: type, spelled: str) -> str:
    """The attribute of a record that a file calls so; empty where there is none."""
    names = zip(getattr(record, "__struct_encode_fields__", ()), getattr(record, "__struct_fields__", ()), strict=True)
    return next((name for written, name in names if written == spelled), "")


def _is_field(record: type, path: list[str]) -> bool:
    """True for a field of a record, or of a formula's product."""
    if record is Formula and path[0] == "product" and len(path) == 2:
        return bool(_attribute(Product, path[1]))
    return len(path) == 1 and bool(_attribute(record, path[0]))


def _years_before(day: date, years: int) -> date:
    """The same day of an earlier year; for 29 February, the 28th where there is none."""
    last = 28 if (day.month, day.day) == (2, 29) else day.day
    try:
        return day.replace(year=day.year - years)
    except ValueError:
        return day.replace(year=day.year - years, day=last)
