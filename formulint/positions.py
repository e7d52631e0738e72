"""Where each key of a TOML document is written.

The parser decides what a document says; this module only finds where it says it. So it takes a text that the parser
has accepted and skips over it without judging; a text that was not accepted ends in ``ValueError``, never in a loop.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import NamedTuple

import tomli

from formulint.finding import KeyPath

Span = tuple[int, int, int, int]

DEPTH = 32
"""Longest key path that is looked up; deeper keys are found through their parent. Records need nine."""

# Closing quotation marks are optional, so that on a text with an open one each character is still looked at once.
STRING = (
    r'"""[^"\\]*+(?:(?:\\.|"{1,2}(?!"))[^"\\]*+)*(?:"{3,5})?'
    r"|'''[^']*+(?:'{1,2}(?!')[^']*+)*(?:'{3,5})?"
    r'|"[^"\\\n]*+(?:\\.[^"\\\n]*+)*"?'
    r"|'[^'\n]*+'?"
)

_BLANK = re.compile(r"(?:[ \t\r\n]++|#[^\n]*+)*")
_SPACE = re.compile(r"[ \t]*+")
_KEY = re.compile(r"[A-Za-z0-9_-]++|\"(?:[^\"\\\n]|\\.)*\"|'[^'\n]*+'")
_SCALAR = re.compile(STRING + r"|[^\s,\]}#\"'\[{][^\s,\]}#]*+(?: \d\d:[^\s,\]}#]++)?", re.DOTALL)
_SIMPLE = re.compile(r'([A-Za-z0-9_-]++)[ \t]*+=[ \t]*+("(?!"")[^"\\\n]*+")?')
_BRACKET = re.compile(STRING + r"|#[^\n]*+|[\[\]{}]", re.DOTALL)


def scan(text: str) -> dict[KeyPath, Span]:
    """Map every key path of a valid TOML text to where it is written.

    Parameters
    ----------
    text : str
        A text that the parser accepts, without byte order mark.

    Returns
    -------
    dict
        Key path -> key start, key end, value start, value end: character offsets, -1 where there is none. An array
        item has no key; a table with a header of its own, an array of tables and the tables that a dotted key
        implies have no value. The key of a dotted key, and of a header, starts at its first part.

    Raises
    ------
    ValueError
        If the text is not TOML.
    """
    found: dict[KeyPath, Span] = {}
    for _ in statements(text, found):
        pass
    return found


class Statement(NamedTuple):
    """``[table]``, ``[[table]]`` or ``key = value``: its first character, the offset behind its last, whether it is a header."""

    start: int
    end: int
    header: bool
    path: KeyPath | None
    """Of a header, the table that it opens, with the number of the element of an array; of a pair, the table it is in.
    None: too deep to look up."""


def statements(text: str, found: dict[KeyPath, Span]) -> Iterator[Statement]:
    """The statements of a valid TOML text in order; fills ``found`` as `scan` gives it.

    Raises
    ------
    ValueError
        If the text is not TOML.
    """
    newest: dict[KeyPath, int] = {}
    base: KeyPath | None = ()
    at, end = 0, len(text)
    try:
        while True:
            start = _blank(text, at)
            if start >= end:
                return
            header = text[start] == "["
            if header:
                base, at = _header(text, start, newest, found)
            else:
                at = _pair(text, start, base, found)
            yield Statement(start, at, header, base)
    except IndexError:
        raise ValueError("the text ends inside a statement") from None


def line_column(text: str, at: int) -> tuple[int, int]:
    """Line and column, from 1 and in characters, of a character offset."""
    return text.count("\n", 0, at) + 1, at - text.rfind("\n", 0, at)


