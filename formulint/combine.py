"""Two versions of a file made one for git: piece by piece where all three can be read, by git's own lines where not."""

from __future__ import annotations

from msgspec import Struct

from formulint import plumbing
from formulint.document import Document, load
from formulint.errors import UserError
from formulint.kinship import kin
from formulint.pieces import Cut, Uncut
from formulint.threeway import Marks, Merge

BOM = b"\xef\xbb\xbf"


class Combined(Struct, frozen=True):
    """What the file shall hold, whether both sides stand in it somewhere, and where, in words (none by lines)."""

    raw: bytes
    clash: bool
    where: tuple[str, ...] = ()


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
    except (Uncut, RecursionError):
        return None
    bom = found[1].bom if found[1].bom != found[0].bom else found[2].bom
    raw = (BOM if bom else b"") + merge.text.encode("utf-8")
    if not merge.clashes and load("", raw)[0] is None:
        return None
    return Combined(raw, bool(merge.clashes), tuple(dict.fromkeys(merge.clashes)))


def by_lines(files: tuple[str, str, str], folder: str, marks: Marks) -> Combined:
    """What git makes of the files of base, ours and theirs, line by line.

    Raises
    ------
    UserError
        Where git cannot either: a file is not a text.
    """
    program = plumbing.program()
    if program is None:
        raise UserError("git is not installed, or not on PATH", "install the package git, 2.34 or newer")
    base, ours, theirs = files
    labels = ("-L", marks.ours, "-L", "base", "-L", marks.theirs)
    git = plumbing.Git(program, folder, plumbing.handed_over())
    status, raw, complaint = git.call("merge-file", "-p", f"--marker-size={marks.size}", *labels, ours, base, theirs)
    if not 0 <= status < 128:
        raise git.failure("merge-file", complaint)
    return Combined(raw, status > 0)
