"""Pictures of formulas for reports: values against their limits, what each stage is made of, PVC against the critical PVC."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from math import fsum

from formulint.catalog import Catalog
from formulint.compare import FormulaChange
from formulint.content import Gap, Value
from formulint.interval import ends
from formulint.picture import Bar, Level, Levels, Numbers, Picture, Span, Stacks, Track, Tracks
from formulint.properties import SUBSTANCE
from formulint.quantity import in_unit
from formulint.side import Side, bounds_of, verdict_of
from formulint.verdict import as_seen, bare, bare_limits, title_of, units_of, verdict_word

MOST_PICTURED = 12  # formulas of one page: a page of hundreds would be too heavy for anybody
MOST_TRACKS = 8  # values in one picture: more are no longer seen at a look
MOVES = 1e-9  # relative: below this a stage holds the same, but for the rounding of floats
PARTS = ("water", "pigments and extenders", "binder", "coalescents and glycols", "additives", "intermediates")
"""What the bars of stages are cut into."""

_PIGMENTS = {"white-pigment", "colored-pigment", "extender", "opaque-polymer", "flatting-agent", "colorant"}
_VOLATILES = {"coalescent", "plasticizer", "glycol", "open-time-additive", "solvent"}
_WEIGHT = {"fail": 0, "open": 1, "review": 2}


def of_change(before: Catalog, after: Catalog, change: FormulaChange) -> tuple[Picture, ...]:
    """The pictures of a formula that is on both sides of a comparison."""
    if change.before is None or change.after is None:
        return ()
    return tuple(_pictures((before, change.before), (after, change.after)))


def of_side(catalog: Catalog, one: Side) -> tuple[Picture, ...]:
    """The pictures of a formula by itself."""
    return tuple(_pictures(None, (catalog, one)))


def not_pictured(formulas: int) -> tuple[str, ...]:
    """How many formulas of a page have no pictures, in words."""
    more = formulas - MOST_PICTURED
    return (f"pictures of the first {MOST_PICTURED} formulas; {more} more {'has' if more == 1 else 'have'} tables only",) if more > 0 else ()


def _pictures(old: tuple[Catalog, Side] | None, new: tuple[Catalog, Side]) -> Iterator[Picture]:
    yield from _tracks(old, new)
    yield from _levels(old, new)
    yield from _stacks(old, new)


# --- values against their limits ---------------------------------------------------------------------------------


def _tracks(old: tuple[Catalog, Side] | None, new: tuple[Catalog, Side]) -> Iterator[Picture]:
    catalog, here = new
    found, rows = [], []
    for name in here.values:
        bounds = bounds_of(here, name)
        if bounds == (None, None):
            continue
        unit, digits = units_of(name, catalog.settings.units, catalog.settings.currency)
        label = here.substances.get(name, title_of(name)) if name.startswith(SUBSTANCE) else title_of(name)
        before = None if old is None else _span(old[1].values.get(name), unit, digits)
        after = _span(here.values[name], unit, digits)
        verdict = verdict_of(here, name)
        words = _worded(before, after, unit)
        least, most = (None if one is None else as_seen(one.base, unit) for one in bounds)
        moved = before is not None and after is not None and before.text != after.text
        weight = (_WEIGHT.get(verdict, 3), not moved)
        found.append((weight, Track(label, before, after, least, most, words, verdict_word(verdict))))
        was = () if old is None else (bare(old[1].values.get(name), unit, digits),)
        rows.append((f"{label}, {unit}" if unit else label, *was, bare(here.values[name], unit, digits), bare_limits(bounds, unit, digits), verdict_word(verdict)))
    if not found:
        return
    tracks = tuple(track for _, track in sorted(found, key=lambda one: one[0])[:MOST_TRACKS])
    columns = ("property", *(() if old is None else (">before",)), ">value" if old is None else ">after", ">limit", "verdict")
    yield Tracks("Values against their limits", _said_of_tracks(tracks), Numbers(columns, tuple(rows)), tracks, len(found) - len(tracks))


def _said_of_tracks(tracks: Iterable[Track]) -> str:
    return "; ".join(f"{one.label} {one.words} {one.verdict}".strip() for one in tracks)


def _span(value: Value | None, unit: str, digits: int) -> Span | None:
    if value is None or isinstance(value, Gap):
        return None
    low, high = ends(value)
    return Span(as_seen(low, unit), as_seen(high, unit), bare(value, unit, digits))


def _worded(before: Span | None, after: Span | None, unit: str) -> str:
    now = "open" if after is None else f"{after.text} {unit}".strip()
    if before is None or (after is not None and before.text == after.text):
        return now
    return f"{before.text} -> {now}"


# --- PVC against the critical PVC --------------------------------------------------------------------------------


def _levels(old: tuple[Catalog, Side] | None, new: tuple[Catalog, Side]) -> Iterator[Picture]:
    found = []
    for label, one in (("before", None if old is None else old[1]), ("after" if old else "this sheet", new[1])):
        pair = () if one is None else (one.values.get("pvc_binder"), one.values.get("cpvc"))
        numbers = [100 * value for value in pair if isinstance(value, float)]
        if len(numbers) == 2:
            found.append(Level(label, numbers[0], numbers[1], f"{numbers[0]:.1f} % of {numbers[1]:.1f} % critical"))
    if not found or not any(one.value for one in found):
        return
    rows = tuple((one.label, f"{one.value:.1f}", f"{one.critical:.1f}", _beside(one)) for one in found)
    said = "; ".join(f"{one.label}: {one.text}, {_beside(one)}" for one in found) + ". The critical PVC is an estimate from oil absorption."
    yield Levels("PVC against the critical PVC", said, Numbers(("sheet", ">PVC, %", ">critical PVC, %", "which is"), rows), tuple(found))


def _beside(one: Level) -> str:
    return "below it" if one.value < one.critical else "at it or above"


# --- what each stage is made of ----------------------------------------------------------------------------------


def _stacks(old: tuple[Catalog, Side] | None, new: tuple[Catalog, Side]) -> Iterator[Picture]:
    catalog, here = new
    unit, digits = units_of("mass", catalog.settings.units, catalog.settings.currency)
    after = _stages(catalog, here, unit)
    before = {} if old is None else _stages(*old, unit)
    if not after or None in after.values() or None in before.values():
        return  # what is not known in full is not drawn: a missing line would look like a light one
    used = [at for at in range(len(PARTS)) if any(part[at] for stages in (before, after) for part in stages.values() if part)]
    parts = tuple(PARTS[at] for at in used)
    groups, rows = [], []
    for name in dict.fromkeys((*before, *after)):
        bars = []
        for label, stages in (("before", before), ("after" if old else "", after)):
            amounts = stages.get(name)
            if amounts is not None and (label != "before" or _other(amounts, after.get(name))):
                cut = tuple(amounts[at] for at in used)
                bars.append(Bar(label, cut, f"{fsum(cut):.{digits}f} {unit}"))
                rows.append((name, *(() if old is None else (label,)), *(f"{one:.{digits}f}" for one in cut), f"{fsum(cut):.{digits}f}"))
        if old is not None and len(bars) == 1 and name in before and name in after:
            bars = [Bar("as before", bars[0].amounts, bars[0].text)]
            rows[-1] = (name, "as before", *rows[-1][2:])
        groups.append((name, tuple(bars)))
    said = "; ".join(f"{name}: {', '.join(f'{bar.label} {bar.text}'.strip() for bar in bars)}" for name, bars in groups)
    columns = ("stage", *(() if old is None else ("sheet",)), *(f">{part}, {unit}" for part in parts), f">sum, {unit}")
    yield Stacks("What each stage is made of", said, Numbers(columns, tuple(rows)), parts, tuple(groups))


def _other(one: tuple[float, ...], other: tuple[float, ...] | None) -> bool:
    return other is None or any(abs(left - right) > MOVES * max(left, right) for left, right in zip(one, other, strict=True))


def _stages(catalog: Catalog, one: Side, unit: str) -> dict[str, tuple[float, ...] | None]:
    """What is charged in each stage by part, in the unit that people see; None where a line is not known."""
    found: dict[str, tuple[float, ...] | None] = {}
    for number, stage in enumerate(one.formula.stage):
        lines = [line for line in one.lines if line.stage == number]
        masses = [(line.code, line.kg) for line in lines if isinstance(line.kg, float)]
        if not lines:
            continue
        name = stage.name if stage.name not in found else f"{stage.name} ({number + 1})"
        amounts = [fsum(in_unit(kg, unit) for code, kg in masses if _part(catalog, code) == at) for at in range(len(PARTS))]
        found[name] = tuple(amounts) if len(masses) == len(lines) else None
    return found


def _part(catalog: Catalog, code: str) -> int:
    """Which part of a bar a material is counted in."""
    stock = catalog.stock(code)
    if stock is None:
        return 5
    functions = set(stock.material.functions)
    if functions & _PIGMENTS:
        return 1
    if "binder" in functions:
        return 2
    if "water" in functions:
        return 0
    return 3 if functions & _VOLATILES else 4


