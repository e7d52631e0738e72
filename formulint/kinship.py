"""Which pieces of two versions of a record are the same piece: every stage and every line of a sheet gets one name.

Lines go by stage, material and occurrence. Of several of one material those written alike are the same, then the others
in order; what is left over may have gone to another stage.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable

from msgspec import Struct

from formulint.finding import KeyPath
from formulint.pieces import Cut, Group, Piece, Uncut, rows


class Line(Struct, frozen=True):
    """A line of a sheet: the name of its stage, what it is called, what it says, and its piece."""

    home: str
    called: str
    said: str
    piece: Piece


class Kin(Struct, frozen=True):
    """One version with its names: groups by name, lines by name, and the name of the line at a path."""

    cut: Cut
    groups: dict[str, Group]
    lines: dict[str, Line]
    named: dict[KeyPath, str]


def kin(cut: Cut, base: Kin | None) -> Kin:
    """A version with names that are those of ``base`` for what is the same there.

    Raises
    ------
    Uncut
        Elements of an array of tables cannot be told apart.
    """
    groups = _groups(cut, base)
    found = [
        Line(home, cut.name(piece.path) or "?", repr(cut.data(piece.path)), piece) for home, group in groups.items() for piece in rows(cut, group)
    ]
    same = _same(list(base.lines.items()), found) if base is not None else {}
    lines: dict[str, Line] = {}
    for at, line in enumerate(found):
        lines[same.get(at) or _fresh(f"{line.home}: {line.called}" + (" new" if base else ""), lines)] = line
    return Kin(cut, groups, lines, {line.piece.path: name for name, line in lines.items()})


def _fresh(name: str, taken: Iterable[str]) -> str:
    found, number = name, 1
    while found in taken:
        number += 1
        found = f"{name} #{number}"
    return found


def _groups(cut: Cut, base: Kin | None) -> dict[str, Group]:
    """The groups by name; an element that stands where another name stood, and only there, is the same renamed."""
    found: dict[str, Group] = {}
    for group in cut.groups:
        name = str(group.path)
        if group.path and isinstance(group.path[-1], int):
            called = cut.name(group.path)
            name = f"{group.path[:-1]} {called}" if called else ""
        if not name or name in found:
            raise Uncut
        found[name] = group
    if base is None:
        return found
    was, now = _elements(base.groups), _elements(found)
    renamed = {new: old for old, new in zip(was, now, strict=False) if old not in found and new not in base.groups and base.groups[old].path == found[new].path}
    return {renamed.get(name, name): group for name, group in found.items()}


def _elements(groups: dict[str, Group]) -> list[str]:
    return [name for name, group in groups.items() if group.path and isinstance(group.path[-1], int)]


def _same(before: list[tuple[str, Line]], after: list[Line]) -> dict[int, str]:
    """The name of the older line by the number of the newer one that is the same."""
    steps: tuple[Callable[[Line, Line], bool], ...] = (
        lambda one, other: (one.home, one.called, one.said) == (other.home, other.called, other.said),
        lambda one, other: (one.home, one.called) == (other.home, other.called),
        lambda one, other: one.called == other.called and one.said == other.said,
        lambda one, other: one.called == other.called and one.called.startswith("material "),
    )
    found: dict[int, str] = {}
    left = list(before)
    for same in steps:
        for name, line in list(left):
            at = next((at for at, other in enumerate(after) if at not in found and same(line, other)), None)
            if at is not None:
                found[at] = name
                left.remove((name, line))
    return found
