"""A record as plain text for whoever reads a change of it: one fact on a line, no brackets, comments kept.

Columns have fixed widths, so that a longer amount moves no line but its own.
"""

from __future__ import annotations

from collections.abc import Iterator

from formulint.clean import clean
from formulint.document import load
from formulint.pieces import Block, Cut, Group, Piece, Uncut

LONGEST = 100_000
"""Characters of a note that are shown, as good as all: what is cut off would not show in a comparison."""

KEY, FIRST, SECOND = 20, 14, 12
"""Widths of the columns: a field; what goes in, and how much."""


MOST = 2000
"""Lines of a file with an unfinished merge in it that is still shown as text; longer ones take too long to compare."""

_OPEN, _BASE, _MIDDLE, _CLOSE = ("<" * 7, "|" * 7, "=" * 7, ">" * 7)


def plain(raw: bytes) -> str | None:
    """The bytes of a record as text to be read; None where they are not TOML or not written in pieces.

    Where a merge is not finished, both versions are read, and where they differ, marked in the text as they are in the file.
    """
    document = load("", raw)[0]
    if document is None:
        return _unfinished(raw)
    try:
        cut = Cut(document)
        lines = [line for group in cut.groups for line in _group(cut, group)]
    except (Uncut, RecursionError):
        return None
    return "".join(f"{line}\n" for line in (*lines, *_comments(cut.tail))).lstrip("\n")


def _unfinished(raw: bytes) -> str | None:
    """Both versions that a merge has left in a file, as one text."""
    lines = raw.splitlines(keepends=True)
    if len(lines) > MOST or not any(line.startswith(_OPEN.encode()) for line in lines):
        return None
    sides: tuple[list[bytes], list[bytes], list[bytes]] = ([], [], [])
    names, where = ["ours", "theirs"], (True, False, True)
    for line in lines:
        mark = line[:8].rstrip().decode("ascii", "replace")
        if mark == _OPEN:
            where, names[0] = (True, False, False), line[8:].decode("utf-8", "replace").strip()
        elif mark in (_BASE, _MIDDLE):
            where = (False, mark == _BASE, mark == _MIDDLE)
        elif mark == _CLOSE:
            where, names[1] = (True, False, True), line[8:].decode("utf-8", "replace").strip()
        else:
            for side, here in zip(sides, where, strict=True):
                side += [line] if here else []
    documents = [load("", b"".join(side))[0] for side in (sides[0], sides[2])]
    ours, theirs = (None if one is None else plain(one.text.encode()) for one in documents)
    return None if ours is None or theirs is None else _marked(ours.splitlines(), theirs.splitlines(), names)


def _marked(ours: list[str], theirs: list[str], names: list[str]) -> str:
    from difflib import SequenceMatcher

    found: list[str] = []
    for what, start, end, other, last in SequenceMatcher(None, ours, theirs, autojunk=False).get_opcodes():
        if what == "equal":
            found += ours[start:end]
        else:
            marks = (f"{_OPEN} {clean(names[0])}", f"{_CLOSE} {clean(names[1])}")
            found += [marks[0], *ours[start:end], _MIDDLE, *theirs[other:last], marks[1]]
    return "".join(f"{line}\n" for line in found)


def _group(cut: Cut, group: Group) -> Iterator[str]:
    for block in group.blocks.values():
        yield from _block(cut, block)


def _block(cut: Cut, block: Block) -> Iterator[str]:
    if block.head is not None:
        yield ""
        yield from _comments(block.head.lead)
        yield _with(_title(block.head), block.head.trail)
    for piece in block.statements.values():
        yield from _comments(piece.lead)
        parts = cut.parts(piece.path) if piece.value.startswith("[") else None
        if parts is not None:
            yield _with(f"{_word(piece.path[-1])}:", parts.opening[1:])
            for row in parts.pieces.values():
                yield from _comments(row.lead)
                yield _with("  " + _row(cut.data(row.path)), row.mark + row.trail)
            yield from _comments(parts.closing[:-1])
            if piece.trail.strip():
                yield _with("", piece.trail)
        elif "#" in piece.value and "\n" in piece.value:
            yield from (clean(line, LONGEST) for line in (piece.key + piece.value + piece.trail).splitlines())  # comments inside
        else:
            yield _with(f"{_key(block, piece):<{KEY}} {_said(cut.data(piece.path))}", piece.trail)


def _title(head: Piece) -> str:
    """The words of a header, without its brackets and the number of the element."""
    return " ".join(_word(key) for key in head.path if isinstance(key, str))


def _key(block: Block, piece: Piece) -> str:
    above = len([key for key in block.head.path if key != ""]) if block.head else 0
    return ".".join(_word(key) for key in piece.path[above:])


def _word(key: str | int) -> str:
    return clean(str(key), LONGEST).replace("_", " ")


def _row(data: object) -> str:
    """A line of a sheet, or of any other list of tables."""
    if not isinstance(data, dict):
        return _said(data)
    left = dict(data)
    what = next((key for key in ("material", "step", "stage") if key in left), "")
    if not what:
        return _said(left)
    first = _said(left.pop(what))
    found = f"{'contents of ' + first if what == 'stage' else first:<{FIRST}}"
    if what == "material":
        found += f" {_said(left.pop('amount', '')):>{SECOND}}"
    note = left.pop("note", "")
    more = ", ".join(f"{_word(key)} {_said(value)}" for key, value in left.items())
    return "  ".join(part for part in (found, more, f"({_said(note)})" if note else "") if part).rstrip()


def _said(value: object) -> str:
    if isinstance(value, str):
        return clean(value, LONGEST)
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, list):
        return ", ".join(map(_said, value)) or "none"
    if not isinstance(value, dict):
        return clean(str(value), LONGEST)
    left = dict(value)
    ends = [_said(left.pop(end)) if end in left else "" for end in ("min", "max")]
    span = " to ".join(ends) if all(ends) else f"at least {ends[0]}" if ends[0] else f"at most {ends[1]}" if ends[1] else ""
    return ", ".join(part for part in (span, *(f"{_word(key)} {_said(inner)}" for key, inner in left.items())) if part) or "none"


def _comments(text: str) -> Iterator[str]:
    """The comments in what stands between pieces, each on its own line."""
    yield from (clean(line.strip(), LONGEST) for line in text.split("\n") if line.strip().startswith("#"))


def _with(line: str, trail: str) -> str:
    comment = trail.strip(" \t\r\n,")
    return f"{line.rstrip()}  {clean(comment, LONGEST)}".rstrip() if comment else line.rstrip()
