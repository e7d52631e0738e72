"""Whether a batch goes into its tanks: how full each is when a stage is in, and while a disc runs in it."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping

from msgspec import Struct
from msgspec.structs import replace

from formulint.content import Gap, Value, add
from formulint.equipment import Equipment
from formulint.formula import Formula, Process
from formulint.interval import ends
from formulint.quantity import show
from formulint.science.machine import disc_coverage
from formulint.vessels import Running, Spot, running

COVERED = 1.0  # heights of liquid over the diameter of the disc; below it the disc draws air (practice, as science/machine says)


class Filling(Struct, frozen=True):
    """A tank with what is in it [L] at the end of a stage, or while a step runs; ``working`` for a disc that runs."""

    stage: int
    tank: Equipment
    litres: Value
    working: bool


class Trouble(Struct, frozen=True):
    """What is wrong with a filling, in words; ``stops`` where the batch cannot be made so."""

    words: str
    stops: bool


def fillings(formula: Formula, litres: Mapping[Spot, Value], machine: Callable[[str], Equipment | None], tank: Equipment | None) -> Iterator[Filling]:
    """Every filling of equipment that there is a record of; ``tank`` stands for the vessel in which the batch ends."""
    ended = replace(formula, stage=tuple(replace(one, process=one.process or Process(step="charge")) for one in formula.stage))
    steps = running(ended)
    last = steps[-1].vessel
    for step in steps:
        where = tank if tank is not None and step.vessel == last else machine(step.vessel) if step.vessel else None
        if where is None or where.kind != "tank":
            continue
        at_end = step.spot[1] == len(formula.stage[step.spot[0]].additions)
        if at_end or step.work.step == "disperse":
            yield Filling(step.spot[0], where, _inside(step, litres), step.work.step == "disperse")


def _inside(step: Running, litres: Mapping[Spot, Value]) -> Value:
    return add([litres[spot] for spot in step.inside if spot in litres])


def troubles(formula: Formula, found: Filling, unit: str) -> Iterator[Trouble]:
    """What is wrong with a filling; nothing where the tank takes it."""
    tank, stage = found.tank, formula.stage[found.stage].name
    least, most = tank.fill.min, tank.fill.max
    if isinstance(found.litres, Gap):
        why = "; ".join(dict.fromkeys(item.what for item in found.litres.missing))
        yield Trouble(f"whether {stage} goes into {tank.code} cannot be said: {why or 'its volume is not known'}", True)
        return
    low, high = ends(found.litres)
    if most is not None and high > most.lo.base * (1 + 1e-9):
        yield Trouble(f"{stage} fills {tank.code} to {show(high, unit, 1)}, above its most of {most.text}", True)
    if found.working and least is not None and low < least.hi.base * (1 - 1e-9):
        yield Trouble(f"{stage} is dispersed at {show(low, unit, 1)} in {tank.code}, below its least of {least.text}", True)
    elif found.working and tank.disc is not None and tank.diameter is not None:
        covered = disc_coverage(low, tank.diameter.hi.base, tank.disc.hi.base)
        if covered < COVERED:
            yield Trouble(f"{stage} stands {covered:.2f} disc diameters high in {tank.code} while the disc of {tank.disc.text} runs; below about 1 it draws air (common practice, no source)", False)


def unchecked(tank: Equipment) -> str:
    """What a tank's record does not say, so that nobody has looked at it; empty where it says all."""
    return "" if tank.fill.max is not None else f"{tank.code} has no fill limits in its record: whether the batch fits is not checked"


def too_empty(tank: Equipment, litres: Value, unit: str) -> str:
    """What is said of a whole batch that is less than its tank is run with; empty where it is enough, or nobody can say."""
    least = tank.fill.min
    if least is None or isinstance(litres, Gap) or ends(litres)[0] >= least.hi.base * (1 - 1e-9):
        return ""
    return f"the whole batch is {show(ends(litres)[0], unit, 1)}, below what {tank.code} is run with: {least.text}"
