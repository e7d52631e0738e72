"""How git is called: the program, its environment and options, what its complaints mean, and the reader of objects.

Whatever a repository brings along, nothing here may run, fetch or believe it: no hooks, filters, textconv, file
system monitors, replacement objects, grafts, promised objects, prompts, forged indexes of commits and packs.
"""

from __future__ import annotations

import os
from collections.abc import Iterable, Mapping, Sequence
from typing import IO

from formulint.child import DIRECT, Asked, Child, ask
from formulint.errors import UserError

OLDEST = (2, 34)
"""The oldest git that is supported."""

LONGEST = 1 << 20
"""Bytes of a file that are read, 1 MiB; of a longer one a single byte more, so that its reader can refuse it."""

DAMAGE = "look with git fsck --full, or clone again; a clone made with --filter lacks files: clone without it"
"""What helps where objects are missing or broken."""

# What git hands to hooks, and people use to point at a repository. All else that begins with GIT_ is dropped.
_INHERITED = (
    "GIT_DIR",
    "GIT_WORK_TREE",
    "GIT_COMMON_DIR",
    "GIT_INDEX_FILE",
    "GIT_OBJECT_DIRECTORY",
    "GIT_ALTERNATE_OBJECT_DIRECTORIES",
    "GIT_QUARANTINE_PATH",
    "GIT_PREFIX",
)

_FIXED = {
    "LC_ALL": "C",  # git's complaints are compared with the words below
    "LANGUAGE": "",
    "GIT_NO_REPLACE_OBJECTS": "1",
    # info/grafts is believed even with GIT_NO_REPLACE_OBJECTS set; an empty file in its place grafts nothing.
    "GIT_GRAFT_FILE": os.devnull,
    "GIT_TERMINAL_PROMPT": "0",
    "GIT_OPTIONAL_LOCKS": "0",
    "GIT_NO_LAZY_FETCH": "1",  # known to newer git only; protocol.allow below stops older ones
    "GIT_LITERAL_PATHSPECS": "1",
}

_OPTIONS = (
    *("-c", "protocol.allow=never"),
    *("-c", "core.fsmonitor=false"),
    *("-c", "core.hooksPath=/dev/null"),
    # Files that only say again, faster, what commits and packs say: git believes them without a look at the objects.
    *("-c", "core.commitGraph=false"),
    *("-c", "core.multiPackIndex=false"),
    *("-c", "gpg.program=gpg"),
    *("-c", "gpg.ssh.program=ssh-keygen"),
    *("-c", "gpg.x509.program=gpgsm"),
)

_BROKEN = (
    *(b"unable to read", b"Could not read", b"inflate", b"unable to unpack", b"corrupt"),
    *(b"bad object", b"bad tree", b"not a tree", b"promisor remote", b"lazy fetching disabled"),
)


_AHEAD: dict[tuple[object, ...], Asked] = {}
DESCRIBE = ("rev-parse", "--is-shallow-repository", "--absolute-git-dir", "--show-toplevel", "--revs-only", "HEAD")
"""What is asked first about every repository. HEAD comes last: before the first commit, everything after it would go unanswered."""


def begin(start: str) -> None:
    """Ask about the repository of a folder before anything else of this package is loaded; what goes wrong shows when the answer is wanted."""
    while _AHEAD:  # questions of a run before, which nobody asked after all
        _AHEAD.popitem()[1].answer()
    git = program()
    try:
        here, there = os.path.realpath(os.getcwd()), os.path.realpath(start)
    except OSError:
        return
    if git is not None and os.path.isdir(there):
        Git(git, there, handed_over() if there == here else {}).ahead(*DESCRIBE)


class Git:
    """The program, called in one folder with one environment.

    Parameters
    ----------
    program : str
        Absolute path of git.
    folder : str
        Where every call runs.
    handed : mapping of str to str
        Variables of git that count here; all others are dropped.
    """

    def __init__(self, program: str, folder: str, handed: Mapping[str, str]) -> None:
        self.folder = folder
        self.command = (program, *_OPTIONS)
        kept = {name: value for name, value in os.environ.items() if not name.startswith("GIT_")}
        self.environment = {**kept, **handed, **_FIXED}

    def call(self, *words: str, stdin: bytes = b"") -> tuple[int, bytes, bytes]:
        """Exit status, output and complaints, whatever they are."""
        if not stdin and (ahead := _AHEAD.pop(self._question(words), None)) is not None:
            return ahead.answer()
        return ask((*self.command, *words), self.folder, self.environment, stdin)

    def ahead(self, *words: str) -> None:
        """Ask what will be asked soon, so that git answers while its caller is still getting ready."""
        question = self._question(words)
        if DIRECT and question not in _AHEAD:
            _AHEAD[question] = Asked((*self.command, *words), self.folder, self.environment)

    def _question(self, words: Sequence[str]) -> tuple[object, ...]:
        return (*self.command, *words), self.folder, tuple(sorted(self.environment.items()))

    def run(self, *words: str, stdin: bytes = b"", accept: tuple[int, ...] = (0,)) -> bytes:
        """What git prints; UserError, with git's own words, where it ends otherwise than ``accept`` says."""
        status, out, complaint = self.call(*words, stdin=stdin)
        if status not in accept or b"unable to read" in complaint:  # grep passes over what it cannot read, status 0
            raise self.failure(words[0], complaint)
        return out

    def version(self) -> tuple[int, ...]:
        """The numbers of git's version, such as (2, 39, 5); empty where it does not say."""
        words = self.call("version")[1].decode("ascii", "replace").split()
        return tuple(int(part) for part in words[2].split(".")[:3] if part.isdigit()) if len(words) > 2 else ()

    def failure(self, command: str, complaint: bytes) -> UserError:
        """What a failed call means and what helps."""
        said = words_of(complaint)
        if b"dubious ownership" in complaint or b"unsafe repository" in complaint:
            message = "git refuses this repository, because its folder belongs to another user"
            return UserError(message, f"if you trust it: git config --global --add safe.directory {self.folder}")
        if b"index file" in complaint or b"bad signature" in complaint:
            message = f"what git holds as staged is damaged: {said}"
            return UserError(message, "move .git/index aside and run git reset; then stage your changes again")
        if broken(complaint):
            return UserError(f"this clone is damaged or incomplete: {said}", DAMAGE)
        number = self.version()
        if number and number[:2] < OLDEST:
            message = f"git {'.'.join(map(str, number))} is too old"
            return UserError(message, "install the package git, {}.{} or newer".format(*OLDEST))
        return UserError(f"git {command} failed: {said or 'it gave no reason'}", "look with git status and git fsck")


