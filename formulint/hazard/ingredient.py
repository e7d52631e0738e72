"""A substance in a paint with its share and what its records say of its hazards; how names of classes are read."""

from __future__ import annotations

import re
from functools import cache
from typing import TYPE_CHECKING, NamedTuple

from msgspec import Struct

from formulint.hazard.scheme import figures

if TYPE_CHECKING:
    from fractions import Fraction

_CLASS = re.compile(r"([^()]*?)(?: (\d[A-C]?))?\*?(?: \(([^()]+)\))?")
ACUTE = "Acute Tox."
INHALED = "inhalation"


class Name(NamedTuple):
    """A class in its parts: ``Acute Tox. 4 (oral)`` is "Acute Tox.", "4", "oral"."""

    name: str
    category: str
    more: str

    @property
    def step(self) -> str:
        """The category without its letter."""
        return self.category[:1]


class Profile(NamedTuple):
    """What of a substance decides in which rows it counts, and from which share: the same in every paint that holds it."""

    classes: tuple[str, ...]
    limits: tuple[tuple[str, Fraction], ...]
    m_acute: Fraction | None
    m_chronic: Fraction | None
    additive: bool

    def m(self, which: str) -> Fraction | int:
        """The M-factor for an acute or chronic sum; 1 where the records give none."""
        found = self.m_acute if which == "acute" else self.m_chronic if which == "chronic" else 1
        return found or 1


class Ingredient(Struct, frozen=True):
    """A substance in the paint.

    ``low`` and ``high`` are the ends of its share [kg/kg]; ``classes`` as the records write them, None where none says
    anything; ``limits`` by class; ``ate`` by route in base units; ``materials`` the codes that bring it.
    """

    name: str
    cas: str
    low: Fraction
    high: Fraction
    classes: tuple[str, ...] | None
    limits: dict[str, Fraction] = {}
    m_acute: Fraction | None = None
    m_chronic: Fraction | None = None
    ate: dict[str, Fraction] = {}
    additive: bool = True
    volatile: str = ""
    materials: tuple[str, ...] = ()
    doubts: tuple[str, ...] = ()

    @property
    def profile(self) -> Profile:
        """What decides in which rows it counts."""
        return Profile(self.classes or (), tuple(self.limits.items()), self.m_acute, self.m_chronic, self.additive)


@cache
def parsed(text: str) -> Name:
    """The parts of a class as written; a text of another form is all name."""
    match = _CLASS.fullmatch(" ".join(text.split()))
    return Name(match[1], match[2] or "", (match[3] or "").casefold()) if match else Name(text, "", "")


@cache
def matches(wanted: str, held: str) -> bool:
    """True where a class held is one that is wanted: what either leaves unsaid of route or effect is no difference."""
    one, other = parsed(wanted), parsed(held)
    return one[:2] == other[:2] and (not one.more or not other.more or one.more == other.more)


@cache
def understood(held: str) -> bool:
    """True for a class that some row, route or list knows."""
    data = figures()
    name = parsed(held)
    if name.name == ACUTE:
        return name.category in ("1", "2", "3", "4", "5") and bool(routes_of(held, ""))
    listed = any(matches(one, held) for row in data.row for term in row.of for one in term.classes)
    return listed or (data.not_computed is not None and name.name in data.not_computed.names)


@cache
def routes_of(held: str, volatile: str) -> tuple[str, ...]:
    """The routes that an acute class speaks of; of what is breathed in, vapour where the component evaporates, else dust and mist."""
    more = parsed(held).more
    if more == INHALED:
        return ("vapour",) if volatile in ("organic", "inorganic") else ("dust_mist",)
    return tuple(route.id for route in figures().route if more in route.words)


def known(one: Ingredient) -> bool:
    """True where the records say what hazards the substance has, in words that are understood."""
    return one.classes is not None and all(understood(held) for held in one.classes)
