"""Two versions of a file made one for git: piece by piece where all three can be read, by git's own lines where not."""

from __future__ import annotations

import os
import re

from msgspec import Struct

from formulint import plumbing
from formulint.document import LARGEST, Document, load
from formulint.errors import UserError
from formulint.git import quoted
from formulint.kinship import kin
from formulint.pieces import Cut, Uncut
from formulint.threeway import Marks, Merge
from formulint.writing import write

BOM = b"\xef\xbb\xbf"


class Combined(Struct, frozen=True):
    """What the file shall hold, whether both sides stand in it somewhere, and where, in words (none by lines)."""

    raw: bytes
    clash: bool
    where: tuple[str, ...] = ()


def combine(base: str, ours: str, theirs: str, marks: Marks) -> Combined:
    """Three versions in files made one, which is written in the place of ours.

    Raises
    ------
    UserError
        Where a file cannot be read, or is no text; nothing is written then.
    """
    before = _read(ours)
    found = combined(_read(base), before, _read(theirs), marks) or by_lines(base, ours, theirs, marks)
    if found.raw != before:
        write(ours, found.raw)
    return found


def _read(path: str) -> bytes:
    """A file, cut where no record is as long."""
    try:
        with open(path, "rb") as handle:
            return handle.read(LARGEST + 1)
    except OSError as error:
        raise UserError(f"{quoted(path)} cannot be read: {(error.strerror or str(error)).lower()}", "name three files") from None


def combined(base: bytes, ours: bytes, theirs: bytes, marks: Marks) -> Combined | None:
    """Three versions made one, piece by piece; None where one cannot be read, or they are written too differently."""
    found: list[Document] = []
    for raw in (base, ours, theirs):
        document = load("", raw)[0]
        if document is None or not document.data:
            return None
        found.append(document)
    try:
        first = kin(Cut(found[0]), None)
        merge = Merge(first, kin(Cut(found[1]), first), kin(Cut(found[2]), first), marks)
    except Uncut:
        return None
    except Exception:  # a bug here must not leave a file in which one side is missing and nothing says so
        return None
    bom = found[1].bom if found[1].bom != found[0].bom else found[2].bom
    raw = (BOM if bom else b"") + merge.text.encode("utf-8")
    if not merge.clashes and load("", raw)[0] is None:
        return None
    return Combined(raw, bool(merge.clashes), tuple(dict.fromkeys(map(_plainly, merge.clashes))))


def _plainly(name: str) -> str:
    """The name of a piece in words: its keys, or its stage and what the line is called."""
    return re.sub(r"^\('(.*?)',?\)(?: name)?", r"\1", name).replace("material ", "").removesuffix(" new").replace("', '", ".")


def by_lines(base: str, ours: str, theirs: str, marks: Marks) -> Combined:
    """What git makes of the files of base, ours and theirs, line by line.

    Raises
    ------
    UserError
        Where git cannot either: a file is not a text.
    """
    program = plumbing.program()
    if program is None:
        raise UserError("git is not installed, or not on PATH", "install the package git, 2.34 or newer")
    labels = ("-L", marks.ours, "-L", "base", "-L", marks.theirs)
    git = plumbing.Git(program, os.getcwd(), plumbing.handed_over())
    status, raw, complaint = git.call("merge-file", "-p", f"--marker-size={marks.size}", *labels, *map(os.path.abspath, (ours, base, theirs)))
    if not 0 <= status < 128:
        raise git.failure("merge-file", complaint)
    return Combined(raw, status > 0)
