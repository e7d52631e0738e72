"""What a rule is shown: one formula with its values, one material, or the register of all of them."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date

from msgspec import Struct

from formulint.amounts import Resolved, Supply
from formulint.content import Content
from formulint.evaluate import Evaluation
from formulint.formula import Formula
from formulint.material import Material


class Stock(Struct, frozen=True):
    """A raw material of the repository with its file and what one kilogram of it brings."""

    material: Material
    path: str
    content: Content
    supply: Supply


class FormulaSubject(Struct, frozen=True):
    """A formula that could be read, with its values; ``stocks`` are the raw materials it holds, by code."""

    formula: Formula
    path: str
    evaluation: Evaluation
    stocks: Mapping[str, Stock]
    blends: Mapping[str, tuple[str, ...]]
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
    used_by: Mapping[str, tuple[str, ...]]
    states: Mapping[str, str]
    today: date
    complete: bool
