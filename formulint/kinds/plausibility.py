"""A figure of a material lies where figures of its class lie."""

from collections.abc import Iterator

from formulint.errors import Misread
from formulint.figure import Figure
from formulint.finding import Fault, Place
from formulint.formula import Bounds
from formulint.material import Material
from formulint.quantity import Quantity, read
from formulint.rule import Pick, Rule
from formulint.subject import MaterialSubject
from formulint.verdict import refuse_crossed

DIMENSIONS = {
    "density": "density", "nonvolatile_density": "density", "film_density": "density", "pigment_density": "density",
    "nonvolatile": "mass share", "water": "mass share", "voc": "mass share", "active": "mass share",
    "oil_absorption": "oil absorption", "ph": "number",
}  # fmt: skip


class Plausibility(Rule, frozen=True, kw_only=True, tag="plausibility", tag_field="kind"):
    """The figures of the materials picked must lie in the window of their class, bounds included."""

    of: Pick
    window: dict[str, Bounds]
    name: str = ""

    def check_material(self, subject: MaterialSubject) -> Iterator[Fault]:
        """One fault for each figure that lies outside."""
        material = subject.stock.material
        if not self.of.holds(material):
            return
        for field, bounds in self.window.items():
            figure = getattr(material, field)
            if isinstance(figure, Figure) and not getattr(figure, "derived", False):
                yield from self._outside(material, field, figure, bounds, subject.stock.path)

    def _outside(self, material: Material, field: str, figure: Figure, bounds: Bounds, path: str) -> Iterator[Fault]:
        least, most = self._read(field, bounds)
        below = least is not None and figure.hi.base < least.base * (1 - 1e-9)
        above = most is not None and figure.lo.base > most.base * (1 + 1e-9)
        if below or above:
            usual = f"{bounds.min} to {bounds.max}" if bounds.min and bounds.max else str(bounds.min or bounds.max)
            name = self.name or self.title
            words = f"{material.code}: {field.replace('_', ' ')} {figure.text} is unusual for {name}, where {usual} is usual"
            remedy = "check figure and unit against the supplier's sheet"
            yield Fault(Place(path, (field,)), words, remedy, measured=figure.text, limit=usual)

    def _read(self, field: str, bounds: Bounds) -> tuple[Quantity | None, Quantity | None]:
        dimension = (DIMENSIONS[field],)
        least = None if bounds.min is None else read(bounds.min, dimension)
        return least, None if bounds.max is None else read(bounds.max, dimension)

    def faults_of_reading(self) -> Iterator[Misread]:
        """What is wrong with the rule itself: a field without a window, a bound in the wrong unit."""
        for field, bounds in self.window.items():
            if field not in DIMENSIONS:
                yield Misread(f'there is no window for "{field}"', "one of " + ", ".join(DIMENSIONS), ("window", field))
                continue
            try:
                refuse_crossed(*self._read(field, bounds))
            except Misread as error:
                yield Misread(error.message, error.remedy, ("window", field))
            if bounds.min is None and bounds.max is None:
                yield Misread(f"the window of {field} needs min, max or both", at=("window", field))
