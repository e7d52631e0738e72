"""The tests that a change asks for, as a part of a review: how each is made, what is on file and why; and whether what was measured differs."""

from __future__ import annotations

from collections.abc import Sequence
from math import fsum

from msgspec.structs import replace

from formulint.bearing import Bearing, Reading
from formulint.catalog import Catalog
from formulint.compare import FormulaChange
from formulint.errors import Misread
from formulint.quantity import Quantity, read
from formulint.repeatability import compared, scatter
from formulint.report import Cell, Table, Tone
from formulint.tests_due import Due, due, less
from formulint.vocabulary import dimensions_of


def due_now(before: Catalog, after: Catalog, change: FormulaChange) -> tuple[Due, ...]:
    """The tests that a change asks for, but those of which a passing result is on file for the paint as it is now."""
    found = due(before, after, change)
    return less(found, [test for test, one in _filed(after, change, found).items() if one.verdict == "pass"])


def due_told(before: Catalog, after: Catalog, change: FormulaChange) -> tuple[list[Table], list[str]]:
    """The same for whoever reviews, with those on file: a table and why they are asked for; nothing where no test is due.

    The tests that lack a result stand first. Where no result is on file for any of them, that is said once.
    """
    found = due(before, after, change)
    if not found:
        return [], []
    filed = _filed(after, change, found)
    known = any(one.results for one in filed.values())
    rows = sorted((_row(one, filed.get(one.test), known) for one in found), key=lambda row: row[2].tone == "good")
    why = dict.fromkeys(one.because[0] for one in found if ": " in one.because[0])
    said = [] if known else ["no result of these tests is on file for this paint"]
    said += [f"tests are due because of {'; '.join(why)}"] if why else []
    return [Table(("test now due", "method and condition", "on file", "because of"), tuple(rows))], said


def differences(before: Catalog, after: Catalog, change: FormulaChange) -> list[str]:
    """What was measured on both paints by one test, in words: whether they differ by more than the test scatters, the lab's own figure first."""
    file = before.find_formula(change.code)
    if file is None or file.record is None or change.after is None or not after.index(after.settings.folders.results):
        return []
    from formulint.evidence_on_file import held, of_formulas, on_file
    from formulint.result import Results

    kept = of_formulas(after.below(after.settings.folders.results, Results, change.code).values()).get(change.code, [])
    was = {one.test: found for one in held(before, file, file.record, kept) if (found := _newest(one)) is not None}
    said = []
    for one in on_file(after, change.code):
        now, then = _newest(one), was.get(one.test)
        if now is None or then is None or (now.file, now.at) == (then.file, then.at):
            continue
        mine, other = _mean(one.test, now), _mean(one.test, then)
        if mine is not None and other is not None:
            judged = compared(scatter(after.settings, one.test), one.title, other[0], mine[0], (other[1], mine[1]))
            said.append(f"{one.title}, measured before and now: {judged}")
    return said


def _newest(filed: Bearing) -> Reading | None:
    """The newest row that counts for the paint as it is, by the method that is asked for."""
    return next((one for one in filed.results if one.verdict in ("pass", "fail", "review")), None)


def _mean(test: str, row: Reading) -> tuple[Quantity, int] | None:
    """The mean of a row's repeats, and of how many; None of what an eye judged, nobody can read, or is in several units."""
    try:
        found = [read(text, dimensions_of(test)) for text in row.value.split(", ")]
    except Misread:
        return None
    if len({one.unit for one in found}) > 1:
        return None
    if len(found) == 1:
        return found[0], 1
    middle = fsum(one.value for one in found) / len(found)
    return replace(found[0], digits=f"{middle:.4f}".rstrip("0").rstrip(".")), len(found)


def _filed(after: Catalog, change: FormulaChange, found: Sequence[Due]) -> dict[str, Bearing]:
    """What is on file for the tests of the paint as it is now; nothing is looked up where no test is due or no result is kept."""
    if not found or not after.index(after.settings.folders.results):
        return {}
    from formulint.evidence_on_file import on_file  # most repositories keep no results

    return {one.test: one for one in on_file(after, change.code)}


def _row(one: Due, filed: Bearing | None, known: bool) -> tuple[Cell, Cell, Cell, Cell]:
    """A test; what is on file for it is told where there is anything on file for one of them."""
    tones: dict[str, Tone] = {"pass": "good", "fail": "bad"}
    told = Cell(_on_file(filed), tones.get(filed.verdict if filed else "", "warn")) if known else Cell("")
    what = one.because[0].partition(": ")[0]
    more = f" and {len(one.because) - 1} more" if len(one.because) > 1 else ""
    return Cell(one.title), Cell("; ".join(filter(None, (one.method, one.condition)))), told, Cell(what + more, "muted")


def _on_file(filed: Bearing | None) -> str:
    """What was measured, what it comes to and why: ``99 KU: pass, as asked``."""
    if filed is None or not filed.results:
        return "nothing"
    measured = next(one.value for one in filed.results if one.verdict == filed.verdict)
    return f"{measured}: {filed.verdict}, {filed.reason}"
