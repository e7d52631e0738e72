"""Proposals to a paint works, made without a work tree: each is a commit on the works' base, a few milliseconds apart.

>>> works = works_in(tmp_path)                                     # the example, a premix, and what a code host reads
>>> head = works.propose({"formulas/T-101.toml": story.amount("RM-1901", "1.5 lb", "1.6 lb")})
>>> works.gate(head).status, works.gate(head).said
"""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from collections.abc import Callable, Mapping
from pathlib import Path
from types import MappingProxyType
from typing import NamedTuple

from repos import Link, Repo, build
from repository import here
from story import files, replace

DAY = 86400
START = 1768219200
"""Noon of 2026-01-12 [s since 1970]: the base is committed then, every proposal a day later."""

Edit = Callable[[str], str]


class Module(NamedTuple):
    """Content of a name that is another repository (a submodule)."""

    commit: str


Edits = Mapping[str, "str | bytes | Link | Module | Edit | None"]
"""What becomes of files by name: new content, an edit of the text of the base, None for a deletion."""

PREMIX = """\
code  = "PX-1"
name  = "Thickener premix"
revision = 1
state = "bench"
class = "intermediate"
batch = "104.5 lb"

[[stage]]
name = "Wet out"
kind = "premix"
additions = [
  { material = "RM-1001", amount = "100.0 lb" },
  { material = "RM-1601", amount = "4.5 lb" },
]

[limits]
water = { min = "90 %" }
"""
CONCESSION = """\
code = "C-001"
rule = "own-limit/pvc-binder"
formula = "T-101"
revision = 1
up_to = "60 %"
reason = "old rutile is used up first"
approved_by = "lab.manager@example.org"
expires = 2026-02-28
"""
"""What the lab manager lets stand for a few weeks."""
BENCH = "formulas/trials/T-900.toml"
"""A sheet on the bench, in a folder of its own."""


def both(*edits: Edit) -> Edit:
    """One edit after the other."""

    def edit(text: str) -> str:
        for one in edits:
            text = one(text)
        return text

    return edit


def joined(one: Edits, other: Edits) -> Edits:
    """The edits of both; where they edit one file, one after the other."""
    found = {**one, **other}
    for name in one.keys() & other.keys():
        first, then = one[name], other[name]
        assert callable(first) and callable(then)
        found[name] = both(first, then)
    return found


def works_files() -> dict[str, str]:
    """The works: the example, T-102 with a premix in it, T-900 on the bench, and files that a code host reads."""
    found = {name: raw.decode() for name, raw in files().items() if isinstance(raw, bytes)}
    flat = found["formulas/T-101.toml"]
    premixed = both(
        replace('code     = "T-101"', 'code     = "T-102"'),
        replace('{ material = "RM-1001", amount = "250.0 lb" }', '{ material = "RM-1001", amount = "150.0 lb" }'),
        replace('{ material = "RM-1601", amount =   "4.5 lb",', '{ material = "PX-1", amount =   "104.5 lb",'),
    )
    found["formulas/T-102.toml"] = premixed(flat)
    found["formulas/PX-1.toml"] = PREMIX
    found[BENCH] = both(replace('"T-101"', '"T-900"'), replace('state    = "production"', 'state    = "bench"'))(flat)
    found["README.md"] = "# Tarnhollow\n"
    found[".gitattributes"] = "*.toml text eol=lf\n"
    found[".github/workflows/formulas.yml"] = "name: formulas\n"
    return found


class Answer(NamedTuple):
    """What the gate answered: exit status, what it printed, what it complained of."""

    status: int
    out: str
    err: str

    @property
    def said(self) -> str:
        """Rule and message of every result, or the complaint, as one line each."""
        if self.status == 2:
            return " ".join(self.err.split())
        return "\n".join(f"{one['rule']}: {one['path']}: {one['message']}" for one in json.loads(self.out)["results"])


