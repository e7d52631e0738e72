"""What a change does, as a part of a report: policy first, then how it is made, its lines, its properties and their causes."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from math import fsum
from types import MappingProxyType
from typing import TYPE_CHECKING

from formulint.catalog import Catalog
from formulint.causes import Split, split
from formulint.change import Change
from formulint.compare import FormulaChange, PropertyChange, RecordChange
from formulint.content import Gap
from formulint.due_report import differences, due_now, due_told
from formulint.fields import FieldChange, written
from formulint.formula import Formula
from formulint.headroom import left
from formulint.interval import ends
from formulint.lines import LineChange
from formulint.properties import SUBSTANCE
from formulint.quantity import in_unit, show, step_in
from formulint.report import Cell, Located, Section, Table, Tone, counted
from formulint.tests_due import remarks as due_words
from formulint.units import unit_of
from formulint.verdict import as_seen, bare, bare_limits, shown, title_of, units_of, verdict_word

if TYPE_CHECKING:
    from formulint.picture import Picture

CHANGE_WORDS = {
    Change.none: "no change",
    Change.editorial: "the same paint (editorial)",
    Change.equivalent: "the same paint in other digits (equivalent)",
    Change.procedural: "the same composition, made in another way (procedural)",
    Change.data: "the same sheet, a material's figures changed (data)",
    Change.compositional: "another paint (compositional)",
    Change.policy: "policy",
    Change.evidence: "what was measured",
}
FOLLOWS = 0.05  # a substance that moves by less than this share only follows the batch, and is counted, not listed
FOLLOWS_FIGURES = 0.005  # where the sheet is the same, a share that somebody corrected is a change of its own
EXPLAINED = ("density", "pvc_binder", "voc_less_water", "cost_volume")  # explained whenever they move; others where a limit asks
FEW = 3  # causes of one delta that are told, the others folded
LISTED = 8  # materials that are named where many came or went
PLAINLY = 1.001  # printed digits; a little more than one of them, for what floats lose
NOT_GIVEN = "not given"
NOISE = 1e-9  # below this, a difference per 100 gal or 1000 L is the machine's arithmetic
NO_PICTURES: Mapping[str, tuple[Picture, ...]] = MappingProxyType({})
LINE_DIGITS = 2  # of a line's difference per 100 gal or 1000 L


def change_section(
    before: Catalog, after: Catalog, change: FormulaChange, found: Sequence[Located], review: bool = True, drawn: tuple[Picture, ...] = ()
) -> Section:
    """One formula of a comparison, for a ``review`` with what plant control would notice and what moves in its hazards; one line where it came or went as a whole, or cannot be read."""
    called = f"{change.code}  {change.name}".rstrip()
    if change.unread:
        return Section(f"{called}: {change.unread}", tuple(found))
    if change.before is None or change.after is None:
        return _whole(after, change, found)
    moved = [one for one in change.properties if not _same_text(after, one)]
    least = FOLLOWS_FIGURES if change.change is Change.data else FOLLOWS
    told = [one for one in moved if not _only_follows(one, least)]
    lines, remarks = _sorted_lines(after, change)
    said, causes = _explained(before, after, change, told, review)
    tables = [*_tables(after, change, lines, told, review), *causes]
    remarks += said
    if len(change.properties) > len(moved):
        remarks.append(f"{len(change.properties) - len(moved)} more without a printed difference")
    if len(moved) > len(told):
        remarks.append(f"{counted(len(moved) - len(told), 'substance')} moved by less than {100 * least:g} % with the batch")
    if not review:
        remarks += due_words(due_now(before, after, change))
    else:
        from formulint.hazard_report import moved as hazards_moved  # their figures are not read while a commit waits
        from formulint.plant_control import noticed  # a remark for whoever reviews

        remarks += left(after, change, names_of(change)) if told else []
        remarks += hazards_moved(before, after, change)
        tests, why = due_told(before, after, change)
        tables += tests
        remarks += (*why, *differences(before, after, change))
        remarks += noticed(before, after, change)
    if change.gone:
        remarks.append("no longer found: " + "; ".join(one.fault.message for one in change.gone[:5]))
    words = "the same paint, other prices" if change.change is Change.none and told else CHANGE_WORDS[change.change]
    title = f"{called}: {words}" + (f", policy: {', '.join(change.policy)}" if change.policy else "")
    return Section(title, tuple(found), tuple(tables), tuple(remarks), pictures=drawn)


def change_sections(
    before: Catalog, after: Catalog, changes: Iterable[FormulaChange], found: Mapping[str, Sequence[Located]], review: bool = True,
    drawn: Mapping[str, tuple[Picture, ...]] = NO_PICTURES,
) -> list[Section]:
    """The formulas of a comparison with what was ``found`` about each and its pictures; those in which nothing printed moves are named together."""
    sections: list[Section] = []
    quiet: list[Section] = []
    for one in changes:
        section = change_section(before, after, one, found.get(one.code, ()), review, drawn.get(one.code, ()))
        silent = one.change is Change.data and not (section.findings or section.tables or one.gone)
        (quiet if silent else sections).append(section)
    if quiet:
        codes = [one.heading.partition("  ")[0] for one in quiet]
        more = f" and {len(codes) - LISTED} more" if len(codes) > LISTED else ""
        sections.append(Section(f"A material's figures changed, and no printed figure moves: {', '.join(codes[:LISTED])}{more}"))
    return sections


def _tables(catalog: Catalog, change: FormulaChange, lines: Sequence[LineChange], told: Sequence[PropertyChange], review: bool) -> list[Table]:
    """Policy first, for it needs another approver; then the lines, how it is made, the properties, and all the rest; for a ``review`` with shares of lines."""
    assert change.before is not None and change.after is not None
    policy = [*_markets(change.before.formula, change.after.formula)]
    policy += [one for one in change.fields if one.change is Change.policy and one.keys != ("markets",)]
    batch = [one for one in change.fields if one.keys == ("batch",)]
    made = [one for one in change.fields if one.change is Change.procedural]
    other = [one for one in change.fields if one.change not in (Change.policy, Change.procedural) and one not in batch]
    tables = [fields_table(policy, "policy")] if policy else []
    tables += [_lines_table(catalog, lines, batch, review)] if lines or batch else []
    tables += [fields_table(made, "made")] if made else []
    tables += [_deltas_table(catalog, told, names_of(change))] if told else []
    return tables + ([fields_table(other, "also")] if other else [])


def _markets(old: Formula, new: Formula) -> Iterator[FieldChange]:
    """A row for each market that judges no longer, or from now on."""
    for market in dict.fromkeys((*old.markets, *new.markets)):
        if (market in old.markets) != (market in new.markets):
            was, now = (("judged", "no longer judged"), (None, "judged"))[market in new.markets]
            yield FieldChange(Change.policy, ("markets",), f"market {market}", was, now)
    if set(old.markets) == set(new.markets) and old.markets != new.markets:
        yield FieldChange(Change.policy, ("markets",), "markets", written(old.markets), written(new.markets))


def record_sections(changes: Iterable[RecordChange]) -> list[Section]:
    """Materials and settings: what differs in each one's own file; those that came or went in a line."""
    sections, words = [], dict[str, list[str]]()
    for one in changes:
        if one.word in ("new", "removed"):
            words.setdefault(one.word, []).append(f"{one.code} {one.name}".rstrip())
            continue
        called = f"{one.code}  {one.name}".rstrip()
        policy = dict.fromkeys(str(field.keys[0]) for field in one.fields if field.change is Change.policy and one.path != one.code)
        title = one.word or "its own file changed" + (f", policy: {', '.join(policy)}" if policy else "")
        tables = (fields_table(one.fields, "field"),) if one.fields else ()
        remarks = () if one.fields or one.word else ("the same, in another order",)
        sections.append(Section(f"{called}: {title}", (), tables, remarks))
    for word, codes in words.items():
        more = f" and {len(codes) - LISTED} more" if len(codes) > LISTED else ""
        sections.append(Section(f"{counted(len(codes), 'material')} {word}: {'; '.join(codes[:LISTED])}{more}"))
    return sections


