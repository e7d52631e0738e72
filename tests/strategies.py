"""Random paints: materials of every sort with figures that fit together, and sheets with amounts of every sort.

Figures and amounts are whole numbers of their last digit, so that a paint can be scaled, split and written in other
units without rounding.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from fractions import Fraction

from hypothesis import strategies as st
from in_memory import catalog, evaluation
from msgspec import Struct
from msgspec.structs import replace
from repository import Table

from formulint.catalog import Catalog
from formulint.evaluate import Evaluation

HALF = 50  # per cent nonvolatile, plus or minus ten, of a latex
SMALLER = {"kg": ("g", 1000), "L": ("mL", 1000), "%": ("ppm", 10000)}
"""The same amount in a smaller unit: its name, and how many make one."""


class Portion(Struct, frozen=True):
    """A line: a material with tenths of a unit of it; no tenths are ``q.s.``."""

    code: str
    tenths: int | Fraction
    unit: str
    on: str = ""
    as_: str = ""

    @property
    def line(self) -> dict[str, object]:
        """The line as a file has it."""
        more = {"on": self.on} if self.on else {}
        more |= {"as": self.as_} if self.as_ else {}
        return {"material": self.code, "amount": f"{tenth(self.tenths)} {self.unit}" if self.unit else "q.s.", **more}

    @property
    def in_smaller_unit(self) -> Portion:
        """The same amount, written otherwise."""
        unit, times = SMALLER.get(self.unit, (self.unit, 1))
        return replace(self, unit=unit, tenths=self.tenths * times)

    def scaled(self, factor: Fraction) -> Portion:
        """As much more of it, where it is not a share already."""
        return self if self.unit in ("%", "") else replace(self, tenths=self.tenths * factor)


class Paint(Struct, frozen=True):
    """Materials by code, and a sheet of two stages of portions."""

    materials: Mapping[str, Table]
    batch: tuple[int | Fraction, str]
    grind: tuple[Portion, ...]
    letdown: tuple[Portion, ...]

    @property
    def portions(self) -> tuple[Portion, ...]:
        """All lines, in order."""
        return (*self.grind, *self.letdown)

    @property
    def sheet(self) -> dict[str, object]:
        """The formula as its file says it."""
        stages = [stage("Grind", "grind", self.grind), stage("Letdown", "letdown", self.letdown)]
        head = {"name": "random", "revision": 1, "state": "bench", "class": "flat", "markets": ["us-national"]}
        return {**head, "batch": f"{tenth(self.batch[0])} {self.batch[1]}", "stage": stages}

    @property
    def shelf(self) -> Catalog:
        """A repository that holds it as T-1."""
        return catalog(self.materials, {"T-1": self.sheet})

    @property
    def evaluation(self) -> Evaluation:
        """All its values."""
        return evaluation(self.shelf, "T-1")

    def with_figures(self, code: str, **figures: object) -> Paint:
        """The same with other figures of one material; None takes a figure away."""
        record = {name: value for name, value in {**self.materials[code], **figures}.items() if value is not None}
        return replace(self, materials={**self.materials, code: record})


def stage(name: str, kind: str, portions: Iterable[Portion]) -> dict[str, object]:
    """A stage as its file says it."""
    return {"name": name, "kind": kind, "additions": [one.line for one in portions]}


def tenth(number: int | Fraction) -> str:
    """A number of tenths as a decimal, exactly."""
    exact = Fraction(number) / 10
    digits = next(digits for digits in range(13) if exact * 10**digits == int(exact * 10**digits))
    return f"{int(exact * 10**digits) / 10**digits:.{digits}f}"


def figure(low: int, high: int, unit: str, per: int = 100) -> st.SearchStrategy[str]:
    """A figure with its unit: a whole number between two, over ``per``."""
    return st.integers(low, high).map(lambda number: f"{number / per:.{len(str(per)) - 1}f} {unit}")


def latex(solids: int) -> dict[str, object]:
    """Shares of a latex of so many per cent."""
    return {"nonvolatile": f"{solids} %", "water": f"{100 - solids} %"}


PRICE = figure(1, 500, "USD/kg")
WATER = st.fixed_dictionaries({
    "name": st.just("water"), "functions": st.just(["water"]), "density": st.just("1 kg/L"), "nonvolatile": st.just("0 %"),
    "water": st.just("100 %"), "price": PRICE,
})  # fmt: skip
PIGMENT = st.fixed_dictionaries({
    "name": st.just("pigment"), "functions": st.sampled_from([["white-pigment"], ["extender"], ["colored-pigment"]]),
    "density": figure(180, 450, "kg/L"), "nonvolatile": st.just("100 %"), "oil_absorption": figure(10, 60, "g/100 g", 1), "price": PRICE,
})  # fmt: skip
BINDER = st.builds(
    lambda solids, rest: {**rest, **latex(solids)},
    st.integers(HALF - 10, HALF + 10),
    st.fixed_dictionaries({
        "name": st.just("latex"), "functions": st.just(["binder"]), "density": figure(100, 115, "kg/L"),
        "nonvolatile_density": figure(105, 130, "kg/L"), "price": PRICE,
    }),
)  # fmt: skip
DISPERSANT = st.builds(
    lambda solids, rest: {**rest, **latex(solids)},
    st.integers(20, 45),
    st.fixed_dictionaries({
        "name": st.just("dispersant"), "functions": st.just(["dispersant"]), "density": figure(105, 120, "kg/L"),
        "nonvolatile_density": figure(120, 160, "kg/L"), "active": figure(20, 45, "%", 1), "price": PRICE,
    }),
)  # fmt: skip
GLYCOL = st.fixed_dictionaries({
    "name": st.just("glycol"), "functions": st.just(["glycol"]), "density": figure(90, 112, "kg/L"), "nonvolatile": st.just("0 %"),
    "voc": st.just("100 %"), "price": PRICE,
})  # fmt: skip
SHELF = st.fixed_dictionaries({"W": WATER, "P": PIGMENT, "E": PIGMENT, "B": BINDER, "D": DISPERSANT, "G": GLYCOL})
MOST = {"W": 900, "P": 500, "E": 500, "B": 900, "D": 40, "G": 90}
"""Tenths of a kilogram or litre in a batch of 2000; two lines of each leave room for what fills up."""


@st.composite
def weighed(draw: st.DrawFn, units: tuple[str, ...] = ("kg", "L")) -> Paint:
    """A paint of masses and volumes: one line or two of each material, in any order."""
    materials = draw(SHELF)
    codes = draw(st.permutations([*materials, *draw(st.lists(st.sampled_from(sorted(materials)), max_size=4, unique=True))]))
    portions = [Portion(code, draw(st.integers(1, MOST[code])), draw(st.sampled_from(units))) for code in codes]
    cut = draw(st.integers(1, len(portions) - 1))
    return Paint(materials, (20000, draw(st.sampled_from(units))), tuple(portions[:cut]), tuple(portions[cut:]))


@st.composite
def paints(draw: st.DrawFn) -> Paint:
    """A paint with amounts of every sort: some shares, a dose on pigment or binder, water to fill."""
    paint = draw(weighed())
    shares = draw(st.sets(st.sampled_from(["P", "E", "B", "G"]), max_size=2))
    grind = [replace(one, tenths=one.tenths % 60 + 1, unit="%") if one.code in shares else one for one in paint.grind]
    dose = Portion("D", draw(st.integers(1, 20)), "%", draw(st.sampled_from(["pigment", "binder", "batch"])), draw(st.sampled_from(["active", "supplied", "nonvolatile"])))
    grind.insert(draw(st.integers(0, len(grind))), dose)
    letdown = [*paint.letdown, Portion("W", 0, "")] if draw(st.booleans()) else list(paint.letdown)
    return replace(paint, grind=tuple(grind), letdown=tuple(letdown))
