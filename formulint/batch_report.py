"""A batch sheet as a report, and as an object for machines."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from formulint.batch import Batch, Delta
from formulint.batch_sheet import Row, rows
from formulint.contract import in_contract, number, unit_of
from formulint.properties import SUBSTANCE
from formulint.quantity import show
from formulint.render.json_report import dumps, value_of
from formulint.report import CAUTION, Cell, Report, Section, Table, Tone, assumptions, counted, heading, state_words
from formulint.scales import printed, rounded
from formulint.side import NONE
from formulint.sized import Sized
from formulint.verdict import bare, bare_limits, shown, title_of, units_of, verdict_word

BLANK = "........"
ROWS = 40  # of one table: an output may cut a longer one, and a line that is not seen is not weighed
FEW = 8  # properties that are told of what rounding does
SAFETY = (
    "Before weighing: read the safety data sheet of every material and wear what it asks for (eyes, hands, dust); extraction at the charging point, closed transfer of preservatives and alkali.",
    "Local codes apply. A qualified person checks this sheet before it is used, and signs for what was weighed.",
)  # fmt: skip
YIELD = "By calculation: volumes are additive, nothing is lost on the way."


def report(made: Batch) -> Report:
    """The sheet; where it is refused, the reasons and no amounts, so that nobody weighs by it."""
    catalog, found = made.catalog, made.sized
    title = f"formulint batch: {made.formula.code} revision {made.formula.revision}, {made.size}"
    sections = [Section(heading(catalog, made.formula.code), remarks=tuple(f"STOP {words}" for words in made.refused))]
    if found is not None and not made.refused:
        sections += [_stage(made, found, at) for at in range(len(made.formula.stage))]
        sections.append(_totals(made))
    if found is not None and made.deltas:
        sections.append(_rounding(made))
    if made.cautions:
        sections.append(Section("Cautions", remarks=tuple(f"CAUTION: {words}" for words in made.cautions)))
    if not made.refused:
        sections.append(_by_hand())
    closing = [f"NO BATCH SHEET: {counted(len(made.refused), 'reason')}, above"] if made.refused else list(SAFETY)
    closing += [f"NOT COMMITTED: {made.origin.loose}"] if made.origin.loose else []
    return Report(title, tuple(_facts(made)), tuple(sections), (*closing, CAUTION))


def _facts(made: Batch) -> list[str]:
    catalog, origin, seals = made.catalog, made.origin, made.digests
    facts = [f"NOT COMMITTED: {origin.loose}"] if origin.loose else []
    facts += [f"read from commit {origin.commit}"] if origin.commit else []
    facts.append(f"{state_words(catalog.snapshot.label)}, judged as on {catalog.today} ({catalog.snapshot.date_origin})")
    if made.sized is not None:
        facts.append(f"{made.sized.factor:.6g} times the batch of {made.formula.batch.text} of the sheet")
    facts += [f"{word} {seal}" for word, seal in (("composition", seals.composition), ("making", seals.making), ("data", seals.data))]
    return [*facts, *assumptions(catalog)]


def _stage(made: Batch, found: Sized, at: int) -> Section:
    stage = made.formula.stage[at]
    listed = list(rows(made, found, at))
    symbol = found.bench.symbol
    other = any(row.reads is not None and row.reads.unit.symbol != symbol for row in listed)
    columns = (">no", "what", ">weigh", *((f">= {symbol}",) if other else ()), "scale", "within", "lot", "weighed", "by")
    cells = [_row(row, number_, found, other) for number_, row in enumerate(listed, 1)]
    tables = tuple(Table(columns, tuple(cells[first : first + ROWS])) for first in range(0, len(cells), ROWS))
    tanks = dict.fromkeys(one.tank.code for one in made.tanks if one.stage == at)
    vessel = f", in {', '.join(tanks)}" if tanks else f", in {stage.vessel}" if stage.vessel else ""
    fill = [shown(one.litres, *_room(made)) for one in made.tanks if one.stage == at and not one.working]
    remarks = [f"{one} in {code} when all is in" for one, code in zip(fill, tanks, strict=False)]
    return Section(f"{at + 1}. {stage.name} ({stage.kind}{vessel})", tables=tables, remarks=(*([stage.note] if stage.note else []), *remarks))


def _row(row: Row, number_: int, found: Sized, other: bool) -> tuple[Cell, ...]:
    more = f" ({row.loads} loads)" if row.loads > 1 else " by volume" if row.portion is not None and row.portion.measured is not None else ""
    reads = "" if row.reads is None else f"{row.reads}{more}"
    within = f"+/- {row.tolerance}" if row.tolerance else ""
    weighing = None if row.portion is None else row.portion.weighing
    same = "" if weighing is None else rounded(weighing.kg, printed(weighing.kg, found.bench.symbol)).digits
    lot = BLANK if row.reads is not None else ""
    return (Cell(str(number_)), Cell(row.words), Cell(reads), *((Cell(same, "muted"),) if other else ()), Cell(row.scale), Cell(within), Cell(lot), Cell(BLANK), Cell("...."))


def _room(made: Batch) -> tuple[str, int]:
    return ("gal", 1) if made.catalog.settings.units == "us" else ("L", 1)


def _totals(made: Batch) -> Section:
    catalog = made.catalog
    lines = []
    for name, (exact, weighed) in made.totals.items():
        unit, digits = units_of(name, catalog.settings.units, catalog.settings.currency)
        lines.append((Cell(f"{title_of(name)}, {unit}"), Cell(bare(exact, unit, digits)), Cell(bare(weighed, unit, digits))))
    got = made.totals[made.size.unit.dimension][1]
    share = [f"yield {100 * got / made.size.base:.2f} % of {made.size}"] if isinstance(got, float) else [f"the yield cannot be told as a {made.size.unit.dimension}"]
    return Section("Totals", tables=(Table(("what", ">by the sheet", ">as weighed"), tuple(lines)),), remarks=(*share, YIELD))


def _rounding(made: Batch) -> Section:
    lines = list(_moved(made))
    if not lines:
        return Section("What rounding does", remarks=("rounding moves no property by a printed digit",))
    more = len(lines) - FEW
    table = Table(("property", ">by the sheet", ">as weighed", ">change", ">limit", "verdict"), tuple(lines[:FEW]))
    return Section("What rounding does, the worst first", tables=(table,), remarks=(f"and {more} more, which move less",) if more > 0 else ())


def _moved(made: Batch) -> Iterator[tuple[Cell, ...]]:
    """A row for each property that moves by a printed digit."""
    catalog = made.catalog
    for one in made.deltas:
        if one.id.startswith(SUBSTANCE) and one.bounds == NONE:
            continue  # their doses say it
        unit, digits = units_of(one.id, catalog.settings.units, catalog.settings.currency)
        before, after = _apart(one, unit, digits)
        crossed = one.verdicts[0] != one.verdicts[1]
        if before == after and not crossed:
            continue
        tone: Tone = "bad" if crossed and one.verdicts[1] == "fail" else "plain"
        words = verdict_word(one.verdicts[1]) if not crossed else f"{verdict_word(one.verdicts[0])} -> {verdict_word(one.verdicts[1])}"
        limit = Cell(bare_limits(one.bounds, unit, digits), "muted")
        name = f"{title_of(one.id)}, {unit}".removesuffix(", ")
        yield (Cell(name), Cell(before), Cell(after, tone), Cell(f"{one.after / one.before - 1:+.2%}" if one.before else ""), limit, Cell(words, tone))


def _apart(one: Delta, unit: str, digits: int) -> tuple[str, str]:
    """Both values as people see them, with one digit more than usual, so that a small step is seen."""
    before, after = (show(value, unit, digits + 1).removesuffix(unit).strip() for value in (one.before, one.after))
    return before, after


def _by_hand() -> Section:
    lines = ("batch number", "day", "tank clean, checked by", "made by", "weighing checked by", "adjusted with, how much", "departures from this sheet", "released by")
    return Section("To fill in by hand", tables=(Table(("what", "written"), tuple((Cell(one), Cell(BLANK * 4)) for one in lines)),))


# --- for machines ----------------------------------------------------------------------------------------------------


def to_json(made: Batch) -> str:
    """The ``batch`` object; without stages where the sheet is refused."""
    catalog, found, seals = made.catalog, made.sized, made.digests
    listed = [] if found is None or made.refused else [_stage_object(made, found, at) for at in range(len(made.formula.stage))]
    return dumps(
        {
            "format": "formulint/batch/1",
            "state": catalog.snapshot.label,
            "commit": made.origin.commit or None,
            "uncommitted": made.origin.loose or None,
            "date": str(catalog.today),
            "formula": made.formula.code,
            "revision": made.formula.revision,
            "digest": {"composition": seals.composition, "making": seals.making, "data": seals.data},
            "size": {"amount": number(made.size.value), "unit": made.size.spelled},
            "factor": None if found is None else number(found.factor),
            "stages": listed,
            "totals": {name: {"sheet": value_of(catalog, name, exact), "weighed": value_of(catalog, name, weighed)} for name, (exact, weighed) in made.totals.items()},
            "properties": [_delta(made, one) for one in made.deltas],
            "refused": list(made.refused),
            "cautions": list(made.cautions),
            "safety": [*SAFETY, CAUTION],
        }
    )  # fmt: skip


def _stage_object(made: Batch, found: Sized, at: int) -> dict[str, object]:
    stage = made.formula.stage[at]
    return {"name": stage.name, "kind": stage.kind, "vessel": stage.vessel or None, "lines": _lines(list(rows(made, found, at)))}


def _lines(listed: Sequence[Row]) -> list[dict[str, object]]:
    """Charges with what is weighed, and what is done between them, in one order; work has no material."""
    found: list[dict[str, object]] = []
    for row in listed:
        reads, weighing = row.reads, None if row.portion is None else row.portion.weighing
        found.append(
            {
                "material": row.code if reads is not None else None, "amount": None if reads is None else number(reads.value),
                "unit": None if reads is None else reads.spelled, "tolerance": row.tolerance or None, "scale": row.scale or None,
                "weighings": row.loads if reads is not None else None, "kg": None if weighing is None else number(weighing.kg), "kind": row.kind, "text": row.words,
            }
        )  # fmt: skip
    return found


def _delta(made: Batch, one: Delta) -> dict[str, object]:
    currency = made.catalog.settings.currency
    before, after = (in_contract(one.id, value, currency) for value in (one.before, one.after))
    return {"id": one.id, "unit": unit_of(one.id, currency), "sheet": before, "weighed": after, "verdict": one.verdicts[1] or None}
