"""Results of tests in two states of a repository: the rows that come, change or go, with what they show of the paint as it becomes."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from typing import Literal

from msgspec import Struct

from formulint.catalog import Catalog, File, stem
from formulint.evidence_on_file import on_file
from formulint.measured import a_result
from formulint.result import Results, Row
from formulint.snapshot import FileChange

ORDER = ("gone", "changed", "came")
"""What is told first: who takes something away hopes that nobody sees it."""


class RowChange(Struct, frozen=True):
    """One row before and after; ``verdict`` and ``reason`` are what it shows in the newer state, empty where nothing asks for it."""

    what: Literal["came", "changed", "gone"]
    before: Row | None
    after: Row | None
    verdict: str = ""
    reason: str = ""


class ResultsChange(Struct, frozen=True):
    """One file of results in two states: its code, the paint that it names, and the rows that differ.

    ``word`` says what became of the file as a whole, where that is more than its rows.
    """

    code: str
    path: str
    formula: str
    revision: int
    rows: tuple[RowChange, ...]
    word: str = ""


def remeasured(before: Catalog, after: Catalog, changes: Iterable[FileChange]) -> tuple[ResultsChange, ...]:
    """The files of results that differ, by code; nothing is read where none is touched."""
    folders = (before.settings.folders, after.settings.folders)
    codes = {stem(one.name) for one in changes if one.name.endswith(".toml") and any(a_result(one.name, each) for each in folders)}
    if not codes:
        return ()
    was, now = ({stem(name): file for name, file in one.below(one.settings.folders.results, Results).items()} for one in (before, after))
    told = (_file(was.get(code), now.get(code), after, code) for code in sorted(codes))
    return tuple(one for one in told if one is not None)


def _file(old: File[Results] | None, new: File[Results] | None, after: Catalog, code: str) -> ResultsChange | None:
    left, right = None if old is None else old.record, None if new is None else new.record
    here, record = new or old, right or left
    if here is None:
        return None
    if record is None:
        return ResultsChange(code, here.name, "", 0, (), "cannot be read")
    rows = tuple(_rows(() if left is None else left.result, () if right is None else right.result, _shown(after, right, here.name)))
    word = _word(old, new, left, right)
    return ResultsChange(code, here.name, record.formula, record.revision, rows, word) if rows or word else None


def _word(old: File[Results] | None, new: File[Results] | None, left: Results | None, right: Results | None) -> str:
    if new is None or right is None:
        return "taken away" if new is None else "cannot be read now"
    if old is None or left is None:
        return "new" if old is None else "could not be read before"
    if (left.formula, left.revision) != (right.formula, right.revision):
        return f"said to be of {right.formula} revision {right.revision}; it was of {left.formula} revision {left.revision}"
    return "said to be of another paint: its digests changed" if left.digest != right.digest else ""


def _shown(after: Catalog, record: Results | None, path: str) -> dict[int, tuple[str, str]]:
    """Verdict and reason of each row of a file, by its place, in the newer state."""
    if record is None:
        return {}
    rows = (one for bearing in on_file(after, record.formula) for one in bearing.results)
    return {one.at: (one.verdict, one.reason) for one in rows if one.file == path}


def _rows(old: Sequence[Row], new: Sequence[Row], shown: dict[int, tuple[str, str]]) -> Iterator[RowChange]:
    """The rows that differ: of one test, as many as can be are told as changed, in their order."""
    left, right = list(old), list(enumerate(new))
    for at, row in list(right):
        if row in left:
            left.remove(row)
            right.remove((at, row))
    found: list[RowChange] = []
    for at, row in right:
        was = next((one for one in left if one.test == row.test), None)
        if was is not None:
            left.remove(was)
        found.append(RowChange("came" if was is None else "changed", was, row, *shown.get(at, ("", ""))))
    found += [RowChange("gone", row, None) for row in left]
    yield from sorted(found, key=lambda one: ORDER.index(one.what))
