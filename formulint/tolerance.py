"""How far a single figure of a material may be off, as its file says under ``[tolerance]``."""

from __future__ import annotations

from formulint.errors import Misread
from formulint.figure import Figure
from formulint.material import Material
from formulint.quantity import read


def tolerance_of(material: Material, field: str) -> float | None:
    """The tolerance of a figure in its base unit, above zero: as written in a unit of the figure, or as a share of it.

    ``"0.05 lb/gal"`` and ``"0.5 %"`` of a density are both read; of a share, ``"0.5 %"`` are percentage points. None
    where the field has no figure.

    Raises
    ------
    Misread
    """
    figure, text = getattr(material, field, None), material.tolerance[field]
    if not isinstance(figure, Figure):
        return None
    dimension, share = figure.dimension, "mass share"
    off = read(text, (dimension, share) if dimension != share else (share,))
    if off.base <= 0:
        raise Misread(f'the tolerance "{text}" of {field} is not above zero', "write how far the figure may be off to either side")
    return off.base * (figure.lo.base if off.unit.dimension != dimension else 1.0)
