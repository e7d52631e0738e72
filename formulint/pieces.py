"""A TOML text cut into the pieces that people edit: tables, statements, lines of a sheet, fields of a line.

Nothing is lost: the pieces in their order are the text again, with its comments, blanks and line ends.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import NamedTuple

from formulint.document import Document
from formulint.finding import KeyPath
from formulint.positions import Span, Statement, statements

NAMES = ("name", "id", "code", "rule")
"""What the elements of an array of tables are told apart by, the first of these that all of them have."""

LINES = ("material", "stage", "step")
"""What the lines of a sheet are told apart by."""

_END_OF_LINE = re.compile(r"[ \t\r]*+(?:#[^\n]*+)?(?:\n|\Z)")
_MARK = re.compile(r"[ \t\r\n]*+,")


class Uncut(Exception):
    """The text is TOML, but not written in pieces that can be told apart."""


class Piece(NamedTuple):
    """One piece: blanks and comments before it, ``key =``, its value, a comma, the rest of its line; the path of its value."""

    lead: str
    key: str
    value: str
    mark: str
    trail: str
    path: KeyPath

    @property
    def text(self) -> str:
        """All of it."""
        return "".join(self[:5])

    @property
    def alone(self) -> bool:
        """True where it ends its line, which no other piece shares."""
        return self.trail.endswith("\n")


class Parts(NamedTuple):
    """What is inside a value: ``[`` or ``{``, the pieces by key or number, ``]`` or ``}``."""

    opening: str
    pieces: dict[str, Piece]
    closing: str


class Block(NamedTuple):
    """A table as it is written: its header, None for the top of a file, and its statements by key."""

    head: Piece | None
    statements: dict[str, Piece]

    @property
    def text(self) -> str:
        """All of it."""
        return (self.head.text if self.head else "") + "".join(one.text for one in self.statements.values())


class Group(NamedTuple):
    """Tables that belong together: an element of an array of tables with the tables inside it, or one table."""

    path: KeyPath
    blocks: dict[str, Block]

    @property
    def text(self) -> str:
        """All of it."""
        return "".join(one.text for one in self.blocks.values())


class Cut:
    """A document in pieces.

    Attributes
    ----------
    groups : tuple of Group
        The top of the file first, whose path is empty, then as they are written.
    tail : str
        Blanks and comments behind the last statement.

    Raises
    ------
    Uncut
        Tables are written so that the order of others decides where they belong, or keys are too deep.
    """

    def __init__(self, document: Document) -> None:
        self.document = document
        self._spans: dict[KeyPath, Span] = {}
        found = list(statements(document.text, self._spans))
        self._path_at = {span[0]: path for path, span in self._spans.items() if span[0] >= 0 and span[2] >= 0}
        self.groups, self.tail = self._groups(found)

    def data(self, path: KeyPath) -> object:
        """What is written at a path."""
        found: object = self.document.data
        for key in path:
            if isinstance(found, dict):
                found = found[key]
            else:
                assert isinstance(found, list) and isinstance(key, int)
                found = found[key]
        return found

    def name(self, path: KeyPath) -> str:
        """What an element of an array of tables is called, with the key that calls it so; empty where nothing does."""
        found = self.data(path)
        if isinstance(found, dict):
            for key in (*LINES, *NAMES) if "additions" in path else NAMES:
                if isinstance(found.get(key), str):
                    return f"{key} {found[key]}"
        return ""

    def parts(self, path: KeyPath) -> Parts | None:
        """The pieces of an inline table, or of a list of such; None for any other value."""
        found, span = self.data(path), self._spans.get(path)
        if span is None or span[2] < 0:
            return None
        if isinstance(found, dict):
            return self._table(path, found, span)
        if isinstance(found, list) and found and all(isinstance(one, dict) for one in found):
            return self._list(path, len(found), span)
        return None

    def _table(self, path: KeyPath, found: dict[str, object], span: Span) -> Parts | None:
        text, at = self.document.text, span[2] + 1
        pieces: dict[str, Piece] = {}
        for key in found:
            inner = self._spans.get((*path, key))
            if inner is None or inner[2] < 0 or inner[0] < at:
                return None
            mark = _MARK.match(text, inner[3])
            end = mark.end() if mark else inner[3]
            pieces[key] = Piece(text[at : inner[0]], text[inner[0] : inner[2]], text[inner[2] : inner[3]], text[inner[3] : end], "", (*path, key))
            at = end
        return Parts("{", pieces, text[at : span[3]])

    def _list(self, path: KeyPath, count: int, span: Span) -> Parts | None:
        text, at = self.document.text, span[2] + 1
        rest = _END_OF_LINE.match(text, at)
        at = rest.end() if rest else at
        opening = text[span[2] : at]
        pieces: dict[str, Piece] = {}
        for number in range(count):
            inner = self._spans.get((*path, number))
            if inner is None:
                return None
            mark = _MARK.match(text, inner[3])
            if mark is None and number < count - 1:
                return None
            comma = mark.end() if mark else inner[3]
            rest = _END_OF_LINE.match(text, comma)
            end = rest.end() if rest else comma
            pieces[str(number)] = Piece(text[at : inner[2]], "", text[inner[2] : inner[3]], text[inner[3] : comma], text[comma:end], (*path, number))
            at = end
        return Parts(opening, pieces, text[at : span[3]])

    def _groups(self, found: list[Statement]) -> tuple[tuple[Group, ...], str]:
        groups = [Group((), {"": Block(None, {})})]
        block = groups[0].blocks[""]
        at = 0
        for one in found:
            piece, at = self._piece(one, at)
            if one.header:
                block = Block(piece, {})
                self._enter(groups, piece.path, block)
            elif (key := repr(piece.path[len(one.path or ()) :])) in block.statements:
                raise Uncut
            else:
                block.statements[key] = piece
        return tuple(groups), self.document.text[at:]

    def _enter(self, groups: list[Group], path: KeyPath, block: Block) -> None:
        """Put a table where it belongs: in the element that is being written, or as a group of its own."""
        array = next((path[: at + 1] for at, key in enumerate(path) if isinstance(key, int)), ())
        if not array or array == path:
            groups.append(Group(path, {"": block}))
            return
        inside = path[len(array) :]
        if groups[-1].path != array or any(isinstance(key, int) for key in inside) or repr(inside) in groups[-1].blocks:
            raise Uncut
        groups[-1].blocks[repr(inside)] = block

    def _piece(self, one: Statement, at: int) -> tuple[Piece, int]:
        text = self.document.text
        path = one.path if one.header else self._path_at.get(one.start)
        rest = _END_OF_LINE.match(text, one.end)
        if path is None or one.path is None or rest is None:
            raise Uncut
        value = one.start if one.header else self._spans[path][2]
        return Piece(text[at : one.start], text[one.start : value], text[value : one.end], "", text[one.end : rest.end()], path), rest.end()


def rows(cut: Cut, group: Group) -> Iterator[Piece]:
    """The lines of a sheet in a stage, where they are written as a list of inline tables."""
    for block in group.blocks.values():
        for piece in block.statements.values():
            if piece.path[2:] == ("additions",) and (parts := cut.parts(piece.path)) is not None:
                yield from parts.pieces.values()
