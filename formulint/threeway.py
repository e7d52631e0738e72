"""Two versions of a record made one, piece by piece, by what each changed of the version that both come from.

What one side changed is taken as it is written there, to the byte. What both changed differently is a clash: both stand
in the text then, between the marks that git sets too. Fields of a line are merged one by one, except those that only
together say an amount.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import NamedTuple, TypeVar

from formulint.interleave import Fork, Torn, either, interleave, settled
from formulint.kinship import Kin
from formulint.pieces import Block, Group, Parts, Piece, Uncut

DOSE = ("amount", "on", "as", "of")
"""Fields of a line that only together say how much goes in."""

Unit = TypeVar("Unit", Piece, Block, Group)
Three = tuple[Unit | None, Unit | None, Unit | None]
"""A piece in the version that both come from, in ours, in theirs; None where it is not there."""


class Marks(NamedTuple):
    """How a clash is marked: the length of the marks, and what the two sides are called."""

    size: int = 7
    ours: str = "ours"
    theirs: str = "theirs"


class Clash(Exception):
    """Both sides changed one thing, and not both can have it."""


class _Row(NamedTuple):
    """A piece as it will be written; where there is a clash, the two sides in place of the body."""

    lead: str
    body: str
    mark: str = ""
    trail: str = ""
    sides: tuple[str, str] | None = None


class Merge:
    """Three versions made one.

    Parameters
    ----------
    base, ours, theirs : Kin
        The version that both come from, and the two.
    marks : Marks

    Attributes
    ----------
    text : str
        What the record says then.
    clashes : list of str
        What both sides changed differently, in words; empty where all went well.

    Raises
    ------
    Uncut
        Where the three are written too differently to be taken apart.
    """

    def __init__(self, base: Kin, ours: Kin, theirs: Kin, marks: Marks) -> None:
        self.kin = (base, ours, theirs)
        self.marks = marks
        self.clashes: list[str] = []
        self._end = "\r\n" if any("\r\n" in one.cut.document.text for one in (ours, theirs)) else "\n"
        self._written: list[str] = []
        self._rebased = _rebased(*self.kin)
        self.text = self._whole()

    def _whole(self) -> str:
        names = [list(one.groups) for one in self.kin]
        three = [{name: one.groups.get(name) for name in [*names[0], *names[1], *names[2]]} for one in self.kin]
        rows: dict[str, _Row] = {}
        for name in three[0]:
            row = self._present(name, (three[0][name], three[1][name], three[2][name]), self._group)
            if row is not None:
                rows[name] = row
        try:
            text = self._joined(rows, names, lambda name: any(one.groups[name].path[:1] == ("stage",) for one in self.kin if name in one.groups))
            tail = _remark(*(one.cut.tail for one in self.kin))
        except (Clash, Torn):
            raise Uncut from None
        if not self.clashes and sorted(self._written) != sorted(name for name in self._all_lines() if self._home(name)[0] is not None):
            raise Uncut  # a line would be lost or doubled: stages are written in ways that do not fit each other
        return _lined([text, tail], self._end)

    # --- what is there -------------------------------------------------------------------------------------------

    def _present(self, name: str, three: Three[Unit], merged: Callable[[Three[Unit]], _Row]) -> _Row | None:
        """A piece as both sides want it; None where one took it out and the other left it as it was."""
        base, ours, theirs = three
        if base is not None and (ours is None or theirs is None):
            left = ours or theirs
            if left is None or _plain(left.text) == _plain(base.text):
                return None
            return self._clash(name, "", _said(ours), _said(theirs))
        try:
            return merged(three)
        except Clash:
            if ours is None or theirs is None:
                raise Uncut from None
            return self._apart(name, three)

    def _apart(self, name: str, three: Three[Unit]) -> _Row:
        """Both versions of a piece; comments above it that do not differ stand above the marks."""
        _, ours, theirs = three
        assert ours is not None and theirs is not None
        if not isinstance(ours, Piece) or not isinstance(theirs, Piece):
            return self._clash(name, "", ours.text, theirs.text)
        try:
            lead = _remark(*(one.lead if isinstance(one, Piece) else None for one in three))
        except Clash:
            return self._clash(name, "", _said(ours), _said(theirs))
        sides = (_said(one._replace(lead=one.lead.rpartition("\n")[2])) for one in (ours, theirs))
        return self._clash(name, lead[: lead.rfind("\n") + 1], *sides)

    def _clash(self, name: str, lead: str, ours: str, theirs: str) -> _Row:
        self.clashes.append(name)
        return _Row(lead, "", sides=(ours, theirs))

    def _home(self, name: str) -> tuple[str | None, bool]:
        """The stage in which a line stands in the end (None: nowhere), and whether the sides agree on that."""
        base, ours, theirs = (one.lines[name].home if name in one.lines else None for one in self.kin)
        if ours == theirs or theirs == base:
            return ours, True
        return theirs, ours == base

    def _all_lines(self) -> list[str]:
        return list({name: None for one in self.kin for name in one.lines})

    # --- tables and statements -----------------------------------------------------------------------------------

    def _group(self, three: Three[Group]) -> _Row:
        blocks = [one.blocks if one else {} for one in three]
        return _Row("", self._listed(blocks, self._block, {}))

    def _block(self, three: Three[Block]) -> _Row:
        heads = [one.head if one else None for one in three]
        head = "" if heads == [None] * 3 else self._piece((heads[0], heads[1], heads[2]), "").text
        return _Row("", _lined([head, self._listed([one.statements if one else {} for one in three], self._statement, {})], self._end))

    def _statement(self, three: Three[Piece]) -> _Row:
        if self._rebased and any(one.path == ("batch",) for one in three if one):
            raise Clash
        return _row(self._piece(three, None))

    def _listed(self, versions: Sequence[dict[str, Unit]], merged: Callable[[Three[Unit]], _Row], known: dict[str, _Row]) -> str:
        """Pieces by key, whose order means nothing."""
        base, ours, theirs = versions
        rows = dict(known)
        for name in {**base, **ours, **theirs}:
            row = self._present(name, (base.get(name), ours.get(name), theirs.get(name)), merged)
            if row is not None:
                rows[name] = row
        return self._joined(rows, [list(one) for one in versions], lambda name: False)

    def _joined(self, rows: dict[str, _Row], names: Sequence[Sequence[str]], ordered: Callable[[str], bool]) -> str:
        base, ours, theirs = ([name for name in one if name in rows] for one in names)
        parts: list[str] = []
        try:
            order = interleave(base, ours, theirs)
        except Torn:
            if any(map(ordered, rows)):
                raise
            order = list(either(ours, theirs))
        for one in order:
            if isinstance(one, Fork) and any(map(ordered, one.ours)) and any(map(ordered, one.theirs)):
                self.clashes.append(one.ours[0])
                parts.append(self._hunk(*("".join(self._text(rows[name]) for name in side) for side in one)))
            else:
                parts += [self._text(rows[name]) for name in settled([one])]
        return _lined(parts, self._end)

    def _text(self, row: _Row) -> str:
        return row.lead + (self._hunk(*row.sides) if row.sides else row.body + row.mark + row.trail)

    def _hunk(self, ours: str, theirs: str) -> str:
        size, end = self.marks.size, self._end
        marks = ("<" * size + f" {self.marks.ours}", "=" * size, ">" * size + f" {self.marks.theirs}")
        return _lined([marks[0] + end, ours, marks[1] + end, theirs, marks[2] + end], end)

    # --- pieces and values ---------------------------------------------------------------------------------------

    def _piece(self, three: Three[Piece], fixed: str | None) -> Piece:
        """One piece: what stands around its value, and the value, which is the same on all sides where it is ``fixed``."""
        base, ours, theirs = three
        around = [
            _remark(*texts)
            for texts in (
                (one.lead if one else None for one in three),
                (one.key if one else None for one in three),
                (one.trail if one else None for one in three),
            )
        ]
        value = self._value(three) if fixed is None else _chosen(*(one.value if one else None for one in three))
        path = next(one.path for one in (ours, theirs, base) if one is not None)
        return Piece(around[0], around[1], value, _mark(*(one.mark if one else None for one in three)), around[2], path)

    def _value(self, three: Three[Piece]) -> str:
        base, ours, theirs = three
        parts = [cut.cut.parts(one.path) if one else None for cut, one in zip(self.kin, three, strict=True)]
        sheet = any(one.path[2:] == ("additions",) and one.path[0] == "stage" for one in three if one)
        if sheet and all(part is not None or one is None for part, one in zip(parts, three, strict=True)):
            return self._sheet(three, parts)
        try:
            return _chosen(*(one.value if one else None for one in three))
        except Clash:
            said = [repr(kin.cut.data(one.path)) if one else None for kin, one in zip(self.kin, three, strict=True)]
            assert ours is not None and theirs is not None
            if base is not None and said[0] in said[1:]:
                return theirs.value if said[0] == said[1] else ours.value
            if said[1] == said[2]:
                return min(ours.value, theirs.value)
            kinds = {part.opening[0] if part else "" for part, one in zip(parts, three, strict=True) if one}
            if kinds != {"{"}:
                raise
            return self._table(three, parts)

    def _table(self, three: Three[Piece], parts: Sequence[Parts | None]) -> str:
        """An inline table, field by field."""
        self._refuse_amounts(three)
        pieces = [part.pieces if part else {} for part in parts]
        before = len(self.clashes)
        rows: dict[str, _Row] = {}
        for name in {**pieces[0], **pieces[1], **pieces[2]}:
            found = (pieces[0].get(name), pieces[1].get(name), pieces[2].get(name))
            row = self._present(name, found, lambda one: _row(self._piece(one, None)))
            if len(self.clashes) > before:
                del self.clashes[before:]
                raise Clash
            if row is not None:
                rows[name] = row
        names = [[name for name in part if name in rows] for part in pieces]
        try:
            order = settled(interleave(*names))
        except Torn:
            order = either(names[1], names[2])
        after = any(piece.mark for part in pieces[1:] for piece in list(part.values())[-1:])
        body = "".join(_with_comma(rows[name], name != order[-1], after) for name in order)
        return "{" + body + _remark(*(part.closing if part else None for part in parts))

    def _refuse_amounts(self, three: Three[Piece]) -> None:
        """Clash where both sides changed how much goes in, be it in different fields."""
        said: list[str | None] = []
        for kin, one in zip(self.kin, three, strict=True):
            data = kin.cut.data(one.path) if one else None
            said.append(repr([data.get(key) for key in DOSE]) if isinstance(data, dict) else None)
        _chosen(*said)

    # --- the lines of a stage ------------------------------------------------------------------------------------

    def _sheet(self, three: Three[Piece], parts: Sequence[Parts | None]) -> str:
        """The lines of one stage, in the order that both sides mean."""
        ids = [[kin.named[piece.path] for piece in part.pieces.values()] if part else [] for kin, part in zip(self.kin, parts, strict=True)]
        home = next(kin.lines[one[0]].home for kin, one in zip(self.kin, ids, strict=True) if one)
        whole = all(part.opening.endswith("\n") and all(piece.alone for piece in part.pieces.values()) for part in parts if part)
        before = len(self.clashes)
        rows = {name: row for name in {name: None for one in ids for name in one} if (row := self._line(name, home)) is not None}
        orders = [[name for name in one if name in rows] for one in ids]
        try:
            order: list[str | Fork] = interleave(*orders)
        except Torn:
            order = self._torn(orders)
        order = [self._forked(one) if isinstance(one, Fork) else one for one in order]
        if len(self.clashes) > before and not whole:
            del self.clashes[before:]
            raise Clash
        chunks = []
        for at, one in enumerate(order):
            if isinstance(one, Fork):
                sides = (self._verbatim(names, kin) for names, kin in zip(one, self.kin[1:], strict=True))
                chunks.append(self._hunk(*sides))
            elif (sided := rows[one].sides) is not None:
                chunks.append(rows[one].lead + self._hunk(*sided))
            else:
                chunks.append(_with_comma(rows[one], at < len(order) - 1, True))
                self._written.append(one)
        opening, closing = (_remark(*(None if part is None else (part.opening, part.closing)[at] for part in parts)) for at in (0, 1))
        return opening + "".join(chunks) + closing

    def _line(self, name: str, home: str) -> _Row | None:
        """A line as it stands in this stage; None where it has no place in it."""
        base, ours, theirs = (kin.lines.get(name) for kin in self.kin)
        pieces = (base.piece if base else None, ours.piece if ours else None, theirs.piece if theirs else None)
        stage, agreed = self._home(name)
        if not agreed:
            here = tuple(_said(one.piece) if one and one.home == home else "" for one in (ours, theirs))
            return self._clash(name, "", here[0], here[1]) if any(here) else None
        if stage is not None:
            return self._present(name, pieces, lambda one: _row(self._piece(one, None))) if stage == home else None
        if base is None or base.home != home:
            return None
        return self._present(name, pieces, lambda one: _row(self._piece(one, None)))

    def _torn(self, orders: Sequence[Sequence[str]]) -> list[str | Fork]:
        """Both orders as they are, between what comes first and last in both."""
        ours, theirs = orders[1], orders[2]
        first = 0
        while first < min(len(ours), len(theirs)) and ours[first] == theirs[first]:
            first += 1
        last = 0
        while last < min(len(ours), len(theirs)) - first and ours[-1 - last] == theirs[-1 - last]:
            last += 1
        middle = Fork(tuple(ours[first : len(ours) - last]), tuple(theirs[first : len(theirs) - last]))
        return [*ours[:first], middle, *ours[len(ours) - last :]]

    def _forked(self, fork: Fork) -> Fork:
        """A place where the sides want different lines or another order."""
        self.clashes.append((*fork.ours, *fork.theirs)[0])
        return fork

    def _verbatim(self, names: Sequence[str], kin: Kin) -> str:
        return "".join(_said(kin.lines[name].piece) for name in names)


def _row(piece: Piece) -> _Row:
    return _Row(piece.lead, piece.key + piece.value, piece.mark, piece.trail)


def _said(one: Unit | None) -> str:
    """The text of one side of a clash; a line of a sheet with its comma, so that other lines may follow it."""
    if not isinstance(one, Piece) or one.key or not one.value.startswith("{"):
        return one.text if one is not None else ""
    return one.text if one.mark else one._replace(mark=",").text


def _with_comma(row: _Row, needed: bool, allowed: bool) -> str:
    mark = row.mark if allowed or needed else ""
    return row.lead + row.body + ("," if needed and not mark else "") + mark + row.trail


def _chosen(base: str | None, ours: str | None, theirs: str | None) -> str:
    """What the side says that changed it; Clash where both did, differently."""
    if ours is None or theirs is None:
        return ours or theirs or ""
    if ours == theirs or theirs == base:
        return ours
    if ours == base:
        return theirs
    raise Clash


def _remark(base: str | None, ours: str | None, theirs: str | None) -> str:
    """The same of blanks, comments and signs: blanks alone are never a clash."""
    try:
        return _chosen(base, ours, theirs)
    except Clash:
        assert ours is not None and theirs is not None
        plain = _plain(base or ""), _plain(ours), _plain(theirs)
        if plain[1] == plain[2]:
            return min((len(one), one) for one in (ours, theirs))[1]
        if plain[0] in plain[1:]:
            return theirs if plain[0] == plain[1] else ours
        raise


def _mark(base: str | None, ours: str | None, theirs: str | None) -> str:
    try:
        return _chosen(base, ours, theirs)
    except Clash:
        return ","


def _plain(text: str) -> str:
    return "".join(text.split())


def _lined(parts: Sequence[str], end: str) -> str:
    """Texts one after the other, each on lines of its own."""
    found = ""
    for part in parts:
        found += end + part if found and part and not found.endswith("\n") else part
    return found


def _rebased(base: Kin, ours: Kin, theirs: Kin) -> bool:
    """True where one side changed the batch and the other what goes into it: their amounts are of different batches."""
    batch = [repr(one.cut.document.data.get("batch")) for one in (base, ours, theirs)]
    if batch[1] == batch[2] or batch[0] not in batch[1:]:
        return False  # the same for both, or a clash anyway
    return _charged(theirs if batch[2] == batch[0] else ours) != _charged(base)


def _charged(one: Kin) -> list[tuple[str, str]]:
    """Every line with how much goes in, where that is no share: a share is one of any batch."""
    found = []
    for name, line in one.lines.items():
        data = one.cut.data(line.piece.path)
        amount = data.get("amount") if isinstance(data, dict) else None
        if amount is not None and "%" not in str(amount) and amount != "q.s.":
            found.append((name, str(amount)))
    return sorted(found)
