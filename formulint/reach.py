"""Whom a change touches, in words: what is in production first and loudly, then what is reached through something else, then bases left behind."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from formulint.catalog import Catalog, stem
from formulint.change import Change
from formulint.compare import FormulaChange
from formulint.report import counted
from formulint.scope import Touched
from formulint.snapshot import grep

LISTED = 8  # codes that are named of each sort
LOUD = "IN PRODUCTION"
SAME = (Change.none, Change.editorial, Change.equivalent)
ANOTHER = (Change.compositional, Change.procedural)
"""Classes of change that say nothing loud, and those that bases of one family are expected to share."""


def reached(after: Catalog, changes: Sequence[FormulaChange], reach: Touched) -> Iterator[str]:
    """Sentences about a change: which paints in production are another, whom it reaches and through what, which bases stayed behind."""
    made = [one.code for one in changes if (one.change not in SAME or one.policy) and _sold(one)]
    if made:
        yield f"{LOUD}: {listed(made)} {'is' if len(made) == 1 else 'are'} changed"
    ways: dict[str, list[str]] = {}
    for name, code in sorted(reach.through.items()):
        ways.setdefault(code, []).append(stem(name))
    for code, users in ways.items():
        yield f"{called(after, code)} reaches {counted(len(users), 'formula')}: {_loudly(after, users)}"
    if reach.policy:
        sold = [code for name in reach.formulas if _made(after, code := stem(name))]
        yield f"policy changed: {', '.join(reach.policy)}; {counted(len(reach.formulas), 'formula')} judged by it, {len(sold)} of them {LOUD}"
    yield from _families(after, changes)


def listed(codes: Sequence[str]) -> str:
    """Codes with commas, the first few of many."""
    more = f" and {len(codes) - LISTED} more" if len(codes) > LISTED else ""
    return ", ".join(codes[:LISTED]) + more


def called(catalog: Catalog, code: str) -> str:
    """A code with what it is called."""
    stock = catalog.stock(code)
    if stock is not None:
        return f"{code} {stock.material.name}"
    sheet = catalog.sheet(code)
    return code if sheet is None else f"{code} {sheet.name}"


def _loudly(catalog: Catalog, codes: Sequence[str]) -> str:
    """Codes, those in production first."""
    made = [code for code in codes if _made(catalog, code)]
    rest = [code for code in codes if code not in made]
    return "; ".join(part for part in (f"{LOUD} {listed(made)}" if made else "", listed(rest)) if part)


def _sold(change: FormulaChange) -> bool:
    """True for a paint that is, or was, in production."""
    return any(side is not None and side.formula.state == "production" for side in (change.before, change.after))


def _made(catalog: Catalog, code: str) -> bool:
    sheet = catalog.sheet(code)
    return sheet is not None and sheet.state == "production"


def _families(catalog: Catalog, changes: Iterable[FormulaChange]) -> Iterator[str]:
    """For each family of which a base is another paint now, the bases that are as they were."""
    moved: dict[str, list[str]] = {}
    for one in changes:
        if one.before is not None and one.after is not None and one.change in ANOTHER and one.after.formula.product.family:
            moved.setdefault(one.after.formula.product.family, []).append(one.code)
    for family, codes in moved.items():
        names = grep(catalog.snapshot, [family], catalog.settings.folders.formulas)
        catalog.preload(names)
        sheets = [record for name in names if name in catalog.snapshot.entries and (record := catalog.formula(name).record) is not None]
        left = sorted(one.code for one in sheets if one.product.family == family and one.code not in codes and one.state != "withdrawn")
        if left:
            yield f"family {family}: {_loudly(catalog, left)} {'is' if len(left) == 1 else 'are'} not changed with {listed(codes)}"
