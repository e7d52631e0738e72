"""One batch of a formula, worked out and judged: what is to be weighed, what rounding does to the paint, what keeps it from being made."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping

from msgspec import Struct

from formulint import equipment, recorded, snapshot
from formulint.catalog import SETTINGS_FILE, Catalog, File
from formulint.content import Value
from formulint.equipment import Equipment
from formulint.errors import UserError
from formulint.finding import Finding, Level
from formulint.fingerprints import Digests, digests
from formulint.formula import Formula
from formulint.git import quoted
from formulint.judge import Judge, Scope
from formulint.kinds.dose import Dose
from formulint.properties import BY_ID
from formulint.quantity import Quantity
from formulint.retouch import PRESERVATIVES
from formulint.rounding import of_a_line
from formulint.rule import Applied
from formulint.scales import FINE, Weighing, usable
from formulint.side import NONE
from formulint.sized import Portion, Sized, factor_of, sized, unknown
from formulint.standing import STANDING_FILE
from formulint.subject import FormulaSubject
from formulint.tanks import Filling, fillings, too_empty, troubles, unchecked
from formulint.verdict import narrowest, outcome, read_bounds, title_of

EXTENSIVE = ("mass", "volume")


class Delta(Struct, frozen=True):
    """A property by the sheet and as weighed, in base units, with its bounds and how it stands to them before and after."""

    id: str
    before: float
    after: float
    bounds: tuple[Quantity | None, Quantity | None]
    verdicts: tuple[str, str]

    @property
    def relative(self) -> float:
        """How far it moved, as a share of the larger."""
        return abs(self.after - self.before) / (max(abs(self.after), abs(self.before)) or 1.0)


class Origin(Struct, frozen=True):
    """Where the sheet was read: the commit, and in words what is not committed; empty where all is."""

    commit: str
    loose: str


class Batch(Struct, frozen=True):
    """What a batch sheet says. Without ``sized`` nobody can say how much of anything it takes."""

    catalog: Catalog
    file: File[Formula]
    formula: Formula
    size: Quantity
    digests: Digests
    origin: Origin
    names: Mapping[str, str]
    refused: tuple[str, ...]
    cautions: tuple[str, ...]
    sized: Sized | None = None
    deltas: tuple[Delta, ...] = ()
    totals: Mapping[str, tuple[Value, Value]] = {}
    tanks: tuple[Filling, ...] = ()


def batch(catalog: Catalog, file: File[Formula], size: Quantity, tank: str | None) -> Batch:
    """A batch of a readable formula.

    Raises
    ------
    UserError
        Where the tank is none that is on record, or the size is nothing.
    """
    formula = file.record
    assert formula is not None
    vessel = None if tank is None else _tank(catalog, tank)
    if size.base <= 0:
        raise UserError(f"a batch of {size} is nothing", 'say how much is to be made: --size "500 gal"')
    judge = Judge(catalog)
    refused = [*_stopped(judge, file)]
    cautions = [*_state(formula, catalog), *_swaps(formula), *_warned(judge, file)]
    origin = origin_of(catalog)
    head = (catalog, file, formula, size, digests(catalog, formula)[0], origin, names_of(catalog, formula))
    if refused:
        return Batch(*head, tuple(refused), tuple(cautions))
    subject = catalog.subject(file)
    factor = factor_of(formula, subject.resolved, size)
    if isinstance(factor, str):
        return Batch(*head, (factor,), tuple(cautions))
    tools = tuple(one.record for name, one in sorted(catalog.equipment().items()) if one.record is not None and not [*equipment.faults(one.record, name)])
    found = sized(formula, subject.resolved, size, factor, tools, catalog.settings.units)
    for portion in found.portions.values():
        stop, words = _weighable(portion)
        (refused if stop else cautions).extend([words] if words else [])
    if any(portion.weighing is None and portion.measured is None for portion in found.portions.values()):
        return Batch(*head, tuple(refused), tuple(cautions), found)
    exact, weighed = (catalog.subject(File(file.name, None, sheet, ()), {}) for sheet in (found.exact, found.weighed))
    for stop, words in _moved(judge, subject, exact, weighed):
        (refused if stop else cautions).append(words)
    levels = tuple(fillings(formula, {(line.stage, line.at): line.litres for line in weighed.resolved.lines}, catalog.machine, vessel))
    for stop, words in _tanks(catalog, formula, levels, tank):
        (refused if stop else cautions).append(words)
    cautions += [*_scales(found, tools), *_left_out(catalog)]
    totals = {name: (exact.evaluation.value(name), weighed.evaluation.value(name)) for name in (*EXTENSIVE, "density")}
    return Batch(*head, tuple(dict.fromkeys(refused)), tuple(dict.fromkeys(cautions)), found, deltas(catalog, judge, exact, weighed), totals, levels)


def _tank(catalog: Catalog, code: str) -> Equipment:
    found = catalog.machine(code)
    if found is None or found.kind != "tank":
        known = sorted(one.record.code for one in catalog.equipment().values() if one.record is not None and one.record.kind == "tank")
        hint = f"known are {', '.join(known[:6])}" if known else f"put its record below {catalog.settings.folders.equipment}/"
        raise UserError(f"there is no tank {code} on record" if found is None else f"{code} is a scale, no tank", hint)
    return found


def names_of(catalog: Catalog, formula: Formula) -> dict[str, str]:
    """What each code of a formula is called; of an intermediate with its revision, since it is made by a sheet of its own."""
    found = {}
    for stage in formula.stage:
        for line in stage.additions:
            if line.material is None:
                continue
            stock, sheet = catalog.stock(line.material), catalog.sheet(line.material)
            if stock is not None:
                found[line.material] = stock.material.name
            elif sheet is not None:
                found[line.material] = f"{sheet.name}, revision {sheet.revision} (intermediate, made by its own sheet)"
    return found


# --- what speaks against it ------------------------------------------------------------------------------------------


def _behind(catalog: Catalog, file: File[Formula]) -> Scope:
    """The formula with the intermediates and raw materials in it, to any depth."""
    formulas, materials, waiting = [file.name], dict[str, None](), [file]
    while waiting:
        record = waiting.pop().record
        for line in (line for stage in record.stage for line in stage.additions) if record is not None else ():
            code = line.material
            if code is None:
                continue
            stock, blend = catalog.find_material(code), catalog.find_formula(code)
            if stock is not None:
                materials[stock.name] = None
            elif blend is not None and blend.name not in formulas:
                formulas.append(blend.name)
                waiting.append(blend)
    return Scope(tuple(formulas), tuple(materials))


def _stopped(judge: Judge, file: File[Formula]) -> Iterator[str]:
    """What lint stops, in the formula and in all that goes into it; a withdrawn formula is made no more."""
    formula = file.record
    if formula is not None and formula.state == "withdrawn":
        yield f"{formula.code} is withdrawn: it is made no more"
    for one in judge.findings(_behind(judge.catalog, file)):
        if one.blocks:
            yield f"{_whose(one)}{one.fault.message} (rule {one.rule}{', open' if one.fault.kind == 'open' else ''})"
    for one in recorded.as_recorded(judge.catalog, (file.name,)):
        yield f"{one.fault.message} (rule {one.rule})"


def _whose(one: Finding) -> str:
    code = one.formula or one.material
    return f"{code}: " if code and code not in one.fault.message else ""


def _state(formula: Formula, catalog: Catalog) -> Iterator[str]:
    if formula.state in ("bench", "pilot"):
        yield f"{formula.code} is in state {formula.state}: a trial, nothing to be sold"
    elif formula.state == "production" and formula.revision not in recorded.of_formula(catalog, formula.code):
        yield f"revision {formula.revision} of {formula.code} is not on record as released"


def _swaps(formula: Formula) -> Iterator[str]:
    """Alternates: another material is another sheet."""
    for line in (line for stage in formula.stage for line in stage.additions if line.alternates):
        yield f"{line.material} may be exchanged for {' or '.join(line.alternates)} on the formula, not on this sheet: its amounts are those of {line.material}"


def _warned(judge: Judge, file: File[Formula]) -> Iterator[str]:
    """What lint warns of; of what is open for one cause, the cause once."""
    opened: dict[str, list[str]] = {}
    for one in judge.formula(file):
        if one.blocks or one.level is Level.note or one.fault.kind == "pass":
            continue
        if one.fault.kind == "open" and one.fault.cause:
            opened.setdefault(one.fault.cause, []).append(one.rule)
        else:
            leave = f"; may stand by {one.granted.by}" if one.granted is not None else ""
            yield f"{one.fault.message} (rule {one.rule}{leave})"
    for cause, rules in opened.items():
        more = f" and {len(rules) - 3} more" if len(rules) > 3 else ""
        yield f"{cause}: so nobody can say whether {', '.join(rules[:3])}{more} hold"


def _weighable(portion: Portion) -> tuple[bool, str]:
    """Whether a line cannot be weighed at all, and what is to be said of it."""
    code, one = portion.line.code, portion.weighing
    if one is None:
        why = unknown(portion.line.kg)
        if portion.measured is None:
            return True, f"what {code} weighs cannot be said: {why}"
        return False, f"{code} is to be measured as {portion.measured}; its weight cannot be said: {why}"
    if one.scale is None or one.kg <= 0:
        lost = one.kg > 0 and one.reads.base <= 0
        return lost, f"{code} comes to {one.kg:.2g} kg: nothing that can be weighed" if lost else ""
    asked = f"{code}: {_plainly(one)}"
    where = f"{one.scale.code}, which shows {one.division}"
    if one.reads.base <= 0:
        return True, f"{asked} is too small for {where}: it would show nothing"
    tolerance = one.scale.tolerance
    if tolerance is not None and abs(one.off) > tolerance.lo.base:
        return True, f"{asked} becomes {one.reads} on {where}: {one.off:+.1%} off, more than its tolerance of {tolerance.text}"
    allowed = of_a_line()
    if abs(one.off) > allowed.most.base:
        most = f"more than {allowed.refused} ({allowed.source.checked})"
        return True, f"{asked} becomes {one.reads} on {where}: {one.off:+.1%} off, {most}; take a finer scale, or make a premix of it"
    if abs(one.off) > allowed.quiet.base:
        return False, f"{asked} becomes {one.reads} on {where}: {one.off:+.1%} off"
    if one.coarse > allowed.most.base:
        return False, f"{asked} is known to {one.coarse:.0%} only on {where}"
    if one.loads > 1:
        return False, f"{asked} is more than {one.scale.code} weighs at once: {one.loads} weighings, which add up to {one.reads}"
    return False, ""


def _plainly(one: Weighing) -> str:
    from formulint.quantity import in_unit

    return f"{in_unit(one.kg, one.reads.unit.symbol):.4g} {one.reads.spelled}"


def _moved(judge: Judge, before: FormulaSubject, exact: FormulaSubject, weighed: FormulaSubject) -> Iterator[tuple[bool, str]]:
    """What the rules and the formula's own limits say of the batch that they do not say of the formula: because of its size, because of rounding."""
    code = before.formula.code
    dose = {entry.id for entry in judge.catalog.rulebook.all() if isinstance(entry.rule, Dose)}
    told = {_key(one) for one in judge.every(before, code)}
    for subject, why in ((exact, f"at {exact.formula.batch.text}"), (weighed, "with the amounts as rounded")):
        found = [one for one in judge.every(subject, code) if _key(one) not in told]
        told |= {_key(one) for one in found}
        for one in found:
            kept = one.rule in dose and one.level is not Level.note and _preserves(subject, one)
            open_ = "; it cannot be said to hold" if one.fault.kind == "open" else ""
            yield one.blocks or kept, f"{why}: {one.fault.message}{open_} (rule {one.rule})"


