"""Questions of an auditor, each answered from what is committed: what was valid, who approved it, what changed, what is conceded."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date

from msgspec import Struct

from formulint import approval, chronicle, git, recorded
from formulint.approval import STATED, Heard, What
from formulint.catalog import Catalog, File, stem
from formulint.compare import FormulaChange
from formulint.compare import formulas as compared
from formulint.concession import Concession
from formulint.errors import UserError
from formulint.finding import Finding
from formulint.fingerprints import digests
from formulint.formula import Formula
from formulint.judge import Judge
from formulint.released import Headed
from formulint.reproof import Shelf, Verified, verify
from formulint.scope import everything
from formulint.side import Side, side
from formulint.snapshot import at


class Valid(Struct, frozen=True):
    """Which formula was valid on a day: its record proved again, and the sheet as it was; else why none was.

    ``doubts`` are what an auditor must know before trusting the answer.
    """

    code: str
    on: date
    verified: Verified | None
    state: Catalog | None
    sheet: Side | None
    why: str
    doubts: tuple[str, ...]

    @property
    def sure(self) -> bool:
        """True where a formula was valid and nothing speaks against it."""
        return self.verified is not None and self.verified.holds and not self.why and not self.doubts


class Approved(Struct, frozen=True):
    """Who approved the formula as it is now, and each of its releases, proved again."""

    code: str
    revision: int
    heard: Heard
    asked: bool
    verified: tuple[Verified, ...]


class Since(Struct, frozen=True):
    """What changed since the last release: the record, both states, the change, and the commits that made it."""

    code: str
    head: Headed
    before: Catalog
    change: FormulaChange | None
    steps: tuple[chronicle.Step, ...]


class ConcessionToday(Struct, frozen=True):
    """A concession and what becomes of it today: in force, needed no more, ended, or without effect for a reason."""

    file: str
    record: Concession | None
    word: str
    reaches: tuple[str, ...]
    findings: tuple[Finding, ...]


def sheet_of(catalog: Catalog, code: str) -> File[Formula]:
    """The formula of a code.

    Raises
    ------
    UserError
        Where there is none that can be read, and nothing of it is on record.
    """
    file = catalog.find_formula(code)
    if file is None or file.record is None:
        raise UserError(f"there is no formula {code} in {catalog.snapshot.label} that can be read", "name a code, such as T-101")
    return file


def valid(repository: git.Repository, catalog: Catalog, code: str, on: date) -> Valid:
    """The release of a formula that was in force on a day."""
    tip = catalog.snapshot.commit or ""
    records = {number: (name, head) for number, name in recorded.of_formula(catalog, code).items() if (head := recorded.headed(catalog, name))}
    unread = len(records) < len(recorded.of_formula(catalog, code))
    shelf = Shelf(repository, catalog)
    gone = [f"{one.code}: {trouble.words}" for one in shelf.lost(code) for trouble in one.troubles]
    if not records and not unread and not gone:
        sheet_of(catalog, code)
    early = {number: one for number, one in records.items() if one[1].released_on <= on}
    if not early:
        first = min((head.released_on for _, head in records.values()), default=None)
        words = "nothing of it is on record" if first is None else f"its first release on record is of {first}"
        return Valid(code, on, None, None, None, f"no revision of {code} was released by {on}: {words}", tuple(gone))
    name, head = early[max(early)]
    verified = verify(shelf, name)
    state = Catalog(at(repository, head.commit, head.released_on), catalog.shipped)
    doubts = [*_late(repository, catalog, name, tip, on), *_clock(repository, tip, on), *(["a record of it cannot be read"] if unread else []), *gone]
    return Valid(code, on, verified, state, side(state, code), _withdrawn(repository, catalog, tip, code, on), tuple(doubts))


def _late(repository: git.Repository, catalog: Catalog, name: str, tip: str, on: date) -> Iterator[str]:
    """Said where a record was put into git after the day that is asked about."""
    came = chronicle.came(repository, tip, [f":(top,literal){catalog.snapshot.root}{name}"])
    if came is not None and came.day > on:
        yield f"its record came into git on {came.day}, after {on}, with commit {came.commit[:10]} by {came.author}"


def _clock(repository: git.Repository, tip: str, on: date) -> Iterator[str]:
    """Said where commits are dated otherwise than they follow each other, around the day that is asked about."""
    odd = chronicle.backwards(repository, tip, on)
    if odd is not None:
        yield f"commit {odd.commit[:10]} by {odd.author} is dated {odd.day}, and stands behind one dated after {on}: a clock was wrong"


def _withdrawn(repository: git.Repository, catalog: Catalog, tip: str, code: str, on: date) -> str:
    """Why nothing was valid although something had been released: withdrawn, or taken away."""
    commit = chronicle.state_on(repository, tip, on)
    if commit is None:
        return ""
    file = Catalog(at(repository, commit, on), catalog.shipped).find_formula(code)
    if file is None:
        return f"{code} had been taken away by {on} (commit {commit[:10]})"
    if file.record is not None and file.record.state == "withdrawn":
        return f"{code} was withdrawn by {on} (commit {commit[:10]})"
    return ""


def approved(repository: git.Repository, catalog: Catalog, code: str) -> Approved:
    """Who approved a formula as it is, and its releases."""
    formula, tip = sheet_of(catalog, code).record, catalog.snapshot.commit or ""
    assert formula is not None
    prints, blends = digests(catalog, formula)
    trust = approval.trust_of(catalog)
    shelf = Shelf(repository, catalog)
    wrote = approval.authors(repository, catalog.snapshot.root, (code, *sorted(blends)), (tip,), shelf.chain.before(code, formula.revision, tip), trust)
    heard = approval.heard(repository, What(code, formula.revision, prints), trust, (tip,), wrote, catalog.today)
    verified = tuple(verify(shelf, name) for name in recorded.of_formula(catalog, code).values())
    return Approved(code, formula.revision, heard, trust.asked, (*shelf.lost(code), *verified))


def since(repository: git.Repository, catalog: Catalog, code: str) -> Since:
    """What changed in a formula, and in what it is made of, since its last release."""
    names = recorded.of_formula(catalog, code)
    head = recorded.headed(catalog, names[max(names)]) if names else None
    if head is None:
        sheet_of(catalog, code)
        raise UserError(f"no release of {code} is on record in {catalog.snapshot.label}", "formulint diff OLD NEW compares any two states")
    before = Catalog(at(repository, head.commit, head.released_on), catalog.shipped, catalog.today)
    change = next(iter(compared(before, catalog, [code])), None)
    codes = {code, *(each for state in (before, catalog) for each in _behind(state, code))}
    made = chronicle.steps(repository, catalog.snapshot.commit or "", head.commit, chronicle.files_of(catalog.snapshot.root, sorted(codes)))
    return Since(code, head, before, change, tuple(made))


def _behind(catalog: Catalog, code: str) -> tuple[str, ...]:
    """Codes of the materials and intermediates in a formula."""
    sheet = catalog.sheet(code)
    return () if sheet is None else (*catalog.leaves(code), *digests(catalog, sheet)[1])


def concessions(catalog: Catalog) -> list[ConcessionToday]:
    """Every concession, what it lets stand today, and why it does not where it does not."""
    judge = Judge(catalog)
    found = judge.findings(everything(catalog))
    told = []
    for file in catalog.concessions():
        record = file.record
        granted = tuple(one for one in found if record is not None and one.granted is not None and one.granted.by == record.code and not one.stood)
        about = [one for one in found if one.fault.place.path == file.name]
        word = "lets a finding stand" if granted else about[0].fault.message if about else "lets nothing stand"
        reaches = tuple(sorted({code for one in granted if one.granted is not None for code in one.granted.reaches}))
        told.append(ConcessionToday(file.name, record, word, reaches, granted))
    return sorted(told, key=lambda one: (date.max if one.record is None else one.record.expires, stem(one.file)))


def unsigned(verified: Verified) -> bool:
    """True where a record rests on an approval that nobody signed."""
    return verified.record is not None and any(one.how == STATED for one in verified.record.approval)
