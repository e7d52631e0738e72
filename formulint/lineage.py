"""The line of first parents that leads to a commit: what each step changes below the root, who made it, and what this clone lacks."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from msgspec import Struct
from msgspec.structs import replace

from formulint import git
from formulint.ancestry import day_of
from formulint.snapshot import Snapshot
from formulint.source import Entry, Source


class Told(Struct, frozen=True):
    """What a commit says of itself: who wrote it, the day it was committed on (UTC), the first line of its message."""

    author: str
    date: date
    subject: str


class Step(Struct, frozen=True):
    """A commit, what it says of itself, and what it changes against its first parent, by names relative to the root; None is a file that is gone."""

    commit: str
    told: Told
    changes: dict[str, Entry | None]


class Lineage(Struct, frozen=True):
    """The steps up to a state, the oldest first; ``cut`` is the commit before which this clone holds nothing, or empty."""

    steps: tuple[Step, ...]
    cut: str


def lineage(state: Snapshot) -> Lineage:
    """The steps that lead to the commit of a state, from the first commit, or from where a shallow clone begins."""
    repository, commit = state.repository, state.commit
    assert repository is not None and commit is not None
    pairs = repository.first_parents(commit)[::-1]
    steps = tuple(_step(one, state.root) for one in repository.steps(pairs, state.root))
    cut = pairs[0][0] if repository.shallow and _has_parent(repository, pairs[0][0]) else ""
    return Lineage(steps, cut)


def _step(passage: git.Passage, root: str) -> Step:
    changes: dict[str, Entry | None] = {}
    for one in passage.differences:
        name = one.name[len(root) :]
        changes[name] = Entry(name, one.new, one.new_mode) if one.new_mode in git.REGULAR else None
    return Step(passage.commit, Told(_plain(passage.author), day_of(passage.seconds), _plain(passage.subject)), changes)


def _plain(text: str) -> str:
    """A text of a commit whose bytes may be of any encoding."""
    return text if text.isascii() else text.encode("utf-8", "surrogateescape").decode("utf-8", "replace")


def _has_parent(repository: git.Repository, commit: str) -> bool:
    """True for a commit that names a parent, be it in this clone or not."""
    raw = repository.contents({commit: f"commit {commit[:7]}"}, "commit")[commit]
    return b"\nparent " in raw.partition(b"\n\n")[0]


class Fetched(Struct, frozen=True, eq=False):
    """Bytes by object id: those that were read beforehand, and any other from where they come from."""

    source: Source
    texts: dict[str, bytes]

    def contents(self, entries: Sequence[Entry]) -> dict[str, bytes]:
        """The bytes of these files by name."""
        more = [entry for entry in entries if entry.oid not in self.texts]
        found = self.source.contents(more) if more else {}
        return {entry.name: self.texts[entry.oid] if entry.oid in self.texts else found[entry.name] for entry in entries}

    def expect(self, entries: Sequence[Entry]) -> dict[str, bytes]:
        """Hear which files will be asked for soon; those that were read beforehand."""
        known = {entry.name: self.texts[entry.oid] for entry in entries if entry.oid in self.texts}
        return {**known, **self.source.expect([entry for entry in entries if entry.name not in known])}

    def close(self) -> None:
        """Let go of whatever was kept open."""
        self.source.close()


def state_at(newest: Snapshot, commit: str, entries: dict[str, Entry], day: date, texts: dict[str, bytes]) -> Snapshot:
    """The state of a commit, from the files that it holds and the ``texts`` that were read beforehand."""
    label, origin = commit[:7], f"the date of commit {commit[:7]}"
    return replace(newest, label=label, date=day, date_origin=origin, commit=commit, entries=entries, faults=(), source=Fetched(newest.source, texts))
