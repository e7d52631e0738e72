"""Results of tests: which count for the paint as it is, what they come to, and what is wrong with their records."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from pathlib import Path

import pytest
import tomli
from hypothesis import given
from hypothesis import strategies as st
from in_memory import SETTINGS, files, of_files, shipped
from msgspec import Struct, convert
from msgspec.structs import replace
from repository import Table, key, text, value
from story import in_kilograms

from formulint.bearing import Bearing, same_method
from formulint.catalog import Catalog
from formulint.compare import FormulaChange, formulas
from formulint.due_report import differences, due_now, due_told
from formulint.evidence_on_file import on_file
from formulint.finding import Finding
from formulint.fingerprints import digests
from formulint.judge import Judge, Scope
from formulint.measured import findings
from formulint.scope import everything, named

HERE = Path(__file__).parent
OTHER = {"composition": "c1:" + "0" * 64, "data": "d1:" + "0" * 64, "making": "m1:" + "0" * 64}
WATER: Table = {"name": "water", "functions": ["water"], "density": "1 kg/L", "nonvolatile": "0 %", "water": "100 %"}
LATEX: Table = {"name": "latex", "functions": ["binder"], "density": "1.08 kg/L", "nonvolatile": "50 %", "water": "50 %", "nonvolatile_density": "1.17 kg/L"}
HEAD = {"name": "white", "revision": 1, "class": "flat", "markets": ["us-national"], "batch": "100 kg"}
LINES = [{"material": "LATEX", "amount": "40.0 kg"}, {"material": "W", "amount": "60.0 kg"}]
MEAN = '[[rule]]\nid = "mean"\nkind = "evidence"\nlevel = "note"\ntitle = "Made up."\nwhy = "Made up."\ncheck = "within-limits"\nmean = true\nsource = { document = "made up", checked = "house" }\n'


class Case(Struct, frozen=True, forbid_unknown_fields=True):
    """A row of results and what it comes to."""

    name: str
    row: dict[str, object]
    verdict: str
    says: str = ""
    digest: str = ""
    mean: bool = False


class Cases(Struct, frozen=True, forbid_unknown_fields=True):
    """The cases of the file, the tests that the paint asks for, and the day."""

    today: date
    asked: dict[str, dict[str, object]]
    case: tuple[Case, ...]


CASES = convert(tomli.loads((HERE / "cases" / "results" / "bearing.toml").read_text(encoding="utf-8")), Cases)


def sheet(tests: Mapping[str, object], lines: Sequence[Table] = LINES, state: str = "pilot", revision: int = 1) -> Table:
    """A paint of latex and water that asks for these tests."""
    return {**HEAD, "state": state, "revision": revision, "tests": tests, "stage": [{"name": "Mix", "kind": "letdown", "additions": lines}]}


def rows(code: str, formula: str, digest: Mapping[str, str], *measured: Mapping[str, object]) -> str:
    """A file of results."""
    head = text({"code": code, "formula": formula, "revision": 1, "digest": digest})
    told = ({"measured_on": date(2026, 5, 1), "by": "QC", **row} for row in measured)
    return head + "".join("\n[[result]]\n" + "".join(f"{key(name)} = {value(raw)}\n" for name, raw in row.items()) for row in told)


def works(formula: Table, more: Mapping[str, str] | None = None, settings: Table = SETTINGS, today: date = CASES.today) -> Catalog:
    """The catalog of one formula, T-1, and further files."""
    found = of_files({**files({"W": WATER, "LATEX": LATEX}, {"T-1": formula}, settings), **(more or {})})
    return Catalog(found.snapshot, found.shipped, today)


def prints(catalog: Catalog, code: str = "T-1") -> dict[str, str]:
    """The digests of a formula as a result names them."""
    formula = catalog.sheet(code)
    assert formula is not None
    one = digests(catalog, formula)[0]
    return {"composition": one.composition, "data": one.data, "making": one.making}


def measured(formula: Table, *row: Mapping[str, object], of: Mapping[str, str] | None = None, house: str = "", today: date = CASES.today) -> Catalog:
    """The same with a file of results of this paint, or of the one that ``of`` says."""
    digest = {**prints(works(formula)), **(of or {})}
    return works(formula, {"results/T-1-r1.toml": rows("T-1-r1", "T-1", digest, *row), **({"rules/house.toml": house} if house else {})}, today=today)


def of_test(catalog: Catalog, test: object) -> Bearing:
    """What is on file for one test."""
    return next(one for one in on_file(catalog, "T-1") if one.test == test)


def said(catalog: Catalog, scope: Scope | None = None) -> list[tuple[str, str, str]]:
    """Rule, level and kind of everything that is said of the results."""
    return [(one.rule, one.level.name, one.fault.kind) for one in told(catalog, scope)]


def told(catalog: Catalog, scope: Scope | None = None) -> tuple[Finding, ...]:
    """Everything that is said of the results."""
    return findings(Judge(catalog), scope or everything(catalog))


# --- which count, and what they come to --------------------------------------------------------------------------


@pytest.mark.parametrize("case", CASES.case, ids=lambda case: case.name)
def test_what_a_row_comes_to(case: Case) -> None:
    of = {case.digest: OTHER[case.digest]} if case.digest else {}
    found = of_test(measured(sheet(CASES.asked), case.row, of=of, house=MEAN if case.mean else ""), case.row["test"])
    assert (found.verdict, found.results[0].verdict) == (case.verdict, case.verdict), found.reason
    assert case.says in found.reason


def test_every_shipped_rule_of_results_speaks_of_some_case() -> None:
    ids = {entry.id for part in shipped().general() if part.startswith("results/") for entry in shipped().rules(part)}
    heard = set()
    for case in CASES.case:
        of = {case.digest: OTHER[case.digest]} if case.digest else {}
        heard |= {rule for rule, _, _ in said(measured(sheet(CASES.asked), case.row, of=of))}
    assert len(ids) == 7
    assert ids - heard == set()


def test_a_test_without_result_is_open() -> None:
    found = on_file(works(sheet(CASES.asked)), "T-1")
    assert {(one.verdict, one.reason) for one in found} == {("open", "no result on file")}
    assert [one.test for one in found] == list(CASES.asked)


def test_nothing_is_on_file_for_what_is_not_there() -> None:
    assert on_file(works(sheet(CASES.asked)), "T-2") == ()
    assert on_file(works(sheet({})), "T-1") == ()


@pytest.mark.parametrize(("value", "due"), [("400", False), ("9", True)])
def test_a_test_with_a_passing_result_of_the_paint_as_it_is_is_no_longer_due(value: str, due: bool) -> None:
    more = [{**LINES[0], "amount": "50.0 kg"}, {**LINES[1], "amount": "50.0 kg"}]
    asked = {"scrub": {"method": "ASTM D2486", "min": "300"}}
    before, after = works(sheet(asked)), measured(sheet(asked, more, revision=2), {"test": "scrub", "method": "ASTM D2486", "value": value})
    (change,) = formulas(before, after, ["T-1"])
    assert ("scrub" in [one.test for one in due_now(before, after, change)]) is due


def proposed(value: object, settings: Table = SETTINGS, filed: bool = True) -> tuple[Catalog, Catalog, FormulaChange]:
    """A paint with more latex than before; both were scrubbed, the old one came to 880 cycles, ``filed`` before the proposal or with it."""
    asked = {"scrub": {"method": "ASTM D2486", "min": "300"}}
    old, new = sheet(asked), sheet(asked, [{**LINES[0], "amount": "50.0 kg"}, {**LINES[1], "amount": "50.0 kg"}], revision=2)
    row = {"test": "scrub", "method": "ASTM D2486"}
    first = {"results/A.toml": rows("A", "T-1", prints(works(old)), {**row, "value": "880"})}
    second = {"results/B.toml": rows("B", "T-1", prints(works(new)), {**row, "value": value}).replace("revision = 1", "revision = 2")}
    before, after = works(old, first if filed else {}, settings), works(new, {**first, **second}, settings)
    (change,) = formulas(before, after, ["T-1"])
    return before, after, change


def test_a_review_says_what_is_on_file_and_what_is_missing() -> None:
    (table,), said = due_told(*proposed("820"))
    assert {row[0].text: row[2].text for row in table.rows}["Scrub resistance"] == "820: pass, as asked, at least 300"
    assert {row[2].text for row in table.rows[:-1]} == {"nothing"} and table.rows[-1][0].text == "Scrub resistance"
    assert not any("no result" in one for one in said)


CAREFUL = {**SETTINGS, "repeatability": {"scrub": {"relative": "5 %"}}}


@pytest.mark.parametrize(
    ("value", "settings", "words"),
    [
        ("820", SETTINGS, "880 against 820: within the scatter of the test (30 % of the value, memory); treat as equal"),
        ("820", CAREFUL, "880 against 820: they differ by more than the scatter of the test (5 % of the value, the lab's own)"),
        (["310", "350"], SETTINGS, "880 against 330: they differ by more than"),
    ],
)
@pytest.mark.parametrize("filed", [True, False])
def test_a_review_says_whether_what_was_measured_differs(value: object, settings: Table, words: str, filed: bool) -> None:
    (said,) = differences(*proposed(value, settings, filed))
    assert said.startswith(f"scrub, measured before and now: {words}")


GOOD = {"test": "gloss_60", "method": "ASTM D523", "value": "2"}
BAD = {**GOOD, "value": "9", "measured_on": date(2026, 4, 1)}


@pytest.mark.parametrize(
    ("measured_rows", "verdict"),
    [
        ((GOOD, BAD), "fail"),  # measuring again does not undo it
        ((GOOD, {**BAD, "method": "ISO 2813"}), "pass"),
        (({**GOOD, "method": "ISO 2813"}, {**GOOD, "measured_on": date(2027, 1, 1)}), "open"),
        ((GOOD, {**GOOD, "value": "2.5"}), "pass"),
    ],
)
def test_what_several_rows_come_to(measured_rows: tuple[dict[str, object], ...], verdict: str) -> None:
    found = of_test(measured(sheet(CASES.asked), *measured_rows), "gloss_60")
    assert (found.verdict, len(found.results)) == (verdict, len(measured_rows))


def test_a_limit_that_cannot_be_read_lets_nothing_pass() -> None:
    found = of_test(measured(sheet({"gloss_60": {"method": "ASTM D523", "max": "3 KU"}}), GOOD), "gloss_60")
    assert (found.verdict, found.cause) == ("open", "scale")


@pytest.mark.parametrize(
    ("asked", "stated", "same"),
    [
        ("ISO 2813", "ISO 2813:2014", True), ("ISO 2884", "ISO 2884-1", False), ("ASTM D2486-06", "ASTM D2486", False), ("in-house", "In-House", True),
    ],
)  # fmt: skip
def test_editions_of_a_method(asked: str, stated: str, same: bool) -> None:
    assert same_method(asked, stated) is same


@given(st.integers(1, 999), st.integers(1, 999))
def test_a_result_of_another_composition_never_counts(measured_on: int, now: int) -> None:
    first, last = (sheet(CASES.asked, [{**LINES[0], "amount": f"{kg} kg"}, LINES[1]]) for kg in (measured_on, now))
    found = of_test(works(last, {"results/A.toml": rows("A", "T-1", prints(works(first)), GOOD)}), "gloss_60")
    assert (found.verdict == "pass") == (measured_on == now)


@given(st.lists(st.sampled_from(["T-101", "T-140"]), min_size=1, max_size=1), st.integers(0, 3))
def test_exact_rewriting_keeps_results(codes: list[str], comments: int) -> None:
    example = {path.relative_to(HERE.parent / "example_repo").as_posix(): path.read_text(encoding="utf-8") for path in (HERE.parent / "example_repo").glob("*/*.toml")}
    example = {name: raw for name, raw in example.items() if not name.startswith("rules/")} | {"formulint.toml": 'format = 1\n'}
    name = f"formulas/{codes[0]}.toml"
    example["results/A.toml"] = rows("A", codes[0], prints(of_files(example), codes[0]), {**GOOD, "value": "50"})
    example[name] = "# seen\n" * comments + in_kilograms()(example[name])
    later = of_files(example)
    found = next(one for one in on_file(Catalog(later.snapshot, later.shipped, CASES.today), codes[0]) if one.test == "gloss_60")
    assert found.cause in ("", "limits") and "carried" not in found.reason


# --- records -----------------------------------------------------------------------------------------------------


def record(more: Mapping[str, str]) -> Catalog:
    """The works with further files; ``{composition}`` and ``{data}`` stand for the digests of T-1."""
    digest = prints(works(sheet(CASES.asked)))
    filled = {name: raw.replace("{composition}", digest["composition"]).replace("{data}", digest["data"]) for name, raw in more.items()}
    return works(sheet(CASES.asked), filled)


FILE = rows("A", "T-1", {"composition": "{composition}", "data": "{data}"}, GOOD)
WRONG = {
    "another name": ({"results/B.toml": FILE}, "record/code-is-file-name", "rename the file"),
    "twice": ({"results/A.toml": FILE, "results/old/A.toml": FILE}, "record/one-file-per-code", "another code"),
    "no such formula": ({"results/A.toml": FILE.replace('"T-1"', '"T-11"')}, "record/known-formula", "did you mean T-1?"),
    "a revision that is not there yet": ({"results/A.toml": FILE.replace("revision = 1", "revision = 2")}, "record/known-formula", "correct the revision"),
    "no such test": ({"results/A.toml": FILE.replace("gloss_60", "gloss_61")}, "record/readable", "gloss_60"),
    "no such method": ({"results/A.toml": FILE.replace("D523", "D532")}, "record/known-method", 'did you mean "ASTM D523"?'),
    "a unit of something else": ({"results/A.toml": FILE.replace('"2"', '"2 KU"')}, "record/consistent", ""),
    "the same row twice": ({"results/A.toml": FILE + FILE[FILE.index("\n[[result]]") :]}, "record/consistent", "repeats of a test"),
    "no digest": ({"results/A.toml": FILE.replace("c1:", "c2:").replace("{composition}", "nothing")}, "record/readable", "c1: and 64 digits"),
    "no value": ({"results/A.toml": FILE.replace('value = "2"', 'value = ""')}, "record/readable", ""),
}


@pytest.mark.parametrize(("more", "rule", "words"), WRONG.values(), ids=WRONG.keys())
def test_what_is_wrong_with_a_record(more: dict[str, str], rule: str, words: str) -> None:
    found = [one for one in told(record(more)) if one.rule == rule]
    assert found and words in f"{found[0].fault.message} {found[0].fault.remedy}", told(record(more))


def test_a_record_in_order_is_not_spoken_of() -> None:
    assert {one.rule for one in told(record({"results/A.toml": FILE}))} == {"results/test-on-file"}


def test_a_record_is_named_by_its_code() -> None:
    assert named(record({"results/A.toml": FILE}), ["A"]).results == ("results/A.toml",)


# --- what rules say ----------------------------------------------------------------------------------------------

SPOKEN = {
    "outside": ({"value": "9"}, {}, ("results/within-limits", "warning", "fail")),
    "another composition": ({}, {"composition": OTHER["composition"]}, ("results/same-composition", "note", "open")),
    "other figures": ({}, {"data": OTHER["data"]}, ("results/same-figures", "warning", "fail")),
    "another method": ({"method": "ISO 2813"}, {}, ("results/same-method", "note", "open")),
    "in the future": ({"measured_on": date(2026, 6, 2)}, {}, ("results/measured-in-future", "warning", "fail")),
}
ONE = {"gloss_60": CASES.asked["gloss_60"]}


@pytest.mark.parametrize(("row", "of", "finding"), SPOKEN.values(), ids=SPOKEN.keys())
def test_what_is_said_where_results_are_noted(row: dict[str, object], of: dict[str, str], finding: tuple[str, str, str]) -> None:
    catalog = measured(sheet(ONE, state="production"), {**GOOD, **row}, of=of)
    assert said(catalog) == [finding]


@pytest.mark.parametrize(("row", "of", "finding"), SPOKEN.values(), ids=SPOKEN.keys())
def test_what_must_be_proved_is_an_error(row: dict[str, object], of: dict[str, str], finding: tuple[str, str, str]) -> None:
    catalog = measured(sheet(ONE, state="production"), {**GOOD, **row}, of=of)
    kind = "review" if finding[0] == "results/same-figures" else finding[2]
    assert said(catalog, replace(everything(catalog), proved=frozenset({"T-1"}))) == [(finding[0], "error", kind)]


LEAVE = 'code = "C-001"\nrule = "results/within-limits"\nformula = "T-1"\nrevision = 1\nreason = "old gauge"\napproved_by = "lab@example.org"\nexpires = 2026-12-31\n'
LAB = {**SETTINGS, "approvers": {"formula": ["lab@example.org"]}}


@pytest.mark.parametrize(("value", "needed"), [("9", True), ("2", False)], ids=["outside", "inside"])
def test_a_concession_for_a_result_is_needed_only_where_the_result_is_outside(value: str, needed: bool) -> None:
    paint = sheet(ONE, state="production")
    file = rows("T-1-r1", "T-1", prints(works(paint)), {**GOOD, "value": value})
    catalog = works(paint, {"results/T-1-r1.toml": file, "concessions/C-001.toml": LEAVE}, LAB)
    judge, scope = Judge(catalog), everything(catalog)
    spoken = {one.rule for one in (*judge.findings(scope), *(one for one in findings(judge, scope) if not one.granted))}
    assert ("concession/needed" not in spoken) == needed
    assert "results/within-limits" not in spoken


def test_a_rule_of_the_house_says_how_long_a_result_counts() -> None:
    house = MEAN.replace("mean = true", 'max_age = "30 d"').replace("within-limits", "not-too-old")
    assert said(measured(sheet(ONE), GOOD, house=house)) == [("results/too-old", "warning", "open")]


def test_without_results_nothing_is_asked() -> None:
    catalog = works(sheet(CASES.asked))
    assert told(catalog) == () and everything(catalog).results == ()
