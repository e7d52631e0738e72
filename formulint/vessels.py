"""What is already in the vessel when an addition is charged: contact decides, not the place in the list."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from types import MappingProxyType

from msgspec import Struct

from formulint.formula import Addition, Formula, Process

Spot = tuple[int, int]  # number of the stage, number of the addition in it


class Charge(Struct, frozen=True):
    """One addition of a material and the kind of its stage.

    ``vessel`` is all that goes into its vessel, in order, and shared by all charges there; ``depth`` of it are in before.
    """

    spot: Spot
    code: str
    kind: str
    vessel: list[Spot]
    depth: int

    @property
    def before(self) -> list[Spot]:
        """What it meets in its vessel, in the order in which it went in."""
        return self.vessel[: self.depth]


class Running(Struct, frozen=True):
    """A step of work while it runs: its stage and its place in it, in which vessel, and what is inside at that moment."""

    spot: Spot
    vessel: str
    inside: tuple[Spot, ...]
    work: Addition | Process


def charges(formula: Formula, swap: Mapping[Spot, str] = MappingProxyType({})) -> tuple[Charge, ...]:
    """Every addition of a material with what is in its vessel at that moment; ``swap`` names alternates that are used.

    A stage that no other stage pours in is followed by the next one in the same vessel; a stage without a vessel of its
    own stays in the vessel of the stage before it, unless it takes up another stage.
    """
    return _walked(formula, swap, None)


def running(formula: Formula) -> tuple[Running, ...]:
    """Every step of work, in order; that of a whole stage when all of the stage is in."""
    found: list[Running] = []
    _walked(formula, {}, found)
    return tuple(found)


def _walked(formula: Formula, swap: Mapping[Spot, str], steps: list[Running] | None) -> tuple[Charge, ...]:
    """The charges; the steps are added to a list if there is one."""
    poured = {line.stage for stage in formula.stage for line in stage.additions if line.stage is not None}
    inside: dict[str, list[Spot]] = {}
    ready: dict[str, list[Spot]] = {}
    found: list[Charge] = []
    vessel = ""
    for i, stage in enumerate(formula.stage):
        takes_up = any(line.stage is not None for line in stage.additions)
        vessel = stage.vessel or (f"stage {i}" if takes_up else vessel)
        now = inside.setdefault(vessel, [])
        for j, line in enumerate(stage.additions):
            if line.stage is not None:
                now.extend(ready.pop(line.stage, ()))
            elif line.material is not None:
                found.append(Charge((i, j), swap.get((i, j), line.material), stage.kind, now, len(now)))
                now.append((i, j))
            elif steps is not None and line.step is not None:
                steps.append(Running((i, j), vessel, tuple(now), line))
        if steps is not None and stage.process is not None:
            steps.append(Running((i, len(stage.additions)), vessel, tuple(now), stage.process))
        if stage.name in poured:
            ready[stage.name] = inside.pop(vessel)
    return tuple(found)


def by_code(found: Iterable[Charge]) -> dict[str, list[Charge]]:
    """Charges by the code that is charged."""
    sorted_out: dict[str, list[Charge]] = {}
    for charge in found:
        sorted_out.setdefault(charge.code, []).append(charge)
    return sorted_out


Span = tuple[list[Spot], int, int]
"""The one vessel that a code goes into, and how deep its first and its last charge lie there."""


def spans(found: Mapping[str, Sequence[Charge]]) -> dict[str, Span]:
    """Span of each code that goes into one vessel only."""
    return {
        code: (charges[0].vessel, charges[0].depth, charges[-1].depth)
        for code, charges in found.items()
        if len(charges) == 1 or not [one for one in charges if one.vessel is not charges[0].vessel]
    }


def left_over(formula: Formula) -> tuple[int, ...]:
    """Numbers of stages whose contents never reach the last vessel: nothing pours them in, nothing follows in their vessel."""
    poured = {line.stage for stage in formula.stage for line in stage.additions if line.stage is not None}
    last: dict[str, int] = {}
    vessel = ""
    for i, stage in enumerate(formula.stage):
        takes_up = any(line.stage is not None for line in stage.additions)
        vessel = stage.vessel or (f"stage {i}" if takes_up else vessel)
        if stage.name in poured:
            last.pop(vessel, None)
        else:
            last[vessel] = i
    return tuple(sorted(last.values())[:-1])
