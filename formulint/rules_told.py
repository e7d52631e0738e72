"""The rules there are, in words, and what became of each of them for one formula."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Literal

from msgspec import Struct

from formulint.catalog import File, stem
from formulint.finding import Finding, Place, Source
from formulint.formula import Formula
from formulint.judge import Judge
from formulint.kinds.compatibility import Side, side_words
from formulint.kinds.market import Market
from formulint.rule import Pick
from formulint.rulebook import Entry, Rulebook
from formulint.settings import Settings
from formulint.subject import FormulaSubject
from formulint.verdict import title_of
from formulint.wording import days, misses, pick_words, where_words, whom, window

Became = Literal["fail", "open", "review", "granted", "not checked", "does not apply", "pass"]
ORDER: tuple[Became, ...] = ("fail", "open", "review", "granted", "not checked", "does not apply", "pass")
"""From what matters most."""
FIRST = ("record/consistent", "record/known-material", "record/no-circle")
"""What has to be mended before any rule is asked about a formula."""


class Told(Struct, frozen=True):
    """A rule as it is told: its sentences, the level that counts, and who set that, where it is not the rule's own.

    ``confirmed`` where the house answers for a figure that was only recalled.
    """

    id: str
    kind: str
    level: str
    shipped_level: str
    reason: str
    title: str
    says: tuple[str, ...]
    why: str
    remedy: str
    source: Source
    confirmed: bool
    force: str
    in_force: bool
    place: Place


class Outcome(Struct, frozen=True):
    """What became of a rule for a formula, and why."""

    rule: str
    title: str
    became: Became
    reason: str
    findings: tuple[Finding, ...] = ()


def told(book: Rulebook, settings: Settings, entry: Entry) -> Told:
    """A rule in words."""
    rule = entry.rule
    asked = None if entry.id.startswith("unsafe/") else next((one for one in settings.rule_setting if one.rule == entry.id), None)
    return Told(
        id=entry.id,
        kind=str(rule.__struct_config__.tag),
        level=rule.level if asked is None else asked.level,
        shipped_level=rule.level,
        reason="" if asked is None else asked.reason,
        title=rule.title,
        says=(*rule.says(), *whom(rule.where, rule.unless)),
        why=rule.why,
        remedy=rule.remedy,
        source=rule.source,
        confirmed=entry.id in settings.confirmed,
        force=days(rule.from_, rule.until),
        in_force=rule.in_force(book.today),
        place=entry.place,
    )


def outcomes(judge: Judge, file: File[Formula], entries: Sequence[Entry]) -> tuple[Outcome, ...]:
    """What became of each rule about formulas for a readable formula, its own limits included; what matters most first."""
    formula = file.record
    assert formula is not None
    code = stem(file.name)
    first = next((one for one in judge.formula(file) if one.rule in FIRST), None)
    if first is not None:
        reason = f"{first.fault.message}: that has to be mended first"
        found = [Outcome(entry.id, entry.rule.title, "not checked", reason) for entry in entries if entry.rule.of_formulas]
        return tuple(found)
    subject = judge.catalog.subject(file)
    all_ = judge.every(subject, code)
    by_rule: dict[str, list[Finding]] = {}
    for one in all_ if judge.leave is None else judge.leave.over(all_):
        by_rule.setdefault(one.rule, []).append(one)
    found = [_outcome(entry, subject, by_rule.get(entry.id, [])) for entry in entries if entry.rule.of_formulas]
    found += _own(subject, by_rule)
    return tuple(sorted(found, key=lambda one: ORDER.index(one.became)))


def _outcome(entry: Entry, subject: FormulaSubject, findings: Sequence[Finding]) -> Outcome:
    if findings:
        return _found(entry.id, entry.rule.title, findings)
    not_asked = _not_asked(entry, subject)
    if not_asked:
        return Outcome(entry.id, entry.rule.title, "does not apply", not_asked)
    unknown = entry.rule.unchecked(subject)
    return Outcome(entry.id, entry.rule.title, "not checked" if unknown else "pass", unknown)


def _found(rule: str, title: str, findings: Sequence[Finding]) -> Outcome:
    """What a rule said: the worst of it decides."""
    worst = min(findings, key=lambda one: (ORDER.index(_kind(one)), -one.level))
    more = f"; and {len(findings) - 1} more" if len(findings) > 1 else ""
    return Outcome(rule, title, _kind(worst), f"{worst.fault.message}{more}", tuple(findings))


def _kind(finding: Finding) -> Became:
    kind = finding.fault.kind
    return "granted" if finding.granted is not None else "fail" if kind == "pass" else kind


def _not_asked(entry: Entry, subject: FormulaSubject) -> str:
    """Why a rule has nothing to say about a formula; empty where it has."""
    rule, formula = entry.rule, subject.formula
    if not rule.in_force(subject.today):
        return f"in force {days(rule.from_, rule.until)}"
    if isinstance(rule, Market) and rule.id not in formula.markets:
        return f"not sold in {rule.id}"
    missed = misses(rule.where, formula)
    if missed:
        return f"only {missed}"
    if rule.unless is not None and rule.unless.holds(formula):
        return f"not for {where_words(rule.unless)}"
    if not rule.concerns(formula):
        return "not for an intermediate that is not sold"
    lacking = next((pick for pick in rule.about if not subject.picked[pick]), None)
    return "" if lacking is None else f"holds none: {_pick(lacking)}"


def _pick(pick: Pick) -> str:
    return side_words(pick) if isinstance(pick, Side) else pick_words(pick)


def _own(subject: FormulaSubject, by_rule: dict[str, list[Finding]]) -> Iterator[Outcome]:
    """The formula's own limits."""
    for name, bounds in subject.formula.limits.items():
        rule, title = f"own-limit/{name.replace('_', '-')}", f"{title_of(name)}: {window(bounds.min, bounds.max)}, as the sheet asks."
        yield _found(rule, title, by_rule[rule]) if rule in by_rule else Outcome(rule, title, "pass", "")
