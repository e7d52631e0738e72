"""Where known substances boil: read when a record names such a substance and gives a figure, never on the way to "all is well"."""

from __future__ import annotations

from functools import cache
from typing import Literal

from msgspec import Struct

from formulint.formula import Bounds
from formulint.packing import shipped

FILE = "voc/exempt"


class Boils(Struct, frozen=True):
    """A substance by its CAS number, with the ends of its boiling point over the tables that were compared, at 101.3 kPa."""

    cas: str
    name: str
    boiling_point: Bounds
    checked: Literal["verified", "practice", "memory"]


class _Substances(Struct, frozen=True):
    substance: tuple[Boils, ...]


@cache
def boiling_points() -> dict[str, Boils]:
    """The substances by CAS number."""
    return {one.cas: one for one in shipped(FILE, _Substances).substance}
