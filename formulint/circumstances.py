"""What values of a formula rest on beside its lines: its film, colorants and thinner, rarely given figures, its tank."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from msgspec import Struct
from msgspec.structs import replace

from formulint.amounts import Resolved, Supply, over, times
from formulint.content import Absent, Bounded, Gap, Missing, Surroundings, Value, add, number
from formulint.equipment import Equipment
from formulint.extras import sums
from formulint.figure import Figure
from formulint.finding import Place
from formulint.formula import Formula
from formulint.interval import Interval, ends
from formulint.vessels import Running, running

Altered = tuple[Resolved, ...]


class Circumstances(Struct, frozen=True):
    """A formula with what its rarely asked properties look up.

    ``supply`` gives what a kilogram of a code brings, ``extra`` its rarely given figures, ``machine`` the equipment of a
    code; each is asked only when such a property is. ``shares`` is what materials' figures were read against.
    """

    formula: Formula
    path: str
    supply: Callable[[str], Supply | None]
    extra: Callable[[str], dict[str, Value]]
    machine: Callable[[str], Equipment | None]
    shares: Surroundings

    def sums(self, resolved: Resolved) -> dict[str, Value]:
        """The sums of ``EXTRAS``."""
        return sums(resolved.leaves, self.extra)

    def value(self, name: str, resolved: Resolved) -> Value | None:
        """A figure by the name that a law calls it, but the sums of ``EXTRAS``; None where it is no such figure."""
        if name in ("dry_film", "coverage"):
            return self._stated(name)
        if name in ("disc", "tank", "rotation", "mill_volume"):
            return self._mill(name, resolved)
        return None

    def _absent(self, what: str, *keys: str | int) -> Absent:
        field = str(keys[-1]) if keys else ""
        return Absent((Missing(f"{self.formula.code} {what}", Place(self.path, keys), self.formula.code, field),))

    def _stated(self, name: str) -> Value:
        figure: Figure | None = getattr(self.formula.product, name)
        return self._absent(f"has no {name} under [product]", "product", name) if figure is None else number(figure)

    # --- the dissolver ----------------------------------------------------------------------------------------------

    def mills(self) -> Iterator[tuple[Running, Equipment]]:
        """The steps of dispersing that run in equipment of which there is a record."""
        if not any(stage.vessel and self.machine(stage.vessel) for stage in self.formula.stage):
            return
        for step in running(self.formula):
            machine = self.machine(step.vessel) if step.work.step == "disperse" and step.vessel else None
            if machine is not None:
                yield step, machine

    def _mill(self, name: str, resolved: Resolved) -> Value:
        """A figure of the first dispersing in known equipment."""
        step, machine = next(self.mills(), (None, None))
        if step is None or machine is None:
            return self._absent("disperses in no vessel of which there is a record", "stage")
        return self.of_mill(name, step, machine, resolved)

    def of_mill(self, name: str, step: Running, machine: Equipment, resolved: Resolved) -> Value:
        """A figure of one dispersing: ``disc``, ``tank``, ``rotation`` or ``mill_volume``."""
        if name == "mill_volume":
            return add([line.litres for line in resolved.lines if (line.stage, line.at) in step.inside])
        if name == "rotation":
            speed = step.work.speed
            if speed is None or speed.dimension != "rotation":
                return self._absent("gives no speed of rotation for its disc", "stage", step.spot[0])
            return number(speed)
        figure = machine.disc if name == "disc" else machine.diameter
        return self._absent(f"is made in {machine.code}, which has no {name}", "stage", step.spot[0], "vessel") if figure is None else number(figure)

    # --- tinted and thinned -----------------------------------------------------------------------------------------

    def altered(self, how: str, resolved: Resolved) -> Altered | Gap:
        """The lines with as much colorant, or thinner, as the label allows; with several colorants one for each."""
        return self._tinted(resolved) if how == "tinted" else self._thinned(resolved)

    def _tinted(self, resolved: Resolved) -> Altered | Gap:
        product = self.formula.product
        if not product.colorants:
            return self._absent("names no colorants under [product]", "product", "colorants")
        for name in ("fill", "colorant_max"):
            if getattr(product, name) is None:
                return self._absent(f"has no {name} under [product]", "product", name)
        assert product.fill is not None and product.colorant_max is not None
        load = over(number(product.colorant_max), number(product.fill))
        return tuple(self._with(code, load, resolved, ("product", "colorants", at)) for at, code in enumerate(product.colorants))

    def _thinned(self, resolved: Resolved) -> Altered | Gap:
        thinning = self.formula.product.thinning
        if thinning is None:
            return self._absent("has no thinning under [product]", "product", "thinning")
        return (self._with(thinning.material, number(thinning.max), resolved, ("product", "thinning", "material")),)

    def _with(self, code: str, load: Value, resolved: Resolved, keys: tuple[str | int, ...]) -> Resolved:
        """The sums with a volume of a material added, as a share of the paint's own volume."""
        supply = self.supply(code)
        if supply is None:
            gap = Gap((Missing(f"{code} has no record that can be read", Place(self.path, keys), code, "material"),))
            return replace(resolved, totals=dict.fromkeys(resolved.totals, gap), leaves={})
        kg = over(times(load, resolved.totals.get("total_volume", 0.0)), supply.columns["total_volume"])
        totals = dict(resolved.totals)
        for name, value in supply.columns.items():
            totals[name] = add([totals.get(name, 0.0), times(kg, value)])
        leaves = dict(resolved.leaves)
        for leaf, share in supply.leaves.items():
            leaves[leaf] = add([leaves.get(leaf, 0.0), times(kg, share)])
        return replace(resolved, totals=totals, leaves=leaves)


def hull(values: list[Value]) -> Value:
    """From the least to the most of several values."""
    if any(isinstance(one, Gap) and not isinstance(one, Bounded) for one in values):
        return add([one for one in values if isinstance(one, Gap)])
    if len(values) == 1:
        return values[0]
    pairs = [ends(one.between if isinstance(one, Bounded) else one) for one in values if not isinstance(one, Gap) or isinstance(one, Bounded)]
    low, high = min(pair[0] for pair in pairs), max(pair[1] for pair in pairs)
    missing = tuple(item for one in values if isinstance(one, Bounded) for item in one.missing)
    if missing:
        return Bounded(missing, Interval(low, high))
    return low if low == high else Interval(low, high)
