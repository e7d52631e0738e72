"""How far rounding to what a scale shows may move a line of a batch sheet: the figures of the shipped rules, read when a batch is asked for."""

from __future__ import annotations

from functools import cache

from msgspec import Struct

from formulint.finding import Source
from formulint.packing import shipped
from formulint.quantity import Quantity, read

SHARE = ("mass share",)


class Line(Struct, frozen=True, forbid_unknown_fields=True):
    """Shares of a line that rounding may move: above ``refused`` it is not weighed so, above ``told`` it is told; and who says so."""

    refused: str
    told: str
    source: Source

    @property
    def most(self) -> Quantity:
        """The share above which a line is not weighed so."""
        return read(self.refused, SHARE)

    @property
    def quiet(self) -> Quantity:
        """The share up to which nothing is said."""
        return read(self.told, SHARE)


class Table(Struct, frozen=True, forbid_unknown_fields=True):
    """The table of the shipped rules."""

    line: Line


@cache
def of_a_line() -> Line:
    """The shipped figures."""
    return shipped("rounding", Table).line
