"""One state of a formula repository: the work tree, what is staged, a commit. Only the source of bytes differs."""

from __future__ import annotations

import re
import time
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from datetime import date
from typing import Literal

from msgspec import Struct
from msgspec.structs import replace

from formulint import git, worktree
from formulint.errors import UserError
from formulint.finding import Fault, Place
from formulint.git import quoted
from formulint.root import SETTINGS, listing, plain_root, root_of, upwards
from formulint.source import Entry, Files, Objects, Source

FoldersOf = Callable[[bytes], Sequence[str]]
"""Says from the bytes of the settings which folders count, relative to the root."""

_IRREGULAR = {
    worktree.LINK: ("is a symbolic link, not a file", "put the file itself there; links are never followed"),
    worktree.FOLDER: ("is a repository inside this one (a submodule), not a file", "keep the records here instead"),
}
_ASTRAY = r"(.*/[A-Za-z]+-?[0-9][A-Za-z0-9-]*)(?:\.toml)?\.(?:txt|TOML|Toml|tml)"
_ASTRAY_ENDS = (".txt", "TOML", "Toml", ".tml")
_SPECIAL = ("is no file that git can hold (a pipe, a socket or a device)", "remove it")


class FileChange(Struct, frozen=True):
    """A file that two states do not share, with its object id on either side ("" where it is not)."""

    name: str
    kind: Literal["added", "changed", "deleted"]
    old: str
    new: str


class Snapshot(Struct, frozen=True, eq=False):
    """One state of one root.

    Attributes
    ----------
    label : str
        "work tree", "index" or the short id of a commit.
    date, date_origin : date, str
        The day that rules are judged by, and where it comes from, in words.
    root : str
        Where the root lies below the top of the work tree: "" or "paint/".
    folder : str
        Absolute path of the root on disk; empty where there is no work tree (bare repository).
    commit : str or None
        Full id, if the state is a commit.
    entries : dict of str to Entry
        Every regular file below the root, by name.
    faults : tuple of Fault
        What lies below the root and is no regular file, and roots inside roots. See ``faults_below``.
    """

    label: str
    date: date
    date_origin: str
    root: str
    folder: str
    commit: str | None
    entries: dict[str, Entry]
    faults: tuple[Fault, ...]
    source: Source
    repository: git.Repository | None

    def read(self, name: str) -> bytes:
        """The bytes of one file, cut after 1 MiB and one byte; UserError where they are missing or damaged."""
        return self.source.contents((self.entries[name],))[name]

    def read_many(self, names: Iterable[str]) -> dict[str, bytes]:
        """As ``read``, for many files at the price of one round."""
        return self.source.contents([self.entries[name] for name in names])

    def expect(self, names: Iterable[str]) -> dict[str, bytes]:
        """Say which files will be read soon: where git has to look them up, it does so meanwhile; what is at hand comes at once."""
        return self.source.expect([self.entries[name] for name in names])

    def faults_below(self, folders: Iterable[str]) -> tuple[Fault, ...]:
        """The faults that bear on these folders (relative to the root) or on the root itself."""
        wanted = tuple(folders)
        return tuple(fault for fault in self.faults if _bears_on(fault.place.path, wanted))

    def holds(self, folder: str) -> bool:
        """True where any file lies below a folder (relative to the root)."""
        start = folder + "/"
        return any(name.startswith(start) for name in self.entries)

    def close(self) -> None:
        """Let go of whatever was kept open; another read opens it again."""
        self.source.close()




def work_tree(start: str | git.Repository, today: date | None = None, folders: FoldersOf | None = None) -> Snapshot:
    """What lies on disk: tracked files and those that git does not ignore; in a plain folder, every file.

    ``folders`` keeps git from looking through all the rest of a large work tree.
    """
    repository = git.find(start) if isinstance(start, str) else start
    if repository is None:
        assert isinstance(start, str)
        disk, prefix = worktree.Disk(plain_root(start)), ""
        rows = disk.walk()
    elif repository.top:
        disk, prefix = worktree.Disk(repository.top), repository.prefix
        rows = disk.classify(_names_on_disk(repository, disk, folders))
    else:
        raise UserError("no files lie here: this repository keeps commits only", "name a commit with --at, or go where its files lie")
    root, entries, faults = _assemble(rows, prefix, "make one with formulint start")
    day, origin = _day(today)
    folder = worktree.path_of(disk, root)
    return Snapshot("work tree", day, origin, root, folder, None, entries, faults, Files(disk, root), repository)


