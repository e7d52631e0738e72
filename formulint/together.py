"""Two sides that each pass and fail together: said so, because neither author did anything wrong alone."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence

from msgspec.structs import replace

from formulint.catalog import Catalog
from formulint.finding import Finding
from formulint.judge import Judge

TOGETHER = "each side passed alone, together they do not"


def told(findings: Iterable[Finding], sides: Callable[[], Sequence[Catalog]]) -> Iterator[Finding]:
    """The findings; those that stop, and that neither side of a merge has alone, with the words.

    ``sides`` gives the catalogs of the two sides; it is asked only if something stops.
    """
    catalogs: Sequence[Catalog] | None = None
    for one in findings:
        if one.blocks and one.formula and not one.rule.startswith("record/"):
            catalogs = sides() if catalogs is None else catalogs
            if len(catalogs) > 1 and not any(_has(catalog, one) for catalog in catalogs):
                one = replace(one, fault=replace(one.fault, message=f"{one.fault.message}; {TOGETHER}"))
        yield one


def _has(catalog: Catalog, finding: Finding) -> bool:
    file = catalog.find_formula(finding.formula)
    if file is None or file.record is None:
        return False
    return any(one.rule == finding.rule and one.blocks for one in Judge(catalog).formula(file))
