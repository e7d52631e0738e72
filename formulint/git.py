"""What git is asked: which repository this is, what it lists, what differs, what its objects hold. Plumbing only."""

from __future__ import annotations

import os
import re
from collections.abc import Iterable, Mapping, Sequence

from msgspec import Struct

from formulint import plumbing
from formulint.errors import UserError

Row = tuple[str, str, str]
"""Mode, object id and name of one file, the name relative to the top level."""

REGULAR = ("100644", "100755")
"""The modes of files; anything else is a link (120000) or another repository (160000)."""

_ID = re.compile(r"(?:[0-9a-f]{40}|[0-9a-f]{64})\Z")
# By the length of an id, which says whether the repository counts in SHA-1 or SHA-256.
_EMPTY_FILE = {
    40: "e69de29bb2d1d6434b8b29ae775ad8c2e48c5391",
    64: "473a0f4c3be8a93681a267e3b1e9a7dcda1185436fe141f7749120a303721813",
}
NAMED = ("rev-parse", "--verify", "--quiet", "--end-of-options")
"""The words that ask for an id, before what is to have one."""
LISTED = ("ls-tree", "-r", "-z", "--full-tree")
"""The words that list a commit, before its id."""
STAGED = ("ls-files", "-s", "-z")
"""The words that list what is staged."""
PRESENT = ("ls-files", "-z", "--cached", "--others", "--exclude-standard", "--deduplicate", "--")
"""The words that list what lies in the work tree, before the paths."""
_HEAD = "%H%n%ct%n%an <%ae>%n%s"
_EMPTY_TREE = {
    40: "4b825dc642cb6eb9a060e54bf8d69288fbee4904",
    64: "6ef19b41225c5369f1c104d45d8d85efa9b057b53b14b4b9b939dd74decc5321",
}


FOUND: dict[str, Repository] = {}
"""Repositories by the folder they were looked for from, where ``find`` has answered before it is asked; see ``ahead``."""


class Difference(Struct, frozen=True):
    """One file that two states do not share; id and mode are all zeros on the side that lacks it."""

    old_mode: str
    new_mode: str
    old: str
    new: str
    name: str


class Staged(Struct, frozen=True):
    """What a commit would hold, and what stands in its way.

    ``unmerged`` are names left by a merge that stopped; ``announced`` are names that ``git add -N`` has only
    promised: a commit leaves them out, so they are not among the files.
    """

    files: list[Row]
    unmerged: tuple[str, ...] = ()
    announced: tuple[str, ...] = ()


class Where(Struct, frozen=True):
    """What git says about a folder: git directory, top of the work tree ("" without one), HEAD, cut-off history."""

    git_dir: str
    top: str
    head: str | None
    shallow: bool


class Passage(Struct, frozen=True):
    """A commit: its full id, when it was committed (seconds since 1970, as git writes them), its author, the first line of its
    message, and in what it differs from its parent."""

    commit: str
    seconds: str
    author: str
    subject: str
    differences: list[Difference]


