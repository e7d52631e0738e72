"""Annotated tags, made by git with the user's own name, keys and settings; asked for by name, never on the quiet."""

from __future__ import annotations

import os
import subprocess

from formulint import plumbing
from formulint.clean import log_line
from formulint.errors import UserError
from formulint.git import Repository
from formulint.signature import taken_apart

_MOST = 100  # tags of one name that are tried


def free_name(repository: Repository, name: str) -> str:
    """The name, or the name with the first number behind it, that no tag bears yet."""
    taken = repository.git.run("for-each-ref", "--format=%(refname)", f"refs/tags/{name}*").decode("utf-8", "surrogateescape").split("\n")
    names = (name if number == 1 else f"{name}-{number}" for number in range(1, _MOST))
    free = next((one for one in names if f"refs/tags/{one}" not in taken), None)
    if free is None:
        raise UserError(f"there are {_MOST} tags {name} already", "take out those that are not needed")
    return free


def target_of(repository: Repository, name: str) -> str | None:
    """The full id of the commit that a tag names; None where there is none."""
    status, out, _ = repository.git.call("rev-parse", "--verify", "--quiet", "--end-of-options", f"refs/tags/{name}^{{commit}}")
    return out.decode("ascii", "replace").strip() if status == 0 else None


def make(repository: Repository, name: str, commit: str, text: str, signed: bool) -> None:
    """Have git make an annotated tag; ``signed`` asks for a signature, else the user's own settings decide.

    Git runs with the user's settings and environment, and may ask for a passphrase.

    Raises
    ------
    UserError
        Where git does not make it.
    """
    program = plumbing.program()
    if program is None:
        raise UserError("git is not installed, or not on PATH", "install the package git, 2.34 or newer")
    own = {key: value for key, value in repository.git.environment.items() if key in ("GIT_DIR", "GIT_WORK_TREE")}
    kept = {key: value for key, value in os.environ.items() if not key.startswith("GIT_") or key.startswith(_OWN)}
    words = (program, "tag", "-s" if signed else "-a", "--cleanup=verbatim", "-F", "-", "--", name, commit)
    ran = subprocess.run(words, cwd=repository.git.folder, env={**kept, **own, "LC_ALL": "C"}, input=text.encode(), capture_output=True, check=False)
    found = "" if ran.returncode else repository.git.run("rev-parse", "--verify", "--quiet", f"refs/tags/{name}").decode("ascii", "replace").strip()
    if found and signed and not _is_signed(repository, found):  # some versions of git go on where a key cannot be read
        repository.git.run("update-ref", "-d", f"refs/tags/{name}", found)
        found = ""
    if not found:
        said = log_line(ran.stderr.decode("utf-8", "replace").strip().replace("\n", "; ")) or "it gave no reason"
        helps = "git config user.signingkey and gpg.format say with which key you sign" if signed else "git config user.name and user.email say who you are"
        raise UserError(f"git did not make the tag {name}: {said}", helps)


def _is_signed(repository: Repository, oid: str) -> bool:
    taken = taken_apart("tag", repository.contents({oid: "the tag"}, "tag")[oid])
    return taken is not None and bool(taken.sort)


_OWN = ("GIT_AUTHOR_", "GIT_COMMITTER_", "GIT_CONFIG_", "GIT_ASKPASS", "GIT_TRACE")
