"""A repository for a demonstration: git, the check of commits and the clock as they really are, the user's settings left out.

Everything that is written lies in its folder. The same files, people and days give the same commit ids on every machine.
"""

from __future__ import annotations

import importlib.util
import json
import os
import subprocess
import sys
from collections.abc import Mapping
from functools import cached_property
from shlex import join

from msgspec import Struct

import formulint
from formulint import plumbing
from formulint.errors import UserError
from formulint.git import quoted
from formulint.writing import write, write_below

HOOK = ".pre-commit-config.yaml"
"""Where pre-commit looks; git is told to pass over it here, because it names the Python of this machine."""

WIDE = "200"
"""Columns that the tool is told it has: nothing is wrapped, so that lines can be found."""

# What changes how git, pre-commit or the tool answer; SKIP would silence the check.
_FOREIGN = ("GIT_", "GITHEAD_", "PRE_COMMIT", "_PRE_COMMIT", "LC_", "XDG_CONFIG_")
_DROPPED = frozenset({"SKIP", "LANGUAGE", "FORCE_COLOR", "CLICOLOR_FORCE", "PYTHONWARNINGS"})

_CONFIGURATION = """\
[protocol]
\tallow = never
[safe]
\tdirectory = *
[core]
\tattributesFile = {nothing}
\texcludesFile = {nothing}
[gc]
\tauto = 0
[maintenance]
\tauto = false
"""
# What stays with the repository, so that later commits in it are made and checked whatever the user's settings say.
_OF_ITS_OWN = {
    "user.name": "You at the bench",
    "user.email": "you@example.org",
    "commit.gpgSign": "false",
    "core.autocrlf": "false",
    "core.hooksPath": ".git/hooks",
}

_CHECK = """\
# Made by formulint demo. git passes over this file (.git/info/exclude), because it names a place on this machine.
default_install_hook_types: [pre-commit, pre-merge-commit]
repos:
  - repo: local
    hooks:
      - id: formulint
        name: formulint
        entry: {entry}
        language: system
        always_run: true
        pass_filenames: false
        require_serial: true
        verbose: true
        stages: [pre-commit, pre-merge-commit]
"""


class Ran(Struct, frozen=True):
    """How a program ended, and all that it said."""

    status: int
    text: str


class Person(Struct, frozen=True):
    """Who does something, and on which day (year-month-day); the time is always noon in Greenwich."""

    name: str
    email: str
    day: str


def requirements() -> str:
    """Where git is.

    Raises
    ------
    UserError
        git or pre-commit is missing, or git is too old.
    """
    program = plumbing.program()
    install = "install the package git, {}.{} or newer".format(*plumbing.OLDEST)
    if program is None:
        raise UserError("git is not installed, or not on PATH", install)
    number = plumbing.Git(program, os.getcwd(), {}).version()
    if number[:2] < plumbing.OLDEST:
        raise UserError(f"git {'.'.join(map(str, number))} is too old", install)
    if not sys.executable:
        raise UserError("this Python does not say where it is, so that no check of commits can be installed", "start formulint by its full path")
    if importlib.util.find_spec("pre_commit") is None:
        words = "pre-commit, which has git check each commit, is not installed beside formulint"
        raise UserError(words, join((sys.executable, "-m", "pip", "install", "pre-commit")))
    return program