def _header(text: str, at: int, newest: dict[KeyPath, int], found: dict[KeyPath, Span]) -> tuple[KeyPath | None, int]:
    """Read ``[table]`` or ``[[table]]``; the path of what follows (None: too deep to look up) and the offset behind."""
    brackets = 2 if text.startswith("[[", at) else 1
    start = _space(text, at + brackets)
    path: KeyPath | None = ()
    parts = list(_key(text, start))
    for number, (part, end) in enumerate(parts, 1):
        path = _below(path, part)
        if path is None:
            continue
        found.setdefault(path, (start, end, -1, -1))
        if number == len(parts) and brackets == 2:
            newest[path] = newest.get(path, -1) + 1
        if path in newest:
            path = (*path, newest[path])
            found.setdefault(path, (start, end, -1, -1))
    at = _space(text, parts[-1][1])
    if not text.startswith("]" * brackets, at):
        raise ValueError(f"no ] at offset {at}")
    return path, at + brackets


def _pair(text: str, at: int, base: KeyPath | None, found: dict[KeyPath, Span]) -> int:
    """Read ``key = value``; the offset behind it."""
    simple = _SIMPLE.match(text, at)
    if simple is not None:
        path = _below(base, simple[1])
        end, value = simple.span(1)[1], simple.end()
        if simple[2] is not None:
            if path is not None:
                found[path] = (at, end, simple.start(2), value)
            return value
    else:
        path, end, value = _dotted(text, at, base, found)
    behind = _value(text, value, path, found)
    if path is not None:
        found[path] = (at, end, value, behind)
    return behind


def _dotted(text: str, at: int, path: KeyPath | None, found: dict[KeyPath, Span]) -> tuple[KeyPath | None, int, int]:
    """Read a key of any form and ``=``; its path, the end of the key and the start of the value."""
    end = -1
    for part, behind in _key(text, at):
        if end >= 0 and path is not None:
            found.setdefault(path, (at, end, -1, -1))
        path, end = _below(path, part), behind
    sign = _space(text, end)
    if text[sign] != "=":
        raise ValueError(f"no = at offset {sign}")
    return path, end, _space(text, sign + 1)


def _value(text: str, at: int, path: KeyPath | None, found: dict[KeyPath, Span]) -> int:
    """Read a value with all that stands inside it; the offset behind it."""
    opening = text[at]
    if opening not in "[{":
        value = _SCALAR.match(text, at)
        if value is None:
            raise ValueError(f"no value at offset {at}")
        return value.end()
    if path is None:
        return _skip(text, at)
    at = _blank(text, at + 1)
    number = 0
    while text[at] != ("]" if opening == "[" else "}"):
        if opening == "[":
            item, start = _below(path, number), at
            at = _value(text, at, item, found)
            if item is not None:
                found[item] = (-1, -1, start, at)
            number += 1
        else:
            at = _pair(text, at, path, found)
        at = _blank(text, at)
        if text[at] == ",":
            at = _blank(text, at + 1)
    return at + 1


def _skip(text: str, at: int) -> int:
    """The offset behind a bracketed value that is too deep to look up; without recursion."""
    depth = 0
    for token in _BRACKET.finditer(text, at):
        if token[0] in "[{":
            depth += 1
        elif token[0] in "]}":
            depth -= 1
            if not depth:
                return token.end()
    raise ValueError(f"no end of the value at offset {at}")


def _key(text: str, at: int) -> Iterator[tuple[str, int]]:
    """The parts of a dotted key, each with the offset of its end."""
    while True:
        part = _KEY.match(text, at)
        if part is None:
            raise ValueError(f"no key at offset {at}")
        yield _unquote(part[0]), part.end()
        at = _space(text, part.end())
        if not text.startswith(".", at):
            return
        at = _space(text, at + 1)


def _below(path: KeyPath | None, part: str | int) -> KeyPath | None:
    return None if path is None or len(path) >= DEPTH else (*path, part)


def _blank(text: str, at: int) -> int:
    match = _BLANK.match(text, at)
    return match.end() if match else at


def _space(text: str, at: int) -> int:
    match = _SPACE.match(text, at)
    return match.end() if match else at


def _unquote(key: str) -> str:
    if key[0] == "'":
        return key[1:-1]
    if key[0] != '"':
        return key
    return key[1:-1] if "\\" not in key else next(iter(tomli.loads(f"{key} = 0")))
