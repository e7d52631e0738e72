"""Which tests a change of a formula asks for, by the table of the pack ``tests``, with method, condition and reason."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator
from functools import cache

from msgspec import Struct

from formulint.catalog import Catalog
from formulint.change import Change
from formulint.compare import FormulaChange
from formulint.content import Gap, Value
from formulint.finding import Source
from formulint.formula import Formula
from formulint.packing import shipped
from formulint.properties import dimension_of
from formulint.quantity import read
from formulint.rule import Where
from formulint.shape import dec_hook
from formulint.verdict import title_of
from formulint.vocabulary import Function

ASKING = (Change.compositional, Change.procedural)
"""Classes of change that ask for tests; what is the same paint, or the same paint better known, asks for none."""

SPEC = ("method", "condition", "after")
"""What in a sheet's [tests] makes another test of it; another window asks for no new measurement."""

SAME = 1e-9  # relative: an intermediate holds as much of a material as before


class Row(Struct, frozen=True, forbid_unknown_fields=True):
    """A row of the table: what must have changed, in which formulas, and the tests that are due then.

    ``functions`` are those of a material that changed; ``property`` is one that moved by at least ``by``; ``making`` stands for
    order, stages and steps.
    """

    id: str
    tests: tuple[str, ...]
    because: str
    source: Source
    functions: tuple[Function, ...] = ()
    property: str = ""
    by: str = ""
    making: bool = False
    where: Where = Where()


class Method(Struct, frozen=True, forbid_unknown_fields=True):
    """A test with what people call it and the methods that measure it."""

    id: str
    title: str
    methods: tuple[str, ...]
    checked: str


class Condition(Struct, frozen=True, forbid_unknown_fields=True):
    """Under what condition tests are made where the sheet does not say."""

    tests: tuple[str, ...]
    text: str
    source: Source


class Table(Struct, frozen=True, forbid_unknown_fields=True):
    """The table, with the tests that only it names."""

    due: tuple[Row, ...]
    test: tuple[Method, ...] = ()
    condition: tuple[Condition, ...] = ()


class _Words(Struct, frozen=True):
    """Of the closed lists, that of tests."""

    test: tuple[Method, ...]


class Due(Struct, frozen=True):
    """A test that is due: what it is called, how and under what condition it is made, and why, the first reason first."""

    test: str
    title: str
    method: str
    condition: str
    because: tuple[str, ...]


@cache
def table() -> Table:
    """The shipped table."""
    return shipped("tests/due", Table, dec_hook)


@cache
def methods() -> dict[str, Method]:
    """All tests by id: those of the format and those of the table."""
    return {one.id: one for one in (*shipped("vocabulary", _Words, dec_hook).test, *table().test)}


def due(before: Catalog, after: Catalog, change: FormulaChange) -> tuple[Due, ...]:
    """The tests that a change asks for, in the order of the table.

    A new formula asks for all tests of its sheet; one that is withdrawn, removed or cannot be read for none.
    """
    new = change.after
    if new is None or change.unread or new.formula.state == "withdrawn":
        return ()
    reasons: dict[str, list[str]] = {}
    if change.before is None:
        reasons = {name: ["the paint is new"] for name in new.formula.tests}
    else:
        _add(reasons, _by_sheet(change))
        if change.change in ASKING and new.formula.class_ != "intermediate":
            _add(reasons, _by_table(before, after, change))
    return tuple(_due(new.formula, test, why) for test, why in reasons.items())


def less(found: Iterable[Due], on_file: Collection[str]) -> tuple[Due, ...]:
    """The tests that are due, less those whose result is on file for the paint as it is now: the one place where that is taken off."""
    return tuple(one for one in found if one.test not in on_file)


def _add(reasons: dict[str, list[str]], found: Iterable[tuple[str, str]]) -> None:
    for test, why in found:
        known = reasons.setdefault(test, [])
        if why not in known:
            known.append(why)


def _by_sheet(change: FormulaChange) -> Iterator[tuple[str, str]]:
    """Tests that the sheet asks for anew, or by another method."""
    for one in change.fields:
        if one.keys[0] == "tests" and one.after is not None and len(one.keys) > 1 and (len(one.keys) == 2 or one.keys[2] in SPEC):
            yield str(one.keys[1]), "the sheet asks for it" if one.before is None else "the sheet asks for it in another way"


