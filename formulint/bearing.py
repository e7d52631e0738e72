"""What results of tests say about a formula's tests: each row held against what is asked, and what all rows of a test come to.

A row counts only for the paint that was measured; the paint is known by its digests. Every repeat is judged, or the mean
of a row where a rule says so. One row that is outside is enough to fail: a second measurement does not undo the first.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from datetime import date
from typing import TYPE_CHECKING, Literal

from msgspec import Struct

from formulint.errors import Misread
from formulint.finding import Kind
from formulint.formula import TestSpec
from formulint.quantity import Quantity, read
from formulint.result import EYE, Row
from formulint.vocabulary import TestName, dimensions_of

if TYPE_CHECKING:
    from fractions import Fraction

Cause = Literal["", "missing", "composition", "method", "condition", "scale", "figures", "making", "future", "age", "limits"]
"""What keeps a row, or a test, from passing; empty where it passes."""

DAY = 86400  # s
RATIOS = ("number", "mass share")  # 0.97 and 97 % say the same


class Bond(Struct, frozen=True):
    """How the paint that was measured stands to the one on the sheet.

    ``composition`` is the same, the same in other digits (``equivalent``), or another one; ``figures`` and ``making``
    say whether those of the materials and of the work are still what they were.
    """

    composition: Literal["same", "equivalent", "other"]
    figures: bool = True
    making: bool = True


class Kept(Struct, frozen=True):
    """A row with its file, its place in it, the revision that the file names, and how its paint stands to the sheet."""

    file: str
    at: int
    revision: int
    row: Row
    bond: Bond


class Asked(Struct, frozen=True):
    """What rules ask beside the formula: how old a result may be [s], and whether the mean of a row is judged."""

    max_age: float | None = None
    mean: bool = False


class Reading(Struct, frozen=True):
    """One row as it bears on a test; ``value`` is as written, repeats with commas between them."""

    file: str
    at: int
    value: str
    method: str
    measured_on: date
    by: str
    sample: str
    verdict: Kind
    reason: str
    cause: Cause = ""


class Bearing(Struct, frozen=True):
    """A test of a formula with all rows that are on file for it, what they come to, and why."""

    test: str
    asked: TestSpec
    results: tuple[Reading, ...]
    verdict: Kind
    reason: str
    cause: Cause = ""

    @property
    def title(self) -> str:
        """The test in words: ``contrast ratio``."""
        return self.test.replace("_", " ")


def bearing(test: str, asked: TestSpec, rows: Iterable[Kept], today: date, more: Asked) -> Bearing:
    """What is on file for one test, the newest first."""
    held = sorted(rows, key=lambda one: (one.row.measured_on, one.file, one.at), reverse=True)
    readings = tuple(_reading(test, asked, one, today, more) for one in held)
    for verdict in ("fail", "pass", "review"):
        for one in readings:
            if one.verdict == verdict:
                return Bearing(test, asked, readings, one.verdict, one.reason, one.cause)
    if not readings:
        return Bearing(test, asked, (), "open", "no result on file", "missing")
    return Bearing(test, asked, readings, "open", readings[0].reason, readings[0].cause)


def _reading(test: str, asked: TestSpec, kept: Kept, today: date, more: Asked) -> Reading:
    row = kept.row
    verdict, reason, cause = _verdict(test, asked, kept, today, more)
    return Reading(kept.file, kept.at, ", ".join(row.values), row.method, row.measured_on, row.by, row.sample or "", verdict, reason, cause)


Said = tuple[Kind, str, Cause]


def _verdict(test: str, asked: TestSpec, kept: Kept, today: date, more: Asked) -> Said:
    """The verdict on one row: first whether it counts at all, then what it says."""
    aside = _aside(asked, kept, today, more)
    if aside is not None:
        return aside
    found = _held(test, asked, kept.row, more.mean)
    if found[0] not in EYE:
        return found
    if not kept.bond.figures:
        return "review", f"{found[1]}, but figures of a material have changed since it was measured", "figures"
    if not kept.bond.making:
        return "review", f"{found[1]}, but the paint is made in another way since it was measured", "making"
    carried = "; carried over: the same paint in other digits" if kept.bond.composition == "equivalent" else ""
    return found[0], found[1] + carried, found[2]


def _aside(asked: TestSpec, kept: Kept, today: date, more: Asked) -> Said | None:
    """Why a row does not count; None where it does."""
    row = kept.row
    if kept.bond.composition == "other":
        return "open", f"result of another composition, measured as revision {kept.revision}", "composition"
    if row.measured_on > today:
        return "open", f"measured on {row.measured_on}, a day that is yet to come", "future"
    if not same_method(asked.method, row.method):
        return "open", f"other method: {row.method}; asked is {asked.method}", "method"
    other = _other_condition(asked, row)
    if other:
        return "open", f"other condition: {other}", "condition"
    limits = [age for age in (None if asked.valid_for is None else asked.valid_for.base, more.max_age) if age is not None]
    days = (today - row.measured_on).days
    if limits and days * DAY > min(limits):
        return "open", f"measured {days} days ago; it counts for {min(limits) / DAY:g} days", "age"
    return None


def same_method(asked: str, stated: str) -> bool:
    """True for the same method, whichever edition was used: ASTM D562-10 where ASTM D562 is asked; ISO 2813:2014 for ISO 2813."""
    one, other = (" ".join(text.split()).casefold() for text in (asked, stated))
    edition = other.removeprefix(one)
    dated = edition[:1] == ":" or (edition[:1] == "-" and one.startswith("astm"))  # ISO 2884-1 is a part of its own
    return one == other or (other.startswith(one) and dated)


def _other_condition(asked: TestSpec, row: Row) -> str:
    """How the condition differs; empty where it is the one asked for. Words that a row does not repeat go without saying."""
    if asked.after is not None and row.after is None:
        return f"it does not say after how long; asked is {asked.after.text}"
    if row.after is not None and asked.after is None:
        return f"after {row.after.text}, and none is asked"
    if asked.after is not None and row.after is not None and asked.after.exact != row.after.exact:
        return f"after {row.after.text}; asked is {asked.after.text}"
    one, other = (" ".join(text.split()).casefold() for text in (asked.condition, row.condition))
    return f"{row.condition}; asked is {asked.condition or 'none'}" if other and one != other else ""


def _held(test: str, asked: TestSpec, row: Row, mean: bool) -> Said:
    """A row that counts, against what is asked; what cannot be read never passes."""
    words = asked_words(asked)
    bounds = [(text, _read(test, text)) for text in (asked.min, asked.max) if text is not None]
    figures = [_read(test, text) for text in row.values]
    if any(bound is None for _, bound in bounds):
        return "open", f"the limit, {words}, cannot be read", "scale"
    if not bounds:
        return _without_limit(row, figures)
    read_figures = [one for one in figures if one is not None and all(_same_scale(one, bound) for _, bound in bounds if bound is not None)]
    if len(read_figures) < len(figures):
        return "open", f"{', '.join(row.values)} is of another scale than the limit, {words}", "scale"
    least, most = (_read(test, text) for text in (asked.min, asked.max))
    if mean and len(read_figures) > 1:
        middle = sum((one.exact for one in read_figures), start=0 * read_figures[0].exact) / len(read_figures)
        inside = _inside(middle, least, most)
        told = f"the mean of {', '.join(row.values)}"
        return ("pass", f"{told} is as asked, {words}", "") if inside else ("fail", f"{told}, and {words} is asked", "limits")
    outside = [str(one) for one in read_figures if not _inside(one.exact, least, most)]
    if outside:
        return "fail", f"{', '.join(outside)}, and {words} is asked", "limits"
    return "pass", f"as asked, {words}", ""


def _without_limit(row: Row, figures: Sequence[Quantity | None]) -> Said:
    if "fail" in row.values:
        return "fail", "judged: fail", "limits"
    if any(figure is None and text != "pass" for text, figure in zip(row.values, figures, strict=True)):
        return "open", f"{', '.join(row.values)} cannot be read", "scale"
    return "pass", "judged: pass" if set(row.values) == {"pass"} else "measured; no limit is asked", ""


def _inside(value: Fraction, least: Quantity | None, most: Quantity | None) -> bool:
    return (least is None or value >= least.exact) and (most is None or value <= most.exact)


def _read(test: str, text: str | None) -> Quantity | None:
    """A figure in a unit of the test; None where there is none, or it cannot be read: a finding of its own says so."""
    try:
        return None if text is None or text in EYE else read(text, dimensions_of(test))
    except Misread:
        return None


def _same_scale(one: Quantity, other: Quantity) -> bool:
    """Hegman and micrometres are never held against each other; 0.97 and 97 % are the same."""
    a, b = one.unit.dimension, other.unit.dimension
    return a == b or (a in RATIOS and b in RATIOS)


def asked_words(asked: TestSpec) -> str:
    """What a test must show, as written: ``95 KU to 105 KU``, ``at most 3``; ``no limit``."""
    if asked.min is not None and asked.max is not None:
        return f"{asked.min} to {asked.max}"
    if asked.min is not None:
        return f"at least {asked.min}"
    return "no limit" if asked.max is None else f"at most {asked.max}"


Rules = Callable[[str], Asked]
"""From a test to what rules ask of its results."""


def bearings(tests: Mapping[TestName, TestSpec], rows: Sequence[Kept], today: date, rules: Rules) -> tuple[Bearing, ...]:
    """What is on file for each test of a formula, in the order of its sheet."""
    return tuple(bearing(name, asked, (one for one in rows if one.row.test == name), today, rules(name)) for name, asked in tests.items())