def fields_table(fields: Iterable[FieldChange], head: str) -> Table:
    """Fields before and after, as written."""
    rows = tuple((Cell(one.what), Cell(one.before or NOT_GIVEN), Cell(one.after or NOT_GIVEN)) for one in fields)
    return Table((head, "before", "after"), rows)


def _whole(catalog: Catalog, change: FormulaChange, found: Sequence[Located]) -> Section:
    one = change.after or change.before
    assert one is not None
    unit, digits = units_of("mass", catalog.settings.units, catalog.settings.currency)
    weight = shown(one.values.get("mass", 0.0), unit, digits)
    word = "new" if change.after else "removed"
    return Section(f"{change.code}  {change.name}: {word}, {counted(len(one.lines), 'line')}, {weight}", tuple(found))


def printed_moves(catalog: Catalog, change: FormulaChange) -> bool:
    """True where the change shows: in its class or a field, in a printed figure such as the cost, or in that nobody can read it."""
    shows = change.change is not Change.none or change.fields or change.unread
    return bool(shows) or any(not _same_text(catalog, one) for one in change.properties)


# --- lines -------------------------------------------------------------------------------------------------------


def _sorted_lines(catalog: Catalog, change: FormulaChange) -> tuple[list[LineChange], list[str]]:
    """The lines that moved, the largest first, and the words for those that were only written otherwise."""
    us = catalog.settings.units == "us"
    alike = change.change in (Change.editorial, Change.equivalent)
    told: list[LineChange] = []
    same: list[float] = []
    for one in change.additions:
        delta = _per_batch(one, us)
        nothing = delta is None or round(delta, LINE_DIGITS) == 0
        if one.action == "filled" and (alike or nothing) and None not in one.weights:
            continue
        if one.action == "changed" and (alike or (one.rewritten and delta is not None and nothing)):
            same.append(delta or 0.0)
        else:
            told.append(one)
    told.sort(key=lambda one: -abs(_per_batch(one, us) or 0.0))
    if not same:
        return told, []
    exact = change.change is Change.editorial or all(abs(delta) < NOISE for delta in same)
    return told, [f"{counted(len(same), 'amount')} written otherwise, none moved" + ("" if exact else " by more than its rounding")]


