"""What is wrong, as values: where it stands, how bad it is, what was measured against what."""

from datetime import date
from enum import IntEnum
from typing import Literal

from msgspec import Struct

KeyPath = tuple[str | int, ...]
MENDABLE = frozenset({"order", "voc", "dose", "closure", "own-limit", "house"})
"""Packs, and what stands in their place, whose rules may ask for a number or an order."""

Kind = Literal["pass", "fail", "open", "review"]


class Level(IntEnum):
    """How much a finding weighs; the words are those of SARIF 2.1.0."""

    note = 1
    warning = 2
    error = 3


class Mark(Struct, frozen=True, order=True):
    """A place in a file. Line and column count from 1 in characters; 0 means the whole file."""

    path: str
    line: int = 0
    column: int = 0


class Place(Struct, frozen=True):
    """A place named by key path; line and column are looked up only when somebody wants to read them.

    Where there is no key (a syntax error), ``line`` and ``column`` are given, counted from 1; else they are 0.
    """

    path: str
    keys: KeyPath = ()
    line: int = 0
    column: int = 0


class Source(Struct, frozen=True):
    """Where a figure comes from and how well that was checked.

    ``checked`` is ``verified`` (read in the named source), ``practice`` (common practice, no source),
    ``memory`` (recalled, not seen) or ``house`` (the repository's own figure, for which the house answers).
    """

    document: str = ""
    section: str = ""
    checked: Literal["verified", "practice", "memory", "house"] = "practice"
    note: str = ""


class Measured(Struct, frozen=True):
    """The worst end of a value that is outside its bound or may be, and that bound, both in the base unit of the dimension.

    ``unit`` is the one that people see it in.
    """

    worst: float
    bound: float
    dimension: str
    unit: str


class Grant(Struct, frozen=True):
    """Leave to let a finding stand: the code of the concession, or the list of old findings; why, and from or until when.

    ``reaches`` are the formulas that a material is in for which leave was given.
    """

    by: str
    reason: str
    until: date | None = None
    since: date | None = None
    reaches: tuple[str, ...] = ()


class Fault(Struct, frozen=True):
    """What a reader or a rule kind has to say; who says it and how loudly is stamped by ``judge``.

    ``measured`` and ``limit`` are in the unit named by ``unit``, as shown to people; None where no number is meant.
    ``missing`` are the places where a figure should stand; ``checked`` says how well the limit was checked, where the
    rule's own source does not hold for it; ``cause`` says in words what is missing where that alone leaves it open;
    ``off`` is how far a value is outside, unrounded, where it is a value that somebody may concede.
    """

    place: Place
    message: str
    remedy: str = ""
    kind: Kind = "fail"
    measured: str | None = None
    limit: str | None = None
    unit: str = ""
    related: tuple[Place, ...] = ()
    missing: tuple[Place, ...] = ()
    checked: str = ""
    property: str = ""
    cause: str = ""
    off: Measured | None = None


class Edit(Struct, frozen=True):
    """A piece of a file written otherwise: from character ``at`` of its text on (byte order mark not counted), ``new`` for ``old``.

    Nothing is taken out where ``old`` is empty, nothing put in where ``new`` is. ``keys`` name what is written there.
    """

    path: str
    keys: KeyPath
    at: int
    old: str
    new: str


class Remedy(Struct, frozen=True):
    """One change that mends a finding, computed and judged; without edits, the word that there is none, or none that can be written.

    One that ``moves`` additions says all that is to be done.
    """

    text: str
    edits: tuple[Edit, ...] = ()
    moves: bool = False


class Finding(Struct, frozen=True):
    """A fault with the rule that says so, its level and the record it is about.

    ``remedies`` are computed only for what is shown.
    ``behind`` are the findings that it is told to people in place of; their rules are listed in ``rule``.
    ``granted`` where it may stand all the same: then it stops nothing.
    """

    rule: str
    level: Level
    fault: Fault
    formula: str = ""
    material: str = ""
    why: str = ""
    source: Source | None = None
    remedies: tuple[Remedy, ...] = ()
    behind: tuple["Finding", ...] = ()
    granted: Grant | None = None

    @property
    def blocks(self) -> bool:
        """True where a commit may not pass: an error that fails, or that could not be judged."""
        return self.level is Level.error and self.granted is None and self.fault.kind in ("fail", "open")

    @property
    def stood(self) -> bool:
        """True for what is on the list of old findings."""
        return self.granted is not None and self.granted.until is None

    @property
    def about(self) -> tuple[str, str, str]:
        """What makes two findings the same one, whatever its line and its number are: rule, record, and what it speaks of."""
        return self.rule, self.formula or self.material, self.fault.property or self.fault.message.split(" is ")[0]

    @property
    def mendable(self) -> bool:
        """True for what fails in a formula by a rule that may ask for a number or an order: a remedy can be looked for."""
        return bool(self.formula) and self.granted is None and self.fault.kind in ("fail", "review") and self.rule.partition("/")[0] in MENDABLE
