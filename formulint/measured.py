"""Results of tests, judged: their records as such, and what they show of the formulas they name."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence

from msgspec.structs import replace

from formulint.bearing import same_method
from formulint.catalog import Catalog, File, stem
from formulint.errors import Misread
from formulint.evidence_on_file import held, of_formulas
from formulint.finding import Fault, Finding, Level, Place
from formulint.fingerprints import digests
from formulint.formula import Formula
from formulint.judge import FORMAT_SOURCE, Judge, Scope
from formulint.kinds.evidence import Evidence
from formulint.proposal import notice
from formulint.quantity import read
from formulint.result import EYE, Results, Row
from formulint.revision import MADE
from formulint.rulebook import TestWords
from formulint.settings import Folders
from formulint.snapshot import FileChange
from formulint.suggest import closest, similar
from formulint.vocabulary import dimensions_of


def findings(judge: Judge, scope: Scope) -> tuple[Finding, ...]:
    """What is wrong with the results of a scope, and what they show of the formulas they name.

    Without results in the scope nothing is read. Formulas that are to be ``proved`` must have a result that passes for
    each of their tests, and what keeps one from passing is an error; of all others a result never stops anything.
    """
    if not scope.results and not scope.proved:
        return ()
    catalog = judge.catalog
    files = catalog.below(catalog.settings.folders.results, Results)
    touched = [files[name] for name in scope.results if name in files]
    found = [*_records(judge, touched)]
    codes = {one.record.formula for one in touched if one.record is not None} | scope.proved
    kept = of_formulas(files.values())
    for code in sorted(codes):
        file = catalog.find_formula(code)
        if file is not None and file.record is not None:
            found += _shown(judge, file, file.record, kept.get(code, []), code in scope.proved)
    if judge.leave is None:
        return tuple(dict.fromkeys(found))
    return tuple(dict.fromkeys((*judge.leave.over(iter(found)), *judge.leave.unneeded(codes))))


# --- what they show ----------------------------------------------------------------------------------------------


def _shown(judge: Judge, file: File[Formula], formula: Formula, kept: list[File[Results]], proved: bool) -> Iterator[Finding]:
    """What the rules say of the results of one formula; of several that say the same, the weightiest."""
    on_file = held(judge.catalog, file, formula, kept)
    told: dict[Fault, Finding] = {}
    for entry in judge.catalog.rulebook.in_force():
        rule = entry.rule
        if isinstance(rule, Evidence) and rule.concerns(formula):
            for fault in rule.check_results(formula, file.name, on_file):
                one = judge.stamp(entry, fault, formula.state, formula.code, "")
                if fault not in told or one.level > told[fault].level:
                    told[fault] = one
    yield from (_proving(one) if proved else _noting(one) for one in told.values())


def _proving(finding: Finding) -> Finding:
    return replace(finding, level=Level.error)


def _noting(finding: Finding) -> Finding:
    """A finding that stops nothing and asks for no decision, since results are noted only."""
    fault = replace(finding.fault, kind="fail") if finding.fault.kind == "review" else finding.fault
    return replace(finding, level=min(finding.level, Level.warning), fault=fault)


# --- the records -------------------------------------------------------------------------------------------------


def _records(judge: Judge, touched: Collection[File[Results]]) -> Iterator[Finding]:
    yield from judge.kept(touched, judge.catalog.index(judge.catalog.settings.folders.results))
    words = judge.catalog.shipped.part_as("vocabulary", TestWords)
    methods = {one.id: one.methods for one in words.test}
    for file in touched:
        if file.record is not None:
            yield from _consistent(judge.catalog, file.record, file.name, methods)


def _consistent(catalog: Catalog, record: Results, path: str, methods: Mapping[str, tuple[str, ...]]) -> Iterator[Finding]:
    file = catalog.find_formula(record.formula)
    if file is None:
        near = similar(record.formula, [stem(name) for name in catalog.formula_files()])
        hint = f"did you mean {near}?" if near else "results stay with their formula: withdraw it rather than delete it, or take them away too"
        words = f"there is no formula {record.formula}"
        yield _finding("record/known-formula", Level.error, Fault(Place(path, ("formula",)), words, hint), "")
    formula = None if file is None else file.record
    if formula is not None and record.revision > formula.revision:
        words = f"{record.formula} stands at revision {formula.revision}, and this is a result of revision {record.revision}"
        yield _finding("record/known-formula", Level.warning, Fault(Place(path, ("revision",)), words, "correct the revision"), record.formula)
    seen: dict[Row, int] = {}
    for at, row in enumerate(record.result):
        if seen.setdefault(row, at) != at:
            words = f"row {at + 1} says the same as row {seen[row] + 1}"
            fault = Fault(Place(path, ("result", at)), words, "take one out; repeats of a test are several values of one row", related=(Place(path, ("result", seen[row])),))
            yield _finding("record/consistent", Level.error, fault, record.formula)
        yield from (_finding("record/consistent", Level.error, fault, record.formula) for fault in _values(row, at, path))
        asked = None if formula is None else formula.tests.get(row.test)
        known = (*methods.get(row.test, ()), *(() if asked is None else (asked.method,)))
        if not any(same_method(one, row.method) for one in known):
            near = closest(row.method, known)
            words = f'nobody asks for "{row.method}" as a method of {row.test.replace("_", " ")}'
            hint = f'did you mean "{near}"?' if near else "known: " + ", ".join(known)
            yield _finding("record/known-method", Level.warning, Fault(Place(path, ("result", at, "method")), words, hint), record.formula)


def _values(row: Row, at: int, path: str) -> Iterator[Fault]:
    """Values that are neither a figure of the test nor a word."""
    for text in row.values:
        try:
            if text not in EYE:
                read(text, dimensions_of(row.test))
        except Misread as error:
            yield Fault(Place(path, ("result", at, "value")), error.message, error.remedy or 'a test that is judged by eye has "pass" or "fail"')


def _finding(rule: str, level: Level, fault: Fault, formula: str) -> Finding:
    return Finding(rule, level, fault, formula, "", "", FORMAT_SOURCE)


# --- what a proposal does to them --------------------------------------------------------------------------------


def a_result(name: str, folders: Folders) -> bool:
    """True for a name in the folder of results."""
    return name.startswith(f"{folders.results}/")


def to_prove(before: Catalog, after: Catalog, formulas: Iterable[str], results: Iterable[str]) -> frozenset[str]:
    """Codes of the formulas in production that must have a result that passes for each test, where the settings require results.

    Of those that a proposal touches, the ones that are another paint than on the base, or made of other figures, or asked
    for other tests, or new in production; and those whose results it touches. What stands is not asked for again.
    """
    if after.settings.results != "required":
        return frozenset()
    files = after.below(after.settings.folders.results, Results)
    named = {one.formula for name in results if name in files and (one := files[name].record) is not None}
    sold = {code for code in {stem(name) for name in formulas} | named if (sheet := after.sheet(code)) is not None and sheet.state == "production"}
    return frozenset(code for code in sold if code in named or _differs(before, after, code))


def _differs(before: Catalog, after: Catalog, code: str) -> bool:
    old, new = before.sheet(code), after.sheet(code)
    if old is None or new is None or old.state != new.state or old.tests != new.tests:
        return True
    was, now = digests(before, old)[0], digests(after, new)[0]
    return (was.composition, was.data) != (now.composition, now.data)


def rewritten(before: Catalog, after: Catalog, changes: Iterable[FileChange]) -> Iterator[Finding]:
    """Results of paints that are made, before or after it, which a proposal changes or takes away; what it adds is welcome."""
    folders = after.settings.folders
    listed = {stem(one.name): one.name for one in changes if a_result(one.name, folders) and one.old}
    if not listed:
        return
    was, now = ({stem(name): file for name, file in one.below(folders.results, Results).items()} for one in (before, after))
    for code, name in listed.items():
        old, new = was[code].record if code in was else None, now[code].record if code in now else None
        sheets = () if old is None else (before.sheet(old.formula), after.sheet(old.formula))
        if old is None or not any(sheet is not None and sheet.state in MADE for sheet in sheets):
            continue
        place = Place(now[code].name if code in now else name)
        head = new is not None and (new.formula, new.revision, new.digest) == (old.formula, old.revision, old.digest)
        gone = [row for row in old.result if new is None or row not in new.result]
        words = "is taken away" if new is None else "is said to be of another paint" if not head else f"is changed: {_listed(gone)}" if gone else ""
        if words:
            told = f"{code}, results of {old.formula}, {words}"
            helps = "the formula approver decides: what was measured stays on file; a second measurement is another row"
            yield notice("evidence", place, told, helps, old.formula)


def _listed(rows: Sequence[Row]) -> str:
    told = [f"{row.test.replace('_', ' ')} {', '.join(row.values)} of {row.measured_on}" for row in rows[:3]]
    return ", ".join(told) + (f" and {len(rows) - 3} more" if len(rows) > 3 else "")
