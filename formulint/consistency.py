"""What must hold inside one record beyond the shape of its table: fields that belong together, names that exist."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from functools import lru_cache
from itertools import islice
from operator import attrgetter

from formulint.content import shares_close
from formulint.errors import Misread
from formulint.finding import Fault, KeyPath, Place
from formulint.formula import Addition, Formula, offers_alternates
from formulint.material import Material
from formulint.properties import BY_ID, DOSE_BY_ID, NO_CAS, is_cas
from formulint.quantity import Quantity, read
from formulint.suggest import closest
from formulint.tolerance import tolerance_of
from formulint.verdict import KEPT, read_bounds
from formulint.vessels import left_over
from formulint.vocabulary import dimensions_of

MANY = 100  # faults of one sort in one file that are told

COUNTED = {"organic": ("voc", "exempt"), "inorganic": ("other_volatile",)}
"""Under which shares of a material its volatile components are counted, by kind."""

BY_ROUNDING = 5e-4  # kg/kg: shares on a supplier's sheet are written to a tenth of a percent
ADDITION_ONLY = ("amount", "on", "as_", "of", "alternates", "adjust", "max")
STEP_ONLY = ("speed", "time", "temperature", "until", "check")
MOST_LINES = 500  # real sheets have some tens
MOST_ALTERNATES = 100  # real sheets have a few
RARE = attrgetter("stage", "step", *ADDITION_ONLY[1:], *STEP_ONLY)
NOTHING_RARE = RARE(Addition())
"""What most lines have beside material, amount and note."""


def too_large(formula: Formula, path: str) -> Iterator[Fault]:
    """What keeps a sheet from being judged at all, so that every run comes to an end."""
    lines = sum(len(stage.additions) for stage in formula.stage)
    if lines > MOST_LINES:
        words = f"{formula.code} has {lines} lines; a sheet of more than {MOST_LINES} is not judged"
        yield Fault(Place(path, ("stage",)), words, "move parts of it into intermediates")
    alternates = sum(len(line.alternates) for stage in formula.stage for line in stage.additions) if offers_alternates(formula) else 0
    if alternates > MOST_ALTERNATES:
        words = f"{formula.code} names {alternates} alternates; each is judged as a paint of its own, and more than {MOST_ALTERNATES} are not"
        yield Fault(Place(path, ("stage",)), words, "keep those that are in use; a second source for many paints is better a formula of its own")


def of_formula(formula: Formula, path: str, markets: frozenset[str]) -> Iterator[Fault]:
    """All faults inside one formula; ``markets`` are those that have a table."""
    if not formula.markets and formula.class_ != "intermediate":
        words = f"{formula.code} names no market"
        yield Fault(Place(path, ("markets",)), words, "list the markets it is sold in; what is not sold is class intermediate")
    for at, market in enumerate(formula.markets):
        if market not in markets:
            yield Fault(Place(path, ("markets", at)), f'there is no market "{market}"', _hint(market, markets))
    for market in formula.category:
        if market not in formula.markets:
            yield Fault(Place(path, ("category", market)), f"category for {market}, which is not among the markets", "add it to markets, or drop it")
    yield from _stages(formula, path)
    yield from _limits(formula, path)
    yield from _tests(formula, path)


def of_material(material: Material, path: str, tags: frozenset[str]) -> Iterator[Fault]:
    """All faults inside one material; ``tags`` is the closed list."""
    for at, tag in enumerate(material.tags):
        if tag not in tags:
            yield Fault(Place(path, ("tags", at)), f'there is no tag "{tag}"', _hint(tag, tags))
    for table in ("source", "tolerance"):
        for field in getattr(material, table):
            if field not in Material.__struct_encode_fields__:
                words = f'[{table}] names "{field}", which is no field of a material'
                yield Fault(Place(path, (table, field)), words, _hint(field, Material.__struct_encode_fields__))
    for field in material.tolerance:
        try:
            tolerance_of(material, field)
        except Misread as error:
            yield Fault(Place(path, ("tolerance", field)), error.message, error.remedy)
    for at, one in enumerate(material.component):
        if one.cas and not is_cas(one.cas):
            words = f'"{one.cas}" is no CAS number, so no rule can know {one.name or "the component"} by it'
            yield Fault(Place(path, ("component", at, "cas")), words, f"{NO_CAS}; leave cas out where there is none")
    named = sum(one.share.lo.base for one in material.component)
    if named > 1 + 1e-6:
        words = f"the components of {material.code} come to {100 * named:.6g} %"
        yield Fault(Place(path, ("component",)), words, "correct their shares: together they are at most 100 %")
    if not COUNTED.keys().isdisjoint([one.volatile for one in material.component]):
        yield from _volatiles(material, path)


def _volatiles(material: Material, path: str) -> Iterator[Fault]:
    """Components that evaporate, against the shares under which a material counts them; silent where those are not known."""
    for kind, fields in COUNTED.items():
        parts = [(at, one.share.lo.base) for at, one in enumerate(material.component) if one.volatile == kind]
        if not parts:
            continue
        given = sum(share.hi.base for field in fields if (share := getattr(material, field)) is not None)
        named = sum(share for _, share in parts)
        if named > given + BY_ROUNDING and shares_close(material):
            fields_told = " and ".join(field.replace("_", " ").replace("voc", "VOC") for field in fields)
            words = f"{material.code}: what is {kind} and evaporates comes to {100 * named:.6g} % in its components, to {100 * given:.6g} % in {fields_told}"
            remedy = "an organic volatile is VOC or exempt, ammonia is inorganic and is neither: say the same in both places"
            yield Fault(Place(path, ("component", parts[0][0], "volatile")), words, remedy)


def _hint(word: str, known: frozenset[str] | tuple[str, ...]) -> str:
    near = closest(word, known)
    return f'did you mean "{near}"?' if near else "known: " + ", ".join(sorted(known)[:12]) + (" ..." if len(known) > 12 else "")


def _stages(formula: Formula, path: str) -> Iterator[Fault]:
    names: dict[str, int] = {}
    poured: dict[str, KeyPath] = {}
    fills: list[KeyPath] = []
    for i, stage in enumerate(formula.stage):
        if stage.name in names:
            yield Fault(Place(path, ("stage", i, "name")), f'two stages are called "{stage.name}"', "give each its own name")
        for j, line in enumerate(stage.additions):
            keys: KeyPath = ("stage", i, "additions", j)
            if line.material is None or line.amount is None or RARE(line) != NOTHING_RARE:
                yield from _line(line, path, keys)
            if line.amount is not None and line.amount.to_fill:
                fills.append((*keys, "amount"))
            if line.stage is not None:
                yield from _pour(line.stage, stage.name, names, poured, Place(path, (*keys, "stage")), formula)
                poured.setdefault(line.stage, keys)
        names.setdefault(stage.name, i)
    for keys in fills[1:]:
        yield Fault(Place(path, keys), "q.s. stands twice: only one line can fill the batch", "give the other one its amount", related=(Place(path, fills[0]),))
    for i in left_over(formula) if poured or any(stage.vessel for stage in formula.stage) else ():
        stage = formula.stage[i]
        words = f'stage "{stage.name}" ends in its vessel and nothing takes it up'
        yield Fault(Place(path, ("stage", i, "name")), words, f'add {{ stage = "{stage.name}" }} where it is poured in, or leave out the vessel')


def _pour(
    name: str, here: str, names: dict[str, int], poured: dict[str, KeyPath], place: Place, formula: Formula
) -> Iterator[Fault]:
    if name == here:
        yield Fault(place, f'stage "{name}" is poured into itself', "name the stage that is poured in")
    elif name not in names:
        later = any(stage.name == name for stage in formula.stage)
        words = f'stage "{name}" is poured in before it is made' if later else f'there is no stage "{name}"'
        hint = "put that stage above" if later else _hint(name, tuple(stage.name for stage in formula.stage))
        yield Fault(place, words, hint)
    elif name in poured:
        yield Fault(place, f'stage "{name}" is poured in twice', "split it into two stages", related=(Place(place.path, poured[name]),))


def _line(line: Addition, path: str, keys: KeyPath) -> Iterator[Fault]:
    given = [word for word in ("material", "stage", "step") if getattr(line, word) is not None]
    if len(given) != 1:
        words = "a line says " + (" and ".join(given) if given else "neither material nor stage nor step")
        yield Fault(Place(path, keys), words, "a line is one of: a material with its amount, a stage that is poured in, a step of work")
        return
    allowed = {"material": ADDITION_ONLY, "stage": (), "step": STEP_ONLY}[given[0]]
    for field in (*ADDITION_ONLY, *STEP_ONLY):
        if field not in allowed and getattr(line, field) not in (None, (), {}):
            spelled = field.rstrip("_")
            yield Fault(Place(path, (*keys, spelled)), f"{spelled} does not belong to a line with {given[0]}", "leave it out, or put it on another line")
    if given[0] == "material":
        yield from _amount(line, path, keys)


def _amount(line: Addition, path: str, keys: KeyPath) -> Iterator[Fault]:
    amount = line.amount
    if amount is None:
        yield Fault(Place(path, (*keys, "material")), f"{line.material} has no amount", 'add amount = "..."; unknown is not zero')
        return
    share = not amount.to_fill and amount.dimension == "mass share"
    for field in ("on", "as_", "of"):
        if getattr(line, field) is not None and not share:
            words = f"{field.rstrip('_')} goes with a share, and the amount is {amount.text}"
            yield Fault(Place(path, (*keys, field.rstrip("_"))), words, "write the amount in %, or leave it out")
    if line.max is not None and not amount.to_fill:
        yield Fault(Place(path, (*keys, "max")), "max goes with q.s. only", 'write amount = "q.s.", or use adjust for what the plant may add')
    if line.material in line.alternates:
        yield Fault(Place(path, (*keys, "alternates")), f"{line.material} is named as its own alternate", "name another material")
    adjust = line.adjust
    if adjust is not None and adjust.step.dimension == adjust.max.dimension and adjust.step.base > adjust.max.base:
        words = f"one step of {adjust.step.text} is more than the max of {adjust.max.text}"
        yield Fault(Place(path, (*keys, "adjust", "step")), words, "the max counts all steps together")


Said = tuple[tuple[KeyPath, str, str], ...]
"""Faults of a table of bounds: the key inside it, what is wrong, what helps."""


def _limits(formula: Formula, path: str) -> Iterator[Fault]:
    for name, bounds in formula.limits.items():
        for keys, words, remedy in _of_limit(name, bounds.min, bounds.max):
            yield Fault(Place(path, ("limits", name, *keys)), words, remedy)


@lru_cache(maxsize=KEPT)
def _of_limit(name: str, least: str | None, most: str | None) -> Said:
    """What is wrong with a limit as written; a house writes the same ones on many sheets."""
    empty = (((), f"the limit of {name} has neither min nor max", "write at least one of them"),) if least is None and most is None else ()
    try:
        ends = read_bounds(name, least, most)
    except Misread as error:
        return (*empty, (error.at, error.message, error.remedy or _hint(name, (*BY_ID, *DOSE_BY_ID))))
    return (*empty, *_crossed(name, *ends))


def _tests(formula: Formula, path: str) -> Iterator[Fault]:
    for name, test in formula.tests.items():
        for keys, words, remedy in _of_test(name, test.min, test.max):
            yield Fault(Place(path, ("tests", name, *keys)), words, remedy)


@lru_cache(maxsize=KEPT)
def _of_test(name: str, least: str | None, most: str | None) -> Said:
    """What is wrong with what a test must show."""
    found: list[tuple[KeyPath, str, str]] = []
    ends: list[Quantity] = []
    for key, text in (("min", least), ("max", most)):
        if text is not None:
            try:
                ends.append(read(text, dimensions_of(name)))
            except Misread as error:
                found.append(((key,), error.message, error.remedy))
    words = name.replace("_", " ")
    if len(ends) == 2 and ends[0].unit.dimension != ends[1].unit.dimension:
        found.append(((), f"{words}: {ends[0]} and {ends[1]} are of two scales", "write both ends in one unit"))
    elif len(ends) == 2:
        found += _crossed(words, *ends)
    return tuple(found)


def _crossed(name: str, least: Quantity | None, most: Quantity | None) -> Said:
    """Two ends between which nothing lies."""
    if least is None or most is None or least.base < most.base or least.exact <= most.exact:
        return ()
    return (((), f"{name}: min {least} is above max {most}", "exchange them"),)


def few(faults: Iterable[Fault]) -> tuple[Fault, ...]:
    """The first of many faults of one sort in one file; the last one says that there are more."""
    found = tuple(islice(faults, MANY + 1))
    if len(found) <= MANY:
        return found
    more = Fault(found[MANY].place, "more faults of this sort follow; they show when these are mended", kind=found[MANY].kind)
    return (*found[:MANY], more)