def _lines_table(catalog: Catalog, changes: Sequence[LineChange], batch: Sequence[FieldChange], review: bool) -> Table:
    """The batch, where it is another, and the lines."""
    us = catalog.settings.units == "us"
    rows = [(Cell("batch"), Cell(""), Cell(""), Cell(one.before or ""), Cell(one.after or ""), Cell(""), Cell("")) for one in batch]
    for one in changes:
        same = one.before == one.after and one.action == "moved"
        first, last = one.where
        rows.append(
            (
                Cell({"filled": "q.s."}.get(one.action, one.action)),
                Cell(f"{one.material} {one.name}"),
                Cell(one.stage if first == last else f"{first} -> {last.removeprefix('after ')}", "muted"),
                Cell(_amount(one, 0, us)),
                Cell("" if same else _amount(one, 1, us)),
                Cell("" if same else per_batch(one, us), "muted"),
                Cell(_share(one) if review else "", "muted"),
            )
        )
    unit = "lb/100 gal" if us else "kg/1000 L"
    return Table(("line", "material", "stage", ">before", ">after", f">{unit}", ">by"), tuple(rows))


def _share(change: LineChange) -> str:
    """By what share of itself an amount of one material moved: ``-0.9 %``."""
    was, now = change.kg_before, change.kg_after
    if change.action not in ("changed", "filled") or was is None or now is None or was <= 0 or abs(now - was) <= NOISE * was:
        return ""
    share = 100 * (now - was) / was
    return f"{share:+.{0 if abs(share) >= 9.95 else 1}f} %"


