"""Git told to merge and show records by this program: what that writes, and what takes exactly it away again.

The settings lie in the configuration of one repository, which is never cloned; where they are missing, git takes no
notice of the lines in .gitattributes. The gate never asks for either.
"""

from __future__ import annotations

import os
import re
import sys

from msgspec import Struct

from formulint.errors import UserError
from formulint.git import Repository
from formulint.plumbing import LONGEST
from formulint.settings import Folders
from formulint.worktree import Disk
from formulint.writing import write_below

FILE = ".gitattributes"
WORDS = "merge=formulint diff=formulint"
_OURS = re.compile(rb'"?/.+/\*\*/\*\.toml"? ' + WORDS.encode() + rb"\r?\n?")


class Change(Struct, frozen=True):
    """One thing that was done, in words that name it; ``was`` is true where it was so already."""

    what: str
    was: bool


def command() -> tuple[str, ...]:
    """The words that start this program as it was started now, with absolute paths."""
    started = os.path.abspath(sys.argv[0])
    if os.path.basename(started).startswith("formulint") and os.access(started, os.X_OK) and os.path.isfile(started):
        return (started,)
    return (os.path.abspath(sys.executable), "-P", "-m", "formulint")  # -P: never from the folder that git starts it in


def settings(words: tuple[str, ...]) -> dict[str, str]:
    """The settings of git by name. Git puts them into a shell, and reads % in the first itself.

    Raises
    ------
    UserError
        Where the path of the program holds what no setting can.
    """
    from shlex import join

    start = join(words)
    if not start.isprintable():
        raise UserError("the path of this program holds signs that cannot be written into git's settings", "install it in another folder")
    return {
        "merge.formulint.name": "addition by addition",
        "merge.formulint.driver": start.replace("%", "%%") + " combine %O %A %B %L %X %Y",
        "diff.formulint.textconv": start + " text",
    }


def lines(folders: Folders) -> list[bytes]:
    """The lines of .gitattributes, without line ends."""
    found = []
    for folder in (folders.formulas, folders.materials):
        pattern = "/" + re.sub(r"([*?\[\\])", r"\\\1", folder.strip("/")) + "/**/*.toml"
        if any(sign in pattern for sign in ' \t"'):
            escaped = pattern.replace("\\", "\\\\").replace('"', '\\"')
            pattern = f'"{escaped}"'
        found.append(f"{pattern} {WORDS}".encode())
    return found


def with_lines(old: bytes, wanted: list[bytes]) -> bytes:
    """The file with those lines behind all others; it ends with a line end only where it did before."""
    end = b"\r\n" if b"\r\n" in old else b"\n"
    missing = [line for line in wanted if line not in old.splitlines()]
    if not missing:
        return old
    if old and not old.endswith(b"\n"):
        return end.join((old, *missing))
    return old + b"".join(line + end for line in missing)


def without_lines(old: bytes) -> bytes:
    """The file without them, as it was before."""
    every = old.splitlines(keepends=True)
    left = b"".join(line for line in every if not _OURS.fullmatch(line))
    if every and _OURS.fullmatch(every[-1]) and not every[-1].endswith(b"\n"):
        return left.removesuffix(b"\n").removesuffix(b"\r")
    return left


def connect(repository: Repository, root: str, folders: Folders) -> list[Change]:
    """Write settings and lines; what was done.

    Raises
    ------
    UserError
        Where one cannot be written. Nothing is written through a link.
    """
    old, found = _read(root), []
    for name, value in settings(command()).items():
        was = _value(repository, name) == value
        if not was:
            repository.git.run("config", "--local", "--replace-all", name, value)
        found.append(Change(f"{name} = {value}", was))
    new = with_lines(old, lines(folders))
    if new != old:
        write_below(root, FILE, new)
    return [*found, *(Change(f"{FILE}: {line.decode()}", line in old.splitlines()) for line in lines(folders))]


def disconnect(repository: Repository, root: str) -> list[Change]:
    """Take away what `connect` wrote, and nothing else; what was done."""
    old, found = _read(root), []
    for name in settings(command()):
        value = _value(repository, name)
        if value is not None:
            repository.git.run("config", "--local", "--unset-all", name)
        found.append(Change(name if value is None else f"{name} = {value}", value is None))
    new = without_lines(old)
    if new and new != old:
        write_below(root, FILE, new)
    elif new != old:
        os.unlink(os.path.join(root, FILE))
    gone = [line.decode("utf-8", "replace").strip() for line in old.splitlines(keepends=True) if _OURS.fullmatch(line)]
    return [*found, *(Change(f"{FILE}: {line}", False) for line in gone)]


def _value(repository: Repository, name: str) -> str | None:
    """What the repository's own configuration says; None where it says nothing."""
    status, out, _ = repository.git.call("config", "--local", "-z", "--get", name)
    return None if status else out.decode("utf-8", "replace").removesuffix("\0")


def _read(root: str) -> bytes:
    """The file as it is; empty where there is none.

    Raises
    ------
    UserError
        It is a link, or too long to be true.
    """
    disk = Disk(root)
    modes = [row[0] for row in disk.classify([FILE])]
    if not modes:
        return b""
    raw = disk.read(FILE)
    if len(raw) > LONGEST:
        raise UserError(f"{FILE} is longer than 1 MiB", "make it shorter")
    return raw
