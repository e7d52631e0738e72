"""What plant control would notice of a change and what not: how far density and nonvolatile move against what it tells apart; what cannot be computed is said."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import cache

from msgspec import Struct

from formulint.catalog import Catalog
from formulint.change import Change
from formulint.compare import FormulaChange
from formulint.errors import Misread
from formulint.finding import Source
from formulint.formula import Formula
from formulint.packing import shipped
from formulint.quantity import in_unit
from formulint.repeatability import scatter
from formulint.shape import dec_hook
from formulint.tests_due import changed_codes, functions_of
from formulint.verdict import read_bounds, units_of
from formulint.vocabulary import Function, TestName

WINDOW, LAB, TEST = "its window", "the lab's own repeatability", "the scatter of the test"


class Control(Struct, frozen=True, forbid_unknown_fields=True):
    """A property that the plant measures, with the test that does and what people call it."""

    property: str
    test: TestName
    words: str


class Uncomputed(Struct, frozen=True, forbid_unknown_fields=True):
    """A test that the plant makes and no sheet foretells, with the functions of what usually moves it."""

    test: TestName
    functions: tuple[Function, ...]
    source: Source


class Plant(Struct, frozen=True, forbid_unknown_fields=True):
    """What the pack says of plant control."""

    control: tuple[Control, ...]
    uncomputed: tuple[Uncomputed, ...]


class Margin(Struct, frozen=True):
    """How far a property moved, and how far it may until the plant sees it, in base units; ``whose`` is who says how far."""

    control: Control
    delta: float
    within: float
    whose: str


@cache
def plant() -> Plant:
    """The shipped figures."""
    return shipped("tests/plant", Plant, dec_hook)


def margins(after: Catalog, change: FormulaChange) -> list[Margin] | None:
    """What plant control measures, with how far each moved; None where a value is not a single number, or nothing says how far is far.

    The sheet's own window goes first, then the lab's repeatability, then that of the pack.
    """
    found = []
    moves = {one.id: one for one in change.properties}
    for control in plant().control:
        one = moves.get(control.property)
        if one is None or one.delta is None or not isinstance(one.before, float) or change.before is None:
            return None
        window = _window(change.before.formula, control)
        known = scatter(after.settings, control.test)
        if window is not None:
            found.append(Margin(control, one.delta, window, WINDOW))
        elif known is not None:
            found.append(Margin(control, one.delta, known.room(one.before), LAB if known.own else TEST))
        else:
            return None
    return found


def _window(formula: Formula, control: Control) -> float | None:
    """Half of the window that a sheet sets for a property, in its limits or its tests, in base units; None without one."""
    name = control.property
    own, spec = formula.limits.get(name), formula.tests.get(control.test)
    for least, most in ((own.min, own.max) if own else (None, None), (spec.min, spec.max) if spec else (None, None)):
        try:
            low, high = read_bounds(name, least, most)
        except Misread:
            continue  # a finding of its own says so
        if low is not None and high is not None:
            return (high.base - low.base) / 2
    return None


def noticed(before: Catalog, after: Catalog, change: FormulaChange) -> Iterator[str]:
    """One remark on another paint: which of what the plant measures would show it and which would not, and what cannot be computed."""
    if change.change is not Change.compositional or change.before is None or change.after is None or change.unread:
        return
    codes = changed_codes(before, after, change)
    usual = [line for one in plant().uncomputed if (line := _moves(before, after, one, codes))]
    rest = f", and {' and '.join(usual)}" if usual else ", and no thickener or neutralizer changed"
    yield f"{_shown(after, margins(after, change))}; consistency and pH cannot be computed{rest}"


def _shown(catalog: Catalog, found: Sequence[Margin] | None) -> str:
    """What of the measured properties hides a change, and what shows it, each with how far it moved and of how much."""
    if found is None:
        return "whether density and nonvolatile would show it in the plant cannot be said: a figure is missing or a range"
    hidden, seen = ([one for one in found if (abs(one.delta) <= one.within) is within] for within in (True, False))
    parts = [_listed(catalog, hidden, "would not show it in the plant")] if hidden else []
    parts += [_listed(catalog, seen, "would" if hidden else "would show it in the plant")] if seen else []
    return ", ".join(parts)


def _listed(catalog: Catalog, found: Sequence[Margin], words: str) -> str:
    names = " and ".join(one.control.words for one in found)
    return f"{names} {words} ({', '.join(_told(catalog, one) for one in found)})"


def _told(catalog: Catalog, one: Margin) -> str:
    """How far a property moved, and of how much: ``density +0.02 of +/-0.15 lb/gal``."""
    name = one.control.property
    unit, digits = units_of(name, catalog.settings.units, catalog.settings.currency)
    delta, within = (in_unit(part, unit) for part in (one.delta, one.within))
    moved = f"{delta:+.{digits}f}" if round(delta, digits) else f"{0:.{digits}f}"
    return f"{one.control.words} {moved} of +/-{within:.2g} {unit}, {one.whose}"


def _moves(before: Catalog, after: Catalog, one: Uncomputed, codes: tuple[str, ...]) -> str:
    """Which changed materials usually move a test that cannot be computed."""
    moving = [code for code in codes if {*functions_of(after, code), *functions_of(before, code)} & set(one.functions)]
    name = "pH" if one.test == "ph" else one.test
    return f"{', '.join(moving[:4])} usually {'moves' if len(moving) == 1 else 'move'} the {name}" if moving else ""