def _key(one: Finding) -> tuple[object, ...]:
    return one.rule, one.fault.kind, one.fault.property, one.fault.place.keys


def _preserves(subject: FormulaSubject, one: Finding) -> bool:
    """True for a finding at a line that brings a preservative."""
    keys = one.fault.place.keys
    lines = [line for line in subject.resolved.lines if line.keys == keys[: len(line.keys)]]
    codes = {leaf for line in lines for leaf in subject.leaves_of(line.code)}
    return any(PRESERVATIVES & set(subject.stocks[code].material.functions) for code in codes if code in subject.stocks)


def _tanks(catalog: Catalog, formula: Formula, levels: tuple[Filling, ...], asked: str | None) -> Iterator[tuple[bool, str]]:
    unit = "gal" if catalog.settings.units == "us" else "L"
    for level in levels:
        yield from ((one.stops, one.words) for one in troubles(formula, level, unit))
    for tank in {level.tank.code: level.tank for level in levels}.values():
        faulty = [fault.message for name, one in catalog.equipment().items() if one.record is tank for fault in equipment.faults(tank, name)]
        yield from ((True, words) for words in faulty)
        yield from ((False, words) for words in [unchecked(tank)] if words)
        fullest = [one.litres for one in levels if one.tank is tank and not one.working]
        least = [too_empty(tank, litres, unit) for litres in fullest]
        yield from [(True, least[-1])] if least and all(least) else []
    unknown_ = dict.fromkeys(stage.vessel for stage in formula.stage if stage.vessel and catalog.machine(stage.vessel) is None)
    yield from ((False, f"there is no record of {code}: whether the batch fits it is not checked") for code in unknown_)
    if not levels and not unknown_ and asked is None:
        yield False, "no tank is named (--tank): whether the batch fits one is not checked"