def index(start: str | git.Repository, today: date | None = None) -> Snapshot:
    """What is staged, and so would be committed; git says which index where it runs us as a hook."""
    repository = git.require(start) if isinstance(start, str) else start
    if not repository.top:
        raise UserError("no files lie here, so nothing is staged", "name a commit with --at")
    staged = repository.staged()
    remedy = "stage it with git add formulint.toml, or make one with formulint start"
    in_conflict = [(git.REGULAR[0], "", name) for name in staged.unmerged]
    root, entries, faults = _assemble([*staged.files, *in_conflict], repository.prefix, remedy)
    unmerged = [name for name in staged.unmerged if name.startswith(root)]
    if unmerged:
        message = f"a merge has left conflicts in {listing(unmerged)}"
        raise UserError(message, "settle them and git add the files, or git merge --abort")
    day, origin = _day(today)
    faults += tuple(_announced(name.removeprefix(root)) for name in staged.announced if name.startswith(root))
    folder = worktree.path_of(worktree.Disk(repository.top), root)
    return Snapshot("index", day, origin, root, folder, None, entries, faults, Objects(repository), repository)


def at(start: str | git.Repository, revision: str, today: date | None = None) -> Snapshot:
    """A commit, judged by the day it was committed on (UTC) unless another is given."""
    repository = git.require(start) if isinstance(start, str) else start
    commit = repository.resolve(revision)
    short = commit[:7]
    remedy = "name a commit that holds one, or make one with formulint start"
    root, entries, faults = _assemble(repository.committed(commit), repository.prefix, remedy)
    if today is None:
        day, origin = _committed_on(repository, commit), f"the date of commit {short}"
    else:
        day, origin = _day(today)
    folder = worktree.path_of(worktree.Disk(repository.top), root) if repository.top else ""
    return Snapshot(short, day, origin, root, folder, commit, entries, faults, Objects(repository), repository)


def as_of_now(state: Snapshot) -> Snapshot:
    """The same files, judged by the day on which this machine runs."""
    day, origin = _day(None)
    return replace(state, date=day, date_origin=origin)


def tree(repository: git.Repository, oid: str, label: str, day: date, origin: str) -> Snapshot:
    """A tree without a commit, such as what a merge would hold, judged as on a day."""
    root, entries, faults = _assemble(repository.committed(oid), repository.prefix, "keep formulint.toml in the proposal")
    folder = worktree.path_of(worktree.Disk(repository.top), root) if repository.top else ""
    return Snapshot(label, day, origin, root, folder, None, entries, faults, Objects(repository), repository)


def changed(staged: Snapshot) -> tuple[FileChange, ...]:
    """What the index holds otherwise than HEAD, below the root; everything before the first commit."""
    repository = staged.repository
    assert repository is not None
    if repository.head is None:
        return tuple(FileChange(entry.name, "added", "", entry.oid) for entry in staged.entries.values())
    changes = []
    for found in repository.staged_differences():
        old = found.old if found.old_mode in git.REGULAR else ""
        new = found.new if found.new_mode in git.REGULAR else ""
        if old != new and found.name.startswith(staged.root):
            changes.append(_change(found.name[len(staged.root) :], old, new))
    return tuple(changes)


def before(staged: Snapshot, changes: Sequence[FileChange]) -> Snapshot:
    """The state of HEAD below the same root, from the index and what it holds otherwise: no listing of HEAD is asked for."""
    repository = staged.repository
    assert repository is not None
    assert repository.head is not None
    entries = dict(staged.entries)
    for change in changes:
        if change.old:
            entries[change.name] = Entry(change.name, change.old, git.REGULAR[0])
        else:
            entries.pop(change.name, None)
    label, commit = repository.head[:7], repository.head
    return Snapshot(
        label,
        staged.date,
        staged.date_origin,
        staged.root,
        staged.folder,
        commit,
        entries,
        (),
        staged.source,
        repository,
    )


def changed_between(before: Snapshot, after: Snapshot) -> tuple[FileChange, ...]:
    """What two states do not share, each seen from its own root; files on disk are compared by what they hold."""
    changes = []
    for name in sorted(before.entries.keys() | after.entries.keys()):
        old, new = _ids(before, after, name)
        if old != new:
            changes.append(_change(name, old, new))
    return tuple(changes)


def grep(state: Snapshot, texts: Iterable[str], folder: str) -> tuple[str, ...]:
    """Names below ``folder`` that may hold one of these texts: all that do, and a few that do not.

    Files that write characters as escapes are always among them, since an escape can hide a text.
    """
    wanted = [text for text in texts if text]
    if not wanted:
        return ()
    if any("\n" in text or "\0" in text for text in wanted):
        raise ValueError("a text to look for holds a line break")
    wanted += ["\\u", "\\U", "\\x", '"""']  # the last may fold a text over two lines
    if state.repository is None or isinstance(state.source, Files):
        raw = [text.encode("utf-8", "surrogateescape") for text in wanted]
        below = [name for name in state.entries if name.startswith(folder + "/")]
        return tuple(name for name in below if _holds(state.read(name), raw))
    names = state.repository.holding(wanted, state.root + folder, state.commit)
    relative = (name[len(state.root) :] for name in names)
    return tuple(name for name in relative if name in state.entries)


