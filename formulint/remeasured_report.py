"""Results of tests that come, change or go: as parts of a report, and for machines."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from formulint.remeasured import ResultsChange, RowChange
from formulint.report import FEW, Cell, Section, Table, Tone, counted
from formulint.result import Row

LISTED = 100  # rows of one file that are told one by one
COLUMNS = ("result", "test", "before", "now", "method", "on, by", "shows")
TONES: dict[str, Tone] = {"pass": "good", "fail": "bad", "open": "warn", "review": "warn"}


def results_sections(changes: Iterable[ResultsChange]) -> list[Section]:
    """A section a file, with every row that differs."""
    sections = []
    for one in changes:
        of = f", results of {one.formula} revision {one.revision}" if one.formula else ""
        rows = tuple(map(_row, one.rows[:LISTED]))
        more = (f"and {len(one.rows) - LISTED} rows more",) if len(one.rows) > LISTED else ()
        title = f"{one.code}{of}: {'; '.join(filter(None, (one.word, _counts(one.rows))))}"
        sections.append(Section(title, (), (Table(COLUMNS, rows),) if rows else (), more))
    return sections


def brought(changes: Iterable[ResultsChange]) -> list[str]:
    """The word that a proposal brings results itself, and who measured them by its own word; nothing where it brings none."""
    rows = [row.after for one in changes for row in one.rows if row.after is not None]
    if not rows:
        return []
    names = list(dict.fromkeys(row.by for row in rows))
    by = ", ".join(names[:FEW]) + (f" and {len(names) - FEW} more" if len(names) > FEW else "")
    return [f"{counted(len(rows), 'result')} of tests {'comes' if len(rows) == 1 else 'come'} with the proposal itself, by its own word from {by}: whoever reviews it vouches for them"]


def _counts(rows: Sequence[RowChange]) -> str:
    counts = {what: sum(one.what == what for one in rows) for what in ("gone", "changed", "came")}
    return ", ".join(f"{counted(number, 'row')} {what}" for what, number in counts.items() if number)


def _row(one: RowChange) -> tuple[Cell, ...]:
    row = one.after or one.before
    assert row is not None
    tone: Tone = "plain" if one.what == "came" else "warn"
    shows = f"{one.verdict}: {one.reason}" if one.verdict and one.verdict != "pass" else one.verdict
    return (
        Cell(one.what, tone), Cell(row.test.replace("_", " ")), Cell(_value(one.before)), Cell(_value(one.after)),
        Cell(_both(one, "method")), Cell(f"{_both(one, 'measured_on')}, {_both(one, 'by')}"), Cell(shows, TONES.get(one.verdict, "plain")),
    )  # fmt: skip


def _value(row: Row | None) -> str:
    """The values of a row with where and when they were taken, as far as that is written; a dash where there is no such row."""
    if row is None:
        return "-"
    more = (f"after {row.after.text}" if row.after is not None else "", row.condition, row.sample or "", row.note)
    return ", ".join((*row.values, *filter(None, more)))


def _both(one: RowChange, field: str) -> str:
    """A field as it is, with what it was where that differs."""
    texts = [str(getattr(row, field)) for row in (one.before, one.after) if row is not None]
    return texts[0] if len(set(texts)) == 1 else " -> ".join(texts)


def results_objects(changes: Iterable[ResultsChange]) -> list[dict[str, object]]:
    """The same for machines."""
    return [
        {
            "code": one.code, "path": one.path, "formula": one.formula or None, "revision": one.revision or None, "status": one.word or "changed",
            "rows": [
                {"change": row.what, "before": _plain(row.before), "after": _plain(row.after), "verdict": row.verdict or None, "reason": row.reason or None}
                for row in one.rows
            ],
        }
        for one in changes
    ]  # fmt: skip


def _plain(row: Row | None) -> dict[str, object] | None:
    if row is None:
        return None
    return {
        "test": row.test, "method": row.method, "values": list(row.values), "measured_on": str(row.measured_on), "by": row.by,
        "after": None if row.after is None else row.after.text, "condition": row.condition, "sample": row.sample, "note": row.note,
    }  # fmt: skip
