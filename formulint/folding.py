"""One figure that is missing opens many checks: for people the cause is told first and once, with the checks behind it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from msgspec.structs import replace

from formulint.catalog import stem
from formulint.finding import Fault, Finding, Place

MOST = 8  # checks and formulas named in one line; the rest is counted

Cause = tuple[frozenset[str], str]


def causes_first(findings: Sequence[Finding]) -> tuple[Finding, ...]:
    """Findings with those that are open for one cause told as one, before all others; the rest in their order.

    What only says that the figure is missing is folded too. Machines get every finding, see ``render/json_report.py``.
    """
    groups: dict[Cause, list[Finding]] = {}
    for one in findings:
        if one.fault.kind == "open" and one.granted is None and one.fault.cause and one.fault.missing:
            paths = frozenset(place.path for place in one.fault.missing)
            groups.setdefault((paths, one.fault.remedy), []).append(one)
    many = [group for group in groups.values() if len(group) > 1]
    if not many:
        return tuple(findings)
    told = []
    left = dict.fromkeys(findings)
    for group in sorted(many, key=lambda group: -len(group)):
        absent = {place for one in group for place in one.fault.missing}
        also = [one for one in left if _says_so(one, absent)]
        told.append(_told_once(group, also))
        for one in (*group, *also):
            left.pop(one, None)
    return (*told, *left)


def _says_so(finding: Finding, absent: set[Place]) -> bool:
    """True for what a rule of completeness says of a figure whose absence is told as a cause."""
    return finding.fault.kind == "fail" and finding.fault.place in absent and bool(finding.material)


def _told_once(group: Sequence[Finding], also: Sequence[Finding]) -> Finding:
    first = max(group, key=lambda one: one.level)
    places = tuple(dict.fromkeys(place for one in group for place in one.fault.missing))
    formulas = list(dict.fromkeys(one.formula for one in group if one.formula))
    where = f" of {_listed(formulas)}" if formulas else ""
    checks = _listed(dict.fromkeys(_check(one) for one in group), "; ")
    words = f"{_causes(group)}: {len(group)} checks{where} cannot be answered: {checks}"
    others = tuple({place.path: place for place in reversed(places) if place.path != places[0].path}.values())
    fault = Fault(places[0], words, first.fault.remedy, "open", related=others, missing=places, cause=first.fault.cause)
    rules = _listed(dict.fromkeys(one.rule for one in group))
    code = stem(places[0].path)
    own = code in formulas  # an amount of the sheet itself is missing
    return replace(first, rule=rules, fault=fault, formula=code if own else "", material="" if own else code, why="", source=None, behind=(*group, *also))


def _causes(group: Sequence[Finding]) -> str:
    """What is missing, the fields of one material together: ``RM-1402 has no density, water``."""
    fields: dict[str, dict[str, None]] = {}
    for part in (part for one in group for part in one.fault.cause.split("; ")):
        start, absent, names = part.partition(" has no ")
        fields.setdefault(start + absent, {}).update(dict.fromkeys(names.split(", ") if names else ()))
    return "; ".join(start + ", ".join(names) for start, names in fields.items())


def _check(finding: Finding) -> str:
    """What was asked, in the words of its finding without what is in brackets: ``density``, ``VOC less water``."""
    asked = finding.fault.message.partition(" cannot be ")[0].partition(" (")[0]
    return asked if asked[1:2].isupper() else asked[:1].lower() + asked[1:]


def _listed(words: Iterable[str], between: str = ", ") -> str:
    listed = list(words)
    more = f" and {len(listed) - MOST} more" if len(listed) > MOST else ""
    return between.join(listed[:MOST]) + more
