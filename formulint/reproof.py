"""Records of releases proved again: what they rest on is there and has the same fingerprints, and comes to the same numbers.

The first level holds for any version of the tool: objects, digests, approvals. The second recomputes with this version;
where it comes to something else, both versions are named.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from datetime import date
from functools import cached_property
from typing import Literal

from msgspec import Struct
from msgspec.structs import replace

from formulint import __version__, git, recorded, snapshot
from formulint.ancestry import behind
from formulint.catalog import Catalog, stem
from formulint.chronicle import Kept, Step, kept
from formulint.errors import UserError
from formulint.fingerprints import short
from formulint.forerunner import Forerunners
from formulint.proof import Asked, Proof, dates, prove
from formulint.released import Given, ReleaseRecord
from formulint.releasing import tree_of
from formulint.tagging import target_of

FEW = 5  # differences of one sort that are told one by one
COMPUTED = ("property", "hazard", "concession", "result", "cautions")


class Trouble(Struct, frozen=True):
    """What keeps a record from being proved again: at the first level (what it rests on) or the second (what it comes to)."""

    level: Literal[1, 2]
    words: str


class Verified(Struct, frozen=True):
    """A record proved again; it holds where there is no trouble. ``cannot`` says why nobody can tell."""

    code: str
    path: str
    record: ReleaseRecord | None
    troubles: tuple[Trouble, ...]
    notes: tuple[str, ...] = ()
    cannot: str = ""
    remedy: str = ""

    @property
    def holds(self) -> bool:
        """True where everything was proved again."""
        return not self.troubles and not self.cannot


class Shelf:
    """The records of one state and what became of them, for whoever proves several of them again.

    Parameters
    ----------
    repository : Repository
    catalog : Catalog
        The state whose records are proved.
    """

    def __init__(self, repository: git.Repository, catalog: Catalog) -> None:
        self.repository = repository
        self.catalog = catalog
        self.tip = catalog.snapshot.commit or repository.resolve("HEAD")
        self.chain = Forerunners(repository, catalog)

    @cached_property
    def _past(self) -> dict[str, Kept]:
        folder = f"{self.catalog.settings.folders.releases}/"
        past = kept(self.repository, self.tip, self.catalog.snapshot.root + folder)
        return {folder + name: one for name, one in past.items() if name.endswith(".toml")}

    @cached_property
    def _tags(self) -> frozenset[str]:
        return frozenset(self.repository.git.run("for-each-ref", "--format=%(objectname)", "refs/tags").decode("ascii", "replace").split())

    def unkept(self, given: Given) -> bool:
        """True for an approval that is here, and that no tag and no history keeps: git will clear it away, and a new clone lacks it."""
        return given.object not in self._tags if given.kind == "tag" else not behind(self.repository, given.object, self.tip)

    def edited(self, name: str) -> str:
        """Said of a record that is not what it was when it came; empty where it is."""
        past = self._past.get(name)
        if past is None or self.repository.contents({past.first: name})[past.first] == self.catalog.snapshot.read(name):
            return ""
        return f"its file is not what came: it was edited{_by(past.touched)}"

    def lost(self, formula: str = "") -> tuple[Verified, ...]:
        """Records (of one formula) that came once and are no longer there."""
        gone = sorted(name for name in self._past if name not in self.catalog.snapshot.entries and formula in ("", recorded.formula_of(name)))
        return tuple(Verified(stem(name), name, None, (Trouble(1, f"the record was taken away{_by(self._past[name].touched)}"),)) for name in gone)


def _by(step: Step | None) -> str:
    return "" if step is None else f" on {step.day} by {step.author} with commit {step.commit[:10]}"


def verify(shelf: Shelf, name: str, policy: Catalog | None = None) -> Verified:
    """Prove one record of a state again; ``policy`` says whose approvals count (default: the state that was released).

    Raises
    ------
    UserError
        Where an object that it rests on is not in this clone.
    """
    repository, catalog, code = shelf.repository, shelf.catalog, stem(name)
    record, words = recorded.whole(catalog, name)
    if record is None or words:
        return Verified(code, name, record, (Trouble(1, words),))
    state, asked = _again(shelf, record, record.released_on)
    if state.root != record.root:
        return Verified(code, name, record, (Trouble(1, f'the root lay in "{state.root or "."}", not in "{record.root or "."}"'),))
    troubles = [*_objects(repository, state, record), *([] if policy else _place(shelf, record, name)), *_tag(repository, record)]
    proof = prove(repository, state, asked, catalog.shipped, policy)
    proof = replace(proof, findings=(*proof.findings, *dates(repository, asked, ())))
    troubles += _compared(record, proof, policy is None)
    return Verified(code, name, record, tuple(dict.fromkeys(troubles)), tuple(_notes(shelf, record, proof)))


def _again(shelf: Shelf, record: ReleaseRecord, day: date) -> tuple[snapshot.Snapshot, Asked]:
    """What a record was made of, to be proved as on a day."""
    state = snapshot.at(shelf.repository, _commit(shelf.repository, record), day)
    since = shelf.chain.before(record.formula, record.revision, record.commit)
    return state, Asked(record.formula, record.commit, record.tree, day, record.approval, since)


def no_longer(shelf: Shelf, record: ReleaseRecord, policy: Catalog) -> Iterator[str]:
    """Why what was released on its day would not be released today, by the policy of a state: leave that has ended, limits that came."""
    day = shelf.catalog.today
    if record.released_on < day:
        for one in prove(shelf.repository, *_again(shelf, record, day), shelf.catalog.shipped, policy).refused:
            yield f"dated {record.released_on}, and on {day} it would not be released: {one.rule}: {one.fault.message}"


def verify_all(repository: git.Repository, catalog: Catalog, wanted: Iterable[str]) -> tuple[Verified, ...]:
    """The records that somebody named by code, else all that are and were; of one that cannot be answered for, why.

    Raises
    ------
    UserError
        Where there is no such record, or none at all.
    """
    shelf, codes = Shelf(repository, catalog), tuple(wanted)
    found = [] if codes else [*shelf.lost()]
    for name in [] if found and not recorded.names(catalog) else records_of(catalog, codes):
        try:
            found.append(verify(shelf, name))
        except UserError as error:
            found.append(Verified(stem(name), name, recorded.whole(catalog, name)[0], (), (), error.message, error.remedy))
    return tuple(sorted(found, key=lambda one: one.code))


def status_of(found: Iterable[Verified]) -> int:
    """The exit status of records proved again: 2 where of one nobody can say, 1 where one does not hold."""
    several = tuple(found)
    return 2 if any(one.cannot for one in several) else 1 if any(one.troubles for one in several) else 0


def _commit(repository: git.Repository, record: ReleaseRecord) -> str:
    try:
        return repository.resolve(record.commit)
    except UserError as error:
        raise UserError(f"commit {record.commit[:10]}, from which {record.code} was released: {error.message}", error.remedy) from None


def _objects(repository: git.Repository, state: snapshot.Snapshot, record: ReleaseRecord) -> Iterator[Trouble]:
    """What the record rests on, looked at one by one."""
    tree = tree_of(repository, record.commit)
    if tree != record.tree:
        yield Trouble(1, f"commit {record.commit[:10]} holds tree {tree[:10]}, not {record.tree[:10]}")
    repository.contents({one.id: one.path for one in record.input})
    for one in record.input:
        entry = state.entries.get(one.path)
        if entry is None or entry.oid != one.id:
            held = "no such file" if entry is None else f"object {entry.oid[:10]}"
            yield Trouble(1, f"{one.path}: the record rests on object {one.id[:10]}, commit {record.commit[:10]} holds {held}")


def _place(shelf: Shelf, record: ReleaseRecord, name: str) -> Iterator[Trouble]:
    """Said of a record that is another than it was, and of a commit that is no part of what it lies in: nobody reviewed what that holds."""
    if words := shelf.edited(name):
        yield Trouble(1, words)
    if not behind(shelf.repository, record.commit, shelf.tip):
        yield Trouble(1, f"commit {record.commit[:10]}, from which it was released, is no part of the history of {shelf.tip[:10]}")


def _tag(repository: git.Repository, record: ReleaseRecord) -> Iterator[Trouble]:
    """Said of a tag that bears the record's name and names another commit: whoever builds from it makes something else."""
    named = target_of(repository, record.code)
    if named not in (None, record.commit):
        yield Trouble(1, f"the tag {record.code} names commit {str(named)[:10]}, and {record.commit[:10]} was released")


