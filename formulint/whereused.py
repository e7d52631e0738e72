"""Which formulas hold something: a material, an intermediate, a substance by CAS number, or a function; how much, and through what."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Literal, get_args

from msgspec import Struct

from formulint.amounts import over, times
from formulint.catalog import Catalog, stem
from formulint.content import Gap, Value, add, number
from formulint.errors import UserError
from formulint.finding import Place
from formulint.formula import Addition, Formula
from formulint.interval import Interval, ends
from formulint.material import Material
from formulint.properties import NO_CAS, is_cas
from formulint.scope import everything
from formulint.subject import FormulaSubject
from formulint.suggest import closest
from formulint.vocabulary import FormulaState, Function

Sort = Literal["material", "intermediate", "substance", "function"]
FUNCTIONS: tuple[str, ...] = get_args(Function)
SHORTEST, MOST_NAMED = 3, 6  # letters of a name that is looked for; substances that are listed
STATES: dict[FormulaState, int] = {"production": 0, "pilot": 1, "bench": 2, "withdrawn": 3}
"""Formulas are listed in this order: what is made comes first."""


class Use(Struct, frozen=True):
    """A line of a formula that holds what was asked for.

    ``code`` is what the line names and ``through`` the way from there down to ``held``, empty where the line names it itself;
    ``share`` is what the line brings of it by mass of the batch [kg/kg], a gap where that is not known. ``instead`` is what
    the sheet names, where this is only an alternate of it: then nothing of it is in the batch as written.
    """

    formula: Formula
    stage: str
    code: str
    amount: str
    share: Value
    place: Place
    held: tuple[str, ...] = ()
    through: tuple[str, ...] = ()
    alternates: tuple[str, ...] = ()
    instead: str = ""


class WhereUsed(Struct, frozen=True):
    """What was asked for, the codes that it means with their names, its uses, and the files that could not be looked into."""

    asked: str
    sort: Sort
    codes: Mapping[str, str]
    uses: tuple[Use, ...]
    unread: tuple[str, ...] = ()

    def formulas(self) -> dict[str, list[Use]]:
        """Uses by code of the formula, those that are made first."""
        found: dict[str, list[Use]] = {}
        for one in self.uses:
            found.setdefault(one.formula.code, []).append(one)
        return found


def where_used(catalog: Catalog, asked: str) -> WhereUsed:
    """Every line of every formula that brings what was asked for.

    Raises
    ------
    UserError
        Where nobody knows what was asked for.
    """
    everything(catalog)
    sort, asked, codes = _meant(catalog, asked)
    search = _Search(catalog, sort, frozenset(codes), asked)
    uses: list[Use] = []
    unread = []
    for name in catalog.formula_files():
        file = catalog.formula(name)
        if file.record is None:
            unread.append(name)
        elif not catalog.nesting.knot(stem(name)):
            uses += search.uses(catalog.subject(file))
        else:
            unread.append(name)
    unread += [name for name in catalog.material_files() if sort in ("substance", "function") and catalog.material(name).record is None]
    uses.sort(key=lambda one: (STATES[one.formula.state], one.formula.code, one.place.keys[1:4:2]))
    return WhereUsed(asked, sort, codes, tuple(uses), tuple(unread))


def _meant(catalog: Catalog, asked: str) -> tuple[Sort, str, dict[str, str]]:
    """What sort of thing was asked for, that thing, by its CAS number where its name was given, and the codes that it means."""
    material, formula = catalog.find_material(asked), catalog.find_formula(asked)
    if material is not None:
        return "material", asked, {asked: material.record.name if material.record is not None else ""}
    if formula is not None:
        return "intermediate", asked, {asked: formula.record.name if formula.record is not None else ""}
    records = [record for name in catalog.material_files() if (record := catalog.material(name).record) is not None]
    if asked in FUNCTIONS:
        return "function", asked, {record.code: record.name for record in records if asked in record.functions}
    if is_cas(asked):
        return "substance", asked, {record.code: record.name for record in records if any(one.cas == asked for one in record.component)}
    if asked.replace("-", "").isdigit():
        raise UserError(f'"{asked}" is no CAS number, and no code', NO_CAS)
    named = _named_in(catalog, asked)
    if named:
        return "material", asked, {asked: ""}
    cas = _cas_of(records, asked)
    if cas:
        return _meant(catalog, cas)
    near = closest(asked, [*(stem(name) for name in (*catalog.material_files(), *catalog.formula_files())), *FUNCTIONS])
    helps = f"did you mean {near}?" if near else "name a code such as RM-1401, a CAS number, or a function such as dispersant"
    raise UserError(f'there is no material, intermediate, function or substance "{asked}"', helps)


def _cas_of(records: Sequence[Material], asked: str) -> str:
    """The CAS number of the one substance that is named so in its materials, or by a word such as ``BIT``; empty where none is.

    Raises
    ------
    UserError
        Where several are.
    """
    from re import IGNORECASE, escape, search

    if len(asked) < SHORTEST:
        return ""
    word = rf"(?<!\w){escape(asked)}(?!\w)"
    found = {one.cas: one.name for record in records for one in record.component if is_cas(one.cas) and search(word, one.name, IGNORECASE)}
    exactly = {cas: name for cas, name in found.items() if name.casefold() == asked.casefold()}
    found = exactly or found
    if len(found) > 1:
        listed = ", ".join(f"{cas} ({name})" for cas, name in sorted(found.items())[:MOST_NAMED])
        raise UserError(f'"{asked}" names {len(found)} substances', f"ask by CAS number: {listed}{', and others' if len(found) > MOST_NAMED else ''}")
    return next(iter(found), "")


def _named_in(catalog: Catalog, code: str) -> bool:
    """True for a code without a record of its own that a formula names all the same."""
    sheets = (catalog.formula(name).record for name in catalog.formulas_with(code))
    return any(code in (line.material, *line.alternates) for sheet in sheets if sheet is not None for stage in sheet.stage for line in stage.additions)


class _Search:
    """Looks for codes in formulas; what an intermediate holds of them is worked out once."""

    def __init__(self, catalog: Catalog, sort: Sort, codes: frozenset[str], asked: str) -> None:
        self.catalog = catalog
        self.codes = codes
        self.cas = asked if sort == "substance" else ""
        self.known: dict[str, tuple[Value, tuple[str, ...], tuple[str, ...]] | None] = {}

    def uses(self, subject: FormulaSubject) -> list[Use]:
        """Every line of a formula that brings any of it, and every alternate that would."""
        found = []
        weights = {(line.stage, line.at): line.kg for line in subject.resolved.lines}
        mass = subject.evaluation.value("mass")
        for i, stage in enumerate(subject.formula.stage):
            for j, line in enumerate(stage.additions):
                if line.material is None:
                    continue
                place = Place(subject.path, ("stage", i, "additions", j))
                for code in (line.material, *line.alternates):
                    held = self.held(code)
                    if held is None:
                        continue
                    written = code == line.material
                    share = _at_most_all(over(times(weights.get((i, j), Gap(())), held[0]), mass)) if written else 0.0
                    instead = "" if written else line.material
                    found.append(Use(subject.formula, stage.name, code, _amount(line), share, place, held[1], held[2], line.alternates if written else (), instead))
        return found

    def held(self, code: str) -> tuple[Value, tuple[str, ...], tuple[str, ...]] | None:
        """What a kilogram of a code holds of what was asked for, as which codes, and through which intermediates; None if nothing."""
        if code not in self.known:
            self.known[code] = None  # an intermediate that is made from itself holds nothing that can be told
            self.known[code] = self._held(code)
        return self.known[code]

    def _held(self, code: str) -> tuple[Value, tuple[str, ...], tuple[str, ...]] | None:
        if code in self.codes:
            return self._own(code), (code,), ()
        file = None if self.catalog.find_material(code) else self.catalog.find_formula(code)
        if file is None or file.record is None or self.catalog.nesting.knot(code):
            return None
        subject = self.catalog.subject(file)
        mass = subject.evaluation.value("mass")
        parts = [(line, held) for line in subject.resolved.lines if (held := self.held(line.code)) is not None]
        if not parts:
            return None
        share = over(add([times(line.kg, held[0]) for line, held in parts]), mass)
        codes = dict.fromkeys(one for _, held in parts for one in held[1])
        way = dict.fromkeys((code, *(one for _, held in parts for one in held[2])))
        return share, tuple(codes), tuple(way)

    def _own(self, code: str) -> Value:
        """The whole of a material, or its share of the substance."""
        stock = self.catalog.stock(code)
        if not self.cas or stock is None:
            return 1.0
        return add([number(one.share) for one in stock.material.component if one.cas == self.cas])


def _at_most_all(share: Value) -> Value:
    """A share that is no more than the whole, which the quotient of two intervals does not know."""
    if isinstance(share, Gap | float):
        return share
    low, high = ends(share)
    return Interval(min(low, 1.0), min(high, 1.0))


def _amount(line: Addition) -> str:
    """The amount as written, with what it is of."""
    if line.amount is None:
        return ""
    said = (("on", line.on), ("as", line.as_), ("of", line.of))
    return " ".join([line.amount.text, *(f"{word} {what}" for word, what in said if what)])
