"""What a kilogram of a raw material brings for properties that are rarely asked for; worked out when they are.

A figure that a material may but need not give is ``Absent`` where it is not given: then nobody asks for the property.
"""

from __future__ import annotations

from collections.abc import Callable

from formulint.amounts import over, times
from formulint.content import OPAQUE_POLYMER, Absent, Content, Gap, Missing, Value, add, number
from formulint.figure import Figure
from formulint.finding import Place
from formulint.material import Component, Material
from formulint.science.demand import PERCENT

ALL_OR_NOTHING = frozenset({"volatile_volume"})
"""Sums that mean nothing where any material does not give its part; of the others, materials that give none are missing."""

EXTRAS = (
    "dispersant_active", "dispersant_needed", "pigment_area", "binder_index_volume", "film_temperature_mass",
    "film_temperature_drop", "volatile_volume",
)  # fmt: skip
"""Names of the sums; ``science_cases.TOTALS`` of the tests gives their units."""


def extras(material: Material, path: str, brought: Content, water_density: float) -> dict[str, Value]:
    """Per kilogram of the material as supplied: what it adds to the sums of ``EXTRAS``; nothing where it has no part in one."""

    def given(field: str, basis: Value, factor: float = 1.0) -> Value:
        figure: Figure | None = getattr(material, field)
        if figure is None:
            return Absent(_missing(material, path, field))
        return times(basis, number(figure) * factor)

    columns = brought.columns
    found: dict[str, Value] = {}
    if "dispersant" in material.functions:
        found["dispersant_active"] = active(material, path)
    pigment = columns.get("pigment_mass", 0.0)
    if pigment != 0.0:
        found["dispersant_needed"] = given("dispersant_demand", pigment)
        found["pigment_area"] = given("surface_area", pigment)
    if "binder" in material.functions:
        found["binder_index_volume"] = given("binder_index", columns["binder_volume"])
        found["film_temperature_mass"] = given("minimum_film_temperature", columns["binder_mass"])
    if "coalescent" in material.functions:
        found["film_temperature_drop"] = given("film_temperature_drop", 1.0, PERCENT)
    found["volatile_volume"] = _volatile_volume(material, path, columns, water_density)
    return found


def _missing(material: Material, path: str, field: str, words: str = "") -> tuple[Missing, ...]:
    return (Missing(words or f"{material.code} has no {field}", Place(path, (field,)), material.code, field),)


def _volatile_volume(material: Material, path: str, columns: dict[str, Value], water_density: float) -> Value:
    """Room of water and other volatiles, each as a liquid by itself [L/kg]."""
    if OPAQUE_POLYMER in material.functions:
        return Absent(_missing(material, path, "film_density", f"{material.code} has hollow spheres: their water leaves and its room stays"))
    if columns["nonvolatile_mass"] == 0.0:
        return columns["total_volume"]
    if columns["nonvolatile_mass"] == 1.0:
        return 0.0
    parts = [over(columns["water_mass"], water_density)]
    listed = [one for one in material.component if one.volatile in ("organic", "inorganic")]
    named = [name for name in ("voc", "exempt", "other_volatile") if (figure := getattr(material, name)) is not None and figure.hi.base > 0]
    if named and not listed:
        return Absent(_missing(material, path, "component", f"{material.code} does not say which volatiles it holds, so their volume is unknown"))
    return add([*parts, *(_component_volume(material, path, one) for one in listed)])


def _component_volume(material: Material, path: str, one: Component) -> Value:
    if one.density is None or one.density.lo.base <= 0:
        return Absent(_missing(material, path, "density", f"{one.name} in {material.code} has no density"))
    return number(one.share) / number(one.density)


def sums(leaves: dict[str, Value], extra: Callable[[str], dict[str, Value]]) -> dict[str, Value]:
    """All sums of ``EXTRAS`` over the raw materials of a formula; ``leaves`` is what there is of each [kg]."""
    parts: dict[str, list[Value]] = {name: [] for name in EXTRAS}
    absent: dict[str, list[Missing]] = {}
    for code, kg in leaves.items():
        for name, value in extra(code).items():
            if isinstance(value, Absent):
                absent.setdefault(name, []).extend(value.missing)
            else:
                parts[name].append(times(kg, value))
    return {name: _sum(name, found, tuple(dict.fromkeys(absent.get(name, ())))) for name, found in parts.items()}


def _sum(name: str, parts: list[Value], missing: tuple[Missing, ...]) -> Value:
    if missing and (name in ALL_OR_NOTHING or all(part == 0.0 for part in parts)):
        return Absent(missing)
    return add([*parts, Gap(missing)]) if missing else add(parts)


def active(material: Material, path: str) -> Value:
    """The active share of a material, or the gap."""
    return Gap(_missing(material, path, "active")) if material.active is None else number(material.active)


def called(material: Material) -> dict[str, Value]:
    """Shares of the components by everything they may be called."""
    found: dict[str, Value] = {}
    for one in material.component:
        for word in one.called:
            found.setdefault(word, number(one.share))
    return found
