"""The lines of a report that matter to somebody who reads along: cut out as they are, set as narrow as the page."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from textwrap import wrap

DETAIL = 10
"""Blanks before what belongs to a finding: where, what helps, why, by which rule."""

GAP = 2
"""Blanks between the columns of a table."""

_STARTS = ("at ", "see ", "do: ", "such as: ", "computed: ", "why: ", "rule ")
_LABELS = ("STOP ", "OPEN ", "open ", "review ", "warning ", "note ")
_HEADS = ("line ", "property ", "stage ")
_NAME = re.compile(r"\S+(?: \S+)*")
_LABEL_WIDTH = 8


class Lacking(LookupError):
    """A line that should be there is not."""


def excerpt(text: str, wanted: Sequence[str], width: int) -> list[str]:
    """The first line that begins with each of the wanted words, in the order of the text, in lines of at most ``width``.

    Runs of blanks count as one. A row of a table brings the heads of its columns along; columns are moved together, and
    the name of a material is cut short where the row is too long.

    Raises
    ------
    Lacking
        With the wanted words that no line begins with.
    """
    lines = list(whole_lines(text))
    plain = [" ".join(line.split()) for line in lines]
    chosen: set[int] = set()
    for words in wanted:
        at = next((at for at, line in enumerate(plain) if line.startswith(words)), None)
        if at is None:
            raise Lacking(words)
        chosen.add(at)
        head = _head_of(lines, at)
        if head is not None:
            chosen.add(head)
    found: list[str] = []
    table: list[str] = []
    for at in [*sorted(chosen), None]:
        new_table = at is not None and is_row(lines[at]) and lines[at].lstrip().startswith(_HEADS)
        if table and (at is None or not is_row(lines[at]) or new_table):
            found += narrowed(table, width)
            table = []
        if at is not None:
            if is_row(lines[at]):
                table.append(lines[at][GAP:])
            else:
                found += _prose(lines[at], width)
    return found


def whole_lines(text: str) -> Iterator[str]:
    """The lines of a report, with those parts of a finding in one that were broken at the end of the screen."""
    last = ""
    for line in text.splitlines():
        bare = line.lstrip(" ")
        if len(line) - len(bare) == DETAIL and not bare.startswith(_STARTS) and last:
            last += " " + bare
            continue
        if last:
            yield last
        last = line.rstrip()
    if last:
        yield last


def is_row(line: str) -> bool:
    """True for a row of a table, its head included: two blanks before it, and columns."""
    bare = line[GAP:]
    return line[:GAP] == " " * GAP and bare[:1] not in ("", " ") and not bare.startswith(_LABELS) and bool(re.search(r"\S {2,}\S", bare))


def _head_of(lines: Sequence[str], at: int) -> int | None:
    """Where the heads of the columns of a row stand."""
    if not is_row(lines[at]):
        return None
    while at >= 0 and is_row(lines[at]):
        if lines[at].lstrip().startswith(_HEADS):
            return at
        at -= 1
    return None


def narrowed(rows: Sequence[str], width: int) -> list[str]:
    """Rows of one table, its head first: columns without a value left out at the end, no more than two blanks between the
    others, and a shorter column of materials if need be."""
    head, *body = rows
    used = max((len(row) for row in body), default=len(head))
    rows = [head[: max((name.end() for name in _NAME.finditer(head) if name.start() < used), default=0)], *body]
    longest = max(map(len, rows))
    filled = [row.ljust(longest) for row in rows]
    keep: list[int] = []
    blanks = 0
    for at in range(longest):
        blanks = blanks + 1 if all(row[at] == " " for row in filled) else 0
        if blanks <= GAP:
            keep.append(at)
    filled = ["".join(row[at] for at in keep) for row in filled]
    over = max(len(row.rstrip()) for row in filled) - width
    start = filled[0].find("material")
    end = next((name.start() for name in _NAME.finditer(filled[0]) if name.start() > start), 0)
    if over > 0 and 0 <= start < end:
        names = [_shortened(row[start : end - GAP].rstrip(), end - GAP - start - over) for row in filled]
        room = max(map(len, names))
        filled = [row[:start] + name.ljust(room) + row[end - GAP :] for row, name in zip(filled, names, strict=True)]
    return [row.rstrip() for row in filled]


def _shortened(text: str, room: int) -> str:
    """The whole words of a text that there is room for."""
    return text if len(text) <= room else text[: max(room - 2, 1)].rpartition(" ")[0].rstrip(" ,") + " .."


def _prose(line: str, width: int) -> list[str]:
    """A line that is no row: a finding under its label, its details set below the message, anything else as it is."""
    bare = line.strip()
    if bare.startswith(_LABELS) and line.startswith("  "):
        label, _, rest = bare.partition(" ")
        return wrap(f"{label:<{_LABEL_WIDTH}}{rest.strip()}", width, subsequent_indent=" " * _LABEL_WIDTH, break_on_hyphens=False)
    indent = " " * (_LABEL_WIDTH if len(line) - len(line.lstrip()) == DETAIL else 0)
    return wrap(bare, width, initial_indent=indent, subsequent_indent=indent, break_on_hyphens=False)