def _scales(found: Sized, tools: tuple[Equipment, ...]) -> Iterator[str]:
    if not usable(tools):
        yield f"no scale is on record: amounts are printed in {found.bench.symbol}, to {FINE:.2%} of each; what your scale shows of them is not checked"


def _left_out(catalog: Catalog) -> Iterator[str]:
    for name, one in sorted(catalog.equipment().items()):
        if one.record is None or [*equipment.faults(one.record, name)]:
            yield f"{quoted(name)} is left out, because something is wrong with it: formulint lint says what"


# --- what rounding does ----------------------------------------------------------------------------------------------


def deltas(catalog: Catalog, judge: Judge, exact: FormulaSubject, weighed: FormulaSubject) -> tuple[Delta, ...]:
    """What rounding does to every property, dose and substance that is one number before and after; the worst first."""
    before, after = (catalog.full(one).values for one in (exact, weighed))
    bounds = bounds_by(judge.bounds(weighed))
    found = []
    for name, value in before.items():
        now = after.get(name)
        if isinstance(value, float) and isinstance(now, float) and name not in EXTENSIVE:
            limit = bounds.get(name, NONE)
            verdicts = ("", "") if limit == NONE else (outcome(value, *limit)[0], outcome(now, *limit)[0])
            found.append(Delta(name, value, now, limit, verdicts))
    return tuple(sorted(found, key=lambda one: (one.verdicts[0] == one.verdicts[1], -one.relative, one.id not in BY_ID, title_of(one.id))))