def _by_table(before: Catalog, after: Catalog, change: FormulaChange) -> Iterator[tuple[str, str]]:
    """Tests by the rows that speak, each with its reason."""
    assert change.after is not None
    codes = changed_codes(before, after, change)
    functions = {code: (*functions_of(after, code), *functions_of(before, code)) for code in codes}
    made = any(one.change is Change.procedural for one in change.fields) or any(one.action == "moved" for one in change.additions)
    for row in table().due:
        if not row.where.holds(change.after.formula):
            continue
        which = next((f"{code}, {_meant(row, functions[code])}" for code in codes if set(row.functions) & set(functions[code])), "")
        if not which and row.property and _moved(change, row):
            which = f"{title_of(row.property)}, which moved by {row.by} or more"
        if not which and row.making and made:
            which = "the making"
        if which:
            yield from ((test, f"{which}: {row.because}") for test in row.tests)


def _meant(row: Row, functions: Collection[str]) -> str:
    """Which of its functions a row is about."""
    return next(one for one in row.functions if one in functions)


def changed_codes(before: Catalog, after: Catalog, change: FormulaChange) -> tuple[str, ...]:
    """Raw materials that a changed line brings, that another supplier makes, or of which an intermediate holds another share."""
    found: dict[str, None] = {}
    for one in change.additions:
        if one.action in ("added", "removed", "changed", "replaced"):
            named = one.material.split(" -> ")
            found.update(dict.fromkeys(leaf for code in named for leaf in (*after.leaves(code), *before.leaves(code))))
    old, new = change.before, change.after
    if old is not None and new is not None:
        found.update(dict.fromkeys(code for code, name in old.suppliers.items() if name and new.suppliers.get(code, name) not in ("", name)))
        for code, print_ in new.blends.items():
            if old.blends.get(code, print_) != print_:
                found.update(dict.fromkeys(_shifted(before, after, code)))
    return tuple(found)


def _shifted(before: Catalog, after: Catalog, code: str) -> Iterator[str]:
    """Raw materials of which an intermediate holds another share than before."""
    was, now = (supply.leaves if (supply := side.supply(code)) is not None else {} for side in (before, after))
    for leaf in dict.fromkeys((*now, *was)):
        one, other = was.get(leaf, 0.0), now.get(leaf, 0.0)
        if not (isinstance(one, float) and isinstance(other, float) and abs(one - other) <= SAME * max(one, other)):
            yield leaf


def functions_of(catalog: Catalog, code: str) -> tuple[str, ...]:
    """The functions of a raw material; none where it is not known."""
    stock = catalog.stock(code)
    return () if stock is None else stock.material.functions


def _moved(change: FormulaChange, row: Row) -> bool:
    """True where a property moved by as much as a row says, or where it cannot be said that it did not."""
    one = next((one for one in change.properties if one.id == row.property), None)
    if one is None:
        return False
    if one.delta is None:
        return _open(one.before) != _open(one.after)
    return abs(one.delta) >= read(row.by, (dimension_of(row.property) or "",)).base * (1 - SAME)


def _open(value: Value | None) -> bool:
    return value is None or isinstance(value, Gap)


def _due(formula: Formula, test: str, because: Iterable[str]) -> Due:
    """A test with method and condition: the sheet's own before those of the pack."""
    known = methods().get(test)
    own = next((spec for name, spec in formula.tests.items() if name == test), None)
    said = next((one.text for one in table().condition if test in one.tests), "")
    method = own.method if own is not None else " or ".join(known.methods) if known is not None else ""
    after = [f"after {own.after.text}"] if own is not None and own.after is not None else []
    condition = "; ".join([*after, own.condition] if own is not None and (own.condition or after) else [said]).strip("; ")
    return Due(test, known.title if known is not None else test, method, condition, tuple(because))


def remarks(found: Iterable[Due]) -> Iterator[str]:
    """What is due in words: one line that names each test under the reason that it is named for first."""
    groups: dict[str, list[str]] = {}
    reasons: dict[str, dict[str, None]] = {}
    for one in found:
        name = one.title if one.title[:2].isupper() or one.test == "ph" else one.title[:1].lower() + one.title[1:]
        what, _, why = one.because[0].partition(": ")
        groups.setdefault(what, []).append(f"{name} ({one.method})" if one.method else name)
        reasons.setdefault(what, {}).setdefault(why)
    for what, tests in groups.items():
        why = "; ".join(filter(None, reasons[what]))
        yield f"tests now due: {', '.join(tests)}, because of {what}" + (f" ({why})" if why else "")


def objects(found: Iterable[Due]) -> list[dict[str, object]]:
    """The same for machines."""
    return [{"test": one.test, "method": one.method, "condition": one.condition, "because": "; ".join(one.because)} for one in found]