class Repository:
    """One repository, pinned: every call goes to the same git directory and work tree.

    Attributes
    ----------
    git_dir : str
        Absolute path of git's own folder.
    top : str
        Absolute path of the work tree; empty in a bare repository and inside a git directory.
    prefix : str
        Where we were started, relative to ``top``: "" or "paint/".
    head : str or None
        Full id of the commit that is checked out; None before the first commit.
    shallow : bool
        True where history was cut off when cloning.
    """

    def __init__(self, program: str, where: Where, prefix: str, handed: Mapping[str, str]) -> None:
        self.git_dir = where.git_dir
        self.top = where.top
        self.prefix = prefix
        self.head = where.head
        self.shallow = where.shallow
        # Names are asked for from the top level, where a relative GIT_INDEX_FILE is meant to be read from.
        kept = {name: value for name, value in handed.items() if name not in ("GIT_PREFIX", "GIT_WORK_TREE")}
        kept["GIT_DIR"] = where.git_dir
        if where.top:
            kept["GIT_WORK_TREE"] = where.top
        self.git = plumbing.Git(program, where.top or where.git_dir, kept)
        self._reader = plumbing.ObjectReader(self.git)
        self.resolved: dict[str, str] = {}

    def resolve(self, revision: str) -> str:
        """The full id of the commit that ``revision`` names; UserError where it names none."""
        found = self.resolved.get(revision) or self._ask_id(revision + "^{commit}")
        if found is None:
            raise self._unresolved(revision)
        self.resolved[revision] = found  # one run, one answer
        return found

    def resolve_base(self, revision: str) -> str:
        """As ``resolve``, for what others are judged by: a full id, a full ``refs/`` name, or a name of one ref only.

        A tag that is called like a branch must not stand in for it silently.
        """
        if _ID.match(revision) or revision.startswith("refs/"):
            return self.resolve(revision)
        if not revision or revision.startswith("-") or re.search(r"[\x00-\x20~^:?*\[\\\x7f]|\.\.|@\{", revision):
            raise UserError(f"{quoted(revision)} is not the name of a branch or tag", "name a full commit id or ref")
        patterns = [f"refs/{kind}{revision}" for kind in ("", "tags/", "heads/", "remotes/")]
        refs = _text(self.git.run("for-each-ref", "--format=%(refname)", *patterns)).split("\n")
        exact = [name for name in refs if name in patterns]
        if len(exact) > 1:
            raise UserError(f"{quoted(revision)} may be {' or '.join(exact)}", f"name one in full, e.g. {exact[0]}")
        return self.resolve(exact[0] if exact else f"refs/heads/{revision}")

    def _ask_id(self, expression: str) -> str | None:
        try:
            expression.encode()
        except UnicodeEncodeError:
            return None
        if "\0" in expression:
            return None
        status, out, complaint = self.git.call(*NAMED, expression)
        if status and plumbing.broken(complaint):
            raise self.git.failure("rev-parse", complaint)
        found = out.decode("ascii", "replace").strip()
        return found if _ID.match(found) else None  # "^main" is answered by "^" and an id

    def _unresolved(self, revision: str) -> UserError:
        message = f"{quoted(revision)} does not name a commit of this repository"
        found = self._ask_id(revision)
        kind = self.git.call("cat-file", "-t", found)[1].decode("ascii", "replace").strip() if found else ""
        if kind and kind != "commit":
            return UserError(f"{message}, but a {kind}", "name a branch, a tag or a commit id")
        if found and not kind and found != revision:
            return UserError(f"{quoted(revision)} is commit {found[:7]}, which is missing", plumbing.DAMAGE)
        if self.shallow:
            remedy = "fetch the rest: git fetch --unshallow; in CI set the fetch depth to 0"
            return UserError(f"{message}: this clone is shallow, older history was left out", remedy)
        if self.head is None:
            return UserError(f"{message}: nothing has been committed yet", "make the first commit")
        return UserError(message, "name a branch, a tag or a commit id; git fetch if it was made elsewhere")

    def staged(self) -> Staged:
        """What is staged, in the order of names."""
        files: list[Row] = []
        unmerged: dict[str, None] = {}
        empty: list[str] = []
        for line in _lines(self.git.run(*STAGED)):
            head, _, name = line.partition("\t")
            mode, oid, stage = head.split(" ")
            if stage != "0":
                unmerged[name] = None
                continue
            files.append((mode, oid, name))
            if oid == _EMPTY_FILE[len(oid)]:
                empty.append(name)
        announced = self._announced(empty, len(files[0][1])) if empty else ()
        if announced:
            files = [row for row in files if row[2] not in announced]
        return Staged(files, tuple(unmerged), announced)

    def _announced(self, empty: Sequence[str], size: int) -> tuple[str, ...]:
        """Which of these empty files a commit would leave out: git compares them with no file at all."""
        below = ("--", *empty) if len(empty) <= 200 else ()
        real = {change.name for change in self._differences("diff-index", "--cached", _EMPTY_TREE[size], *below)}
        return tuple(name for name in empty if name not in real)

    def committed(self, commit: str) -> list[Row]:
        """Every file of a commit (full id)."""
        rows: list[Row] = []
        for line in _lines(self.git.run(*LISTED, commit)):
            head, _, name = line.partition("\t")
            mode, _, oid = head.split(" ")
            rows.append((mode, oid, name))
        if len({row[2] for row in rows}) != len(rows):
            raise UserError(f"commit {commit[:7]} holds one file name twice", plumbing.DAMAGE)
        return rows

    def present(self, paths: Sequence[str] = ()) -> list[str]:
        """Names in the work tree, tracked or not ignored, below ``paths`` (all if empty).

        Tracked names may be gone from disk; a repository inside this one is a name that ends in "/".
        """
        return _lines(self.git.run(*PRESENT, *paths))

    def staged_differences(self) -> list[Difference]:
        """What is staged against HEAD, a rename being one file less and one more. There must be a HEAD."""
        assert self.head is not None
        return self._differences("diff-index", "--cached", self.head)

    def differences(self, old: str, new: str) -> list[Difference]:
        """What two commits (full ids) do not share, over the whole tree."""
        return self._differences("diff-tree", "-r", old, new)

    def first_parents(self, commit: str) -> list[tuple[str, str]]:
        """A commit (full id) and its first parents back to the first, each with its parent; "" where this clone has none."""
        lines = self.git.run("rev-list", "--first-parent", "--parents", commit).decode("ascii").splitlines()
        return [(words[0], words[1] if len(words) > 1 else "") for words in (line.split() for line in lines)]

    def steps(self, pairs: Sequence[tuple[str, str]], folder: str) -> list[Passage]:
        """What each of these commits says of itself, and in what it differs from its parent below ``folder`` ("" for all), asked at once.

        A commit without a parent differs from nothing at all. Renames are one file less and one more.
        """
        asked = "".join(f"{commit} {parent}".rstrip() + "\n" for commit, parent in pairs).encode()
        words = ("diff-tree", "--stdin", "--root", "-r", "-z", "--no-renames", "--no-ext-diff", "--no-textconv", "--always", "--encoding=UTF-8")
        parts = iter(_lines(self.git.run(*words, f"--format={_HEAD}", "--", *((folder,) if folder else ()), stdin=asked)))
        found: list[Passage] = []
        for part in parts:
            if part.startswith((":", "\n:")):
                old_mode, new_mode, old, new, _ = part.lstrip("\n:").split(" ")
                found[-1].differences.append(Difference(old_mode, new_mode, old, new, next(parts)))
            else:
                commit, seconds, author, subject = part.split("\n", 3)
                found.append(Passage(commit, seconds, author, subject, []))
        return found

    def _differences(self, *words: str) -> list[Difference]:
        parts = _lines(self.git.run(*compared(*words)))
        changes: list[Difference] = []
        for change, name in zip(parts[::2], parts[1::2], strict=True):
            old_mode, new_mode, old, new, _ = change[1:].split(" ")
            changes.append(Difference(old_mode, new_mode, old, new, name))
        return changes

    def holding(self, texts: Iterable[str], folder: str, commit: str | None) -> list[str]:
        """Names below ``folder`` ("" for all) of files that hold one of the texts: of a commit, or staged if None."""
        words = ("grep", "-l", "-z", "-F", "--no-color", "--no-textconv", "--no-recurse-submodules")
        state = ("--cached",) if commit is None else (commit,)
        below = (folder,) if folder else ()
        patterns = "\n".join(texts).encode("utf-8", "surrogateescape")
        names = _lines(self.git.run(*words, "-f", "-", *state, "--", *below, stdin=patterns, accept=(0, 1)))
        return names if commit is None else [name.removeprefix(commit + ":") for name in names]

    def contents(self, names: Mapping[str, str], kind: str = "blob") -> dict[str, bytes]:
        """The objects with these ids, each cut after LONGEST + 1 bytes; ``names`` maps an id to what to call it."""
        found = self._reader.read(list(names))
        for oid, (what, _) in found.items():
            if what != kind:
                raise self._unreadable(oid, names[oid], what)
        return {oid: data for oid, (_, data) in found.items()}

    def expect(self, oids: Iterable[str]) -> None:
        """Say which objects ``contents`` will be asked for, so that git looks them up meanwhile."""
        self._reader.expect(oids)

    def _unreadable(self, oid: str, name: str, what: str) -> UserError:
        label = f"{quoted(name)} (object {oid[:10]})"
        if what not in ("", "missing"):
            return UserError(f"{label} is a {what}, where a file should be", plumbing.DAMAGE)
        complaint = self.git.call("cat-file", "-p", oid)[2]  # a broken object is called missing by the batch
        if b"promisor" in complaint or (what == "missing" and not plumbing.broken(complaint)):
            return UserError(f"{label} is missing from this clone", plumbing.DAMAGE)
        return UserError(f"{label} cannot be read: {plumbing.words_of(complaint) or 'git broke off'}", plumbing.DAMAGE)

    def close(self) -> None:
        """End the process that reads objects; the next question starts another."""
        self._reader.close()