def bounds_by(applied: Iterable[Applied]) -> dict[str, tuple[Quantity | None, Quantity | None]]:
    """The narrowest bounds on each property."""
    found: dict[str, list[tuple[Quantity | None, Quantity | None]]] = {}
    for one in applied:
        found.setdefault(one.property, []).append(read_bounds(one.property, one.min, one.max))
    return {name: narrowest(pairs) for name, pairs in found.items()}


# --- where it was read -----------------------------------------------------------------------------------------------


def origin_of(catalog: Catalog) -> Origin:
    """The commit of a state; for files as they lie here or are staged, whether they are those of the last commit."""
    state = catalog.snapshot
    if state.commit is not None:
        return Origin(state.commit, "")
    repository = state.repository
    if repository is None:
        return Origin("", "these files are in no repository: nobody can look up later what this sheet was made from")
    if repository.head is None:
        return Origin("", "nothing is committed here yet: nobody can look up later what this sheet was made from")
    head = snapshot.at(repository, "HEAD", catalog.today)
    start = tuple(f"{folder}/" for folder in catalog.settings.folders.all)
    names = [one.name for one in snapshot.changed_between(head, state) if one.name in (SETTINGS_FILE, STANDING_FILE) or one.name.startswith(start)]
    if not names:
        return Origin(head.commit or "", "")
    more = f" and {len(names) - 3} more" if len(names) > 3 else ""
    return Origin("", f"otherwise than in the last commit, {(head.commit or '')[:10]}: {', '.join(map(quoted, names[:3]))}{more}")

