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


def digests(catalog: Catalog, formula: Formula) -> tuple[Digests, dict[str, str]]:
    """Fingerprints of a formula in one snapshot, and those of the intermediates that it uses, by code."""
    found: dict[str, str] = {}

    def blend(code: str) -> str | None:
        if code not in found:
            file = None if catalog.stock(code) or catalog.find_material(code) else catalog.find_formula(code)
            if file is None or file.record is None or catalog.nesting.knot(code):
                return None
            found[code] = digest.composition(file.record, blend)
        return found[code]

    composition = digest.composition(formula, blend)
    leaves = {leaf for code in codes_in(formula) for leaf in catalog.leaves(code)}
    materials = {code: stock.material for code in leaves if (stock := catalog.stock(code)) is not None}
    return Digests(composition, digest.making(formula, composition, blend), digest.data(materials)), found
