"""A component boils where the tables say that it does."""

from collections.abc import Iterator

from formulint.content import EU_BOILING_POINT
from formulint.errors import Misread
from formulint.figure import Figure
from formulint.finding import Fault, Measured, Place
from formulint.quantity import Quantity, read
from formulint.rule import Rule
from formulint.subject import MaterialSubject


class Boiling(Rule, frozen=True, kw_only=True, tag="boiling", tag_field="kind"):
    """The boiling point in a record is no more than ``apart`` (a temperature difference) off those of the tables."""

    apart: str

    def check_material(self, subject: MaterialSubject) -> Iterator[Fault]:
        """A fault for each component that is said to boil somewhere else."""
        for at, component in enumerate(subject.stock.material.component):
            if component.cas and component.boiling_point is not None:
                yield from self._off(subject, at, component.cas, component.name, component.boiling_point)

    def _off(self, subject: MaterialSubject, at: int, cas: str, name: str, given: Figure) -> Iterator[Fault]:
        from formulint.boiling_points import boiling_points  # with its table; few records give such a figure

        known = boiling_points().get(cas)
        if known is None:
            return
        low, high = (_temperature(text) for text in (known.boiling_point.min, known.boiling_point.max))
        apart = _apart(self.apart).base
        below, above = given.hi.base < (low.base - apart) * (1 - 1e-9), given.lo.base > (high.base + apart) * (1 + 1e-9)
        if not (below or above):
            return
        usual = str(low) if low.base == high.base else f"{low} to {high}"
        words = f"{name} in {subject.stock.material.code} boils at {given.text}, where tables say {usual}"
        if given.lo.base > EU_BOILING_POINT >= high.base:
            words += ": above 250 degC it is no VOC in the EU, and is left out"
        elif given.hi.base <= EU_BOILING_POINT < low.base:
            words += ": up to 250 degC it is VOC in the EU, and is counted"
        end, bound = (given.hi, low.base - apart) if below else (given.lo, high.base + apart)
        off = Measured(end.base, bound, "temperature", end.unit.symbol)
        yield Fault(Place(subject.stock.path, ("component", at, "boiling_point")), words, checked=known.checked, measured=given.text, limit=usual, off=off)

    def says(self) -> tuple[str, ...]:
        """How far off, and of what."""
        return (f"The boiling point of a component lies within {self.apart} of the tables (rules/voc/exempt.toml), at 101.3 kPa.",)

    def faults_of_reading(self) -> Iterator[Misread]:
        """What is wrong with the rule itself: no difference of temperatures."""
        try:
            _apart(self.apart)
        except Misread as error:
            yield Misread(error.message, error.remedy, ("apart",))


def _apart(text: str) -> Quantity:
    return read(text, ("temperature difference",))


def _temperature(text: str | None) -> Quantity:
    assert text is not None, "a row of the table has both ends"
    return read(text, ("temperature",))
