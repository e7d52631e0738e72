"""What a list says of single substances, and where a record says less: read when a rule asks, never on the way to "all is well"."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from functools import cache

from msgspec import Struct, UnsetType, field

from formulint.hazard.ingredient import parsed
from formulint.hazard.scheme import Sourced, share
from formulint.material import Component
from formulint.packing import shipped

FILE = "hazard/figures-entries"


class Listed(Sourced, frozen=True, rename={"from_": "from"}):
    """An entry: the substances by CAS number, their classes, limits of their own, M-factors (1 where none is given), its first day."""

    cas: tuple[str, ...]
    name: str
    hazards: tuple[str, ...]
    limits: dict[str, str] = field(default_factory=dict)
    m_acute: str = "1"
    m_chronic: str = "1"
    from_: date | None = None


class Entries(Struct, frozen=True):
    """Everything in the file."""

    entry: tuple[Listed, ...]


@cache
def entries() -> dict[str, Listed]:
    """The entries by CAS number."""
    return {cas: one for one in shipped(FILE, Entries).entry for cas in one.cas}


def milder(component: Component, listed: Listed) -> Iterator[str]:
    """What a record says less of a substance than its entry does, in words; nothing where it says nothing at all: that is open elsewhere."""
    if isinstance(component.hazards, UnsetType):
        return
    held, figures = component.hazards, component.hazard_figures
    for wanted in listed.hazards:
        if not any(covers(one, wanted) for one in held):
            yield wanted
    for name, most in listed.limits.items():
        own = figures.limits.get(name)
        if own is None:
            yield f"a limit for {name}, {most}"
        elif own.hi.exact > share(most):
            yield f"a limit for {name} of {most} (it has {own.text})"
    for name, least, factor in (("acute", listed.m_acute, figures.m_acute), ("chronic", listed.m_chronic, figures.m_chronic)):
        if float(least) > (1.0 if factor is None else factor.lo.base):
            yield f"an {name} M-factor of {least}" if name == "acute" else f"a {name} M-factor of {least}"


@cache
def covers(held: str, wanted: str) -> bool:
    """True where a class held is the one wanted or a more severe one; without a letter it is the mildest of its category."""
    one, other = parsed(held), parsed(wanted)
    if one.name != other.name or (one.more and other.more and one.more != other.more):
        return False
    letters = one.category[1:] or "Z", other.category[1:] or "Z"
    return (one.step, letters[0]) <= (other.step, letters[1])