def _assemble(rows: Sequence[git.Row], prefix: str, remedy: str) -> tuple[str, dict[str, Entry], tuple[Fault, ...]]:
    """Root, regular files below it by name, and faults of what else lies below it."""
    root, nested = root_of(rows, prefix, remedy)
    skip = len(root)
    below = [row for row in rows if row[2].startswith(root)] if root else rows
    if len(below) > worktree.MOST:
        raise worktree.too_many(root or ".")
    entries: dict[str, Entry] = {}
    faults: list[Fault] = []
    for mode, oid, full_name in below:
        name = full_name[skip:]
        if mode in git.REGULAR:
            entries[name] = Entry(name, oid, mode)
        else:
            what, helps = _IRREGULAR.get(mode, _SPECIAL)
            faults.append(Fault(Place(name), f"{quoted(name)} {what}", helps))
    return root, entries, (*faults, *nested, *_astray(entries))


def _astray(entries: Mapping[str, Entry]) -> Iterator[Fault]:
    """Files that are called like a record, but end as an editor for plain text ends them: nobody reads those."""
    for name in entries:
        found = re.fullmatch(_ASTRAY, name) if name[-4:] in _ASTRAY_ENDS else None  # compiled where one is there
        if found is not None and f"{found[1]}.toml" not in entries:
            words = f"{quoted(name)} is not read: only files that end in .toml are records"
            yield Fault(Place(name), words, f"if it is a record, rename it to {found[1].rpartition('/')[2]}.toml", kind="review")


def _announced(name: str) -> Fault:
    message = f"{quoted(name)} is only announced (git add -N): the commit will not hold it"
    from shlex import quote  # the remedy is a line to paste into a shell

    return Fault(Place(name), message, f"stage what it holds: git add {quote(name)}", kind="review")


def _bears_on(name: str, folders: Sequence[str]) -> bool:
    if name.rpartition("/")[2] == SETTINGS:
        return True
    return any((name + "/").startswith(folder + "/") or folder.startswith(name + "/") for folder in folders)


def _names_on_disk(repository: git.Repository, disk: worktree.Disk, folders: FoldersOf | None) -> list[str]:
    """What git lists, asked for no more than the root where one is found on the way up."""
    root, paths = below_root(repository, disk, folders)
    names = repository.present(paths)
    return names if root is None or root + SETTINGS in names else repository.present()  # the one on disk is ignored by git


def below_root(repository: git.Repository, disk: worktree.Disk, folders: FoldersOf | None = None) -> tuple[str | None, list[str]]:
    """The root on the way up, as it lies on disk, and the paths that git is asked for; none for all of the work tree."""
    marks = [place for place in upwards(repository.prefix) if disk.classify([place + SETTINGS])]
    if not marks:
        return None, []
    root = marks[0]
    paths = [root.rstrip("/")] if root else []
    if folders is not None:
        paths = [root + folder for folder in folders(disk.read(root + SETTINGS))] + [root + SETTINGS]
    return root, [*paths, *(place + SETTINGS for place in marks[1:])] if paths else []


def _day(today: date | None) -> tuple[date, str]:
    if today is not None:
        return today, "given by --today"
    now = time.localtime()
    return date(now.tm_year, now.tm_mon, now.tm_mday), "this machine's date"


def _committed_on(repository: git.Repository, commit: str) -> date:
    raw = repository.contents({commit: f"commit {commit[:7]}"}, "commit")[commit]
    for line in raw.partition(b"\n\n")[0].split(b"\n"):
        words = line.split(b" ")
        if words[0] == b"committer" and words[-2:-1] and words[-2].isdigit() and len(words[-2]) < 12:
            return date.fromordinal(date(1970, 1, 1).toordinal() + int(words[-2]) // 86400)
    raise UserError(f"commit {commit[:7]} has no date that can be read", "give a date with --today")


def _change(name: str, old: str, new: str) -> FileChange:
    return FileChange(name, "added" if not old else "deleted" if not new else "changed", old, new)


def _ids(before: Snapshot, after: Snapshot, name: str) -> tuple[str, str]:
    """Object ids of a file in two states; for files on disk, the id that git would give them."""
    old, new = before.entries.get(name), after.entries.get(name)
    old_id, new_id = old.oid if old else "", new.oid if new else ""
    size = len(old_id or new_id) or 40
    if old and not old_id:
        old_id = _id_of(before.read(name), size, new_id)
    if new and not new_id:
        new_id = _id_of(after.read(name), size, old_id)
    return old_id, new_id


def _id_of(raw: bytes, size: int, other: str) -> str:
    """The id of these bytes; where only the ends of lines tell them from the other side, the id of that side."""
    import hashlib

    algorithm = hashlib.sha1 if size == 40 else hashlib.sha256
    found = [algorithm(b"blob %d\0" % len(data) + data).hexdigest() for data in (raw, raw.replace(b"\r\n", b"\n"))]
    return other if other in found else found[0]


def _holds(raw: bytes, texts: Sequence[bytes]) -> bool:
    return any(text in raw for text in texts)
