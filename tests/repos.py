"""Real git repositories for tests, the same to the byte each time: fixed names, dates and branch, so fixed commit ids.

>>> repo = build(tmp_path, [Commit("start", {"formulas/T-1.toml": "..."})], staged={"formulas/T-2.toml": "..."})
>>> repo.git("log", "--oneline"), repo.head, repo.path
"""

from __future__ import annotations

import os
import stat
import subprocess
from collections.abc import Mapping, Sequence
from pathlib import Path
from types import MappingProxyType
from typing import NamedTuple

IDENTITY = {
    "GIT_AUTHOR_NAME": "A. Chemist",
    "GIT_AUTHOR_EMAIL": "a.chemist@example.org",
    "GIT_COMMITTER_NAME": "A. Chemist",
    "GIT_COMMITTER_EMAIL": "a.chemist@example.org",
}
"""Who commits in tests."""

FIRST_DAY = "2026-01-{:02d}T12:00:00+00:00"
"""The first commit is made on the first of January 2026 at noon, the next on the second, and so on."""

ROOT = {"formulint.toml": "format = 1\n"}
"""The smallest settings: they mark the root."""


class Link(NamedTuple):
    """Content of a file that is a symbolic link."""

    target: str


Content = str | bytes | Link | None
"""What a file shall hold; None deletes it."""

Files = Mapping[str, Content]

NOTHING: Files = MappingProxyType({})
"""No change."""


class Commit(NamedTuple):
    """One commit to be made: what changes, and when (default: a day after the one before)."""

    message: str
    files: Files = NOTHING
    date: str = ""


class Repo:
    """A repository on disk."""

    def __init__(self, path: Path) -> None:
        self.path = path

    def __str__(self) -> str:
        return str(self.path)

    def git(self, *words: str, stdin: bytes = b"", check: bool = True, date: str = "") -> str:
        """What git prints, without the last line break; ``date`` is the author's and the committer's."""
        dates = {"GIT_AUTHOR_DATE": date, "GIT_COMMITTER_DATE": date} if date else {}
        ran = subprocess.run(
            ("git", *words),
            cwd=self.path,
            env={**os.environ, **IDENTITY, **dates},
            input=stdin,
            capture_output=True,
            check=False,
        )
        if check and ran.returncode:
            raise AssertionError(f"git {' '.join(words)}: {ran.stderr.decode(errors='replace')}")
        return ran.stdout.decode("utf-8", "surrogateescape").removesuffix("\n")

    @property
    def head(self) -> str:
        """Full id of the commit that is checked out."""
        return self.git("rev-parse", "HEAD")

    def write(self, files: Files) -> None:
        """Change files on disk only."""
        for name, content in files.items():
            path = os.path.join(os.fsencode(self.path), name.encode("utf-8", "surrogateescape"))
            if os.path.lexists(path):
                os.unlink(path)
            if content is None:
                continue
            os.makedirs(os.path.dirname(path), exist_ok=True)
            if isinstance(content, Link):
                os.symlink(content.target, path)
            else:
                with open(path, "wb") as file:
                    file.write(content.encode() if isinstance(content, str) else content)

    def stage(self, files: Files) -> None:
        """Change files on disk and in the index."""
        self.write(files)
        if files:
            names = b"\0".join(name.encode("utf-8", "surrogateescape") for name in files)
            self.git("--literal-pathspecs", "add", "-A", "--pathspec-from-file=-", "--pathspec-file-nul", stdin=names)

    def commit(self, message: str, files: Files = NOTHING, date: str = "") -> str:
        """Stage, commit, and give the full id; without a date, the day after as many days as there are commits."""
        self.stage(files)
        when = date or FIRST_DAY.format(int(self.git("rev-list", "--count", "--all")) + 1)
        self.git("commit", "-q", "--allow-empty", "-m", message, date=when)
        return self.head

    def hook(self, name: str, script: str) -> None:
        """Install a hook."""
        path = self.path / ".git" / "hooks" / name
        path.parent.mkdir(exist_ok=True)
        path.write_text(script)
        path.chmod(path.stat().st_mode | stat.S_IXUSR)


def build(
    folder: Path,
    commits: Sequence[Commit] = (),
    staged: Files = NOTHING,
    dirty: Files = NOTHING,
    object_format: str = "sha1",
) -> Repo:
    """A repository in ``folder`` (made if missing) with these commits, then staged, then unstaged changes."""
    folder.mkdir(parents=True, exist_ok=True)
    repo = Repo(folder)
    repo.git("init", "-q", "-b", "main", f"--object-format={object_format}", "--template=")
    for number, one in enumerate(commits, 1):
        repo.commit(one.message, one.files, one.date or FIRST_DAY.format(number))
    repo.stage(staged)
    repo.write(dirty)
    return repo
