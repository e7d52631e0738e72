"""A known formula's new lines judged by what its base asks: a market left out or a limit widened makes nothing hold."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from msgspec.structs import replace

from formulint.catalog import Catalog, stem
from formulint.change import Change, of_fields
from formulint.finding import Finding
from formulint.formula import Formula
from formulint.judge import Judge
from formulint.proposal import refuses

SOLD = ("pilot", "production")
STRICTNESS = ("withdrawn", "bench", *SOLD)
"""States of a formula, from the one that is judged most leniently."""

ATTRIBUTE = dict(zip(Formula.__struct_encode_fields__, Formula.__struct_fields__, strict=True))


def by_base(before: Catalog, judge: Judge, names: Iterable[str], found: Iterable[Finding]) -> Iterator[Finding]:
    """What keeps formulas out by the base's own limits, markets, category, class, product and state.

    ``names`` are files of the proposal, which ``judge`` judges; ``found`` is what it finds there by the proposal's own
    word, which is not told again.
    """
    told = {(one.formula, one.rule, one.fault.message) for one in found if refuses(one)}
    for name in names:
        code, file, old = stem(name), judge.catalog.formula(name), before.find_formula(stem(name))
        if file.record is None or old is None or old.record is None:
            continue
        fields, asked = _asked(old.record, file.record)
        if asked == file.record or not _counts(old.record, file.record, code in judge.strict):
            continue
        for one in judge.formula(replace(file, record=asked)):
            if refuses(one) and (code, one.rule, one.fault.message) not in told:
                words = f"by the {_listed(fields)} of the base: {one.fault.message}"
                yield replace(one, fault=replace(one.fault, message=words))


def policy_fields(old: Formula, new: Formula) -> list[str]:
    """The fields of policy, as they are spelled, in which two states of a formula differ."""
    return [field for field, change in of_fields(Formula, old, new).items() if change is Change.policy]


def _asked(old: Formula, new: Formula) -> tuple[list[str], Formula]:
    """The new lines under the policy of the old state, judged by the stricter of both states; and what differs."""
    fields = policy_fields(old, new)
    asked = replace(new, **{ATTRIBUTE[field]: getattr(old, ATTRIBUTE[field]) for field in fields})
    return fields, replace(asked, state=max(old.state, new.state, key=STRICTNESS.index))


def _counts(old: Formula, new: Formula, strict: bool) -> bool:
    """True where the policy of the base holds: the bench is free, and what is withdrawn is made no more."""
    return strict or (new.state != "withdrawn" and (old.state in SOLD or new.state in SOLD))


def _listed(words: list[str]) -> str:
    *most, last = words
    return f"{', '.join(most)} and {last}" if most else last
