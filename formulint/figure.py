"""The types of a record's fields that hold a number: read once, kept with their written digits.

A field type is declared once here with its dimension. ``shape`` calls ``read``; a figure given as a range
``{ min = "...", max = "..." }`` is known only to lie between the two.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, ClassVar, Self

from formulint import quantity
from formulint.errors import Misread
from formulint.interval import Interval
from formulint.quantity import Quantity

if TYPE_CHECKING:
    from fractions import Fraction


class Figure:
    """A number with a unit, or the two ends between which it lies.

    Attributes
    ----------
    lo, hi : Quantity
        The ends; equal where the number itself is written.
    """

    __slots__ = ("_base", "hi", "lo")
    dimensions: ClassVar[tuple[str, ...]] = ("number",)
    example: ClassVar[str] = "1"

    def __init__(self, lo: Quantity, hi: Quantity) -> None:
        self.lo = lo
        self.hi = hi
        self._base: float | None = None

    @classmethod
    def read(cls, raw: object) -> Self:
        """From the TOML value: a string, or a table with ``min`` and ``max``."""
        if isinstance(raw, str):
            one = quantity.read(raw, cls.dimensions)
            return cls(one, one)
        if isinstance(raw, dict):
            return cls._range(raw)
        hint = _quote_hint(raw, cls.example)
        if isinstance(raw, float) and cls.dimensions == ("mass share",) and 0 < raw <= 1:
            hint = f'write it as text with its %: "{100 * float(raw):g} %" or "{raw} %"'
        raise Misread(f"expected text such as \"{cls.example}\", got {describe(raw)}", hint)

    @classmethod
    def _range(cls, raw: dict[str, object]) -> Self:
        for key in raw:
            if key not in ("min", "max"):
                raise Misread(f'unknown key "{key}" in a range', "a range has min and max", (key,))
        ends = []
        for key in ("min", "max"):
            if key not in raw:
                raise Misread(f"a range of a figure needs {key}", "write both ends, or the figure itself")
            value = raw[key]
            if not isinstance(value, str):
                raise Misread(f"expected text, got {describe(value)}", _quote_hint(value, cls.example), (key,))
            try:
                ends.append(quantity.read(value, cls.dimensions))
            except Misread as error:
                raise Misread(error.message, error.remedy, (key,)) from None
        lo, hi = ends
        if lo.unit.dimension != hi.unit.dimension:
            raise Misread(f'"{lo}" and "{hi}" measure different things', "use one unit for both ends")
        if lo.exact > hi.exact:
            raise Misread(f"min {lo} is above max {hi}", "exchange the two ends")
        return cls(lo, hi)

    @property
    def known(self) -> bool:
        """True where the number itself is written."""
        return self.lo is self.hi

    @property
    def dimension(self) -> str:
        """What is measured, e.g. ``density``; for fields that admit several, the one that was written."""
        return self.lo.unit.dimension

    @property
    def base(self) -> float:
        """The number in the base unit of its dimension; the lower end of a range."""
        if self._base is None:
            self._base = self.lo.base
        return self._base

    @property
    def span(self) -> float | Interval:
        """All that it may be, in the base unit; one number where both ends are the same."""
        lo, hi = self.lo.base, self.hi.base
        return lo if lo == hi else Interval(lo, hi)

    @property
    def exact(self) -> Fraction:
        """As ``base``, without rounding."""
        return self.lo.exact

    @property
    def text(self) -> str:
        """As written."""
        return str(self.lo) if self.known else f"{self.lo} to {self.hi}"

    @classmethod
    def schema(cls) -> dict[str, object]:
        """JSON Schema of the field, for editors."""
        text = {"type": "string", "examples": [cls.example]}
        table = {
            "type": "object",
            "properties": {"min": text, "max": text},
            "required": ["min", "max"],
            "additionalProperties": False,
        }
        return {"anyOf": [text, table]}

    def __eq__(self, other: object) -> bool:
        return isinstance(other, type(self)) and (self.lo, self.hi) == (other.lo, other.hi)

    def __hash__(self) -> int:
        return hash((self.lo, self.hi))

    def __repr__(self) -> str:
        return f"{type(self).__name__}({self.text!r})"


def describe(raw: object) -> str:
    """What a TOML value is, in words of a person: ``the number 8.34``, ``a table``."""
    if isinstance(raw, bool):
        return f"{str(raw).lower()}"
    if isinstance(raw, int | float):
        return f"the number {raw} without quotation marks"
    if isinstance(raw, str):
        return f'the text "{raw}"'
    if isinstance(raw, list):
        return "a list"
    if isinstance(raw, dict):
        return "a table"
    return f"the date {raw}"


def _quote_hint(raw: object, example: str) -> str:
    if isinstance(raw, int | float) and not isinstance(raw, bool):
        if " " not in example:
            return f'put the number in quotation marks, such as "{example}": then its digits are kept'
        return f'put the number and its unit in quotation marks, such as "{example}": then its digits are kept'
    return f'write it as "{example}"'


class Density(Figure):
    """Mass per volume, base kg/L."""

    __slots__ = ()
    dimensions = ("density",)
    example = "8.34 lb/gal"


class FilmPartDensity(Density):
    """Density of what stays in the film, or the word ``derived``: then it follows from a volume balance, where that is valid."""

    __slots__ = ()
    example = "13.0 lb/gal"

    @classmethod
    def read(cls, raw: object) -> Self:
        if raw == "derived":
            return cls(quantity.NOTHING, quantity.NOTHING)
        return super().read(raw)

    @property
    def derived(self) -> bool:
        """True where the file asks for the volume balance."""
        return self.lo is quantity.NOTHING

    @property
    def text(self) -> str:
        return "derived" if self.derived else super().text

    @classmethod
    def schema(cls) -> dict[str, object]:
        return {"anyOf": [{"type": "string", "examples": [cls.example, "derived"]}, *super().schema()["anyOf"][1:]]}  # type: ignore[index]


class MassShare(Figure):
    """Share by mass, base kg/kg."""

    __slots__ = ()
    dimensions = ("mass share",)
    example = "25 %"


class BodyDose(Figure):
    """Mass of a substance on a mass of body, as toxicity is told; base kg/kg."""

    __slots__ = ()
    dimensions = ("mass share",)
    example = "450 mg/kg"


class InAir(Density):
    """Mass of a substance in a volume of air, base kg/L."""

    __slots__ = ()
    example = "0.27 mg/L"


class GasShare(Figure):
    """Share of a gas in air by volume, base L/L."""

    __slots__ = ()
    dimensions = ("volume share",)
    example = "700 ppm"


class OilAbsorption(Figure):
    """Mass of linseed oil on dry pigment, base kg/kg."""

    __slots__ = ()
    dimensions = ("oil absorption",)
    example = "19 g/100 g"


class Price(Figure):
    """Money per mass or per volume, base currency/kg or currency/L."""

    __slots__ = ()
    dimensions = ("price by mass", "price by volume")
    example = "0.85 USD/lb"


class Temperature(Figure):
    """Absolute temperature, base K."""

    __slots__ = ()
    dimensions = ("temperature",)
    example = "110 degF"


class TemperatureStep(Figure):
    """Difference of two temperatures, base K."""

    __slots__ = ()
    dimensions = ("temperature difference",)
    example = "2.5 K"


class Duration(Figure):
    """Time, base s."""

    __slots__ = ()
    dimensions = ("time",)
    example = "20 min"


class Speed(Figure):
    """Speed of a disc: rotation (base 1/s) or at its tip (base m/s)."""

    __slots__ = ()
    dimensions = ("rotation", "velocity")
    example = "1150 rpm"


class Length(Figure):
    """Length, base m."""

    __slots__ = ()
    dimensions = ("length",)
    example = "48 in"


class Mass(Figure):
    """Mass, base kg."""

    __slots__ = ()
    dimensions = ("mass",)
    example = "0.5 lb"


class Volume(Figure):
    """Volume, base L."""

    __slots__ = ()
    dimensions = ("volume",)
    example = "128 fl oz"


class VolumeShare(Figure):
    """Share by volume, base L/L."""

    __slots__ = ()
    dimensions = ("volume share",)
    example = "10 %"


class Coverage(Figure):
    """Area that a volume of paint is spread on, base m2/L."""

    __slots__ = ()
    dimensions = ("spreading rate",)
    example = "400 ft2/gal"


class SpecificSurface(Figure):
    """Surface of a mass of powder, base m2/kg."""

    __slots__ = ()
    dimensions = ("area by mass",)
    example = "12 m2/g"


class MassOrVolume(Figure):
    """Mass (base kg) or volume (base L): a batch, an adjustment."""

    __slots__ = ()
    dimensions = ("mass", "volume")
    example = "100 gal"


class Number(Figure):
    """A number without a unit: pH, gloss, a ratio."""

    __slots__ = ()
    dimensions = ("number",)
    example = "8.5"


class Amount(Figure):
    """What a line asks for: a mass, a volume, a share of the batch by mass or by volume; never a range."""

    __slots__ = ()
    dimensions = ("mass", "volume", "mass share", "volume share")
    example = "250.0 lb"

    @classmethod
    def read(cls, raw: object) -> Self:
        if raw == "q.s.":
            return cls(quantity.NOTHING, quantity.NOTHING)
        if isinstance(raw, dict):
            raise Misread("an amount is one figure, not a range", f'write it as "{cls.example}"')
        amount = super().read(raw)
        if amount.lo.negative:
            raise Misread(f'the amount "{amount.text}" is below zero', "an amount is added, never taken away")
        return amount

    @property
    def to_fill(self) -> bool:
        """True for ``q.s.``: as much as the batch still needs."""
        return self.lo is quantity.NOTHING

    @property
    def text(self) -> str:
        return "q.s." if self.to_fill else super().text

    @classmethod
    def schema(cls) -> dict[str, object]:
        return {"type": "string", "examples": [cls.example, "12.5 kg", "q.s."]}