class Works:
    """A repository with a base, and proposals to it."""

    def __init__(self, repo: Repo, base: str, texts: Mapping[str, str]) -> None:
        self.repo = repo
        self.base = base
        self.texts = texts
        self._made = 0

    def propose(self, edits: Edits, *parents: str, day: int = 1, name: str = "", root: str = "", says: str = "x") -> str:
        """Commit edits of the base's texts on top of ``parents`` (default: the base); the full id."""
        self._made += 1
        first, *others = parents or (self.base,)
        lines = [f"commit refs/heads/{name or f'p{self._made}'}", "mark :1"]
        lines += [f"committer A. Chemist <a.chemist@example.org> {START + day * DAY} +0000", f"data {len(says.encode())}", says, f"from {first}"]
        lines += [f"merge {other}" for other in others]
        changes = {path: edit(self.texts[path]) if callable(edit) else edit for path, edit in edits.items()}
        ordered = sorted(changes.items(), key=lambda change: change[1] is not None)  # a folder may give way to a file
        stream = "\n".join(lines).encode() + b"\n" + b"".join(_line(root + path, content) for path, content in ordered)
        return self.repo.git("fast-import", "--quiet", "--force", stdin=stream + b"\nget-mark :1\n")

    def gate(self, head: str, *words: str, base: str = "", folder: str = "") -> Answer:
        """Ask the gate, in this process."""
        place = str(self.repo.path / folder)
        return ask("-C", place, "gate", "--base", base or self.base, "--head", head, *words)


def ask(*words: str, how: str = "json") -> Answer:
    """The command's answer, in this process; ``how`` it is shown ("" for commands that have one way only)."""
    return Answer(*here(*words, *(("--format", how) if how else ())))


def process(
    works: Works, head: str, base: str = "", stdout: int = subprocess.PIPE, cwd: str | None = None, more: Mapping[str, str] = MappingProxyType({}), **environment: str
) -> Answer:
    """The same as a process of its own, with more in its environment."""
    call = [sys.executable, "-m", "formulint", "-C", str(works.repo), "gate", "--base", base or works.base, "--head", head, "--format", "json"]
    ran = subprocess.run(
        call, stdout=stdout, stderr=subprocess.PIPE, text=True, cwd=cwd, env={**os.environ, **more, **environment}, check=False
    )
    return Answer(ran.returncode, ran.stdout or "", ran.stderr)


def _line(path: str, content: str | bytes | Link | Module | None) -> bytes:
    plain = path.encode("utf-8", "surrogateescape")
    name = b'"%s"' % plain.replace(b"\\", b"\\\\").replace(b'"', b'\\"').replace(b"\n", b"\\n")
    if content is None:
        return b"D %s\n" % name
    if isinstance(content, Module):
        return b"M 160000 %s %s\n" % (content.commit.encode(), name)
    mode = b"120000" if isinstance(content, Link) else b"100644"
    raw = content.target if isinstance(content, Link) else content
    data = raw.encode() if isinstance(raw, str) else raw
    return b"M %s inline %s\ndata %d\n%s\n" % (mode, name, len(data), data)


def works_in(folder: Path, texts: Mapping[str, str] | None = None, root: str = "", object_format: str = "sha1") -> Works:
    """The works in a new repository, below ``root`` of it; its base is branch main, checked out."""
    repo = build(folder, object_format=object_format)
    texts = works_files() if texts is None else texts
    works = Works(repo, "", texts)
    stream = f"commit refs/heads/main\nmark :1\ncommitter A. Chemist <a.chemist@example.org> {START} +0000\ndata 1\nx\n".encode()
    stream += b"".join(_line(root + name, text) for name, text in texts.items())
    works.base = repo.git("fast-import", "--quiet", stdin=stream + b"\nget-mark :1\n")
    repo.git("reset", "-q", "--hard")
    return works


def copied(works: Works, folder: Path) -> Works:
    """The same repository once more, to be changed freely."""
    shutil.copytree(works.repo.path, folder)
    return Works(Repo(folder), works.base, works.texts)
