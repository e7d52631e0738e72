"""A figure is there, and not too old."""

from collections.abc import Iterator
from datetime import date
from typing import Literal

from formulint.errors import Misread
from formulint.finding import Fault, Place
from formulint.formula import Formula
from formulint.material import Material
from formulint.quantity import read
from formulint.rule import Pick, Rule
from formulint.subject import FormulaSubject, MaterialSubject

DAY = 86400.0


class Completeness(Rule, frozen=True, kw_only=True, tag="completeness", tag_field="kind"):
    """The fields named must be there; a date must not be older than ``max_age`` nor in the future."""

    record: Literal["material", "formula"]
    of: Pick = Pick()
    needs: tuple[str, ...]
    max_age: str | None = None

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
            value = getattr(value, part)
        words = field.replace("_", " ").replace(".", ", ")
        if value in (None, "", (), {}):
            yield Fault(Place(path, tuple(field.split("."))), f"{code} has no {words}", self.remedy or f"add {field}")
        elif isinstance(value, date) and value > today:
            yield Fault(Place(path, (field,)), f"{code}: {words} {value} lies after {today}", "correct the date")
        elif isinstance(value, date) and self.max_age is not None and (today - value).days > self._days():
            age = (today - value).days
            message = f"{code}: {words} {value} is {_age(age)} old on {today}, more than {self.max_age.replace(' a', ' years')}"
            yield Fault(Place(path, (field,)), message, self.remedy, measured=f"{age} d", limit=self.max_age, unit="d")

    def _days(self) -> float:
        return read(self.max_age or "0 d", ("time",)).base / DAY

    def faults_of_reading(self) -> Iterator[Misread]:
        """What is wrong with the rule itself: a field that no record has, an age that is no time."""
        record = Material if self.record == "material" else Formula
        for at, field in enumerate(self.needs):
            if field.split(".")[0] not in record.__struct_fields__:
                yield Misread(f'a {self.record} has no field "{field}"', at=("needs", at))
        if self.max_age is not None:
            try:
                self._days()
            except Misread as error:
                yield Misread(error.message, error.remedy, ("max_age",))


def _age(days: int) -> str:
    return f"{days} days" if days < 400 else f"{days / 365.2425:.1f} years"
