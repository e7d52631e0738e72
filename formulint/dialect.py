"""Syntax that TOML 1.1 allows and TOML 1.0 does not: this tool reads it, other programs may not."""

from __future__ import annotations

import re
from collections.abc import Iterator

from formulint.positions import STRING
from formulint.syntax import Trouble

_OPAQUE = re.compile(STRING + r"|#[^\n]*+", re.DOTALL)
_TOKEN = re.compile(r",\s*\}|[\[\]{}\n]")
_SHORT_TIME = re.compile(r"(?<![\d:+-])\d\d:\d\d(?![:\d])")
_NEW_ESCAPE = re.compile(r"(?<!\\)(?:\\\\)*(\\[ex])")
_REFUSED = "programs that read TOML 1.0 refuse this"


def newer(text: str) -> list[Trouble]:
    """Each place of a text that the parser has accepted where a reader of TOML 1.0 stops."""
    plain = _OPAQUE.sub(_blank_out, text)
    times = (
        Trouble(time.start(), f"the time {time[0]} has no seconds: {_REFUSED}", f"write {time[0]}:00")
        for time in _SHORT_TIME.finditer(plain)
    )
    return sorted([*_escapes(text), *_tables(plain), *times])


def _blank_out(opaque: re.Match[str]) -> str:
    return " " * len(opaque[0]) if opaque[0][0] == "#" else '"' + " " * (len(opaque[0]) - 1)


def _escapes(text: str) -> Iterator[Trouble]:
    for string in _OPAQUE.finditer(text):
        if string[0][0] == '"':
            for escape in _NEW_ESCAPE.finditer(string[0]):
                what = f"{escape[1]} in a text in quotation marks: {_REFUSED}"
                yield Trouble(string.start() + escape.start(1), what, "write \\u00 and two digits instead")


def _tables(plain: str) -> Iterator[Trouble]:
    """One for each table in braces that runs over a line end, or ends in a comma."""
    remedy = "write the whole { } on one line, without a comma before }"
    opened: list[int] = []
    said: set[int] = set()
    for token in _TOKEN.finditer(plain):
        if token[0] in "[{":
            opened.append(token.start())
            continue
        if not opened or opened[-1] in said:
            what = ""
        elif token[0][0] == ",":
            what = "a comma stands before the closing brace"
        else:
            what = (
                "this table in braces runs over several lines" if plain[opened[-1]] == "{" and token[0] == "\n" else ""
            )
        if what:
            said.add(opened[-1])
            yield Trouble(opened[-1], f"{what}: {_REFUSED}", remedy)
        if token[0] != "\n" and opened:
            opened.pop()