def _amount(change: LineChange, side: int, us: bool) -> str:
    """An amount as written; of q.s. what it came to."""
    text, weight = (change.before, change.after)[side], change.weights[side]
    if text is None or not change.fills[side]:
        return text or ""
    return f"{text}, open" if weight is None else f"{text} = {show(weight, 'lb' if us else 'kg', 1 if us else 2)}"


def _per_batch(change: LineChange, us: bool) -> float | None:
    """After less before; None where either is not known: unknown is not zero."""
    was, now = (0.0 if text is None else kg for text, kg in ((change.before, change.kg_before), (change.after, change.kg_after)))
    if was is None or now is None:
        return None
    return in_unit(now - was, "lb/gal") * 100 if us else (now - was) * 1000


def per_batch(change: LineChange, us: bool) -> str:
    """The difference of a line in the shop's own basis: lb per 100 gal, or kg per 1000 L."""
    delta = _per_batch(change, us)
    if delta is None:
        return ""
    digits = next((more for more in range(LINE_DIGITS, 9) if round(delta, more)), LINE_DIGITS) if abs(delta) > NOISE else LINE_DIGITS
    return _signed(delta, digits)  # a difference that is there is never shown as none


# --- properties --------------------------------------------------------------------------------------------------


def names_of(change: FormulaChange) -> dict[str, str]:
    """What the substances of both sides are called."""
    return {**(change.before.substances if change.before else {}), **(change.after.substances if change.after else {})}


def named(property_id: str, unit: str, names: dict[str, str]) -> str:
    """A property with its unit, a substance by its name: ``Density, lb/gal``."""
    name = names.get(property_id, title_of(property_id))
    return f"{name}, {unit}" if unit else name


def _only_follows(change: PropertyChange, least: float) -> bool:
    if not change.id.startswith(SUBSTANCE) or change.verdict_before or change.verdict_after:
        return False
    if change.before is None or change.after is None or isinstance(change.before, Gap) or isinstance(change.after, Gap):
        return False
    pairs = zip(ends(change.before), ends(change.after), strict=True)
    return all(abs(one - other) <= least * max(abs(one), abs(other)) for one, other in pairs)


def _same_text(catalog: Catalog, change: PropertyChange) -> bool:
    if change.before is None or change.after is None:
        return change.before is change.after
    if change.verdict_before != change.verdict_after or change.limit_before != change.limit:
        return False
    if change.before == change.after:
        return True
    unit, digits = units_of(change.id, catalog.settings.units, catalog.settings.currency)
    if change.delta is not None and abs(change.delta) > PLAINLY * 10**-digits * unit_of(unit).factor:
        return False  # no two numbers so far apart are printed alike, and most that moved have
    return shown(change.before, unit, digits) == shown(change.after, unit, digits)


def _deltas_table(catalog: Catalog, changes: Sequence[PropertyChange], names: dict[str, str]) -> Table:
    rows = []
    for one in changes:
        unit, coarse = units_of(one.id, catalog.settings.units, catalog.settings.currency)
        digits = digits_of(one, unit, coarse)
        tone: Tone = "bad" if one.verdict_after == "fail" else "warn" if one.verdict_after in ("open", "review") else "plain"
        rows.append(
            (
                Cell(named(one.id, unit, names)),
                Cell(bare(one.before, unit, digits)),
                Cell(bare(one.after, unit, digits), tone),
                Cell(delta_text(one, unit, digits)),
                Cell(_limits(one, unit, coarse), "muted"),
                Cell(_verdicts(one), tone),
            )
        )
    return Table(("property", ">before", ">after", ">change", ">limit", "verdict"), tuple(rows))


