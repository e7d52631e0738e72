"""Pages for machines, beside the reports: the order that a formula asks for, the reference of all properties."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from math import inf

from formulint import hazard_report
from formulint.catalog import Catalog
from formulint.contract import number, step_in_contract
from formulint.finding import Place
from formulint.order_graph import Pair
from formulint.order_report import Ordering
from formulint.properties import DOSES, PROPERTIES
from formulint.reference import definition, definition_of_dose, met, section
from formulint.render.json_report import digest_of, dumps, line_of, remedy_of, value_of
from formulint.rulebook import Shipped
from formulint.side import Side
from formulint.spread import causes, spread
from formulint.stages import of_stages
from formulint.vessels import Spot

NOTHING = 1e-300




def order(catalog: Catalog, found: Sequence[Ordering]) -> str:
    """The ``order`` object."""
    return dumps(
        {
            "format": "formulint/order/1",
            "state": catalog.snapshot.label,
            "date": str(catalog.today),
            "formulas": [_order(catalog, one) for one in found],
        }
    )


def _order(catalog: Catalog, found: Ordering) -> dict[str, object]:
    def place(spot: Spot) -> dict[str, object]:
        mark = catalog.locate(Place(found.file.name, ("stage", spot[0], "additions", spot[1])))
        return {"material": found.called(spot), "stage": found.stage(spot), "path": mark.path, "line": mark.line}

    def step(pair: Pair) -> dict[str, object]:
        return {"first": place(pair[0]), "then": place(pair[1]), "rules": list(found.rules.get(pair, ())), "kept": pair not in found.wrong}

    return {
        "code": found.subject.formula.code,
        "required": [step(pair) for pair in found.shown],
        "violated": [{"rule": one.rule, "level": one.level.name} for one in found.violated],
        "chains": [[step(pair) for pair in way] for way in found.chains],
        "contradictions": list(found.knots),
        "remedies": [] if found.remedy is None else [remedy_of(catalog, found.remedy)],
    }


def reference(shipped: Shipped) -> str:
    """The ``reference`` object: every declared property."""
    found = met(shipped)
    return dumps(
        {
            "format": "formulint/reference/1",
            "properties": [
                {
                    "id": one.id, "title": one.title, "symbol": one.symbol, "unit": one.unit or "1", "unit_us": one.unit_us or "1",
                    "definition": definition(one), "source": one.source, "checked": one.checked, "estimate": one.estimate or None,
                    "validity": section(one.law, "Notes"), "published": found[one.of or one.id].published if (one.of or one.id) in found else 0,
                }
                for one in PROPERTIES
            ],
            "doses": [{"id": one.id, "title": one.title, "unit": one.unit, "definition": definition_of_dose(one)} for one in DOSES],
        }
    )  # fmt: skip


def _properties(catalog: Catalog, side: Side, scatter: bool) -> dict[str, dict[str, object]]:
    """Values by property id, each interval with what makes it wide and how far it may be too wide; with ``scatter``, one standard deviation beside each."""
    found = {name: value_of(catalog, name, value) for name, value in side.values.items()}
    for name, one in causes(catalog, side).items():
        mark = catalog.locate(one.place)
        field = next(str(key) for key in reversed(one.place.keys))
        found[name]["slack"] = number(one.slack) if one.slack < inf else None
        found[name]["cause"] = {"material": one.material, "field": field, "path": mark.path, "line": mark.line, "share": number(one.share), "text": one.words}
    if scatter:
        off = spread(catalog, side)
        for name in found:
            found[name]["spread"] = step_in_contract(name, off[name], catalog.settings.currency) if name in off else None
    return found


def properties(catalog: Catalog, sides: Iterable[Side], scatter: bool = False) -> str:
    """The ``properties`` object."""
    return dumps(
        {
            "format": "formulint/properties/1",
            "state": catalog.snapshot.label,
            "date": str(catalog.today),
            "formulas": [
                {
                    "code": side.formula.code,
                    "revision": side.formula.revision,
                    "state": side.formula.state,
                    "digest": digest_of(side),
                    "properties": _properties(catalog, side, scatter),
                    "lines": [line_of(line) for line in side.lines],
                    "stages": [
                        {"name": one.name, "kind": one.kind, "vessel": one.vessel or None, "properties": {name: value_of(catalog, name, value) for name, value in one.values.items()}}
                        for one in of_stages(catalog, side)
                    ],
                    "hazards": hazard_report.objects(hazard_report.hazards(catalog, side)),
                }
                for side in sides
            ],
        }
    )
