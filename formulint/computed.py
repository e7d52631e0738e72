"""The report of what formulas come to: their lines, stages, properties against limits, hazards, spread."""

from __future__ import annotations

from collections.abc import Sequence

from formulint import hazard_report
from formulint.catalog import Catalog
from formulint.changed import named
from formulint.content import Gap, Value
from formulint.fingerprints import short
from formulint.pictured import MOST_PICTURED, not_pictured, of_side
from formulint.properties import BY_ID
from formulint.quantity import Quantity, show, step_in
from formulint.report import (
    CAUTION,
    Cell,
    Report,
    Section,
    Table,
    Tone,
    assumptions,
    counted,
    heading,
    title_line,
)
from formulint.side import Side, bounds_of, verdict_of
from formulint.spread import causes, spread, told, words
from formulint.stages import of_stages
from formulint.verdict import bare, bare_limits, units_of, verdict_word


def properties_table(
    catalog: Catalog, values: dict[str, Value], bounds: dict[str, tuple[Quantity | None, Quantity | None, str]], names: dict[str, str],
    scatter: dict[str, float] | None = None,
) -> Table:
    """Every property with its limit and verdict; with ``scatter``, one standard deviation beside its value."""
    rows = []
    for name, value in values.items():
        unit, digits = units_of(name, catalog.settings.units, catalog.settings.currency)
        least, most, verdict = bounds.get(name, (None, None, ""))
        tone: Tone = "bad" if verdict == "fail" else "warn" if verdict in ("open", "review") or isinstance(value, Gap) else "plain"
        estimate = " (estimate)" if name in BY_ID and BY_ID[name].estimate else ""
        rows.append(
            (
                Cell(named(name, unit, names) + estimate),
                Cell(bare(value, unit, digits), tone),
                *(() if scatter is None else (Cell(f"{step_in(scatter[name], unit):.{digits + 1}f}" if name in scatter else "", "muted"),)),
                Cell(bare_limits((least, most), unit, digits), "muted"),
                Cell(verdict_word(verdict), tone),
            )
        )
    return Table(("property", ">value", *(() if scatter is None else (">spread",)), ">limit", "verdict"), tuple(rows))


def lines_table(catalog: Catalog, side: Side) -> Table:
    """Every line as it was resolved: what it weighs, what room it takes, its share of the batch."""
    us = catalog.settings.units == "us"
    mass, room = ("lb", "gal") if us else ("kg", "L")
    whole = side.values.get("mass")
    rows = []
    for line in side.lines:
        addition = side.formula.stage[line.stage].additions[line.at]
        kg, litres = line.kg, line.litres
        share = f"{100 * kg / whole:.3f}" if isinstance(kg, float) and isinstance(whole, float) and whole else ""
        rows.append(
            (
                Cell(side.formula.stage[line.stage].name, "muted"),
                Cell(f"{line.code} {side.names.get(line.code, '')}".strip()),
                Cell("" if addition.amount is None else addition.amount.text),
                Cell(_bare_amount(kg, mass, 2)),
                Cell(_bare_amount(litres, room, 3)),
                Cell(share),
            )
        )
    return Table(("stage", "material", ">as written", f">{mass}", f">{room}", ">% of the batch"), tuple(rows))


def stages_table(catalog: Catalog, side: Side) -> Table:
    """What every stage comes to by itself, and how its disc runs."""
    stages = of_stages(catalog, side)
    ids = dict.fromkeys(name for one in stages for name in one.values)
    looks = {name: units_of(name, catalog.settings.units, catalog.settings.currency) for name in ids}
    rows = [
        (
            Cell(f"{one.name} ({one.kind}{', ' if one.vessel else ''}{one.vessel})"),
            *(Cell(bare(one.values.get(name), *looks[name])) for name in ids),
        )
        for one in stages
    ]
    return Table(("stage", *(f">{named(name, looks[name][0], {})}" for name in ids)), tuple(rows))


def _bare_amount(value: Value, unit: str, digits: int) -> str:
    return show(value, unit, digits).removesuffix(unit).strip() if isinstance(value, float) else "open"


def filled(catalog: Catalog, side: Side) -> list[str]:
    """What q.s. came to, in words."""
    us = catalog.settings.units == "us"
    found = []
    for line in side.lines:
        amount = side.formula.stage[line.stage].additions[line.at].amount
        if amount is not None and amount.to_fill:
            name = f"{side.names.get(line.code, '')} ({line.code})".strip()
            kg, litres = line.kg, line.litres
            if isinstance(kg, float) and isinstance(litres, float):
                words = f"{show(kg, 'lb', 1)}, {show(litres, 'gal', 2)}" if us else f"{show(kg, 'kg', 2)}, {show(litres, 'L', 2)}"
                found.append(f"{name} q.s. comes to {words}")
            else:
                found.append(f"what {name} q.s. comes to cannot be computed")
    return found


def properties(
    catalog: Catalog, sides: Sequence[Side], unread: Sequence[str], lines: bool = False, scatter: bool = False, hazards: bool = False,
    pictures: bool = False,
) -> Report:
    """The report of computed properties; with ``scatter``, how they spread in production; with ``pictures``, for a page."""
    sections: list[Section] = []
    for one in sides:
        bounds = {name: (*bounds_of(one, name), verdict_of(one, name)) for name in one.values}
        tables = [lines_table(catalog, one), stages_table(catalog, one)] if lines else []
        tables.append(properties_table(catalog, one.values, bounds, one.substances, spread(catalog, one) if scatter else None))
        classes = hazard_report.hazards(catalog, one)
        tables.append(hazard_report.whole(classes) if hazards else hazard_report.short(classes))
        gaps = dict.fromkeys(item.what for value in one.values.values() if isinstance(value, Gap) for item in value.missing)
        remarks = [*filled(catalog, one), *(f"open because: {what}" for what in gaps), *told(causes(catalog, one))]
        remarks += [f"{BY_ID[name].title}: {BY_ID[name].estimate}" for name in one.values if name in BY_ID and BY_ID[name].estimate]
        remarks += hazard_report.remarks(classes)
        remarks.append(f"composition {short(one.digests.composition)}  making {short(one.digests.making)}  data {short(one.digests.data)}")
        drawn = of_side(catalog, one) if pictures and len(sections) < MOST_PICTURED else ()
        sections.append(Section(heading(catalog, one.formula.code), (), tuple(tables), tuple(remarks), pictures=drawn))
    closing = [f"{counted(len(sides), 'formula')} computed", *((words(catalog),) if scatter else ())]
    closing += [f"{name} cannot be read: formulint lint says why" for name in unread]
    facts = (*assumptions(catalog), *(not_pictured(len(sides)) if pictures else ()))
    return Report(title_line(catalog), facts, tuple(sections), (*closing, CAUTION))
