"""A figure of a material lies where figures of its class lie."""

from collections.abc import Iterator

from formulint.errors import Misread
from formulint.figure import Figure
from formulint.finding import Fault, Measured, Place
from formulint.formula import Bounds
from formulint.quantity import Quantity, in_unit, read
from formulint.rule import Pick, Rule
from formulint.subject import MaterialSubject
from formulint.verdict import refuse_crossed
from formulint.wording import field_words, pick_words, window

FACTORS = {"density": ("kg/L", "lb/gal", "g/L"), "mass share": ("%",)}
"""Units that are taken for each other on supplier's sheets."""

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
                yield from self._outside(subject, field, figure, bounds)

    def _outside(self, subject: MaterialSubject, field: str, figure: Figure, bounds: Bounds) -> Iterator[Fault]:
        least, most = self._read(field, bounds)
        below = least is not None and figure.hi.base < least.base * (1 - 1e-9)
        above = most is not None and figure.lo.base > most.base * (1 + 1e-9)
        if not (below or above):
            return
        material, name = subject.stock.material, self.name or self.title
        usual = " to ".join(_said(end, subject.units) for end in (least, most) if end is not None)
        text = figure.text
        if figure.known and figure.dimension == "density" and not text.endswith(_density_unit(subject.units)):
            text += f" ({_said(figure.lo, subject.units)})"
        words = f"{material.code}: {field.replace('_', ' ')} {text} is unusual for {name}, where {usual} is usual"
        remedy = "check figure and unit against the supplier's sheet"
        meant = next((one for one in _readings(figure) if _inside(one, least, most)), None)
        if meant is not None:
            remedy = f'{meant} would be usual: {remedy}'
        worst, bound = (figure.lo, least) if below else (figure.hi, most)
        off = None if bound is None else Measured(worst.base, bound.base, figure.dimension, worst.unit.symbol)
        yield Fault(Place(subject.stock.path, (field,)), words, remedy, measured=figure.text, limit=usual, off=off)

    def _read(self, field: str, bounds: Bounds) -> tuple[Quantity | None, Quantity | None]:
        dimension = (DIMENSIONS[field],)
        least = None if bounds.min is None else read(bounds.min, dimension)
        return least, None if bounds.max is None else read(bounds.max, dimension)

    def says(self) -> tuple[str, ...]:
        """The window of each figure."""
        whose = pick_words(self.of)
        return tuple(f"{field_words(field)} of {whose}: {window(bounds.min, bounds.max)}." for field, bounds in self.window.items())

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


def _density_unit(units: str) -> str:
    return "lb/gal" if units == "us" else "kg/L"


def _said(end: Quantity, units: str) -> str:
    """An end of a window in the units of the house; only densities have two."""
    unit = _density_unit(units)
    if end.unit.dimension != "density" or end.unit.symbol == unit:
        return str(end)
    return f"{in_unit(end.base, unit):.{2 if units == 'us' else 3}f} {unit}"


def _readings(figure: Figure) -> Iterator[Quantity]:
    """What a figure outside its window may have been meant as: its number in another unit, or a share that was written as a fraction."""
    if not figure.known:
        return
    for unit in FACTORS.get(figure.dimension, ()):
        if unit != figure.lo.unit.symbol:
            yield read(f"{figure.lo.digits} {unit}", (figure.dimension,))
        elif unit == "%":
            yield read(f"{100 * figure.lo.value:g} %", (figure.dimension,))


def _inside(one: Quantity, least: Quantity | None, most: Quantity | None) -> bool:
    return (least is None or one.base >= least.base) and (most is None or one.base <= most.base)
