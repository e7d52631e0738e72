"""The next version of a sheet, read from the values in which it differs from the last one: most commits touch a line or two.

What cannot be told so for certain is not told at all: then the whole text is read, by the ordinary way.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from itertools import compress, count
from operator import ne

import msgspec
from msgspec import Struct
from msgspec.structs import fields, replace

from formulint.document import LARGEST, Document, load
from formulint.figure import Amount
from formulint.finding import KeyPath
from formulint.formula import Addition, Formula
from formulint.shape import NATIVE, dec_hook

PLAIN = {one.encode_name: (one.name, one.type) for one in fields(Formula) if one.name in ("revision", "name", "state", "batch", "note")}
"""Fields of a sheet that stand by themselves on a line, by their key: the name of the attribute and its type."""

LINE = 4  # keys to an addition: stage, its number, additions, its number
Place = tuple[int, int]
_STRING = re.compile(r'"[^"\\\x00-\x1f\x7f]+"')


class Spot(Struct, frozen=True):
    """Where a value stands that has its line to itself: its key path, and the characters of the line before and behind it."""

    keys: KeyPath
    before: str
    behind: str

    def frames(self, line: str) -> bool:
        """True for a line that holds something between the same characters."""
        return len(line) > len(self.before) + len(self.behind) and line.startswith(self.before) and line.endswith(self.behind)


class Reading:
    """One version of a sheet after another.

    Attributes
    ----------
    formula : Formula
        The version that was read last.
    alike : bool
        True where it differs from the version before in nothing but amounts, its own name, revision, state, note or batch.
    moved : list of (int, int)
        The lines whose amounts differ, by number of stage and of line.
    """

    def __init__(self, document: Document, formula: Formula) -> None:
        self.formula = formula
        self.alike = False
        self.moved: list[Place] = []
        self._document = document
        self._lines = document.text.split("\n")
        self._spots: dict[int, list[Spot]] | None = None

    def next(self, raw: bytes) -> bool:
        """Read the bytes of the next version; False where they have to be read as a whole, and this reading is of no more use."""
        try:
            lines = raw.decode("utf-8").split("\n")
        except UnicodeDecodeError:
            return False
        if len(lines) != len(self._lines) or len(raw) > LARGEST:
            return False
        self.alike, self.moved = True, []
        for at in compress(count(), map(ne, self._lines, lines)):
            if not self._take(at, lines[at]):
                return False
        self._lines = lines
        return True

    def _take(self, at: int, line: str) -> bool:
        """Take the one value over in which a line differs; False where it differs in more."""
        if self._spots is None:
            self._spots = {}
            for number, spot in _spots(self._document, self.formula, self._lines):
                self._spots.setdefault(number, []).append(spot)
        old = self._lines[at]
        for spot in self._spots.get(at, ()):
            if not (spot.frames(old) and spot.frames(line)):
                continue
            text = line[len(spot.before) : len(line) - len(spot.behind)]
            if _STRING.fullmatch(text):
                return self._put(spot.keys, text[1:-1])
            if len(spot.keys) <= LINE:
                self._spots[at] = [spot]  # what stands inside it may stand elsewhere now
                return self._put_parsed(spot.keys, text)
        return False

    def _put_parsed(self, keys: KeyPath, text: str) -> bool:
        """Put a value in its place that is no plain string."""
        if "#" in text or "\r" in text:
            return False  # a comment would hide what stands behind it
        document, faults = load("", f"x = {text}\n".encode())
        return document is not None and not faults and len(document.data) == 1 and self._put(keys, document.data["x"])

    def _put(self, keys: KeyPath, raw: object) -> bool:
        """Put a value in its place; False where it does not fit there."""
        try:
            if len(keys) == 1:
                name, kind = PLAIN[str(keys[0])]
                self.formula = replace(self.formula, **{name: msgspec.convert(raw, kind, builtin_types=NATIVE, dec_hook=dec_hook)})
            elif len(keys) == LINE:
                self._put_line(int(keys[1]), int(keys[3]), msgspec.convert(raw, Addition, builtin_types=NATIVE, dec_hook=dec_hook))
            else:
                self._put_amount(int(keys[1]), int(keys[3]), msgspec.convert(raw, Amount, builtin_types=NATIVE, dec_hook=dec_hook))
        except msgspec.ValidationError:
            return False
        return True

    def _put_amount(self, i: int, j: int, amount: Amount) -> None:
        self._put_line(i, j, replace(self.formula.stage[i].additions[j], amount=amount))

    def _put_line(self, i: int, j: int, line: Addition) -> None:
        stages = self.formula.stage
        lines = stages[i].additions
        self.alike = self.alike and replace(line, amount=lines[j].amount) == lines[j]
        self.moved.append((i, j))
        stage = replace(stages[i], additions=(*lines[:j], line, *lines[j + 1 :]))
        self.formula = replace(self.formula, stage=(*stages[:i], stage, *stages[i + 1 :]))


def _spots(document: Document, formula: Formula, lines: list[str]) -> Iterator[tuple[int, Spot]]:
    """The values that can be taken over by themselves, by the number of their line: of an addition its amount, else the whole of it."""
    paths: list[KeyPath] = [(key,) for key in PLAIN]
    for i, stage in enumerate(formula.stage):
        for j in range(len(stage.additions)):
            keys = ("stage", i, "additions", j)
            paths += [(*keys, "amount"), keys]
    for path in paths:
        span = document.span(path)
        if span is not None and "\n" not in document.text[span[0] : span[1]]:
            line, column = document.line_column(span[0])
            text = lines[line - 1]
            yield line - 1, Spot(path, text[: column - 1], text[column - 1 + span[1] - span[0] :])
