"""One state of one formula with all that a comparison needs: values, lines, fingerprints, findings, bounds."""

from __future__ import annotations

from msgspec import Struct

from formulint.amounts import Line
from formulint.catalog import Catalog, File
from formulint.content import Value
from formulint.finding import Finding
from formulint.fingerprints import Prints
from formulint.formula import Formula
from formulint.judge import Judge
from formulint.material import Material
from formulint.properties import SUBSTANCE
from formulint.quantity import Quantity
from formulint.rule import Applied
from formulint.subject import FormulaSubject
from formulint.verdict import narrowest, outcome, read_bounds

NONE: tuple[None, None] = (None, None)


class Side(Struct, frozen=True):
    """One state of one formula."""

    file: File[Formula]
    formula: Formula
    values: dict[str, Value]
    lines: tuple[Line, ...]
    names: dict[str, str]
    materials: dict[str, Material]
    digests: Prints
    findings: tuple[Finding, ...]
    bounds: tuple[Applied, ...]
    substances: dict[str, str]
    suppliers: dict[str, str]
    blends: dict[str, str]
    litres: Value


def side(catalog: Catalog, code: str) -> Side | None:
    """A formula of one snapshot with all that a comparison needs; None where it is not there or cannot be read."""
    file = catalog.find_formula(code)
    if file is None or file.record is None:
        return None
    subject = catalog.subject(file)
    values = catalog.full(subject).values
    judge = Judge(catalog)
    findings = tuple(judge.formula(file))
    materials = {key: stock.material for key, stock in subject.stocks.items()}
    names = {key: material.name for key, material in materials.items()}
    suppliers = {key: material.supplier for key, material in materials.items()}
    prints = Prints(catalog, file.record)
    return Side(
        file, file.record, values, subject.resolved.lines, names, materials, prints, findings, judge.bounds(subject),
        _substance_names(subject), suppliers, prints.blends, _litres(file.record, values.get("volume", 0.0)),
    )  # fmt: skip


def _litres(formula: Formula, summed: Value) -> Value:
    """Volume of the batch [L]: as written, else what the lines add up to."""
    return formula.batch.base if formula.batch.dimension == "volume" else summed


def _substance_names(subject: FormulaSubject) -> dict[str, str]:
    """What the materials call the substances they name, by property id."""
    found: dict[str, str] = {}
    for stock in subject.stocks.values():
        for one in stock.material.component:
            if one.cas:
                found.setdefault(SUBSTANCE + one.cas, one.name)
    return found


def bounds_of(one: Side | None, name: str) -> tuple[Quantity | None, Quantity | None]:
    """The narrowest bounds that anything puts on a property."""
    applied = [] if one is None else [bound for bound in one.bounds if bound.property == name]
    return NONE if not applied else narrowest(read_bounds(name, bound.min, bound.max) for bound in applied)


def verdict_of(one: Side | None, name: str) -> str:
    """How a property stands to the narrowest of its bounds; empty where nothing judges it."""
    bounds = bounds_of(one, name)
    if one is None or bounds == NONE:
        return ""
    found = outcome(one.values.get(name, 0.0), *bounds)[0]
    kinds = [finding.fault.kind for finding in one.findings if finding.fault.property == name]
    return "review" if found == "fail" and "review" in kinds and "fail" not in kinds else found
