"""Whether two results of a test differ by more than its scatter: by the lab's own figure where the settings have one, else by the pack's."""

from __future__ import annotations

from functools import cache
from math import sqrt

from msgspec import Struct

from formulint.errors import Misread
from formulint.finding import Source
from formulint.packing import shipped
from formulint.quantity import Quantity, read
from formulint.settings import Repeats, Settings
from formulint.vocabulary import TestName, dimensions_of

SHARE = ("mass share",)
HOUSE = Source("the lab's own figure", "", "house")


class Row(Struct, frozen=True, forbid_unknown_fields=True):
    """The repeatability of a test by a method, as ``Repeats`` gives it, and who says so."""

    test: TestName
    method: str
    source: Source
    within: str | None = None
    relative: str | None = None


class Table(Struct, frozen=True, forbid_unknown_fields=True):
    """The table of the pack."""

    repeatability: tuple[Row, ...]


class Scatter(Struct, frozen=True):
    """How far two results of one test lie apart by repeating alone: in the unit of the test, or as a share of their mean."""

    test: str
    method: str
    within: Quantity | None
    relative: Quantity | None
    source: Source

    @property
    def own(self) -> bool:
        """True where the lab has found it out for itself."""
        return self.source.checked == "house"

    @property
    def text(self) -> str:
        """As written: ``2 KU``, or ``30 % of the value``."""
        return f"{self.within}" if self.within is not None else f"{self.relative} of the value"

    def room(self, value: float, repeats: tuple[int, int] = (1, 1)) -> float:
        """How far apart two results at about this value may lie, in the base unit of the test.

        ``repeats`` are of how many single results each is the mean. The difference of means scatters as the root of
        ``(1/n + 1/m) / 2``: ISO 5725-6, from memory.
        """
        single = self.within.base if self.within is not None else abs(value) * self.relative.base if self.relative is not None else 0.0
        return single * sqrt((1 / repeats[0] + 1 / repeats[1]) / 2)

    def tells_apart(self, one: float, other: float, repeats: tuple[int, int] = (1, 1)) -> bool:
        """True where two results, in the base unit of the test, differ by more than repeating it would make them differ."""
        return abs(one - other) > self.room((one + other) / 2, repeats)


@cache
def table() -> Table:
    """The shipped table."""
    return shipped("tests/repeatability", Table)


def scatter(settings: Settings, test: str) -> Scatter | None:
    """The scatter of a test for a house; None where neither it nor the pack has a figure, so that nothing can be said."""
    listed = next((row for row in table().repeatability if row.test == test), None)
    own = next((one for name, one in settings.repeatability.items() if name == test), None)
    if own is not None:
        try:
            return _scatter(test, own.method or (listed.method if listed is not None else ""), own.within, own.relative, HOUSE)
        except Misread:
            pass  # a finding about the settings says so
    return None if listed is None else _scatter(test, listed.method, listed.within, listed.relative, listed.source)


def _scatter(test: str, method: str, within: str | None, relative: str | None, source: Source) -> Scatter:
    return Scatter(test, method, None if within is None else read(within, dimensions_of(test)), None if relative is None else read(relative, SHARE), source)


def misread(test: str, own: Repeats) -> Misread | None:
    """What is wrong with a lab's own figure: both or none of the two ways to give it, another unit, nothing or less."""
    if (own.within is None) == (own.relative is None):
        return Misread(f"the repeatability of {test} is given {'twice' if own.within else 'without a figure'}", "write within, in the unit of the test, or relative, a share of the value")
    try:
        found = _scatter(test, own.method, own.within, own.relative, HOUSE)
    except Misread as error:
        return error
    figure = found.within if found.within is not None else found.relative
    return None if figure is not None and figure.base > 0 else Misread(f"a repeatability of {figure} cannot be", "take it from duplicates of your own")


def compared(found: Scatter | None, test: str, one: Quantity, other: Quantity, repeats: tuple[int, int] = (1, 1)) -> str:
    """Two results in words: whether they differ, by how much scatter that is judged, and what helps where they do not."""
    pair = f"{one} against {other}"
    if found is None or one.unit.dimension != other.unit.dimension or (found.within is not None and found.within.unit.dimension != one.unit.dimension):
        return f"{pair}: whether they differ cannot be said, for want of a repeatability of {test} in that unit"
    whose = "the lab's own" if found.own else found.source.checked
    judged = f"the scatter of the test ({found.text}, {whose})"
    if found.tells_apart(one.base, other.base, repeats):
        return f"{pair}: they differ by more than {judged}"
    return f"{pair}: within {judged}; treat as equal, or measure both side by side"
