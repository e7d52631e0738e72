"""The demo played in any folder, by this checkout or by a copy of it that tells another story.

``python tests/played.py`` writes ``golden/demo.txt`` anew; ``test_demo.py`` compares.
"""

from __future__ import annotations

import os
import shutil
import stat
import subprocess
import sys
import tempfile
from collections.abc import Mapping, Sequence
from pathlib import Path

from repository import Answer, value

ROOT = Path(__file__).parent.parent
GOLDEN = ROOT / "tests" / "golden" / "demo.txt"
FOLDER = "DIR"
"""Stands for the folder in what is compared."""

HOSTILE = """\
[user]
\tname = Somebody Else
\temail = else@example.org
\tsigningKey = none
[commit]
\tgpgSign = true
\ttemplate = {home}/template.txt
\tcleanup = strip
[tag]
\tgpgSign = true
[core]
\thooksPath = {home}/hooks
\tautocrlf = true
\teol = crlf
\tabbrev = 20
[init]
\ttemplateDir = {home}/template
\tdefaultBranch = trunk
[merge]
\tff = only
[apply]
\twhitespace = error
[diff]
\tnoprefix = true
[color]
\tui = always
"""
REFUSING = "#!/bin/sh\necho a hook of somebody else >&2\nexit 1\n"


def program(path: Path, script: str) -> Path:
    """A program of a few lines of shell."""
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(script)
    path.chmod(path.stat().st_mode | stat.S_IXUSR)
    return path


def surroundings(folder: Path, **more: str) -> dict[str, str]:
    """The environment of a run, in which the shell finds ``formulint``."""
    command = program(folder / "bin" / "formulint", f'#!/bin/sh\nexec "{sys.executable}" -m formulint "$@"\n')
    return {**os.environ, "PYTHONPATH": str(ROOT), "PATH": f"{command.parent}:{os.environ['PATH']}", **more}


def hostile(home: Path) -> Path:
    """A home whose settings of git sign, convert, colour, and run hooks of somebody else."""
    for place in ("hooks", "template/hooks"):
        for name in ("pre-commit", "commit-msg", "post-commit", "applypatch-msg"):
            program(home / place / name, REFUSING)
    (home / "template.txt").write_text("a message of somebody else\n")
    (home / ".gitconfig").write_text(HOSTILE.format(home=home))
    (home / ".config" / "git").mkdir(parents=True)
    (home / ".config" / "git" / "attributes").write_text("*.toml text eol=crlf\n")
    (home / ".config" / "git" / "ignore").write_text("*.toml\nmaterials/\n")
    return home


def play(folder: Path, environment: Mapping[str, str], *words: str) -> Answer:
    """The demo in a folder; what it said, with a fixed word for the folder."""
    command = (sys.executable, "-m", "formulint", "demo", str(folder), *words)
    ran = subprocess.run(command, cwd=folder.parent, env=environment, stdin=subprocess.DEVNULL, capture_output=True, check=False)
    out, err = (text.decode().replace(f"'{folder}'", FOLDER).replace(str(folder), FOLDER) for text in (ran.stdout, ran.stderr))
    return Answer(ran.returncode, out, err)


def telling(folder: Path, steps: Sequence[Mapping[str, object]]) -> Path:
    """A copy of the package, laid out as a wheel is, with these steps as its story; where Python finds it."""
    package = folder / "site" / "formulint"
    shutil.copytree(ROOT / "formulint", package, ignore=shutil.ignore_patterns("__pycache__"))
    for part in ("rules", "example_repo"):
        shutil.copytree(ROOT / part, package / part)
    inner = [dict(step) for step in steps]
    lines = {"title": "A short story", "intro": "Hardly anything happens.", "closing": "That was all.", "step": inner, "next": [{"type": "git log", "about": "all of it"}]}
    text = "".join(f"{name} = {value(one)}\n" for name, one in lines.items())
    (package / "example_repo" / "story" / "story.toml").write_text(text, encoding="utf-8")
    return package.parent


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as place:
        told = play(Path(place) / "works", surroundings(Path(place)))
        if told.status:
            raise SystemExit(f"nothing is written: {told.err}")
        GOLDEN.write_text(told.out, encoding="utf-8")