def _compared(record: ReleaseRecord, proof: Proof, whole: bool) -> Iterator[Trouble]:
    """The record against what is proved now; ``whole`` where approvals are judged by what was released itself."""
    again = proof.record
    for one in proof.refused:
        level: Literal[1, 2] = 1 if one.rule.startswith(("approval/", "release/")) else 2
        yield Trouble(level, f"formulint {__version__} would not release it: {one.rule}: {one.fault.message}")
    if again is None:
        return
    for name in record.digest.__struct_fields__:
        was, now = getattr(record.digest, name), getattr(again.digest, name)
        if was != now:
            yield Trouble(1, f"{name} is on record as {short(was)} and is {short(now)}")
    if whole and record.approval != again.approval:
        yield Trouble(1, "the approvals on record are not those that their objects give")
    if (record.name, record.input) != (again.name, again.input):
        yield Trouble(1, "the record does not list what the release rests on")
    made = f"formulint {__version__}" if record.tool == __version__ else f"formulint {__version__}, and the record by {record.tool}"
    told = [words for name in COMPUTED for words in _differences(name, getattr(record, name), getattr(again, name))]
    moved = _moved(record, again)
    packs = f", other rules: {', '.join(moved)}" if moved else ""
    for words in told[:FEW]:
        yield Trouble(2, f"{words} (by {made}{packs})")
    if len(told) > FEW:
        yield Trouble(2, f"and {len(told) - FEW} more differences (by {made}{packs})")


