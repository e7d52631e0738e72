"""How two commits stand to each other: is one behind the other, and what would their merge hold."""

from __future__ import annotations

from formulint import plumbing
from formulint.errors import UserError
from formulint.git import Repository, quoted

MERGES = (2, 38)  # the first git that writes a merge without a work tree


def behind(repository: Repository, old: str, new: str) -> bool:
    """True where ``old`` is an ancestor of ``new`` or the same (full ids).

    Raises
    ------
    UserError
        Where history was cut off, so that nobody can say.
    """
    status, _, complaint = repository.git.call("merge-base", "--is-ancestor", old, new)
    if status == 0:
        return True
    if status != 1 or plumbing.broken(complaint):
        raise repository.git.failure("merge-base", complaint)
    if repository.shallow:
        raise shallow(f"whether {old[:7]} is behind {new[:7]}")
    return False


def parted(repository: Repository, one: str, other: str) -> str:
    """The commit at which two commits (full ids) parted.

    Raises
    ------
    UserError
        Where they have no common past, or it was cut off.
    """
    status, out, complaint = repository.git.call("merge-base", one, other)
    if status == 0:
        return out.decode("ascii", "replace").split("\n")[0]
    if status != 1 or plumbing.broken(complaint):
        raise repository.git.failure("merge-base", complaint)
    if repository.shallow:
        raise shallow(f"where {one[:7]} and {other[:7]} parted")
    raise UserError(f"{one[:7]} and {other[:7]} have no common past", "compare them directly: OLD..NEW")


def shallow(what: str) -> UserError:
    """The complaint of a clone without its older history."""
    message = f"this clone is shallow, older history was left out: {what} cannot be said"
    return UserError(message, "fetch the rest: git fetch --unshallow; in CI set the fetch depth to 0")


def merged(repository: Repository, base: str, head: str) -> str:
    """The id of the tree that a merge of two commits would hold, written by git without drivers, filters or hooks.

    Raises
    ------
    UserError
        Where git is too old for it, where the two have no common past, or where they conflict.
    """
    number = repository.git.version()
    if number[:2] < MERGES:
        message = f"the proposal does not contain its base, and git {'.'.join(map(str, number))} cannot merge them by itself"
        raise UserError(message, "merge the base into the proposal first")
    off = [f"merge.{name}.driver=false" for name in _drivers(repository)]
    words = ["merge-tree", "--write-tree", "--no-messages", "-z", base, head]
    options = [part for setting in (*off, "merge.renormalize=false", "core.autocrlf=false") for part in ("-c", setting)]
    status, out, complaint = repository.git.call(*options, *words)
    parts = out.decode("utf-8", "surrogateescape").split("\0")
    if status == 0 and parts and len(parts[0]) in (40, 64):
        return parts[0]
    if status == 1:
        names = sorted({part.partition("\t")[2] for part in parts[1:] if "\t" in part})
        listed = ", ".join(quoted(name) for name in names[:5]) or "some files"
        raise UserError(f"the proposal conflicts with its base in {listed}", "merge the base into the proposal first")
    if repository.shallow:
        raise shallow("what a merge would hold")
    raise UserError(f"git could not merge the proposal with its base: {plumbing.words_of(complaint)}", "merge the base into the proposal first")


def _drivers(repository: Repository) -> list[str]:
    """Names of the merge drivers that this machine's configuration knows; none of them may run here."""
    _, out, _ = repository.git.call("config", "-z", "--name-only", "--get-regexp", r"^merge\..*\.driver$")
    names = out.decode("utf-8", "surrogateescape").split("\0")
    return sorted({name[len("merge.") : -len(".driver")] for name in names if name})
