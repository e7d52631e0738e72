"""Reports for machines: one JSON object with stable keys, numbers with 12 significant digits."""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

from msgspec import to_builtins
from msgspec.structs import replace

from formulint.amounts import Line
from formulint.catalog import Catalog
from formulint.causes import Split
from formulint.change import Change
from formulint.changed import split_of
from formulint.clean import json_safe
from formulint.compare import FormulaChange, PropertyChange, RecordChange
from formulint.content import Bounded, Gap, Value
from formulint.contract import in_contract, number, unit_of
from formulint.contract import step_in_contract as step_in_contract
from formulint.due_report import due_now
from formulint.fields import FieldChange
from formulint.finding import Finding, Grant, Level, Place, Remedy
from formulint.interval import AtLeast, ends
from formulint.mend import Mending
from formulint.quantity import Quantity
from formulint.remeasured import ResultsChange
from formulint.remeasured_report import results_objects
from formulint.report import assumptions, overall
from formulint.side import Side
from formulint.standing import Old
from formulint.tests_due import objects

if TYPE_CHECKING:
    from formulint.gate import Answer

def dumps(data: object) -> str:
    """JSON text, no lone surrogates, keys in the order of the contract."""
    return json_safe(json.dumps(data, ensure_ascii=False, indent=1)) + "\n"


def value_of(catalog: Catalog, property_id: str, value: Value) -> dict[str, object]:
    """``value``, ``min``, ``max``, ``unit``, ``kind``, ``missing`` of one property."""
    currency = catalog.settings.currency
    found: dict[str, object] = {"value": None, "unit": unit_of(property_id, currency)}
    if isinstance(value, Gap):
        missing = [
            {"material": one.material, "field": one.field, "path": one.place.path, "line": catalog.locate(one.place).line, "text": one.what}
            for one in value.missing
        ]
        if isinstance(value, Bounded):
            low, high = (in_contract(property_id, end, currency) for end in ends(value.between))
            found |= {"min": low, "max": high}
        return {**found, "kind": "open", "missing": missing}
    low, high = (in_contract(property_id, end, currency) for end in ends(value))
    if low == high:
        return {**found, "value": low, "kind": "known"}
    if isinstance(value, AtLeast):
        return {**found, "value": low, "min": low, "max": high, "kind": "known", "at_least": True}
    return {**found, "value": number((low + high) / 2), "min": low, "max": high, "kind": "known"}


def result(catalog: Catalog, finding: Finding) -> dict[str, object]:
    """One finding by the contract."""
    fault = finding.fault
    mark = catalog.locate(fault.place)
    source = finding.source
    return {
        "rule": finding.rule,
        "kind": fault.kind,
        "level": finding.level.name,
        "message": fault.message,
        "formula": finding.formula or None,
        "material": finding.material or None,
        "path": mark.path,
        "line": mark.line,
        "column": mark.column,
        "keys": list(fault.place.keys),
        "measured": fault.measured,
        "limit": fault.limit,
        "unit": fault.unit or None,
        "remedy": fault.remedy or None,
        "why": finding.why or None,
        "source": None if source is None else {
            "document": source.document, "section": source.section, "checked": source.checked, "note": source.note,
        },
        "missing": [_place(catalog, place) for place in fault.missing],
        "related": [_place(catalog, place) for place in fault.related],
        "remedies": [remedy_of(catalog, one) for one in finding.remedies],
        "suppressed": None if finding.granted is None else _granted(finding.granted),
    }  # fmt: skip


def _granted(grant: Grant) -> dict[str, object]:
    """By what a finding may stand: a concession, or the list of old findings."""
    conceded = grant.until is not None
    return {
        "concession": grant.by if conceded else None,
        "expires": str(grant.until) if conceded else None,
        "reason": grant.reason,
        "reaches": list(grant.reaches),
        "standing": None if conceded else grant.by,
        "since": None if grant.since is None else str(grant.since),
    }


