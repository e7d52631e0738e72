"""The three fingerprints of a formula as one state of a repository makes them: intermediates by what they hold."""

from __future__ import annotations

from msgspec import Struct

from formulint import digest
from formulint.catalog import Catalog
from formulint.formula import Formula, codes_in


class Digests(Struct, frozen=True):
    """The three fingerprints of a formula; empty where a record behind it cannot be read."""

    composition: str
    making: str
    data: str


def short(seal: str) -> str:
    """A digest as people compare it: ``c1:1f0e3a9c42d7``."""
    return seal[:15]


class Prints:
    """The fingerprints of a formula in one state: each is worked out when it is asked for, and a comparison seldom asks for all.

    ``blends`` are the compositions of the intermediates that it uses, by code.
    """

    __slots__ = ("_apart", "_catalog", "_composition", "_data", "_formula", "_making", "blends")

    def __init__(self, catalog: Catalog, formula: Formula) -> None:
        self._catalog = catalog
        self._formula = formula
        self._composition = self._making = self._data = ""
        self._apart: tuple[Prints, bool] | None = None
        self.blends: dict[str, str] = {}
        for code in codes_in(formula):
            self._blend(code)

    def other_paint(self, than: Prints) -> bool:
        """True where the compositions differ: seen in floats where they are plainly apart, by the fingerprints where they are close."""
        if self._apart is None or self._apart[0] is not than:
            plainly = not self.blends and not than.blends and digest.plainly_apart(self._formula, than._formula)
            self._apart = than, plainly or self.composition != than.composition
        return self._apart[1]

    @property
    def composition(self) -> str:
        """What is in it."""
        self._composition = self._composition or digest.composition(self._formula, self._blend)
        return self._composition

    @property
    def making(self) -> str:
        """How it is made."""
        self._making = self._making or digest.making(self._formula, self.composition, self._blend)
        return self._making

    @property
    def data(self) -> str:
        """What its materials are said to be."""
        if not self._data:
            leaves = {leaf for code in codes_in(self._formula) for leaf in self._catalog.leaves(code)}
            self._data = digest.data({code: stock.material for code in leaves if (stock := self._catalog.stock(code)) is not None})
        return self._data

    @property
    def whole(self) -> Digests:
        """All three."""
        return Digests(self.composition, self.making, self.data)

    def _blend(self, code: str) -> str | None:
        catalog = self._catalog
        if code not in self.blends:
            file = None if catalog.stock(code) or catalog.find_material(code) else catalog.find_formula(code)
            if file is None or file.record is None or catalog.nesting.knot(code):
                return None
            self.blends[code] = digest.composition(file.record, self._blend)
        return self.blends[code]


def digests(catalog: Catalog, formula: Formula) -> tuple[Digests, dict[str, str]]:
    """Fingerprints of a formula in one snapshot, and those of the intermediates that it uses, by code."""
    found = Prints(catalog, formula)
    return found.whole, found.blends
