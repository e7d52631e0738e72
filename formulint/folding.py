"""One figure that is missing opens many checks: for people the cause is told first and once, with the checks behind it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from msgspec.structs import replace

from formulint.catalog import stem
from formulint.finding import Fault, Finding, Place
from formulint.kinds.closure import BATCH

READABLE, WAITS = "record/readable", "record/known-material"
MOST = 8  # checks and formulas named in one line; the rest is counted

Cause = tuple[frozenset[str], str]


def causes_first(findings: Sequence[Finding]) -> tuple[Finding, ...]:
    """Findings with those that are open for one cause told as one, before all others; the rest in their order.

    A record that cannot be read comes first, with the formulas that wait for it. What only says that the figure is missing
    is folded too. That a sheet does not add up stands before all else of its formula, for every other figure is wrong with
    it. Machines get every finding, see ``render/json_report.py``.
    """
    findings = _sums_first(_unread_once(findings))
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


def unclosed_sheet(finding: Finding) -> bool:
    """True for a sheet that does not add up, and is stopped by it."""
    return finding.rule == BATCH and finding.blocks and finding.fault.kind == "fail"


def _sums_first(findings: Sequence[Finding]) -> Sequence[Finding]:
    """Findings, of each formula first that it does not add up."""
    unclosed = {one.formula: one for one in findings if unclosed_sheet(one)}
    if not unclosed:
        return findings
    told = ((unclosed[one.formula], one) if one.formula in unclosed else (one,) for one in findings)
    return tuple(dict.fromkeys(one for pair in told for one in pair))


def _unread_once(findings: Sequence[Finding]) -> Sequence[Finding]:
    """Findings, first those of records that cannot be read, each with the formulas that cannot be judged for it."""
    waiting = [one for one in findings if one.rule == WAITS and one.fault.related and one.granted is None]
    if not waiting:
        return findings
    by_place: dict[Place, Finding] = {}
    for one in findings:
        by_place.setdefault(one.fault.place, one)
    groups: dict[Finding, list[Finding]] = {}
    for one in waiting:
        root = by_place.get(one.fault.related[0])
        while root is not None and root.rule == WAITS and root.fault.related:  # an intermediate waits for what is in it
            root = by_place.get(root.fault.related[0])
        if root is not None and root.rule == READABLE:
            groups.setdefault(root, []).append(one)
    folded = {one for group in groups.values() for one in group} | set(groups)
    return (*(_with_waiting(root, group) for root, group in groups.items()), *(one for one in findings if one not in folded))


def _with_waiting(root: Finding, group: Sequence[Finding]) -> Finding:
    formulas = list(dict.fromkeys(one.formula for one in group))
    number = "1 formula" if len(formulas) == 1 else f"{len(formulas)} formulas"
    words = f"{root.fault.message}; {number} cannot be judged until it can be read: {_listed(formulas)}"
    lines = tuple(one.fault.place for one in group) if len(formulas) == 1 else ()  # of many formulas the codes are enough
    return replace(root, fault=replace(root.fault, message=words, related=(*root.fault.related, *lines)), behind=(root, *group))


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
