"""A revision released: from a clean, committed state, proved, and put on record once."""

from __future__ import annotations

import time
from collections.abc import Iterator
from datetime import date, timedelta
from hashlib import sha256

from msgspec import Struct
from msgspec.structs import replace

from formulint import git, recorded, snapshot, tagging
from formulint.catalog import SETTINGS_FILE, Catalog
from formulint.errors import UserError
from formulint.finding import Finding, Place
from formulint.forerunner import Forerunners
from formulint.proof import Asked, Proof, dates, odd_day, prove
from formulint.recorded import of_text as read_back
from formulint.released import ReleaseRecord, code_of, text_of
from formulint.rulebook import Shipped
from formulint.settings_check import require_settings
from formulint.snapshot import Snapshot
from formulint.standing import STANDING_FILE
from formulint.writing import add_below


class Done(Struct, frozen=True):
    """What a release came to: the proof, the name of the record's file, whether it was written, the tag that was made."""

    proof: Proof
    name: str
    written: bool
    tagged: str = ""


def release(folder: str, code: str, revision: str | None, today: date | None, tag: bool, shipped: Shipped) -> Done:
    """Prove a revision and write its record.

    Raises
    ------
    UserError
        Where it cannot be answered: no such state, files that are not committed, history cut off, a full disk.
    """
    repository = git.require(folder)
    day = today or _today()
    state = snapshot.at(repository, revision or "HEAD", day)
    commit = state.commit or ""
    catalog = Catalog(state, shipped, day)
    require_settings(catalog)
    if not state.folder:
        raise UserError("no files lie here, so no record can be written", "go where the files of the repository lie")
    _clean(repository, catalog, revision is None)
    earlier = {number: record for number, name in recorded.of_formula(catalog, code).items() if (record := recorded.headed(catalog, name))}
    last = max(earlier, default=None)
    sheet = catalog.sheet(code)
    since = None if sheet is None else Forerunners(repository, catalog).before(code, sheet.revision, commit)
    asked = Asked(code, commit, tree_of(repository, commit), day, since=since)
    proof = prove(repository, state, asked, shipped)
    odd = [*dates(repository, asked, [(one.code, one.released_on) for one in earlier.values()]), *_order(catalog, code, last)]
    proof = replace(proof, findings=(*proof.findings, *odd, *_to_come(code, day)))
    name = "" if sheet is None else f"{catalog.settings.folders.releases}/{code_of(code, sheet.revision)}.toml"
    if proof.refused or proof.record is None:
        return Done(replace(proof, record=None), name, False)
    if tag and (taken := tagging.target_of(repository, proof.record.code)):
        raise UserError(f"there is a tag {proof.record.code} already, at {taken[:10]}", "look at it with git show; release without --tag, or take it away")
    done = _written(state, proof, proof.record, name)
    return replace(done, tagged=tagged(repository, proof.record)) if tag and done.written else done


def tagged(repository: git.Repository, record: ReleaseRecord) -> str:
    """Have git tag the commit of a record with the code of the record; the name of the tag."""
    seals = record.digest
    lines = [f"{record.formula} revision {record.revision}, released on {record.released_on}", "", f"Composition: {seals.composition}", f"Making: {seals.making}"]
    lines += [f"Data: {seals.data}", f"Record: sha256:{sha256(text_of(record).encode()).hexdigest()}"]
    tagging.make(repository, record.code, record.commit, "\n".join(lines) + "\n", signed=False)
    return record.code


def _today() -> date:
    """The day it is by this machine's clock, in the time zone in which days of commits are told."""
    now = time.gmtime()
    return date(now.tm_year, now.tm_mon, now.tm_mday)


def tree_of(repository: git.Repository, commit: str) -> str:
    """The full id of a commit's tree."""
    raw = repository.contents({commit: f"commit {commit[:7]}"}, "commit")[commit]
    return raw.partition(b"\n")[0].partition(b" ")[2].decode("ascii", "replace")


def _clean(repository: git.Repository, catalog: Catalog, whole: bool) -> None:
    """Refuse where files that count lie here otherwise than they are committed: nobody could say which were meant."""
    if not whole:
        return
    disk = snapshot.work_tree(repository, catalog.today)
    folders = tuple(f"{folder}/" for folder in catalog.settings.folders.all)
    own = {SETTINGS_FILE, STANDING_FILE, catalog.settings.signers}
    releases = f"{catalog.settings.folders.releases}/"
    differ = {one.name for one in snapshot.changed_between(catalog.snapshot, disk) if not (one.name.startswith(releases) and one.kind == "added")}
    staged = snapshot.index(repository, catalog.today)
    differ |= {one.name for one in snapshot.changed(staged) if not one.name.startswith(releases) or one.kind != "added"}
    open_ = sorted(name for name in differ if name in own or name.startswith(folders))
    if open_:
        names = ", ".join(map(git.quoted, open_[:3])) + (f" and {len(open_) - 3} more" if len(open_) > 3 else "")
        raise UserError(f"{names} lie here otherwise than they are committed: what is released is in git", "commit them, or name the commit with --at")


def _to_come(code: str, day: date) -> Iterator[Finding]:
    """Said where the day of a release is yet to come: by then other limits may be in force, and keys may have ended."""
    if day > _today() + timedelta(days=1):  # a day, for clocks east of this one
        yield odd_day(code, f"the release would be dated {day}, a day that is yet to come", "release it on its day; --today is for a day that is over")


def _order(catalog: Catalog, code: str, last: int | None) -> Iterator[Finding]:
    sheet, file = catalog.sheet(code), catalog.find_formula(code)
    if sheet is None or file is None or last is None or sheet.revision > last:
        return
    place = Place(file.name, ("revision",))
    if sheet.revision in recorded.of_formula(catalog, code):
        words = f"revision {sheet.revision} of {code} is released already"
    else:
        words = f"revision {last} of {code} is released already, and this is revision {sheet.revision}"
    yield recorded.finding("once", place, words, f"write revision = {last + 1} for another paint", code)


def _written(state: Snapshot, proof: Proof, record: ReleaseRecord, name: str) -> Done:
    text = text_of(record).encode()
    if read_back(name, text)[0] != record:
        odd = next((one.path for one in record.input if not one.path.isascii() or not one.path.isprintable()), name)
        raise UserError(f"the record would not say what it rests on: {git.quoted(odd)} cannot be written in it", "give that file a name of plain letters, and release again")
    if add_below(state.folder, name, text):
        return Done(proof, name, True)
    words = f"{name} is there already: revision {record.revision} of {record.formula} is on record"
    found = recorded.finding("once", Place(name), words, f"commit that record; another paint is revision {record.revision + 1}", record.formula)
    return Done(replace(proof, findings=(*proof.findings, found), record=None), name, False)
