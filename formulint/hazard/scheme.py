"""The figures by which hazard classes are computed: read from the pack ``hazard`` when somebody asks, never on the way to "all is well"."""

from __future__ import annotations

from datetime import date
from functools import cache
from typing import TYPE_CHECKING, Literal

import msgspec
from msgspec import Struct

from formulint.packing import shipped
from formulint.quantity import read

if TYPE_CHECKING:
    from fractions import Fraction

SCHEMES = ("un", "eu", "us")
FILES = ("hazard/figures-schemes", "hazard/figures-health", "hazard/figures-environment")
CAUTION = "screening by calculation from what the records say: the safety data sheet, the law in force and a qualified person decide"


class Sourced(Struct, frozen=True):
    """A row of figures: who says so, and how well that was checked."""

    checked: str
    source: str


class Scheme(Struct, frozen=True):
    """By what one scheme differs; ``says`` is to be told with every result. ``specific``: limits of single substances are taken."""

    id: str
    title: str
    specific: bool
    acute_categories: int
    acute_relevant: tuple[str, ...]
    says: str
    checked: str
    note: str = ""


class Term(Struct, frozen=True):
    """Classes whose shares count, each times a factor and, where ``m`` names one, times the M-factor."""

    classes: tuple[str, ...]
    times: int = 1
    m: Literal["", "acute", "chronic"] = ""


class Milder(Struct, frozen=True):
    """The result where all components that count are of these classes."""

    all_of: tuple[str, ...]
    result: str
    statement: str


class Row(Sourced, frozen=True, rename={"from_": "from"}):
    """One way to a class: the weighted shares add up to ``least``, or one component alone reaches it.

    Rows of a ``family`` stand from the most severe result down. ``condition`` is what else must hold, in words; ``apart``
    rows are about components that do not add up; ``apart_from`` families make a statement only say who else is in it;
    ``only_unclassified`` rows hold where nothing else does.
    """

    schemes: tuple[str, ...]
    family: str
    result: str
    least: str
    of: tuple[Term, ...]
    how: Literal["sum", "each"]
    statement: str = ""
    specific: Literal["result", "own", "none"] = "result"
    over: int = 1
    apart: bool = False
    condition: str = ""
    text: str = ""
    from_: date | None = None
    until: date | None = None
    milder: Milder | None = None
    apart_from: tuple[str, ...] = ()
    only_unclassified: bool = False

    def in_force(self, scheme: str, today: date) -> bool:
        """True for a scheme on a day."""
        begun = self.from_ is None or self.from_ <= today
        return scheme in self.schemes and begun and (self.until is None or today <= self.until)


class CutOff(Sourced, frozen=True):
    """The share from which a component of these classes counts; ``over_m``: divided by its M-factor."""

    schemes: tuple[str, ...]
    classes: tuple[str, ...]
    least: str
    over_m: bool = False


class Acute(Sourced, frozen=True):
    """How acute toxicity treats what is not known."""

    unknown_above: str
    unknown_relevant: str
    unknown_told_from: str


class Route(Sourced, frozen=True):
    """A way into the body: upper limits of the categories (included), and the estimate that stands for each."""

    id: str
    words: tuple[str, ...]
    dimension: str
    limits: tuple[str, ...]
    points: tuple[str, ...]
    statements: tuple[str, ...]


class Extreme(Sourced, frozen=True):
    """What a paint is taken for whose pH lies at or beyond these ends: family, class, statement."""

    schemes: tuple[str, ...]
    acid_most: str
    base_least: str
    classes: tuple[tuple[str, str, str], ...]
    unless: str


class Follows(Sourced, frozen=True):
    """A class that comes with another: family, class, statement."""

    schemes: tuple[str, ...]
    from_family: str
    from_statement: str
    then: tuple[str, str, str]


class Withdrawn(Sourced, frozen=True, rename={"from_": "from"}):
    """Classes of a substance that no longer hold from a day on."""

    schemes: tuple[str, ...]
    cas: tuple[str, ...]
    classes: tuple[str, ...]
    from_: date
    words: str


class NotComputed(Struct, frozen=True):
    """Names of classes and codes of statements that are known and follow from something else."""

    names: tuple[str, ...]
    why: str
    checked: str


class Figures(Struct, frozen=True):
    """Everything in the three files."""

    scheme: tuple[Scheme, ...] = ()
    row: tuple[Row, ...] = ()
    cut_off: tuple[CutOff, ...] = ()
    acute: Acute | None = None
    route: tuple[Route, ...] = ()
    extreme: tuple[Extreme, ...] = ()
    follows: tuple[Follows, ...] = ()
    withdrawn: tuple[Withdrawn, ...] = ()
    not_computed: NotComputed | None = None


@cache
def figures() -> Figures:
    """The figures of all schemes, read once in a run."""
    parts = [shipped(name, Figures) for name in FILES]
    return msgspec.structs.replace(parts[0], row=tuple(row for one in parts for row in one.row))


def scheme_of(name: str) -> Scheme:
    """One scheme by its id."""
    return next(one for one in figures().scheme if one.id == name)


@cache
def share(text: str) -> Fraction:
    """A share by mass as a fraction [kg/kg]."""
    return read(text, ("mass share",)).exact


@cache
def exact(text: str, dimension: str) -> Fraction:
    """A figure of any dimension as a fraction of the base unit."""
    return read(text, (dimension,)).exact


@cache
def results() -> frozenset[str]:
    """Every class and statement that can be computed."""
    data = figures()
    found = {word for row in data.row for word in (row.result, row.statement)}
    found |= {word for row in data.row if row.milder for word in (row.milder.result, row.milder.statement)}
    for route in data.route:
        found.update(route.statements)
        found.update(f"Acute Tox. {at} ({route.words[-1]})" for at in range(1, len(route.limits) + 1))
    return frozenset(found - {""})


@cache
def carried() -> frozenset[str]:
    """Every class and statement that a component may carry."""
    listed = figures().not_computed
    classes = {word for row in figures().row for term in row.of for word in term.classes}
    return results() | classes | frozenset(() if listed is None else listed.names)


def percent(value: Fraction) -> str:
    """A share as people read it: ppm up to a thousand of them, then %; three significant digits."""
    ppm = float(value * 1_000_000)
    number = ppm if ppm <= 1000 else ppm / 10_000
    text = f"{number:.3g}"
    if "e" in text:
        text = f"{float(text):.0f}" if number >= 1 else f"{number:.3f}"
    return f"{text} {'ppm' if ppm <= 1000 else '%'}"
