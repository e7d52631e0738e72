"""How two commits stand to each other: which are meant, is one behind the other, what would their merge hold."""

from __future__ import annotations

import os
import re
from collections.abc import Sequence
from datetime import date

from formulint import plumbing
from formulint.errors import UserError
from formulint.git import REGULAR, Repository, quoted

EPOCH = date(1970, 1, 1).toordinal()
MERGES = (2, 38)  # the first git that writes a merge without a work tree


def named(repository: Repository, base: str, head: str) -> tuple[str, str]:
    """Full ids of base and head, where neither name could mean another commit just as well.

    Raises
    ------
    UserError
        Where a name leads nowhere, or a tag bears the name of a branch.
    """
    if base.startswith("refs/") and base not in _refs(repository, [base]):  # git would go on to look in refs/tags/refs/
        raise UserError(f"there is no ref {quoted(base)} in this repository", "git fetch it, or name another")
    old = repository.resolve_base(base)
    start = re.split(r"[~^@:]", head)[0]  # of topic~1, the name
    found = _refs(repository, [f"refs/{kind}{start}" for kind in ("", "tags/", "heads/", "remotes/")]) if start else []
    if len(found) > 1 and repository.resolve(head) != head:
        raise UserError(f"{quoted(head)} may be {' or '.join(found)}", f"name one in full, e.g. {found[0]}, or give its commit id")
    return old, repository.resolve(head)


def _refs(repository: Repository, names: list[str]) -> list[str]:
    """Those of these full names that are refs."""
    text = repository.git.run("for-each-ref", "--format=%(refname)", *names).decode("utf-8", "surrogateescape")
    return [name for name in text.split("\n") if name in names]


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
    status, out, complaint = _alone(repository, "merge-tree", "--write-tree", "--no-messages", "-z", base, head)
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


def _alone(repository: Repository, *words: str) -> tuple[int, bytes, bytes]:
    """Call git away from any work tree, so that no .gitattributes lying there says how to merge, and without drivers."""
    kept = {name: value for name, value in repository.git.environment.items() if name.startswith("GIT_")}
    away = {"GIT_WORK_TREE": os.devnull, "GIT_ATTR_NOSYSTEM": "1", _OFF: "false"}
    apart = plumbing.Git(repository.git.command[0], os.sep, {**kept, **away})
    fixed = ("core.attributesFile=", "merge.default=text", "merge.renormalize=false", "core.autocrlf=false")
    # A driver's name may hold "=", after which -c would take all for the value.
    off = [f"--config-env=merge.{name}.driver={_OFF}" for name in _drivers(repository)]
    return apart.call(*(part for setting in fixed for part in ("-c", setting)), *off, *words)


_OFF = "FORMULINT_NO_DRIVER"


def _drivers(repository: Repository) -> list[str]:
    """Names of the merge drivers that this machine's configuration knows; none of them may run here."""
    _, out, _ = repository.git.call("config", "-z", "--name-only", "--get-regexp", r"^merge\..*\.driver$")
    names = out.decode("utf-8", "surrogateescape").split("\0")
    return sorted({name[len("merge.") : -len(".driver")] for name in names if name})


def parents(repository: Repository, commit: str) -> list[str]:
    """The commits (full ids) that a merge brought together; none where the commit is no merge."""
    words = repository.git.run("rev-list", "--max-count=1", "--parents", commit).decode("ascii").split()
    return words[1:] if len(words) > 2 else []


def day_of(seconds: str) -> date:
    """The day (UTC) of a commit by its seconds since 1970, as git tells them; the first of January 1970 where they cannot be read."""
    return date.fromordinal(EPOCH + (int(seconds) // 86400 if seconds.isdecimal() and len(seconds) < 12 else 0))


def committed_on(repository: Repository, commit: str) -> date:
    """The day (UTC) on which a commit (full id) says that it was made.

    Raises
    ------
    UserError
        Where it says none that can be read.
    """
    text = repository.git.run("rev-list", "--max-count=1", "--no-commit-header", "--format=%ct", commit).decode("ascii", "replace")
    try:
        return date.fromordinal(EPOCH + int(text) // 86400)
    except (ValueError, OverflowError):
        raise UserError(f"commit {commit[:7]} has no date that can be read", "give a date with --today") from None


def past_of(repository: Repository, commits: Sequence[str], folder: str, wanted: str, most: int) -> list[tuple[str, str]]:
    """Name and id of every text that a file called ``wanted``, anywhere below ``folder``, had up to these commits (full ids); the newest first.

    At most ``most`` of them; of a clone that was cut off, those that it holds.
    """
    if not commits:
        return []
    listed = repository.git.run("rev-list", "--topo-order", *commits, "--", folder)
    words = ("diff-tree", "--stdin", "-r", "-m", "--root", "--no-commit-id", "-z", "--no-renames", "--no-ext-diff", "--no-textconv", "--", folder)
    parts = repository.git.run(*words, stdin=listed).decode("utf-8", "surrogateescape").split("\0")
    found: dict[tuple[str, str], None] = {}
    for change, name in zip(parts[::2], parts[1::2], strict=False):
        _, new_mode, _, new, _ = change[1:].split(" ")
        if name.rpartition("/")[2] == wanted and new_mode in REGULAR:
            found[name, new] = None
            if len(found) >= most:
                break
    return list(found)
