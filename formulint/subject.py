"""What a rule is shown: one formula with its values, one material, or the register of all of them."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from datetime import date
from operator import attrgetter
from typing import NamedTuple, Protocol, get_args

from msgspec import Struct

from formulint.amounts import Resolved, Supply
from formulint.content import Content, Value
from formulint.evaluate import Evaluation, doses, substance
from formulint.finding import KeyPath
from formulint.formula import Addition, Formula, Process
from formulint.material import Material
from formulint.properties import DOSE_BY_ID, SUBSTANCE
from formulint.verdict import Sharp, Sharpen
from formulint.vessels import Charge, Span
from formulint.vocabulary import StageKind

STAGE_KINDS: tuple[str, ...] = get_args(StageKind)
SPOT = attrgetter("spot")


class Stock(Struct, frozen=True):
    """A raw material of the repository with its file and what one kilogram of it brings."""

    material: Material
    path: str
    content: Content
    supply: Supply


class Selector(Protocol):
    """What picks materials: of its ``marks``, if it has any, a material must have one (see ``marks_of``).

    ``staged`` where the kind of the stage counts in which a material is charged.
    """

    @property
    def marks(self) -> tuple[str, ...]:
        """Functions, tags, codes, CAS numbers or forms; empty where a material of any marks may be picked."""

    @property
    def staged(self) -> bool:
        """True where ``holds`` looks at the stage."""

    def holds(self, material: Material, stage: str = "") -> bool:
        """True for a material that is picked."""

    def __hash__(self) -> int: ...


def marks_of(material: Material) -> tuple[str, ...]:
    """The words by which selectors may find a material."""
    return (*material.functions, *material.tags, material.code, material.form or "", *(one.cas for one in material.component))


class Asked:
    """Selectors by each of their marks, under the empty word those without; and those that hold a material, found once."""

    def __init__(self, selectors: Iterable[Selector]) -> None:
        self._by_mark: dict[str, list[Selector]] = {}
        for one in selectors:
            for word in one.marks or ("",):
                self._by_mark.setdefault(word, []).append(one)
        self._known: dict[int, tuple[Material, tuple[Selector, ...]]] = {}  # with the material, so that its identity stays its own

    def of(self, materials: Sequence[Material]) -> tuple[Selector, ...]:
        """The selectors that hold one of the materials, be it only in stages of some kind."""
        if len(materials) != 1:
            return self._found(materials)
        (one,) = materials
        known = self._known.get(id(one))
        if known is None:
            known = self._known[id(one)] = (one, self._found(materials))
        return known[1]

    def _found(self, materials: Sequence[Material]) -> tuple[Selector, ...]:
        words = dict.fromkeys(("", *(word for material in materials for word in marks_of(material))))
        asked = dict.fromkeys(one for word in words for one in self._by_mark.get(word, ()))
        return tuple(one for one in asked if _holds_any(one, materials, _stages(one, "")))


class Choice:
    """Which selectors hold a code; asked of each material once, because every formula asks every rule again.

    Parameters
    ----------
    behind : callable
        From a code to its raw materials: itself, or those of the intermediate; one of them is enough.
    selectors : callable
        All selectors of the rules in force.
    shared : dict, optional
        What was found, by the selectors: other states that are asked by the same rules know it too.
    """

    def __init__(
        self, behind: Callable[[str], Iterable[Stock]], selectors: Callable[[], frozenset[Selector]], shared: dict[frozenset[Selector], Asked] | None = None
    ) -> None:
        self._behind = behind
        self._selectors = selectors
        self._shared = {} if shared is None else shared
        self._asked: Asked | None = None
        self._of: dict[str, tuple[Selector, ...]] = {}

    def beside(self, behind: Callable[[str], Iterable[Stock]], same: Callable[[str], bool]) -> Choice:
        """The same rules asked in another state, in which the codes that are the ``same`` have the same materials behind them."""
        other = Choice(behind, self._selectors, self._shared)
        other._asked = self._asked
        other._of = {code: found for code, found in self._of.items() if same(code)}
        return other

    def of(self, code: str) -> tuple[Selector, ...]:
        """The selectors of rules that hold a code, be it only in stages of some kind."""
        if code not in self._of:
            if self._asked is None:
                selectors = self._selectors()
                self._asked = self._shared.get(selectors) or self._shared.setdefault(selectors, Asked(selectors))
            self._of[code] = self._asked.of([stock.material for stock in self._behind(code)])
        return self._of[code]

    def holds(self, selector: Selector, code: str, stage: str = "") -> bool:
        """True where the selector holds a code, charged in a stage of that kind; without one, in any."""
        return _holds_any(selector, [stock.material for stock in self._behind(code)], _stages(selector, stage))


def _stages(selector: Selector, stage: str) -> tuple[str, ...]:
    """The kinds of stage that a selector has to be asked about."""
    return STAGE_KINDS if selector.staged and not stage else (stage,)


def _holds_any(selector: Selector, materials: Iterable[Material], stages: tuple[str, ...]) -> bool:
    for material in materials:  # plain loops: every material is asked about by every rule
        for stage in stages:
            if selector.holds(material, stage):
                return True
    return False


class Picked(dict[Selector, list[str]]):
    """The codes of one formula that a selector holds: those of the rules beforehand, any other when it is asked for."""

    def __init__(self, choice: Choice, codes: Iterable[str]) -> None:
        self.choice = choice
        self.codes = tuple(codes)
        for code in self.codes:
            for selector in choice.of(code):
                found = self.get(selector)  # no list is made in vain: a formula asks this a hundred times
                if found is None:
                    self[selector] = [code]
                else:
                    found.append(code)

    def __missing__(self, selector: Selector) -> list[str]:
        return [code for code in self.codes if self.choice.holds(selector, code)]


class Work(NamedTuple):
    """A step of a formula: the kind of its stage, where it stands, and what it asks for."""

    stage: str
    keys: KeyPath
    asks: Addition | Process


def work_of(formula: Formula) -> list[Work]:
    """The steps of a formula in order; that of a whole stage comes first in it."""
    found = []
    for i, stage in enumerate(formula.stage):
        if stage.process is not None:
            found.append(Work(stage.kind, ("stage", i, "process"), stage.process))
        for j, line in enumerate(stage.additions):
            if line.step is not None:
                found.append(Work(stage.kind, ("stage", i, "additions", j), line))
    return found


class FormulaSubject(Struct, frozen=True):
    """A formula that could be read, with its values.

    ``stocks`` are the raw materials it holds, by code; ``blends`` those behind its intermediates; ``charges`` its
    charges by code, with what each meets in its vessel, and ``spans`` where they lie there; ``picked`` its codes by selector;
    ``work`` its steps; ``swap`` the alternates it is judged with; ``told`` works out a value more narrowly; ``sheet_of`` gives
    the sheet of an intermediate by its code.
    """

    formula: Formula
    path: str
    evaluation: Evaluation
    stocks: Mapping[str, Stock]
    blends: Mapping[str, tuple[str, ...]]
    charges: Mapping[str, Sequence[Charge]]
    spans: Mapping[str, Span]
    picked: Picked
    today: date
    units: str
    currency: str
    closure: float
    work: Sequence[Work]
    swap: Mapping[tuple[int, int], str] = {}
    sheet_of: Callable[[str], Formula | None] = lambda code: None
    told: Callable[[FormulaSubject, Measure], Sharp | None] | None = None

    def sharpen(self, measure: Measure) -> Sharpen:
        """What works out a value of this formula more narrowly, once it is asked for."""
        return lambda: None if self.told is None else self.told(self, measure)

    @property
    def resolved(self) -> Resolved:
        """The formula in kilograms."""
        return self.evaluation.resolved

    def leaves_of(self, code: str) -> tuple[str, ...]:
        """Codes of the raw materials behind a code: itself, or those of the intermediate."""
        return self.blends.get(code, (code,))

    def charged(self, selector: Selector) -> list[Charge]:
        """The charges whose material the selector holds, in the order in which they go in."""
        codes, charges = self.picked[selector], self.charges
        if len(codes) == 1:  # as nearly always
            found = list(charges.get(codes[0], ()))
        else:
            found = [charge for code in codes for charge in charges.get(code, ())]
        if selector.staged:
            holds = self.picked.choice.holds
            found = [charge for charge in found if holds(selector, charge.code, charge.kind)]
        if len(found) > 1:
            found.sort(key=SPOT)
        return found


Measure = Callable[[FormulaSubject], Value]
"""From a formula to one of its values in base units."""


def value_of(property_id: str, subject: FormulaSubject) -> Value:
    """The value of a property, a dose or a substance; only properties are part of the common evaluation."""
    resolved, stocks = subject.resolved, subject.stocks
    if property_id in DOSE_BY_ID:
        return doses(resolved, {code: stock.supply for code, stock in stocks.items()}).get(property_id, 0.0)
    if property_id.startswith(SUBSTANCE):
        contents = {code: stock.content for code, stock in stocks.items()}
        return substance(resolved, contents, property_id.removeprefix(SUBSTANCE))
    return subject.evaluation.value(property_id)


def measure_of(property_id: str) -> Measure:
    """From a formula to its value of a property, a dose or a substance."""
    return lambda subject: value_of(property_id, subject)


class MaterialSubject(Struct, frozen=True):
    """One material; ``units`` are those that people are shown."""

    stock: Stock
    today: date
    units: str = "metric"


class RegisterSubject(Struct, frozen=True):
    """All materials; ``used_by`` gives the formulas that name a code directly, for which it has to look into all."""

    stocks: Mapping[str, Stock]
    used_by: Callable[[str], Sequence[str]]
    today: date