def _differences(name: str, was: tuple[object, ...], now: tuple[object, ...]) -> Iterator[str]:
    """What differs in one list of a record, entry by entry."""
    old, new = ({_key(one): one for one in side} for side in (was, now))
    for key in {**old, **new}:
        if old.get(key) != new.get(key):
            yield f"{name} {key}: {_told(old.get(key), new.get(key))}"


def _key(one: object) -> str:
    for field in ("id", "scheme", "code", "test"):
        if isinstance(one, Struct) and field in one.__struct_fields__:
            return str(getattr(one, field))
    return str(one)


def _told(was: object, now: object) -> str:
    """An entry on record and as it is now, where they differ."""
    if not isinstance(was, Struct) or not isinstance(now, Struct):
        return "not on record, found now" if was is None else "on record, not found now"
    pairs = ((name, getattr(was, name), getattr(now, name)) for name in now.__struct_fields__)
    return "; ".join(f"{name} on record {_plain(old)}, now {_plain(new)}" for name, old, new in pairs if old != new)


def _plain(value: object) -> str:
    return "none" if value in (None, ()) else ", ".join(map(str, value)) if isinstance(value, tuple) else str(value)


def _moved(record: ReleaseRecord, again: ReleaseRecord) -> list[str]:
    """Packs that are not those of the record."""
    return sorted(name for name in {**record.packs, **again.packs} if record.packs.get(name) != again.packs.get(name))


def _notes(shelf: Shelf, record: ReleaseRecord, proof: Proof) -> Iterator[str]:
    for one in record.approval:
        if shelf.unkept(one):
            yield f"the {one.kind} {one.object[:10]} by which {one.by} approved it is kept by no {'tag' if one.kind == 'tag' else 'history'} here: a new clone will not hold it"
    if record.tool != __version__:
        yield f"released by formulint {record.tool}, proved again by {__version__}"
    if proof.record is not None and (moved := _moved(record, proof.record)):
        yield f"rules that are others now than when it was released: {', '.join(moved)}"
    stated = [one.by for one in record.approval if one.key is None]
    if stated:
        yield f"approval by {', '.join(stated)}: stated, not proved"


def records_of(catalog: Catalog, wanted: Iterable[str]) -> list[str]:
    """Files of the records that somebody named by code; all of them where nobody did.

    Raises
    ------
    UserError
        Where there is no such record, or none at all.
    """
    known = recorded.names(catalog)
    if not known:
        raise UserError(f"nothing is on record in {catalog.snapshot.label}", "formulint release CODE releases a formula")
    found = []
    for word in wanted:
        code = stem(word.replace("\\", "/"))
        names = [known[code]] if code in known else list(recorded.of_formula(catalog, code).values())
        if not names:
            raise UserError(f"there is no record {word} in {catalog.snapshot.label}", "records are called like T-101-r2; known: " + ", ".join(list(known)[:8]))
        found += names
    return list(dict.fromkeys(found)) or list(known.values())

