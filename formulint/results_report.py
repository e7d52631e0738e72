"""The results on file for a formula: as a report, as data, and as a file to be filled in for what is missing."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from msgspec import Struct

from formulint.bearing import Bearing, Reading, asked_words
from formulint.catalog import Catalog
from formulint.errors import UserError
from formulint.evidence_on_file import on_file
from formulint.finding import Place
from formulint.fingerprints import Digests, digests
from formulint.formula import Formula, TestSpec
from formulint.report import CAUTION, Cell, Report, Section, Table, Tone, counted, heading, title_line
from formulint.standing import in_toml

TONES: dict[str, Tone] = {"pass": "good", "fail": "bad", "open": "warn", "review": "warn"}
COLUMNS = ("test", "asked", "measured", "on, by", "verdict", "why")
PLAIN = "as asked"


class OnFile(Struct, frozen=True):
    """A formula with what is on file for each of its tests, and what it is known by."""

    formula: Formula
    path: str
    digests: Digests
    bearings: tuple[Bearing, ...]

    @property
    def lacking(self) -> tuple[Bearing, ...]:
        """The tests without a result that passes."""
        return tuple(one for one in self.bearings if one.verdict != "pass")


def gathered(catalog: Catalog, code: str) -> OnFile:
    """What is on file for a formula.

    Raises
    ------
    UserError
        Where the formula cannot be read.
    """
    file = catalog.find_formula(code)
    if file is None or file.record is None:
        raise UserError(f"{code} cannot be read as a formula", "formulint lint says what is wrong with it")
    return OnFile(file.record, file.name, digests(catalog, file.record)[0], on_file(catalog, code))


def asked_here(asked: TestSpec) -> str:
    """What is asked with its method and time: ``95 KU to 105 KU, ASTM D562, after 24 h``; the rest stands in the sheet."""
    after = f"after {asked.after.text}" if asked.after is not None else ""
    age = f"counts for {asked.valid_for.text}" if asked.valid_for is not None else ""
    return ", ".join(word for word in (asked_words(asked), asked.method, after, age) if word)


def report(catalog: Catalog, found: Sequence[OnFile]) -> Report:
    """The report: one table a formula, every row on file under its test."""
    sections = tuple(_section(catalog, one) for one in found)
    lacking = [one for one in found if one.lacking]
    tests = sum(len(one.bearings) for one in found)
    passed = tests - sum(len(one.lacking) for one in found)
    closing = [f"{passed} of {counted(tests, 'test')} with a result that passes"]
    closing += [f"{one.formula.code} lacks: {', '.join(test.title for test in one.lacking)}" for one in lacking]
    closing += [f"formulint results {lacking[0].formula.code} --blank writes a file to be filled in"] if lacking else []
    return Report(title_line(catalog), (), sections, (*closing, CAUTION))


def _section(catalog: Catalog, one: OnFile) -> Section:
    rows = tuple(row for bearing in one.bearings for row in _rows(bearing))
    remarks = [f"composition {one.digests.composition}", f"data {one.digests.data}", f"making {one.digests.making}"]
    remarks += [] if one.bearings else [f"{one.formula.code} asks for no test"]
    return Section(heading(catalog, one.formula.code), tables=(Table(COLUMNS, rows),) if rows else (), remarks=tuple(remarks))


def _rows(one: Bearing) -> Iterable[tuple[Cell, ...]]:
    """A test with what all results come to, then each result on a line of its own, unless there is just one."""
    head = (Cell(one.title), Cell(asked_here(one.asked)))
    verdict = (Cell(one.verdict, TONES[one.verdict]), Cell("" if plain(one) else one.reason))
    if len(one.results) == 1:
        yield (*head, *_measured(one.results[0]), *verdict)
        return
    yield (*head, Cell(counted(len(one.results), "result") if one.results else "nothing", "muted"), Cell(""), *verdict)
    for row in one.results:
        yield (Cell(""), Cell(""), *_measured(row), Cell(row.verdict, TONES[row.verdict]), Cell("" if plain(row) else row.reason))


def _measured(row: Reading) -> tuple[Cell, Cell]:
    sample = f", {row.sample}" if row.sample else ""
    return Cell(row.value), Cell(f"{row.measured_on}, {row.by}{sample}")


def plain(one: Bearing | Reading) -> bool:
    """True for what passes on the paint as it stands, so that nothing has to be said of it."""
    return one.verdict == "pass" and one.reason.startswith(PLAIN) and "carried over" not in one.reason


def objects(catalog: Catalog, found: Sequence[OnFile]) -> dict[str, object]:
    """The ``results`` object."""
    return {"format": "formulint/results/1", "state": catalog.snapshot.label, "date": str(catalog.today), "formulas": [_object(catalog, one) for one in found]}


def _object(catalog: Catalog, one: OnFile) -> dict[str, object]:
    return {
        "code": one.formula.code,
        "revision": one.formula.revision,
        "state": one.formula.state,
        "digest": {"composition": one.digests.composition, "making": one.digests.making, "data": one.digests.data},
        "tests": [_test(catalog, test) for test in one.bearings],
        "missing": [test.test for test in one.lacking],
    }


def _test(catalog: Catalog, one: Bearing) -> dict[str, object]:
    asked = one.asked
    rows = []
    for row in one.results:
        mark = catalog.locate(Place(row.file, ("result", row.at)))
        rows.append(
            {
                "value": row.value, "method": row.method, "measured_on": str(row.measured_on), "by": row.by, "sample": row.sample or None,
                "verdict": row.verdict, "reason": row.reason, "path": mark.path, "line": mark.line,
            }
        )  # fmt: skip
    return {
        "test": one.test, "method": asked.method, "min": asked.min, "max": asked.max, "after": None if asked.after is None else asked.after.text,
        "condition": asked.condition or None, "verdict": one.verdict, "reason": one.reason, "results": rows,
    }  # fmt: skip


def blank(catalog: Catalog, one: OnFile) -> str:
    """A file of results for what is missing, to be filled in; the values are left empty, so that none passes by itself."""
    code = f"{one.formula.code}-r{one.formula.revision}"
    lines = [
        f"# Save as {catalog.settings.folders.results}/{code}.toml, or add the rows to that file; fill in what was measured, take out what was not.",
        f'code     = "{code}"',
        f'formula  = "{one.formula.code}"',
        f"revision = {one.formula.revision}",
        f'digest   = {{ composition = "{one.digests.composition}", data = "{one.digests.data}" }}',
    ]
    for test in one.lacking:
        asked = test.asked
        lines += ["", "[[result]]", f'test        = "{test.test}"  # {asked_words(asked)}', f"method      = {in_toml(asked.method)}", 'value       = ""']
        lines += [f'after       = "{asked.after.text}"'] if asked.after is not None else []
        lines += [f"condition   = {in_toml(asked.condition)}"] if asked.condition else []
        lines += [f"measured_on = {catalog.today}", 'by          = ""']
    return "\n".join(lines) + "\n"
