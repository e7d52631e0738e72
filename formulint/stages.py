"""What each stage of a sheet comes to by itself, such as the mill base, and how its disc runs."""

from __future__ import annotations

from msgspec import Struct

from formulint.amounts import Resolved, sums
from formulint.catalog import Catalog
from formulint.content import Absent, Value, joined
from formulint.evaluate import Evaluation
from formulint.science import machine
from formulint.side import Side

OF_LINES = ("mass", "volume", "density", "nonvolatile_mass", "nonvolatile_volume", "pvc_binder", "pigment_binder")
"""Properties that what is charged in a stage has by itself."""


class StageValues(Struct, frozen=True):
    """A stage by name, kind and vessel, with the values of what is charged in it, by property id."""

    name: str
    kind: str
    vessel: str
    values: dict[str, Value]


def of_stages(catalog: Catalog, one: Side) -> tuple[StageValues, ...]:
    """The stages in order; without those in which nothing is charged."""
    evaluation = catalog.subject(one.file).evaluation
    found = []
    for number, stage in enumerate(one.formula.stage):
        pairs = [(line, supply) for line in one.lines if line.stage == number and (supply := catalog.supply(line.code)) is not None]
        if not pairs:
            continue
        lines = [line for line, _ in pairs]
        totals, leaves = sums(lines, [supply for _, supply in pairs])
        alone = Evaluation(Resolved(tuple(lines), totals, leaves, None, ()), one.file.name, catalog.water_density, evaluation.around)
        values = {name: alone.value(name) for name in OF_LINES}
        found.append(StageValues(stage.name, stage.kind, stage.vessel, {**values, **_mill(evaluation, number)}))
    return tuple(found)


def _mill(evaluation: Evaluation, number: int) -> dict[str, Value]:
    """How the disc of a stage runs, where it is one of known equipment; of several steps the first."""
    around, resolved = evaluation.around, evaluation.resolved
    for step, tank in around.mills():
        if step.spot[0] == number:
            disc, width, speed, room = (around.of_mill(name, step, tank, resolved) for name in ("disc", "tank", "rotation", "mill_volume"))
            values = {
                "tip_speed": joined(machine.tip_speed, disc, speed),
                "disc_to_tank": joined(machine.disc_to_tank, disc, width),
                "disc_coverage": joined(machine.disc_coverage, room, width, disc),
            }
            return {name: value for name, value in values.items() if not isinstance(value, Absent)}
    return {}
