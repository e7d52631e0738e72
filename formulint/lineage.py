"""The line of first parents that leads to a commit: what each step changes below the root, who made it, and what this clone lacks."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import date

from msgspec import Struct
from msgspec.structs import replace

from formulint import git
from formulint.snapshot import Entry, Snapshot

EPOCH = date(1970, 1, 1).toordinal()


class Step(Struct, frozen=True):
    """A commit and what it changes against its first parent, by names relative to the root; None is a file that is gone."""

    commit: str
    changes: dict[str, Entry | None]


class Told(Struct, frozen=True):
    """What a commit says of itself: who wrote it, the day it was committed on (UTC), the first line of its message."""

    author: str
    date: date
    subject: str


class Lineage(Struct, frozen=True):
    """The steps up to a state, the oldest first; ``cut`` is the commit before which this clone holds nothing, or empty."""

    steps: tuple[Step, ...]
    cut: str


def lineage(state: Snapshot) -> Lineage:
    """The steps that lead to the commit of a state, from the first commit, or from where a shallow clone begins."""
    repository, commit = state.repository, state.commit
    assert repository is not None and commit is not None
    pairs = repository.first_parents(commit)[::-1]
    found = zip(pairs, repository.steps(pairs, state.root), strict=True)
    steps = tuple(Step(one, _changes(differences, state.root)) for (one, _), differences in found)
    cut = pairs[0][0] if repository.shallow and _has_parent(repository, pairs[0][0]) else ""
    return Lineage(steps, cut)


def _changes(differences: Iterable[git.Difference], root: str) -> dict[str, Entry | None]:
    found: dict[str, Entry | None] = {}
    for one in differences:
        name = one.name[len(root) :]
        found[name] = Entry(name, one.new, one.new_mode) if one.new_mode in git.REGULAR else None
    return found


def _has_parent(repository: git.Repository, commit: str) -> bool:
    """True for a commit that names a parent, be it in this clone or not."""
    raw = repository.contents({commit: f"commit {commit[:7]}"}, "commit")[commit]
    return b"\nparent " in raw.partition(b"\n\n")[0]


def told(repository: git.Repository, commits: Sequence[str]) -> dict[str, Told]:
    """What these commits (full ids) say of themselves, read in one round."""
    raw = repository.contents({commit: f"commit {commit[:7]}" for commit in commits}, "commit")
    return {commit: _told(text) for commit, text in raw.items()}


def _told(raw: bytes) -> Told:
    head, _, message = raw.partition(b"\n\n")
    lines = head.split(b"\n")
    author = next((line for line in lines if line.startswith(b"author ")), b"author ")
    name = author.removeprefix(b"author ").rpartition(b">")[0] + b">"
    subject = message.strip().partition(b"\n")[0]
    return Told(name.decode("utf-8", "replace"), _day(lines), subject.decode("utf-8", "replace"))


def _day(lines: Iterable[bytes]) -> date:
    """The day of the committer's clock, UTC; the first day that computers know where it cannot be read."""
    for line in lines:
        words = line.split(b" ")
        if words[0] == b"committer" and words[-2:-1] and words[-2].isdigit() and len(words[-2]) < 12:
            return date.fromordinal(EPOCH + int(words[-2]) // 86400)
    return date.fromordinal(EPOCH)


def state_at(newest: Snapshot, commit: str, entries: dict[str, Entry], day: date) -> Snapshot:
    """The state of a commit, from the files that it holds."""
    label, origin = commit[:7], f"the date of commit {commit[:7]}"
    return replace(newest, label=label, date=day, date_origin=origin, commit=commit, entries=entries, faults=())
