"""Hazard classes of a formula for people and machines: short, as a whole table, as JSON, and what a change does to them."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import TYPE_CHECKING

from msgspec import Struct

from formulint.catalog import Catalog
from formulint.compare import FormulaChange
from formulint.hazard.classify import Classification, Near, Outcome, of_subject
from formulint.hazard.ingredient import Ingredient
from formulint.hazard.scheme import CAUTION, SCHEMES, percent
from formulint.hazard.shares import Holding, holding
from formulint.hazard.steady import steady
from formulint.report import Cell, Table, Tone, counted
from formulint.side import Side

if TYPE_CHECKING:
    from fractions import Fraction

NO_CLASS = "no class by calculation"
FEW = 3  # names that are told, the others counted
WORDS = {"known": "", "open": "open", "conditional": "depends", "statement": ""}


class Hazards(Struct, frozen=True):
    """A formula in all schemes, and what it holds."""

    held: Holding
    found: tuple[Classification, ...]


def hazards(catalog: Catalog, side: Side) -> Hazards:
    """The classes of one state of a formula."""
    subject = catalog.subject(side.file)
    return Hazards(holding(subject), tuple(of_subject(name, subject) for name in SCHEMES))


# --- for people ------------------------------------------------------------------------------------------------------


def short(one: Hazards) -> Table:
    """One row a scheme: classes with what brings them, and the class that is nearest."""
    rows = []
    for each in one.found:
        said = [_told(outcome) for outcome in each.of("known", "statement")]
        depends = [f"{outcome.result} {outcome.why}" for outcome in each.of("conditional") if outcome.family not in ("asp", "sheet")]
        opened = [outcome.result for outcome in each.of("open")]
        words = [*said, *depends, *([f"not excluded: {', '.join(opened)}"] if opened else [])]
        tone: Tone = "warn" if words or not each.known else "plain"
        text = "; ".join(words) or NO_CLASS
        rows.append((Cell(each.scheme.id), Cell(text if each.known else "open", tone), Cell(_next(each.near), "muted")))
    return Table(("hazards", "classes (screening)", "nearest of the others"), tuple(rows))


def _told(outcome: Outcome) -> str:
    names = f" by {_names(outcome.causes)}" if outcome.causes else ""
    statement = "" if outcome.statement in ("", outcome.result) else f" {outcome.statement}"
    return f"{outcome.result}{statement}{names}"


def _names(causes: Iterable[Ingredient]) -> str:
    listed = [f"{called(one.name)} {span(one)}" for one in causes]
    return ", ".join(listed[:FEW]) + (f" and {len(listed) - FEW} more" if len(listed) > FEW else "")


def called(name: str) -> str:
    """The abbreviation that stands in brackets behind a name, else the name."""
    short_name = name.rsplit("(", 1)[-1].rstrip(")")
    return short_name if name.endswith(")") and short_name.isupper() and short_name.isalpha() else name


def span(one: Ingredient) -> str:
    """The share of a substance in the paint."""
    low, high = percent(one.low), percent(one.high)
    return low if low == high else f"{low} to {high}"


def _next(near: Iterable[Near]) -> str:
    first = min(near, key=lambda one: one.more, default=None)
    return "" if first is None else f"{first.result}: {percent(first.more)} more {called(first.name)}"


def whole(one: Hazards) -> Table:
    """Every class with what brings it, what depends on what is not known, and how far the next ones are."""
    rows = [row for each in one.found for row in _rows(each)]
    return Table(("scheme", "class", "statement", "how", "by"), tuple(rows))


def _rows(each: Classification) -> Iterator[tuple[Cell, ...]]:
    scheme = Cell(each.scheme.id, "muted")
    if not each.known:
        yield scheme, Cell("open", "warn"), Cell(""), Cell(""), Cell("")
    elif not each.outcomes:
        yield scheme, Cell(NO_CLASS), Cell(""), Cell(""), Cell("")
    for outcome in each.outcomes:
        tone: Tone = "bad" if outcome.kind == "known" else "warn"
        how = ": ".join(word for word in (WORDS[outcome.kind], outcome.why or outcome.text) if word)
        by = _names(outcome.causes)
        yield scheme, Cell(outcome.result, tone), Cell(outcome.statement), Cell(f"{how} ({outcome.checked})".strip()), Cell(by)
    for near in sorted(each.near, key=lambda one: one.more):
        yield scheme, Cell(near.result, "muted"), Cell(near.statement, "muted"), Cell(f"not reached: {percent(near.more)} more", "muted"), Cell(called(near.name), "muted")


def remarks(one: Hazards) -> tuple[str, ...]:
    """What is not known, what was assumed, and that others decide."""
    found = [remark for each in one.found for remark in each.remarks]
    unknown = {cause.cas or cause.name: cause for each in one.found for cause in each.unknown}
    if unknown:
        names = [f"{cause.name} {percent(cause.high)} ({', '.join(cause.materials)})" for cause in unknown.values()]
        more = f" and {len(names) - FEW} more" if len(names) > FEW else ""
        found.append(f"open: {counted(len(unknown), 'component')} without hazards that can be read: {'; '.join(names[:FEW])}{more}")
    if one.held.unnamed:
        names = [f"up to {percent(part.high)} from {part.code}" for part in one.held.unnamed]
        more = f" and {len(names) - FEW} more" if len(names) > FEW else ""
        found.append(f"open: classes are at least those told, for what is not named: {'; '.join(names[:FEW])}{more}")
    found += [f"{each.scheme.id}: {each.scheme.says}" for each in one.found if each.scheme.id == "us"]
    return tuple(f"hazards: {words}" for words in dict.fromkeys((*found, CAUTION)))


# --- for machines ----------------------------------------------------------------------------------------------------


def objects(one: Hazards) -> dict[str, list[dict[str, object]]]:
    """By scheme: classes, those not excluded, the next ones, and what is not known, each an object of the same keys."""
    return {each.scheme.id: list(_objects(each, one.held)) for each in one.found}


def _objects(each: Classification, held: Holding) -> Iterator[dict[str, object]]:
    for outcome in each.outcomes:
        text = outcome.text or outcome.why
        yield _object(outcome.kind, outcome.result, outcome.statement, text, [_cause(cause) for cause in outcome.causes], checked=outcome.checked)
    for near in each.near:
        cause: dict[str, object] = {"name": near.name, "cas": near.cas or None, "min": None, "max": None, "materials": []}
        yield _object("next", near.result, near.statement, "", [cause], more=_number(near.more))
    for unclear in each.unknown:
        yield _object("unknown", None, "", "its record gives no hazards that can be read", [_cause(unclear)])
    for part in held.unnamed:
        rest: dict[str, object] = {"name": None, "cas": None, "min": 0.0, "max": _number(part.high), "materials": [part.code]}
        yield _object("unnamed", None, "", "not named by the supplier", [rest])
    for remark in (*each.remarks, each.scheme.says, CAUTION):
        yield _object("remark", None, "", remark, [])


def _object(
    kind: str, result: str | None, statement: str, text: str, causes: list[dict[str, object]], more: float | None = None, checked: str = ""
) -> dict[str, object]:
    return {
        "class": result, "statement": statement or None, "kind": kind, "text": text or None, "causes": causes, "more": more,
        "unit": "%", "checked": checked or None,
    }  # fmt: skip


def _cause(one: Ingredient) -> dict[str, object]:
    return {"name": one.name, "cas": one.cas or None, "min": _number(one.low), "max": _number(one.high), "materials": list(one.materials)}


def _number(value: Fraction) -> float:
    """A share in %, in 12 significant digits."""
    return float(f"{float(100 * value):.12g}")


# --- what a change does ----------------------------------------------------------------------------------------------


def moved(before: Catalog, after: Catalog, change: FormulaChange) -> tuple[str, ...]:
    """In words, each class or statement that a change brings or takes away."""
    if change.before is None or change.after is None or not _may_move(change.before, change.after):
        return ()
    words = []
    old, new = (catalog.subject(side.file) for catalog, side in ((before, change.before), (after, change.after)))
    same_ph = change.before.formula.tests.get("ph") == change.after.formula.tests.get("ph")
    if same_ph and steady(old, new):
        return ()
    for name in SCHEMES:
        was, now = (labels(of_subject(name, each, distances=False)) for each in (old, new))
        if was != now:
            gone, come = (", ".join(label for label in side if label not in rest) for side, rest in ((was, now), (now, was)))
            words.append(f"hazard ({name}, screening): {gone or NO_CLASS} -> {come or NO_CLASS}")
    return tuple(words)


def _may_move(before: Side, after: Side) -> bool:
    """False where neither what is in the paint nor what its materials are said to be has changed, nor the pH that is asked for."""
    same = not before.digests.other_paint(after.digests) and before.digests.data == after.digests.data
    return not same or before.formula.tests.get("ph") != after.formula.tests.get("ph")


def labels(each: Classification) -> tuple[str, ...]:
    """What is said of a paint in short: classes and statements that are certain, then classes that cannot be excluded."""
    if not each.known:
        return ("open",)
    sure = [f"{outcome.result} {outcome.statement}".strip() if outcome.statement != outcome.result else outcome.result for outcome in each.of("known", "statement")]
    return tuple(dict.fromkeys((*sure, *(f"{outcome.result} not excluded" for outcome in each.of("open")))))

