"""Records of releases kept as they were written: in a commit being made, and in a proposal, which must prove those it adds."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from datetime import date

from msgspec import Struct

from formulint import approval, recorded
from formulint.ancestry import behind
from formulint.approval import What
from formulint.catalog import Catalog
from formulint.compare import FormulaChange
from formulint.finding import Finding, Place
from formulint.forerunner import Forerunners
from formulint.git import Repository
from formulint.proof import stated, unapproved
from formulint.released import Given
from formulint.reproof import Shelf, no_longer, verify
from formulint.snapshot import FileChange


def _proved(repository: Repository, before: Catalog, after: Catalog, changes: Iterable[FileChange], tips: Sequence[str]) -> Iterator[Finding]:
    """The records that a proposal adds, proved again by the policy of its base; ``tips`` are the commits (full ids) that it is made of."""
    shelf = Shelf(repository, after)
    for one in recorded.changed(after, changes):
        if one.kind != "added" or not one.name.endswith(".toml"):
            continue
        record, words = recorded.whole(after, one.name)
        if record is None or words:
            continue  # told by what is said of its text
        place = Place(one.name)
        if not any(behind(repository, repository.resolve(record.commit), tip) for tip in tips):
            told = f"{record.code} was released from commit {record.commit[:10]}, which is no part of what is proposed"
            yield recorded.finding("record-proved", place, told, "release the revision again from what is proposed", record.formula)
        if record.released_on > after.today:
            told = f"{record.code} is dated {record.released_on}, after {after.today}: a release is not made before its day"
            yield recorded.finding("record-proved", place, told, "release the revision again on its day", record.formula)
        troubles = [trouble.words for trouble in verify(shelf, one.name, before).troubles]
        for words in troubles:
            yield recorded.finding("record-proved", place, f"{record.code}: {words}", "release the revision again; a record is not written by hand", record.formula)
        for words in () if troubles else no_longer(shelf, record, before):
            yield recorded.finding("record-proved", place, f"{record.code} is {words}", "release the revision again on the day it is", record.formula)


class Due(Struct, frozen=True):
    """A revision that comes into production, or changes there, and who approved it; ``asked`` is false where the base asks nobody."""

    code: str
    revision: int
    asked: bool
    given: tuple[Given, ...] = ()


def of_records(
    repository: Repository, before: Catalog, after: Catalog, changes: Sequence[FileChange], formulas: Iterable[str], tips: tuple[str, str]
) -> list[Finding]:
    """What a proposal does to records; ``tips`` are base and head (full ids)."""
    return [*recorded.of_commit(before, after, changes, formulas), *_proved(repository, before, after, changes, tips)]


def approvals_due(
    repository: Repository, before: Catalog, after: Catalog, changes: Iterable[FormulaChange], tips: tuple[str, str], today: date | None
) -> tuple[tuple[Due, ...], list[Finding]]:
    """Formulas in production whose lines, making or revision change, with who approved them, and what is found where nobody did.

    By the policy of the base: who changed a formula between base and head (``tips``) cannot approve it; of one that comes
    into production, since its last release. Nothing is asked where the settings name nobody, or no way to be sure.
    """
    due = [(one, one.after) for one in changes if one.after is not None and one.after.formula.state == "production" and _counts(one)]
    trust = approval.trust_of(before)
    if not trust.asked or not due:
        return tuple(Due(one.code, new.formula.revision, asked=False) for one, new in due), []
    base, head = tips
    offers = approval.offers(repository, (head, base))
    told: list[Due] = []
    findings: list[Finding] = []
    chain = Forerunners(repository, before)
    for one, new in due:
        code, sold = one.code, one.before is not None and one.before.formula.state == "production"
        since = base if sold else chain.before(code, new.formula.revision, base)
        wrote = approval.authors(repository, after.snapshot.root, (code, *sorted(new.blends)), (head,), since, trust)
        what = What(code, new.formula.revision, new.digests.whole)
        found = approval.judged(repository, offers, what, trust, wrote, today or max(after.today, date.today()))
        told.append(Due(code, new.formula.revision, True, found.given))
        findings += [*unapproved(new.formula, new.file.name, trust, found), *stated(new.formula, new.file.name, found)]
    return tuple(told), findings


def _counts(change: FormulaChange) -> bool:
    old, new = change.before, change.after
    if old is None or new is None or old.formula.state != "production":
        return True
    was, now = ((side.digests.composition, side.digests.making, side.formula.revision) for side in (old, new))
    return was != now
