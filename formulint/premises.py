"""What values of a state rest on without being written in a record: what the settings do not say, and what the house has set."""

from __future__ import annotations

from formulint.catalog import CLOSURE, WATER_DENSITY, Catalog


def assumptions(catalog: Catalog) -> tuple[str, ...]:
    """In words: what was taken for granted because the settings do not say it, and every level that the house has set."""
    found = []
    if catalog.settings.water_density is None:
        found.append(f"assumed: water {WATER_DENSITY} kg/L")
    if catalog.settings.closure is None:
        found.append(f"assumed: the lines may miss the batch by {100 * CLOSURE:g} %")
    found += [f"set by the house: {one.rule} is {one.level} ({one.reason})" for one in catalog.settings.rule_setting]
    return tuple(found)