class Sandbox:
    """The repository in one folder, which is there and empty.

    Parameters
    ----------
    program : str
        Where git is.
    root : str
        Absolute path of the folder.
    """

    def __init__(self, program: str, root: str) -> None:
        self.root = root
        self.version = plumbing.Git(program, root, {}).version()
        self._git = program
        own = os.path.join(root, ".git")
        kept = {name: value for name, value in os.environ.items() if not name.startswith(_FOREIGN) and name not in _DROPPED}
        self.environment = {
            **kept,
            "GIT_CONFIG_GLOBAL": os.devnull,
            "GIT_CONFIG_NOSYSTEM": "1",
            "GIT_ATTR_NOSYSTEM": "1",
            "GIT_TERMINAL_PROMPT": "0",
            "GIT_EDITOR": "true",
            "GIT_MERGE_AUTOEDIT": "no",
            "PRE_COMMIT_HOME": os.path.join(own, "pre-commit"),
            "LC_ALL": "C",
            "PYTHONUTF8": "1",
            "NO_COLOR": "1",
            "TERM": "dumb",
            "COLUMNS": WIDE,
        }

    def lay(self, files: Mapping[str, bytes], day: str) -> None:
        """Write the files, have git keep the folder and pre-commit check it as on that day, and stage everything."""
        for name, data in files.items():
            write_below(self.root, name, data)
        self._must("init", "-q", "-b", "main", "--object-format=sha1", "--template=")
        self._write(".git/formulint-demo.gitconfig", _CONFIGURATION.format(nothing=os.devnull))
        self.environment["GIT_CONFIG_GLOBAL"] = os.path.join(self.root, ".git", "formulint-demo.gitconfig")
        self._write(".git/info/exclude", f"/{HOOK}\n")
        self.judge_as_on(day)
        self._install()
        for name, value in _OF_ITS_OWN.items():
            self._must("config", "--local", name, value)
        self._must("add", "--all", ".")

    def judge_as_on(self, day: str) -> None:
        """Have the check judge as on this day; as on the day it runs where that is empty."""
        entry = join((*self.command, "lint", "--staged", *(("--today", day) if day else ())))
        self._write(HOOK, _CHECK.format(entry=json.dumps(entry, ensure_ascii=False)))

    def git(self, *words: str, by: Person | None = None, stdin: str = "") -> Ran:
        """Run git, its hooks included."""
        return self._run((self._git, *words), by, stdin)

    def tool(self, *words: str, by: Person | None = None) -> Ran:
        """Run this very formulint."""
        return self._run((*self.command, *words), by)

    def state(self) -> tuple[str, str, str]:
        """The branch, the commit it is at, and what differs from that on disk or in the index (empty: nothing)."""
        branch, commit = self.git("symbolic-ref", "--short", "HEAD"), self.git("rev-parse", "-q", "--verify", "HEAD")
        return branch.text.strip(), commit.text.strip(), self.git("status", "--porcelain").text.strip()

    @cached_property
    def command(self) -> tuple[str, ...]:
        """What starts this very formulint from any folder: its Python, told where the package is if it would not find it."""
        plain = (sys.executable, "-m", "formulint")
        ours = os.path.abspath(formulint.__file__)
        bare = {name: value for name, value in self.environment.items() if name != "PYTHONPATH"}
        asked = (sys.executable, "-P", "-c", "import formulint; print(formulint.__file__)")
        found = subprocess.run(asked, cwd=self.root, env=bare, stdin=subprocess.DEVNULL, capture_output=True, check=False)
        if os.fsdecode(found.stdout.rstrip(b"\r\n")) == ours:
            return plain
        beside = os.path.dirname(os.path.dirname(ours))
        parts = [beside, *self.environment.get("PYTHONPATH", "").split(os.pathsep)]
        path = os.pathsep.join(dict.fromkeys(part for part in parts if part))
        return ("env", f"PYTHONPATH={path}", *plain)

    def _install(self) -> None:
        ran = self._run((sys.executable, "-m", "pre_commit", "install"))
        if ran.status:
            said = ran.text.strip().splitlines()
            raise UserError(f"pre-commit could not be installed in the demo: {said[-1] if said else 'it gave no reason'}")

    def _must(self, *words: str) -> None:
        ran = self.git(*words)
        if ran.status:
            raise UserError(f"git {words[0]} failed in the demo: {plumbing.words_of(ran.text.encode()) or 'it gave no reason'}")

    def _run(self, command: tuple[str, ...], by: Person | None = None, stdin: str = "") -> Ran:
        who = _who(by) if by is not None else {}
        try:
            ran = subprocess.run(
                command, cwd=self.root, env={**self.environment, **who}, input=stdin.encode(),
                stdout=subprocess.PIPE, stderr=subprocess.STDOUT, check=False,
            )  # fmt: skip
        except OSError as error:
            raise UserError(f"{quoted(command[0])} cannot be run: {(error.strerror or str(error)).lower()}") from None
        return Ran(ran.returncode, ran.stdout.decode("utf-8", "replace"))

    def _write(self, name: str, text: str) -> None:
        path = os.path.join(self.root, *name.split("/"))
        try:
            os.makedirs(os.path.dirname(path), exist_ok=True)
        except OSError as error:
            raise UserError(f"{quoted(path)} cannot be written: {(error.strerror or str(error)).lower()}") from None
        write(path, text.encode("utf-8", "surrogateescape"))


def _who(by: Person) -> dict[str, str]:
    each = {"NAME": by.name, "EMAIL": by.email, "DATE": f"{by.day}T12:00:00+00:00"}
    return {f"GIT_{role}_{part}": text for role in ("AUTHOR", "COMMITTER") for part, text in each.items()}
