"""What a change comes to at a look: who proposes it and why, a row a record, what each asks for, whether policy and paint come in one proposal."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from formulint.change import Change
from formulint.changed import CHANGE_WORDS
from formulint.chronicle import MOST, proposed
from formulint.compare import FormulaChange, RecordChange
from formulint.errors import UserError
from formulint.finding import Finding
from formulint.git import Repository
from formulint.reach import listed
from formulint.report import FEW, Cell, Table, Tone, summary

ASKS = {
    Change.none: "nothing",
    Change.editorial: "nothing",
    Change.equivalent: "nothing; test results carry over",
    Change.procedural: "process checks, a new batch sheet",
    Change.data: "a look at the figures; test results are to review",
    Change.compositional: "tests; batch sheet, safety data sheet and label anew; a new revision once in production",
    Change.policy: "the policy approver",
}
"""What each class of change asks for."""
TOLD, NAME, REASON = 3, 60, 120  # commits of a proposal that are told one by one; characters of an author's name and of a message
PAINT = (Change.procedural, Change.data, Change.compositional)
"""Classes of change that make another paint, or make it otherwise."""


def overview(changes: Sequence[FormulaChange], records: Sequence[RecordChange], policy: Sequence[str]) -> Table:
    """What a change comes to, a row a record: what it is now, what is new about it, what it asks for."""
    rows = [
        (Cell(one.code), Cell(_revision(one)), Cell(one.unread or CHANGE_WORDS[one.change]), Cell(summary(found := (*one.own, *one.new)), _tone(found)), Cell(_asks(one)))
        for one in changes
    ]
    rows += [(Cell(one.code), Cell(""), Cell(one.word or "its own file changed"), Cell(""), Cell(_asks_of(one))) for one in records]
    rows += [(Cell(name), Cell(""), Cell("policy"), Cell(""), Cell(ASKS[Change.policy])) for name in policy if name not in {one.code for one in records}]
    return Table(("record", "revision", "what it is now", "new findings", "asks for"), tuple(rows))


def _revision(change: FormulaChange) -> str:
    """From which revision to which, and how far it is: ``2 -> 3, production``; both where that moves too."""
    sides = [side.formula for side in (change.before, change.after) if side is not None]
    revisions, states = (" -> ".join(dict.fromkeys(words)) for words in ([str(one.revision) for one in sides], [one.state for one in sides]))
    return ", ".join(filter(None, (revisions, states)))


def _tone(found: Iterable[Finding]) -> Tone:
    return "bad" if any(one.blocks for one in found) else "plain"


def _asks(change: FormulaChange) -> str:
    """What a change of a formula asks for; of its policy fields besides."""
    asks = ASKS[change.change]
    if not change.policy:
        return asks
    return ASKS[Change.policy] if asks.startswith("nothing") else f"{asks}; {ASKS[Change.policy]}"


def _asks_of(record: RecordChange) -> str:
    classes = {one.change for one in record.fields}
    return "; ".join(ASKS[one] for one in sorted(classes) if one >= Change.data) or ASKS[Change.editorial]


def mixed(changes: Iterable[FormulaChange], policy: Sequence[str]) -> list[str]:
    """The word that a proposal moves policy and paints at once, where it does: each has somebody else to answer for it."""
    moved = [one for one in changes if one.change in PAINT]
    own = [f"{one.code} ({', '.join(one.policy)})" for one in moved if one.policy]
    said = [*own[:FEW], *([f"{len(own) - FEW} more"] if len(own) > FEW else []), *policy[:FEW]] if moved else []
    others = ", ".join(one.code for one in moved[:FEW]) + (f" and {len(moved) - FEW} more" if len(moved) > FEW else "")
    if not said:
        return []
    return [f"policy and paint in one proposal: policy of {', '.join(said)}; paint of {others}. Propose them apart: each has its own approver"]


def by_whom(repository: Repository | None, old: str | None, new: str | None) -> list[str]:
    """Who proposes what lies between two commits (full ids), when, and why in their own words: the newest few, the others counted."""
    if repository is None or old is None or new is None:
        return []
    from formulint.clean import clean  # what strangers wrote: their names and reasons

    try:
        found = proposed(repository, new, old)
    except UserError as error:
        return [f"who proposes it and why: {error.message}"]
    said = [f"written by {clean(one.author, NAME)} on {one.day}: {clean(one.subject, REASON)} ({one.commit[:7]})" for one in found[:TOLD]]
    if len(found) > TOLD:
        others = dict.fromkeys(clean(one.author, NAME) for one in found[TOLD:])
        more = f"{len(found) - TOLD}{' or more' if len(found) == MOST else ''} more"
        said.append(f"and {more} before, by {listed(list(others))}")
    return said
