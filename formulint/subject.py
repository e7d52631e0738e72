"""What a rule is shown: one formula with its values, one material, or the register of all of them."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from datetime import date
from typing import Protocol, get_args

from msgspec import Struct

from formulint.amounts import Resolved, Supply
from formulint.content import Content
from formulint.evaluate import Evaluation
from formulint.formula import Formula
from formulint.material import Material
from formulint.vessels import Charge
from formulint.vocabulary import StageKind

STAGE_KINDS: tuple[str, ...] = get_args(StageKind)


class Stock(Struct, frozen=True):
    """A raw material of the repository with its file and what one kilogram of it brings."""

    material: Material
    path: str
    content: Content
    supply: Supply


class Selector(Protocol):
    """What picks materials; ``staged`` where the kind of the stage counts in which a material is charged."""

    @property
    def staged(self) -> bool:
        """True where ``holds`` looks at the stage."""

    def holds(self, material: Material, stage: str = "") -> bool:
        """True for a material that is picked."""

    def __hash__(self) -> int: ...


class _Held(dict[str, bool]):
    """Whether a selector holds a code, worked out when it is first asked for."""

    def __init__(self, selector: Selector, stage: str, behind: Callable[[str], Iterable[Stock]]) -> None:
        self.selector = selector
        self.stage = stage
        self.behind = behind

    def __missing__(self, code: str) -> bool:
        held = any(self.selector.holds(stock.material, self.stage) for stock in self.behind(code))
        self[code] = held
        return held


class Choice:
    """Which codes a selector holds; asked of each material once, because every formula asks every rule again.

    ``behind`` gives the raw materials of a code: itself, or those of the intermediate; one of them is enough.
    """

    def __init__(self, behind: Callable[[str], Iterable[Stock]]) -> None:
        self._behind = behind
        self._anywhere: dict[Selector, _Held] = {}
        self._staged: dict[tuple[Selector, str], _Held] = {}

    def held(self, selector: Selector) -> Mapping[str, bool]:
        """By code; a selector of stages holds nothing where no stage is known."""
        found = self._anywhere.get(selector)
        if found is None:
            found = self._anywhere[selector] = _Held(selector, "", self._behind)
        return found

    def may_hold(self, selector: Selector, code: str) -> bool:
        """True where the selector holds a code, if only in stages of some kind."""
        if selector.staged:
            return any(self._held_in(selector, kind)[code] for kind in STAGE_KINDS)
        return self.held(selector)[code]

    def _held_in(self, selector: Selector, stage: str) -> Mapping[str, bool]:
        if (selector, stage) not in self._staged:
            self._staged[selector, stage] = _Held(selector, stage, self._behind)
        return self._staged[selector, stage]

    def charged(self, selector: Selector, charges: Iterable[Charge]) -> list[Charge]:
        """Those of the charges whose material the selector holds."""
        if selector.staged:
            return [charge for charge in charges if self._held_in(selector, charge.kind)[charge.code]]
        held = self.held(selector)
        return [charge for charge in charges if held[charge.code]]


class FormulaSubject(Struct, frozen=True):
    """A formula that could be read, with its values.

    ``stocks`` are the raw materials it holds, by code; ``charges`` what meets what in its vessels; ``choice`` says what
    selectors hold, for all formulas of a catalog together.
    """

    formula: Formula
    path: str
    evaluation: Evaluation
    stocks: Mapping[str, Stock]
    blends: Mapping[str, tuple[str, ...]]
    charges: tuple[Charge, ...]
    choice: Choice
    today: date
    units: str
    currency: str
    closure: float

    @property
    def resolved(self) -> Resolved:
        """The formula in kilograms."""
        return self.evaluation.resolved

    def leaves_of(self, code: str) -> tuple[str, ...]:
        """Codes of the raw materials behind a code: itself, or those of the intermediate."""
        return self.blends.get(code, (code,))


class MaterialSubject(Struct, frozen=True):
    """One material."""

    stock: Stock
    today: date


class RegisterSubject(Struct, frozen=True):
    """All materials, with the formulas that use each code directly."""

    stocks: Mapping[str, Stock]
    used_by: Mapping[str, Sequence[str]]
    states: Mapping[str, str]
    today: date
    complete: bool
