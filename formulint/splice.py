"""A text with single pieces written otherwise, everything else left as it is: comments, blanks, line ends, order of keys."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from formulint.arrange import Move
from formulint.document import Document
from formulint.errors import Misread
from formulint.finding import Edit, KeyPath
from formulint.vessels import Spot

BOM = b"\xef\xbb\xbf"


def written(document: Document, keys: KeyPath) -> str:
    """A value as it stands in the file, with its quotation marks; empty where none is written."""
    span = document.span(keys)
    return "" if span is None else document.text[span[0] : span[1]]


def value(document: Document, keys: KeyPath, new: str) -> Edit:
    """A value written otherwise; ``new`` with its quotation marks.

    Raises
    ------
    Misread
        Where no value is written.
    """
    span = document.span(keys)
    if span is None:
        raise Misread("this value is not written in the file itself", at=keys)
    return Edit(document.path, keys, span[0], document.text[span[0] : span[1]], new)


def spliced(document: Document, edits: Sequence[Edit]) -> bytes:
    """The bytes of a file after edits of it.

    Raises
    ------
    Misread
        Where the file does not say what an edit wants to replace, or two edits concern the same piece.
    """
    text, done, parts = document.text, 0, []
    for edit in sorted(edits, key=lambda one: (one.at, bool(one.old))):
        if edit.at < done or not text.startswith(edit.old, edit.at):
            raise Misread(f"{document.path} does not say there what is to be written otherwise", at=edit.keys)
        parts += [text[done : edit.at], edit.new]
        done = edit.at + len(edit.old)
    parts.append(text[done:])
    return (BOM if document.bom else b"") + "".join(parts).encode("utf-8")


class _Row(NamedTuple):
    """A line of the sheet in its file: the whole text lines it takes, and where its value begins and ends."""

    start: int
    end: int
    first: int
    last: int
    comma: bool


def moves(document: Document, counts: Sequence[int], wanted: Sequence[Move]) -> tuple[Edit, ...]:
    """Lines of the sheet moved as whole text lines, with the comment behind them.

    Parameters
    ----------
    document : Document
    counts : sequence of int
        How many lines each stage has.
    wanted : sequence of Move
        Several moves to one place keep their order.

    Raises
    ------
    Misread
        Where a line that is concerned does not stand on text lines of its own.
    """
    edits: list[Edit] = []
    commas: set[int] = set()
    for move in wanted:
        row = _row(document, move.spot)
        text = document.text[row.start : row.end]
        edits.append(Edit(document.path, _keys(move.spot), row.start, text, ""))
        if not row.comma:
            text = text[: row.last - row.start] + "," + text[row.last - row.start :]
        if move.before is not None:
            at = _row(document, move.before).start
        else:
            last = _row(document, (move.stage, counts[move.stage] - 1))
            at = last.end
            if not last.comma and last.last not in commas and all(one.spot != (move.stage, counts[move.stage] - 1) for one in wanted):
                commas.add(last.last)
                edits.append(Edit(document.path, _keys((move.stage, counts[move.stage] - 1)), last.last, "", ","))
        edits.append(Edit(document.path, _keys(move.before or (move.stage, counts[move.stage])), at, "", text))
    return tuple(edits)


def removal(document: Document, spot: Spot) -> Edit:
    """A line of the sheet taken out, with the comment behind it.

    Raises
    ------
    Misread
        Where it does not stand on text lines of its own.
    """
    row = _row(document, spot)
    return Edit(document.path, _keys(spot), row.start, document.text[row.start : row.end], "")


def _keys(spot: Spot) -> KeyPath:
    return ("stage", spot[0], "additions", spot[1])


def _row(document: Document, spot: Spot) -> _Row:
    """Where a line of the sheet is written."""
    text = document.text
    span = document.span(_keys(spot))
    if span is None:
        raise Misread("the additions are not written as a list, one line each", at=_keys(spot))
    first, last = span
    start = text.rfind("\n", 0, first) + 1
    end = text.find("\n", last) + 1
    behind = text[last:end].lstrip(" \t")
    comma = behind.startswith(",")
    rest = behind.removeprefix(",").strip()
    if text[start:first].strip(" \t") or not end or (rest and not rest.startswith("#")):
        raise Misread("the additions do not stand one on each line", at=_keys(spot))
    return _Row(start, end, first, last, comma)
