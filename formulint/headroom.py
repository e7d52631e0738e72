"""How much room the values of a paint have to their limits, in words, the least first."""

from __future__ import annotations

from collections.abc import Mapping
from math import inf

from formulint.catalog import Catalog
from formulint.compare import FormulaChange
from formulint.quantity import step_in
from formulint.verdict import title_of, units_of

LISTED = 8  # values that are told
NOTHING = 1e-30  # in place of zero where a room is divided by its value


def left(catalog: Catalog, change: FormulaChange, names: Mapping[str, str]) -> list[str]:
    """How far each value is from its nearer limit, whether it moved or not: those beyond it first, then the least for its size; one sentence, or none."""
    found = []
    for one in change.properties:
        low, high = one.limit
        if not isinstance(one.after, float) or low is high is None:
            continue
        room = min(inf if low is None else one.after - low.base, inf if high is None else high.base - one.after)
        unit, digits = units_of(one.id, catalog.settings.units, catalog.settings.currency)
        far = abs(step_in(room, unit) if unit else room)
        digits = next((more for more in range(digits, digits + 6) if round(far, more)), digits)  # never printed onto its limit
        words = f"{names.get(one.id, title_of(one.id))} {far:.{digits}f} {unit}".rstrip() + (" beyond" if room < 0 else "")
        found.append((room / max(abs(one.after), NOTHING), words))
    told = [words for _, words in sorted(found)]
    more = f"; {len(told) - LISTED} more" if len(told) > LISTED else ""
    return [f"left to the limits: {'; '.join(told[:LISTED])}{more}"] if told else []