def find(start: str) -> Repository | None:
    """The repository that the folder ``start`` lies in, or None; UserError where git refuses to answer.

    What a calling git has set in the environment counts only for the repository that we were started in.
    """
    if (known := FOUND.pop(start, None)) is not None:
        return known
    try:
        here, there = os.path.realpath(os.getcwd()), os.path.realpath(start)
    except OSError:
        raise UserError("the folder we were started in has been removed", "change to one that exists") from None
    if not os.path.isdir(there):
        raise UserError(f"there is no folder {quoted(start)}")
    program = plumbing.program()
    if program is None:
        if _marked(there):
            raise UserError("git is not installed, or not on PATH", "install the package git, 2.34 or newer")
        return None
    handed = plumbing.handed_over()
    where = _describe(program, there, handed if there == here else {})
    if handed and there != here:
        own = _describe(program, here, handed)
        if own is not None and (where == own or (where is None and _below(own.top, there) is not None)):
            where = own
        else:
            handed = {}
    if where is None:
        if _marked(there):
            message = f"there is a .git in or above {quoted(there)}, but git does not take it for a repository"
            raise UserError(message, "look with git status; a left-over of that name can be removed")
        return None
    return Repository(program, where, _below(where.top, there) or "", handed)


def require(start: str) -> Repository:
    """As ``find``, where there is no answer without a repository."""
    repository = find(start)
    if repository is None:
        if plumbing.program() is None:
            raise UserError("git is not installed, or not on PATH", "install the package git, 2.34 or newer")
        message = f"{quoted(os.path.realpath(start))} is not in a git repository"
        raise UserError(message, "make one with git init, or name the folder with -C")
    return repository