def broken(complaint: bytes) -> bool:
    """True where git complains of objects that are missing or cannot be read."""
    return any(words in complaint for words in _BROKEN)


def words_of(complaint: bytes) -> str:
    """The last line of what git complains of, without its prefix and without characters that act on a terminal."""
    lines = [
        line for line in complaint.decode("utf-8", "replace").splitlines() if line.startswith(("fatal:", "error:"))
    ]
    said = lines[-1].partition(": ")[2] if lines else ""
    return "".join(sign if sign.isprintable() else "?" for sign in said)


def program(name: str = "git") -> str | None:
    """Where git, or a program that it calls, is, or None. Relative entries of PATH are passed over: they may lead into the repository itself."""
    name = f"{name}.exe" if os.name == "nt" else name
    for folder in os.get_exec_path():
        path = os.path.join(folder, name)
        if os.path.isabs(folder) and os.access(path, os.X_OK) and os.path.isfile(path):
            return path
    return None


def handed_over() -> dict[str, str]:
    """What a calling git, or the user, says in the environment about the repository that we were started in."""
    return {name: os.environ[name] for name in _INHERITED if name in os.environ}


LINE = 65
"""Bytes of a question, an id of SHA-256 and the end of its line."""


class ObjectReader:
    """One ``cat-file --batch``, started at the first question and kept open.

    Questions may be asked before their answers are wanted: git looks them up while its caller does something else.
    """

    def __init__(self, git: Git) -> None:
        self._git = git
        self._process: Child | None = None
        self._asked: dict[str, None] = {}  # not answered yet, in the order of asking
        self._came: dict[str, tuple[str, bytes]] = {}  # answered, and not wanted yet

    def expect(self, oids: Iterable[str]) -> None:
        """Ask for objects that will be read soon, as many as may be asked at once."""
        new = [oid for oid in dict.fromkeys(oids) if oid not in self._asked and oid not in self._came]
        if not new:
            return
        if self._process is None:
            self._process = Child((*self._git.command, "cat-file", "--batch"), self._git.folder, self._git.environment)
        # Never ask more at once than the pipe takes: git would wait for us to read while we wait for it to listen.
        if room := new[: max(self._process.room // LINE - len(self._asked), 0)]:
            self._ask(self._process, room)

    def read(self, oids: Sequence[str]) -> dict[str, tuple[str, bytes]]:
        """Type and bytes by id; type "missing" where there is no such object, "" where git broke off.

        Stops at the first of these two, which is then the last answer.
        """
        found: dict[str, tuple[str, bytes]] = {}
        for at, oid in enumerate(oids):
            while oid not in self._came:
                if oid not in self._asked:
                    self.expect(oids[at:])
                self._next(oid)
            found[oid] = self._came.pop(oid)
            if found[oid][0] in ("", "missing"):
                break
        return found

    def _next(self, wanted: str) -> None:
        """Take the next answer; where nothing could be asked for the one that is wanted, as the pipe is full, that makes room."""
        oid = next(iter(self._asked))
        del self._asked[oid]
        assert self._process is not None
        answer = self._answer(self._process.answers)
        if answer[0] or oid == wanted:  # what is broken is told of the one that is wanted; another is asked for again
            self._came[oid] = answer

    def _ask(self, process: Child, oids: Sequence[str]) -> None:
        questions = process.questions
        try:
            questions.write("".join(oid + "\n" for oid in oids).encode())
            questions.flush()
        except BrokenPipeError:
            pass  # it ended; the answer that does not come says so
        self._asked.update(dict.fromkeys(oids))

    def _answer(self, answers: IO[bytes]) -> tuple[str, bytes]:
        header = answers.readline().split()
        if len(header) != 3:
            self.close()
            return ("missing" if header[1:] == [b"missing"] else ""), b""
        size = int(header[2])
        data = answers.read(min(size, LONGEST + 1))
        if size > LONGEST:
            self.close()  # cheaper than to let gigabytes flow by
        elif len(data) < size or answers.read(1) != b"\n":
            self.close()
            return "", b""
        return header[1].decode(), data

    def close(self) -> None:
        """End the process without waiting for what it still has to say."""
        self._asked.clear()
        process, self._process = self._process, None
        if process is None:
            return
        process.close()

    def __del__(self) -> None:
        self.close()
