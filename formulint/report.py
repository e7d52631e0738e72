"""What a report contains, for every way of showing it: facts, findings grouped by record, tables, and the verdict."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, Literal

from msgspec import Struct

from formulint.catalog import Catalog
from formulint.finding import Finding, Level, Mark
from formulint.folding import causes_first, unclosed_sheet
from formulint.judge import Scope
from formulint.premises import assumptions as assumptions

if TYPE_CHECKING:  # most reports have neither
    from formulint.chart import Chart
    from formulint.picture import Picture

CHECKED = {
    "verified": "verified", "practice": "common practice, no source", "memory": "from memory, not verified", "house": "the house's own figure",
}  # fmt: skip
"""How well a figure was checked, in words."""
FEW = 6  # formulas that are named in one line

Tone = Literal["plain", "good", "bad", "warn", "muted"]
Verdict = Literal["pass", "fail", "open", "review"]


class Cell(Struct, frozen=True):
    """A piece of text with the tone in which it is meant; the tone never says more than the text."""

    text: str
    tone: Tone = "plain"


class Table(Struct, frozen=True):
    """Columns by name (``>`` in front: numbers, set to the right) and rows of cells."""

    columns: tuple[str, ...]
    rows: tuple[tuple[Cell, ...], ...]


class Located(Struct, frozen=True):
    """A finding with line and column, and those that it is told in place of; ``said`` is what this report has to say of it besides."""

    finding: Finding
    mark: Mark
    related: tuple[Mark, ...] = ()
    behind: tuple[Located, ...] = ()
    said: str = ""


class Section(Struct, frozen=True):
    """A part of a report: a heading with its findings, tables and remarks.

    ``drawing`` are the lines of a Mermaid diagram with cleaned labels, for where one is drawn; it says no more than the rest.
    ``pictures`` are for a page; their numbers go with them.
    ``chart`` is drawn by those outputs that people look at.
    """

    heading: str
    findings: tuple[Located, ...] = ()
    tables: tuple[Table, ...] = ()
    remarks: tuple[str, ...] = ()
    drawing: tuple[str, ...] = ()
    pictures: tuple[Picture, ...] = ()
    chart: Chart | None = None


class Report(Struct, frozen=True):
    """A whole report; ``facts`` say what was looked at, ``closing`` what that means.

    ``root`` is the folder of the paths, below the top of the repository; ``overview`` is what a long report comes to, for
    outputs in which one does not see the end at once.
    """

    title: str
    facts: tuple[str, ...]
    sections: tuple[Section, ...]
    closing: tuple[str, ...]
    root: str = ""
    overview: Table | None = None

    @property
    def findings(self) -> tuple[Located, ...]:
        """All findings, the weightiest first, each once; each of those that are told as one."""
        shown = (one for section in self.sections for one in section.findings)
        found = dict.fromkeys(single for one in shown for single in (one.behind or (one,)))
        return tuple(sorted(found, key=lambda one: (not one.finding.blocks, -one.finding.level, one.mark)))


def located(catalog: Catalog, findings: Iterable[Finding]) -> tuple[Located, ...]:
    """Findings with their places, ordered by file and line."""
    found = [
        Located(
            finding, catalog.locate(finding.fault.place), tuple(catalog.locate(place) for place in finding.fault.related),
            located(catalog, finding.behind), granted_words(finding),
        )
        for finding in findings
    ]
    return tuple(sorted(found, key=lambda one: (one.mark, one.finding.rule, one.finding.fault.message)))


def granted_words(finding: Finding) -> str:
    """By what a finding may stand, and until when; empty where nobody gave leave."""
    grant = finding.granted
    if grant is None:
        return ""
    if grant.until is None:
        return f"old: {grant.reason}, see {grant.by}"
    reaches = grant.reaches[:FEW]
    more = f" and {len(grant.reaches) - FEW} more" if len(grant.reaches) > FEW else ""
    reach = f"; it reaches {', '.join(reaches)}{more}" if reaches else ""
    return f"conceded until {grant.until} by {grant.by}: {grant.reason}{reach}"


def overall(findings: Iterable[Finding]) -> Verdict:
    """The verdict over all findings: fail before open before review; warnings and notes that fail leave it a pass."""
    weight = {"fail": 3, "open": 2, "review": 1}
    worst = 0
    for finding in (one for one in findings if one.granted is None):
        kind = finding.fault.kind
        if kind == "review" or (kind in weight and finding.level is Level.error):
            worst = max(worst, weight.get(kind, 0))
    words: tuple[Verdict, ...] = ("pass", "review", "open", "fail")
    return words[worst]


def by_record(catalog: Catalog, found: Sequence[Located]) -> tuple[Section, ...]:
    """Findings under the record they are about: first those that are the cause of others, then the worst record; of one record first that it does not add up."""
    groups: dict[str, list[Located]] = {}
    for one in found:
        groups.setdefault(one.finding.formula or one.finding.material or one.mark.path, []).append(one)
    sections = [
        Section(heading(catalog, code), tuple(sorted(items, key=lambda one: (not unclosed_sheet(one.finding), not one.finding.behind, -one.finding.level))))
        for code, items in groups.items()
    ]
    return tuple(sorted(sections, key=_weight))


def _weight(section: Section) -> tuple[bool, int]:
    """Where a section stands among others: those with a cause of other findings first, then by level."""
    findings = [one.finding for one in section.findings]
    return all(not one.behind for one in findings), -max(one.level for one in findings)


def heading(catalog: Catalog, code: str) -> str:
    """Code and name of a record."""
    formula, material = catalog.find_formula(code), catalog.find_material(code)
    if formula is not None and formula.record is not None:
        return f"{code}  {formula.record.name} ({formula.record.state}, revision {formula.record.revision})"
    if material is not None and material.record is not None:
        return f"{code}  {material.record.name}"
    return code


def counted(number: int, word: str) -> str:
    """``1 formula``, ``8 formulas``."""
    return f"{number} {word}" if number == 1 else f"{number} {word}s"


def summary(findings: Sequence[Finding]) -> str:
    """How many findings of each weight; those that may stand are counted apart."""
    conceded, stood = sum(1 for one in findings if one.granted is not None and not one.stood), sum(1 for one in findings if one.stood)
    findings = [one for one in findings if one.granted is None]
    stops = sum(1 for one in findings if one.blocks and one.fault.kind != "open")
    opens = [one for one in findings if one.fault.kind == "open" and one.level is not Level.note]
    stopping = sum(1 for one in opens if one.blocks)
    reviews = sum(1 for one in findings if one.fault.kind == "review")
    warnings = sum(1 for one in findings if one.level is Level.warning and one.fault.kind == "fail")
    notes = sum(1 for one in findings if one.level is Level.note)
    parts = [counted(stops, "error")] if stops else ["no errors"]
    parts += [f"{stopping} open that stop"] if stopping else []
    parts += [f"{len(opens) - stopping} open"] if len(opens) > stopping else []
    parts += [f"{reviews} to review"] if reviews else []
    parts += [counted(warnings, "warning")] if warnings else []
    parts += [counted(notes, "note")] if notes else []
    parts += [f"{conceded} conceded"] if conceded else []
    parts += [f"{stood} old"] if stood else []
    return ", ".join(parts)


def lint(catalog: Catalog, scope: Scope, findings: Sequence[Finding], notes: bool) -> Report:
    """The report of what was judged; notes and old findings are counted unless they are asked for."""
    seen = shown(findings, notes)
    sections = by_record(catalog, located(catalog, causes_first(seen)))
    parts = ((len(scope.formulas), "formula"), (len(scope.materials), "material"), (len(scope.results), "file"))
    judged = " and ".join(counted(number, word) + (" of results" if word == "file" else "") for number, word in parts if number)
    closing = [f"{judged or 'no record'} judged: {summary(findings)}"]
    closing += left_out(findings, notes)
    stops = [one for one in causes_first(findings) if one.blocks]
    closing += [f"STOP {stop_line(catalog, one)}" for one in stops[:3]]
    closing += [f"and {len(stops) - 3} more that stop"] if len(stops) > 3 else []
    closing += mend_lines(findings)
    closing.append("This stops a commit." if stops else "Nothing stops a commit.")
    return Report(title_line(catalog), assumptions(catalog), sections, (*closing, CAUTION))


def shown(findings: Iterable[Finding], notes: bool) -> list[Finding]:
    """The findings that are told one by one: without notes and old ones, unless they are asked for."""
    return [one for one in findings if notes or not (one.level is Level.note or one.stood)]


def left_out(findings: Sequence[Finding], notes: bool) -> list[str]:
    """How many are not told one by one."""
    folded, stood = sum(1 for one in findings if one.level is Level.note and not one.stood), sum(1 for one in findings if one.stood)
    parts = [counted(folded, "note")] if folded else []
    parts += [counted(stood, "old finding")] if stood else []
    return [f"{' and '.join(parts)} not shown (--notes shows them)"] if parts and not notes else []


def mend_lines(findings: Iterable[Finding]) -> tuple[str, ...]:
    """Which command writes what was computed, where anything was."""
    mended = [one for one in findings if any(remedy.edits for remedy in one.remedies)]
    codes = sorted({one.formula for one in mended})
    if not codes:
        return ()
    notes = "" if any(one.level is not Level.note for one in mended if one.formula == codes[0]) else " --notes"
    more = f" (and so for {', '.join(codes[1:3])}{' and others' if len(codes) > 3 else ''})" if len(codes) > 1 else ""
    return (f"formulint mend {codes[0]}{notes} shows what can be written for you{more}",)


def stop_line(catalog: Catalog, finding: Finding) -> str:
    """What stops, in one line: where, if it is in a file, and by which rule; the finding itself may have scrolled away."""
    mark = catalog.locate(finding.fault.place)
    line = f", line {mark.line}" if mark.line else ""
    return f"{mark.path}{line}: {finding.rule}" if mark.path else finding.rule


CAUTION = "Screening by calculation: safety data sheets, local codes and qualified people decide."


def state_words(label: str) -> str:
    """A state in plain words; a commit by its id."""
    return {"work tree": "the files as they lie here", "index": "what is staged"}.get(label, label)


def title_line(catalog: Catalog) -> str:
    """What was looked at, and the day it was judged by."""
    return f"formulint: {state_words(catalog.snapshot.label)}, judged as on {catalog.today} ({catalog.snapshot.date_origin})"
