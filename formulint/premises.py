"""What values of a state rest on without being written in a record: what the settings do not say, and what the house has set."""

from __future__ import annotations

from formulint.catalog import Catalog


def assumptions(catalog: Catalog) -> tuple[str, ...]:
    """What was taken for granted because the settings do not say it."""
    found = []
    if catalog.settings.water_density is None:
        found.append("assumed: water 0.998 kg/L")
    if catalog.settings.closure is None:
        found.append("assumed: the lines may miss the batch by 0.5 %")
    found += [f"set by the house: {one.rule} is {one.level} ({one.reason})" for one in catalog.settings.rule_setting]
    return tuple(found)
