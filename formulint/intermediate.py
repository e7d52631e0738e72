"""What an intermediate brings: a formula that is used as a material."""

from __future__ import annotations

from formulint.amounts import Resolved, Supply, over, plain
from formulint.content import Gap, Missing
from formulint.finding import Place


def as_supply(code: str, resolved: Resolved) -> Supply:
    """What one kilogram of an intermediate brings, from its own lines."""
    mass = resolved.totals.get("total_mass", 0.0)
    if mass == 0.0:
        mass = Gap((Missing(f"{code} has no lines that weigh anything", Place(""), code, "stage"),))
    columns = {name: over(value, mass) for name, value in resolved.totals.items()}
    for name in ("total_volume", "nonvolatile_mass", "nonvolatile_volume", "water_mass", "cost"):
        columns.setdefault(name, mass if isinstance(mass, Gap) else 0.0)
    leaves = {leaf: over(kg, mass) for leaf, kg in resolved.leaves.items()}
    unknown = Gap((Missing(f"{code} is an intermediate and has no active share", Place(""), code, "active"),))
    return Supply(code, columns, leaves, (), unknown, plain(columns))