def remedy_of(catalog: Catalog, remedy: Remedy) -> dict[str, object]:
    """A remedy; each edit takes ``old`` out at a line and column of the file as it is, and puts ``new`` there."""
    edits = []
    for one in remedy.edits:
        mark = catalog.locate_offset(one.path, one.at)
        edits.append({"path": one.path, "line": mark.line, "column": mark.column, "keys": list(one.keys), "old": one.old, "new": one.new})
    return {"text": remedy.text, "edits": edits}


def _place(catalog: Catalog, place: Place) -> dict[str, object]:
    mark = catalog.locate(place)
    return {"path": mark.path, "line": mark.line, "column": mark.column}


def lint(catalog: Catalog, findings: Sequence[Finding], judged: dict[str, int]) -> str:
    """The ``lint`` object."""
    return dumps(
        {
            "format": "formulint/lint/1",
            "state": catalog.snapshot.label,
            "date": str(catalog.today),
            "date_origin": catalog.snapshot.date_origin,
            "judged": judged,
            "assumed": list(assumptions(catalog)),
            "verdict": overall(findings),
            "results": [result(catalog, finding) for finding in findings],
        }
    )


def gate(answer: Answer) -> str:
    """The ``gate`` object."""
    catalog = answer.after
    refused = set(answer.refused)
    worst = [replace(one, level=Level.error) if one in refused else one for one in answer.findings]
    return dumps(
        {
            "format": "formulint/gate/1",
            "base": answer.base,
            "head": answer.head,
            "merged": answer.merged,
            "state": catalog.snapshot.label,
            "date": str(catalog.today),
            "judged": {"formulas": len(answer.scope.formulas), "materials": len(answer.scope.materials)},
            "verdict": overall(worst),
            "answer": "no" if refused else "yes",
            "results": [result(catalog, finding) for finding in answer.findings],
            "measurements": results_objects(answer.results),
            "approvals": [{"formula": one.code, "revision": one.revision, "asked": one.asked, "given": to_builtins(one.given)} for one in answer.due],
        }
    )


def standing(catalog: Catalog, kept: Iterable[Old], mended: int, others: Iterable[Finding]) -> str:
    """The ``standing`` object: what is on the list now, how much was taken out, and what stops and is not on it."""
    return dumps(
        {
            "format": "formulint/standing/1",
            "date": str(catalog.today),
            "kept": [
                {"rule": one.rule, "formula": one.formula, "material": one.material, "about": one.about, "kind": one.kind, "count": one.count, "up_to": one.up_to}
                for one in sorted(kept, key=Old.order)
            ],
            "mended": mended,
            "others": [result(catalog, one) for one in others],
        }
    )


def mend(catalog: Catalog, found: Mending, written: int | None) -> str:
    """The ``mend`` object; ``written`` is the number of the remedy that was written, of those listed."""
    return dumps(
        {
            "format": "formulint/mend/1",
            "state": catalog.snapshot.label,
            "date": str(catalog.today),
            "path": found.file.name,
            "seen": found.seen,
            "remedies": [{"rule": one.finding.rule, **remedy_of(catalog, one.remedy)} for one in found.offers],
            "written": written,
        }
    )


def digest_of(side: Side) -> dict[str, str]:
    return {"composition": side.digests.composition, "making": side.digests.making, "data": side.digests.data}


def line_of(line: Line) -> dict[str, object]:
    kg = number(line.kg) if isinstance(line.kg, float) else None
    litres = number(line.litres) if isinstance(line.litres, float) else None
    return {"material": line.code, "kg": kg, "litres": litres}


def diff(
    before: Catalog, after: Catalog, changes: Sequence[FormulaChange], records: Sequence[RecordChange],
    through: dict[str, str], policy: Sequence[str], results: Sequence[ResultsChange] = (),
) -> str:
    """The ``diff`` object."""
    return dumps(
        {
            "format": "formulint/diff/1",
            "before": before.snapshot.label,
            "after": after.snapshot.label,
            "date": str(after.today),
            "formulas": [change_object(before, after, change) for change in changes],
            "records": [
                {"code": one.code, "path": one.path, "status": one.word or "changed", "fields": [_field(after, one.path, field) for field in one.fields]}
                for one in records
            ],
            "affected": [{"code": code, "through": used} for code, used in sorted(through.items())],
            "policy": list(policy),
            "measurements": results_objects(results),
        }
    )


