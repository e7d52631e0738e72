"""The first state of a new repository, recorded by git under the user's own name, and the hook that checks the next ones."""

from __future__ import annotations

import os
from collections.abc import Sequence

from msgspec import Struct

from formulint import plumbing
from formulint.errors import UserError

MESSAGE = "start"

# What a user may say in the environment about who they are; everything else about git is dropped, as always.
_OWN = (
    *(f"GIT_{role}_{part}" for role in ("AUTHOR", "COMMITTER") for part in ("NAME", "EMAIL", "DATE")),
    *("GIT_CONFIG_GLOBAL", "GIT_CONFIG_SYSTEM", "GIT_CONFIG_NOSYSTEM"),
)
_NO_GUESS = ("-c", "user.useConfigOnly=true")


class Begun(Struct, frozen=True):
    """What git did: the short id of the commit, or "" with the reason in words; ``stranger`` where git knows no name."""

    commit: str = ""
    why: str = ""
    stranger: bool = False


def require_git() -> str:
    """Where git is; UserError where it is not, so that nothing is begun that cannot be ended."""
    found = plumbing.program()
    if found is None:
        raise UserError("git is not installed, or not on PATH", "install the package git, 2.34 or newer; or leave out --git")
    return found


def begin(root: str, names: Sequence[str]) -> Begun:
    """Make a repository of the folder and record these files, no others, with no hook of anybody's run."""
    git = plumbing.Git(require_git(), root, {name: os.environ[name] for name in _OWN if name in os.environ})
    try:
        git.run("init", "-q")
        git.run("add", "--force", "--", *names)
        if any(git.call(*_NO_GUESS, "var", f"GIT_{role}_IDENT")[0] for role in ("AUTHOR", "COMMITTER")):
            return Begun(stranger=True)
        git.run(*_NO_GUESS, "commit", "-q", "-m", MESSAGE)
        return Begun(git.run("rev-parse", "--short", "HEAD").decode("ascii", "replace").strip())
    except UserError as error:
        return Begun(why=error.message)


def install_hook(root: str) -> str:
    """Have git ask the hooks that the folder declares, by pre-commit; "" where it does now, else why not, in words."""
    found = on_path("pre-commit")
    if found is None:
        return "pre-commit is not installed"
    import subprocess

    kept = {name: value for name, value in os.environ.items() if not name.startswith("GIT_") or name in _OWN}
    try:
        ran = subprocess.run((found, "install"), cwd=root, env=kept, stdin=subprocess.DEVNULL, capture_output=True, check=False)
    except OSError as error:
        return f"pre-commit cannot be run: {(error.strerror or str(error)).lower()}"
    if ran.returncode:
        said = (ran.stdout + ran.stderr).decode("utf-8", "replace").strip().splitlines()
        return f"pre-commit did not install it: {said[0] if said else 'it gave no reason'}"
    return ""


def on_path(name: str) -> str | None:
    """Where a program is; relative entries of PATH are passed over, since they may lead into the new folder itself."""
    for folder in os.get_exec_path():
        path = os.path.join(folder, name)
        if os.path.isabs(folder) and os.access(path, os.X_OK) and os.path.isfile(path):
            return path
    return None