def digits_of(change: PropertyChange, unit: str, digits: int) -> int:
    """As many decimals as it takes for a change to show; one more where its rounded figure would contradict the others."""
    if not isinstance(change.before, float) or not isinstance(change.after, float):
        return digits
    first, last = (as_seen(one, unit) for one in (change.before, change.after))
    for more in range(digits, digits + 6):
        printed = round(round(last, more) - round(first, more), more)
        if printed == round(last - first, more) and (printed != 0 or abs(last - first) < 10**-8):
            return more
        if printed != 0 and more > digits:
            return more
    return digits


def delta_text(change: PropertyChange, unit: str, digits: int) -> str:
    """After less before, as both are printed."""
    if not isinstance(change.before, float) or not isinstance(change.after, float):
        return ""
    first, last = (as_seen(one, unit) for one in (change.before, change.after))
    return _signed(round(last, digits) - round(first, digits), digits)


def _signed(number: float, digits: int) -> str:
    return f"{number:+.{digits}f}" if round(number, digits) else f"{0:.{digits}f}"


def _limits(change: PropertyChange, unit: str, digits: int) -> str:
    now, was = (bare_limits(one, unit, digits) for one in (change.limit, change.limit_before))
    if now == was:
        return now
    return f"{now or 'none'} (was {was or 'none'})"


def _verdicts(change: PropertyChange) -> str:
    before, after = verdict_word(change.verdict_before), verdict_word(change.verdict_after)
    if before and not after:
        return f"{before} -> no longer judged"
    return after if before in (after, "") else f"{before} -> {after}"


# --- causes ------------------------------------------------------------------------------------------------------


def split_of(before: Catalog, after: Catalog, change: FormulaChange, names: Collection[str] | None = None) -> Split:
    """The causes of a formula's deltas, of all or of those named; none where it is only on one side."""
    if change.before is None or change.after is None:
        return Split((), {})
    return split(before, after, change.code, change.before.values, change.after.values, names)


def _explained(before: Catalog, after: Catalog, change: FormulaChange, told: Sequence[PropertyChange], review: bool) -> tuple[list[str], list[Table]]:
    """What brings each delta that somebody will ask about, the largest part first: in a line each, or for a ``review`` in a table."""
    asked = [one for one in told if one.delta and (one.id in EXPLAINED or one.verdict_after)]
    if not asked or change.change in (Change.editorial, Change.equivalent):
        return [], []
    found = split_of(before, after, change, [one.id for one in asked])
    if found.why_not:
        return [f"causes cannot be told apart: {found.why_not}"], []
    if len(found.causes) < 2:  # a line that stands above is its own cause; the figure of a shared record is not seen here
        return [f"because of: {one.what} alone" for one in found.causes if change.change is Change.data], []
    parts = [_parts(after, found, one) for one in asked]
    if review:
        return [], [Table(("what moved", "because of", ">part of it"), tuple((Cell(head), Cell(what), Cell(part)) for head, rows in parts for what, part in rows))]
    return [f"because of: {head}: {'; '.join(f'{what} {part}' for what, part in rows)}" for head, rows in parts], []


def _parts(catalog: Catalog, found: Split, change: PropertyChange) -> tuple[str, list[tuple[str, str]]]:
    """A delta in words, and what brings it with its part; small parts are folded into one, and what is not explained is said."""
    unit, coarse = units_of(change.id, catalog.settings.units, catalog.settings.currency)
    digits = digits_of(change, unit, coarse)

    def said(number: float) -> str:
        return _signed(step_in(number, unit) if unit else number, digits)

    parts = sorted(((one.parts.get(change.id, 0.0), one.what) for one in found.causes), key=lambda part: -abs(part[0]))
    told = [part for part in parts[:FEW] if said(part[0]).strip("+-0.")]
    rows = [(what, said(part)) for part, what in told]
    rest = fsum(part for part, _ in parts[len(told) :])
    rows += [(counted(len(parts) - len(told), "other"), said(rest))] if len(parts) > len(told) else []
    left = found.residual.get(change.id)
    rows += [("not explained", said(left))] if left else []
    return f"{title_of(change.id)} {delta_text(change, unit, digits)} {unit}".strip(), rows