def quoted(name: str) -> str:
    """A name as it may stand in a message: in quotes, without characters that act on a terminal, and not endless."""
    shown = "".join(sign if sign.isprintable() else ascii(sign)[1:-1] for sign in name[:200])
    return f'"{shown}"'


def compared(command: str, *words: str) -> tuple[str, ...]:
    """The words that list what differs."""
    hidden = ("--ita-invisible-in-index",) if command == "diff-index" else ()
    return (command, "-z", "--no-renames", "--no-ext-diff", "--no-textconv", *hidden, *words)


def _describe(program: str, folder: str, handed: Mapping[str, str]) -> Where | None:
    git = plumbing.Git(program, folder, handed)
    status, out, complaint = git.call(*plumbing.DESCRIBE)
    top = 1
    if status and b"must be run in a work tree" in complaint:
        status, out, complaint = git.call(*(word for word in plumbing.DESCRIBE if word != "--show-toplevel"))
        top = 0
    if status:
        if b"not a git repository (or any" in complaint:
            return None
        raise git.failure("rev-parse", complaint)
    answers = os.fsdecode(out).split("\n")[:-1]
    head = answers.pop() if _ID.match(answers[-1]) else None
    if len(answers) != 2 + top or answers[0] not in ("true", "false"):
        if "\n" in folder:
            raise UserError(f"the path {quoted(folder)} holds a line break", "rename that folder")
        raise git.failure("rev-parse", complaint)
    return Where(answers[1], answers[2] if top else "", head, answers[0] == "true")


def _below(top: str, folder: str) -> str | None:
    """The folder relative to the top, as git names it: "" or "paint/"; None where it lies elsewhere."""
    if not top:
        return None
    relative = os.path.relpath(folder, os.path.realpath(top))
    if relative == os.curdir:
        return ""
    if relative.split(os.sep)[0] == os.pardir:
        return None
    return _text(os.fsencode(relative.replace(os.sep, "/"))) + "/"


def _marked(folder: str) -> bool:
    """True where something called .git lies in this folder or above."""
    while True:
        if os.path.lexists(os.path.join(folder, ".git")):
            return True
        above = os.path.dirname(folder)
        if above == folder:
            return False
        folder = above


def _text(raw: bytes) -> str:
    """Names as text whatever the locale; odd bytes survive the way back (surrogateescape)."""
    return raw.decode("utf-8", "surrogateescape")


def _lines(raw: bytes) -> list[str]:
    """The parts of an answer in which every part ends with a zero byte."""
    return _text(raw).split("\0")[:-1]
