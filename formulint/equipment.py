"""A tank or a scale of the plant, as its file says it: the one declaration of its format."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Literal

from msgspec import Struct

from formulint.figure import Length, Mass, MassShare, Volume
from formulint.finding import Fault, Place
from formulint.material import Code


class Filling(Struct, frozen=True, forbid_unknown_fields=True):
    """The least and the most that a tank is run with."""

    min: Volume | None = None
    max: Volume | None = None


class Equipment(Struct, frozen=True, forbid_unknown_fields=True):
    """A piece of equipment: a tank with its disc, or a scale.

    ``tolerance`` is how far what is weighed on a scale may be off, as a share of the amount; set by the house.
    """

    code: Code
    kind: Literal["tank", "scale"]
    name: str = ""
    diameter: Length | None = None
    disc: Length | None = None
    fill: Filling = Filling()
    capacity: Mass | None = None
    division: Mass | None = None
    tolerance: MassShare | None = None
    note: str = ""


BELONGS = {"diameter": "tank", "disc": "tank", "capacity": "scale", "division": "scale", "tolerance": "scale"}
"""Which kind of equipment a field is about."""


def faults(one: Equipment, path: str) -> Iterator[Fault]:
    """What must hold inside one record beyond its shape."""
    for field, kind in BELONGS.items():
        if getattr(one, field) is not None and kind != one.kind:
            yield Fault(Place(path, (field,)), f"{field} belongs to a {kind}, and {one.code} is a {one.kind}", "leave it out, or correct the kind")
    for field in ("diameter", "disc", "capacity", "division", "tolerance"):
        figure = getattr(one, field)
        if figure is not None and figure.lo.base <= 0:
            yield Fault(Place(path, (field,)), f"the {field} of {one.code} is {figure.text}, not above zero", "write what was measured")
    if one.kind == "tank" and one.diameter is None:
        yield Fault(Place(path, ("kind",)), f"tank {one.code} has no diameter", 'add diameter = "48 in", measured inside')
    if one.kind == "scale" and one.capacity is None:
        yield Fault(Place(path, ("kind",)), f"scale {one.code} has no capacity", 'add capacity = "2000 lb"')
    if one.disc is not None and one.diameter is not None and one.disc.lo.base >= one.diameter.hi.base:
        yield Fault(Place(path, ("disc",)), f"the disc of {one.disc.text} does not fit into {one.code}, {one.diameter.text} across", "check both figures")
    if one.division is not None and one.capacity is not None and one.division.lo.base >= one.capacity.hi.base:
        yield Fault(Place(path, ("division",)), f"one division of {one.code} is {one.division.text}, as much as it can weigh", "check both figures")
    least, most = one.fill.min, one.fill.max
    if least is not None and most is not None and least.lo.base > most.hi.base:
        yield Fault(Place(path, ("fill",)), f"the least filling of {one.code}, {least.text}, is above the most, {most.text}", "exchange them")