def _field(catalog: Catalog, path: str, field: FieldChange) -> dict[str, object]:
    line = catalog.locate(Place(path, field.keys)).line
    return {"field": field.what, "class": field.change.name, "before": field.before, "after": field.after, "path": path, "line": line}


def change_object(before: Catalog, after: Catalog, change: FormulaChange) -> dict[str, object]:
    found = split_of(before, after, change)
    path = change.after.file.name if change.after else ""
    fields = [_field(after, path, one) for one in change.fields]
    return {
        "code": change.code,
        "class": change.change.name,
        "unread": change.unread or None,
        "policy": [one for one in fields if one["class"] == Change.policy.name],
        "fields": [one for one in fields if one["class"] != Change.policy.name],
        "digest": {
            "before": digest_of(change.before) if change.before else None,
            "after": digest_of(change.after) if change.after else None,
        },
        "additions": [
            {
                "action": one.action, "stage": one.stage, "material": one.material, "before": one.before, "after": one.after,
                "kg_per_litre_before": None if one.kg_before is None else number(one.kg_before),
                "kg_per_litre_after": None if one.kg_after is None else number(one.kg_after),
                "kg_before": None if one.weights[0] is None else number(one.weights[0]),
                "kg_after": None if one.weights[1] is None else number(one.weights[1]),
                "rewritten": one.rewritten,
                "moved": list(one.where) if one.action == "moved" else None,
                "path": one.place.path,
                "line": (after if change.after and one.action != "removed" else before).locate(one.place).line,
            }
            for one in change.additions
        ],
        "properties": [_property(after, one, found) for one in change.properties],
        "not_split": found.why_not or None,
        "results": {
            "new": [result(after, finding) for finding in (*change.own, *change.new)],
            "gone": [result(before, finding) for finding in change.gone],
            "kept": [result(after, finding) for finding in change.kept],
        },
        "tests_due": objects(due_now(before, after, change)),
    }  # fmt: skip


def _causes(catalog: Catalog, change: PropertyChange, found: Split, currency: str) -> list[dict[str, object]]:
    """The parts of a delta, the largest first; what they leave is a part of its own."""
    causes: list[dict[str, object]] = []
    for one in sorted(found.causes, key=lambda one: -abs(one.parts.get(change.id, 0.0))):
        if part := one.parts.get(change.id, 0.0):
            mark = catalog.locate(one.place)
            causes.append({"what": one.what, "path": mark.path, "line": mark.line, "delta": step_in_contract(change.id, part, currency)})
    if left := found.residual.get(change.id, 0.0):
        causes.append({"what": "not explained", "path": None, "line": None, "delta": step_in_contract(change.id, left, currency)})
    return causes


def _property(catalog: Catalog, change: PropertyChange, found: Split) -> dict[str, object]:
    currency = catalog.settings.currency

    def known(value: Value | None) -> float | None:
        return in_contract(change.id, value, currency) if isinstance(value, float) else None

    return {
        "id": change.id,
        "unit": unit_of(change.id, currency),
        "before": known(change.before),
        "after": known(change.after),
        "delta": None if change.delta is None else step_in_contract(change.id, change.delta, currency),
        "limit": _limit(change.id, change.limit, currency),
        "limit_before": _limit(change.id, change.limit_before, currency),
        "verdict": {"before": change.verdict_before or None, "after": change.verdict_after or None},
        "causes": _causes(catalog, change, found, currency),
    }


def _limit(property_id: str, limit: tuple[Quantity | None, Quantity | None], currency: str) -> dict[str, object]:
    ends = zip(("min", "max"), limit, strict=True)
    return {key: None if bound is None else in_contract(property_id, bound.base, currency) for key, bound in ends}
