"""Every property of a resolved formula, in base units: a number, an interval, or the gap that says what is missing."""

from __future__ import annotations

from collections.abc import Mapping

from formulint.amounts import Resolved, Supply, over, times
from formulint.circumstances import Circumstances, hull
from formulint.content import TOTALS, Absent, Content, Gap, Missing, Value, add, joined
from formulint.extras import EXTRAS
from formulint.finding import Place
from formulint.interval import AtLeast, Interval, Number
from formulint.properties import BY_LAW, DOSES, PROPERTIES, SUBSTANCE

_LAWS = {one.id: (one.needs, one.law) for one in PROPERTIES}
_ALTERED = {one.id: (one.state, one.of) for one in PROPERTIES if one.state}
BASIS_COLUMN = {"pigment": "pigment_mass", "binder": "binder_mass", "batch": "total_mass", "film": "nonvolatile_mass"}


class Evaluation:
    """The values of a formula by property id, in base units, each computed when it is asked for.

    Parameters
    ----------
    resolved : Resolved
    path : str
        Its file, for what is missing.
    water_density : float
        Turns the mass of water inside materials into its volume, [kg/L].
    around : Circumstances
        What properties rest on that are rarely asked for.
    more : dict, optional
        Values besides the declared properties: doses and substances, only where the formula holds any.
    """

    __slots__ = ("_found", "_more", "_sums", "_values", "around", "path", "resolved", "water_density")

    def __init__(
        self, resolved: Resolved, path: str, water_density: float, around: Circumstances, more: dict[str, Value] | None = None
    ) -> None:
        self.resolved = resolved
        self.path = path
        self.water_density = water_density
        self.around = around
        self._more = more or {}
        self._found: dict[str, Value] = {}
        self._values: dict[str, Value] | None = None
        self._sums: dict[str, Value] | None = None

    @property
    def values(self) -> dict[str, Value]:
        """All values: the declared properties in their order, but those that nobody asks for, then the others."""
        if self._values is None:
            found = {**{name: self.value(name) for name in _LAWS}, **self._more}
            self._values = {name: value for name, value in found.items() if not isinstance(value, Absent)}
        return self._values

    def value(self, property_id: str) -> Value:
        """The value of a property; a dose or a substance of which the formula holds nothing is zero."""
        found = self._found.get(property_id)
        if found is None:
            if property_id not in _LAWS:
                return self._more.get(property_id, 0.0)
            found = self._found[property_id] = self._computed(property_id)
        return found

    def _computed(self, property_id: str) -> Value:
        if property_id in _ALTERED:
            return self._altered(*_ALTERED[property_id])
        needs, law = _LAWS[property_id]
        arguments = [self._need(name) for name in needs]
        try:
            for argument in arguments:
                if isinstance(argument, Gap):
                    return joined(law, *arguments)
            return law(*arguments)
        except ValueError as error:
            return Gap((Missing(str(error), Place(self.path), "", property_id),))

    def _need(self, name: str) -> Value:
        """What a law asks for: a total over the lines, which goes before a property of the same name."""
        totals = self.resolved.totals
        if name in totals:
            return totals[name]
        if name == "water_volume":
            return over(totals.get("water_mass", 0.0), self.water_density)
        if name in TOTALS:
            return 0.0
        if name in _LAWS:
            return self.value(name)
        if name in EXTRAS:
            if self._sums is None:
                self._sums = self.around.sums(self.resolved)
            return self._sums[name]
        found = self.around.value(name, self.resolved)
        return self.value(BY_LAW[name]) if found is None else found

    def _altered(self, how: str, property_id: str) -> Value:
        """The value of the paint as tinted or thinned to the most its label allows."""
        states = self.around.altered(how, self.resolved)
        if isinstance(states, Gap):
            return states
        return hull([Evaluation(one, self.path, self.water_density, self.around).value(property_id) for one in states])

    def besides(self, more: dict[str, Value]) -> Evaluation:
        """The same with more values."""
        return self._as(self.resolved, {**self._more, **more})

    def narrower(self, values: Mapping[str, Value]) -> Evaluation:
        """The same with these values in place of its own, which are intervals of the same numbers."""
        other = self._as(self.resolved, {**self._more, **{name: value for name, value in values.items() if name not in _LAWS}})
        other._found = {**self._found, **{name: value for name, value in values.items() if name in _LAWS}}
        return other

    def of_lines(self, resolved: Resolved) -> Evaluation:
        """The same values of lines that stand in another order."""
        return self._as(resolved, self._more)

    def _as(self, resolved: Resolved, more: dict[str, Value]) -> Evaluation:
        other = Evaluation(resolved, self.path, self.water_density, self.around, more)
        other._found = self._found
        return other


def doses(resolved: Resolved, materials: Mapping[str, Supply]) -> dict[str, Value]:
    """The declared doses of the functions that the formula holds, as shares of their basis [kg/kg]."""
    values: dict[str, Value] = {}
    for dose in DOSES:
        holders = [code for code in resolved.leaves if dose.function in materials[code].functions]
        if holders:
            amount = add([strength(resolved.leaves[code], materials[code], dose.as_) for code in holders])
            if dose.if_given and isinstance(amount, Gap):
                values[dose.id] = Absent(amount.missing)
                continue
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
    return AtLeast(low, min(1.0, top.hi if isinstance(top, Interval) else top), share, top)


def substances(resolved: Resolved, contents: Mapping[str, Content]) -> dict[str, Value]:
    """All substances that any material of the formula names by CAS number."""
    named = sorted({cas for code in resolved.leaves for cas in contents[code].substances})
    return {SUBSTANCE + cas: substance(resolved, contents, cas) for cas in named}
