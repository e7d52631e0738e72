"""Every property of a resolved formula, in base units: a number, an interval, or the gap that says what is missing."""

from __future__ import annotations

from collections.abc import Mapping

from msgspec import Struct

from formulint.amounts import Resolved, Supply, over, times
from formulint.content import Content, Gap, Missing, Value, add
from formulint.finding import Place
from formulint.interval import AtLeast, Interval, Number
from formulint.properties import DOSES, PROPERTIES, SUBSTANCE

_NEEDS = tuple((one.id, one.needs, one.law) for one in PROPERTIES)
BASIS_COLUMN = {"pigment": "pigment_mass", "binder": "binder_mass", "batch": "total_mass"}


class Evaluation(Struct, frozen=True):
    """The values of a formula by property id, in base units; doses and substances only where the formula holds any."""

    values: dict[str, Value]
    resolved: Resolved

    def value(self, property_id: str) -> Value:
        """The value of a property; a dose or a substance of which the formula holds nothing is zero."""
        return self.values.get(property_id, 0.0)


def evaluate(resolved: Resolved, path: str, water_density: float) -> Evaluation:
    """Compute all declared properties from the totals of a formula.

    ``water_density`` [kg/L] turns the mass of water inside materials into its volume.
    """
    known: dict[str, Value] = dict(resolved.totals)
    known["water_volume"] = over(known.get("water_mass", 0.0), water_density)
    values: dict[str, Value] = {}
    whole = not any(isinstance(value, Gap) for value in known.values())
    for name, needs, law in _NEEDS:
        arguments = [known.get(need, 0.0) for need in needs]
        value: Value
        if not whole and (gaps := [argument for argument in arguments if isinstance(argument, Gap)]):
            value = add(list(gaps))
        else:
            try:
                value = law(*arguments)
            except ValueError as error:
                value = Gap((Missing(str(error), Place(path), "", name),))
                whole = False
        values[name] = value
        known[name if name not in known else f"property_{name}"] = value
    return Evaluation(values, resolved)


def doses(resolved: Resolved, materials: Mapping[str, Supply]) -> dict[str, Value]:
    """The declared doses of the functions that the formula holds, as shares of their basis [kg/kg]."""
    values: dict[str, Value] = {}
    for dose in DOSES:
        holders = [code for code in resolved.leaves if dose.function in materials[code].functions]
        if holders:
            amount = add([strength(resolved.leaves[code], materials[code], dose.as_) for code in holders])
            basis = resolved.totals.get(BASIS_COLUMN[dose.on], 0.0)
            if basis != 0.0:
                values[dose.id] = over(amount, basis)
            else:
                words = f"there is no {dose.on} for the {dose.function} to be dosed on"
                values[dose.id] = Gap((Missing(words, Place(""), "", dose.id),))
    return values


def strength(kg: Value, supply: Supply, as_: str) -> Value:
    """What ``kg`` of a material as supplied holds: of its active part, of its nonvolatile part, or itself [kg]."""
    if as_ == "active":
        return times(kg, supply.active)
    if as_ == "nonvolatile":
        return times(kg, supply.columns["nonvolatile_mass"])
    return kg


def substance(resolved: Resolved, contents: Mapping[str, Content], cas: str) -> Value:
    """Share of a substance in the batch [kg/kg]; where suppliers do not name everything, from the named sum upwards."""
    counted = [(kg, contents[code]) for code, kg in resolved.leaves.items() if code in contents]
    named = add([times(kg, one.substances[cas]) for kg, one in counted if cas in one.substances])
    hidden = add([times(kg, one.undisclosed) for kg, one in counted if one.undisclosed])
    mass = resolved.totals.get("total_mass", 0.0)
    if isinstance(named, Gap) or isinstance(hidden, Gap) or isinstance(mass, Gap):
        return add([named, hidden, mass])
    if mass == 0.0:
        return 0.0
    share: Number = named / mass
    if hidden == 0.0:
        return share
    low = share.lo if isinstance(share, Interval) else share
    top = (named + hidden) / mass
    return AtLeast(low, min(1.0, top.hi if isinstance(top, Interval) else top))


def substances(resolved: Resolved, contents: Mapping[str, Content]) -> dict[str, Value]:
    """All substances that any material of the formula names by CAS number."""
    named = sorted({cas for code in resolved.leaves for cas in contents[code].substances})
    return {SUBSTANCE + cas: substance(resolved, contents, cas) for cas in named}
