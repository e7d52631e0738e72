"""Published paints and VOC examples, as real input: written as formulas, asked of the command, held against the print.

What a source prints right must be met within the width its case states. What it prints wrong (``closes = false``) must be
found not to agree: by the value, and by lint, for which every printed figure is a limit of the formula. What a source
leaves out must stay open. Figures only worked out for these tests are kept apart as ``constructed``.
"""

from __future__ import annotations

import tomllib
from collections.abc import Callable
from decimal import Decimal
from functools import cache
from pathlib import Path
from typing import Literal

import msgspec
import pytest
from msgspec import Struct
from repository import Json, Report, ask, run, tables, write

from formulint.properties import BY_ID

BATCH_RULE = "closure/batch"
PIGMENTS = {"white-pigment", "colored-pigment", "extender"}
# 1 lb = 0.45359237 kg and 1 US gal = 3.785411784 L, both exact.
UNITS = {
    "kg": 1.0, "g": 1e-3, "lb": 0.45359237, "L": 1.0, "gal": 3.785411784, "%": 1.0, "1": 1.0, "ppm": 1e-6,
    "kg/L": 1.0, "g/mL": 1.0, "g/cm3": 1.0, "g/L": 1e-3, "lb/gal": 0.45359237 / 3.785411784,
}  # fmt: skip


# --- the data ---------------------------------------------------------------------------------------------------------


class Printed(Struct, frozen=True, forbid_unknown_fields=True):
    """A figure as its source prints it; ``within`` (in its unit) or ``relative`` is the width allowed."""

    measure: str
    printed: str
    within: str = ""
    relative: str = ""
    closes: bool = True
    note: str = ""
    caveat: str = ""

    @property
    def unit(self) -> str:
        """The unit of the print; ``1`` for a number."""
        return self.printed.split()[1]

    @property
    def ends(self) -> tuple[Decimal, Decimal]:
        """The print less its width, and plus it."""
        number = Decimal(self.printed.split()[0])
        width = Decimal(self.within) if self.within else number * Decimal(self.relative)
        return number - width, number + width


class Case(Struct, frozen=True, forbid_unknown_fields=True, rename={"class_": "class"}):
    """A paint with where it was found; ``batch`` and ``stage`` are those of a formula's file."""

    id: str
    title: str
    batch: str
    stage: list[dict[str, object]]
    printed: tuple[Printed, ...] = ()
    open: tuple[str, ...] = ()
    limits: dict[str, dict[str, str]] = {}
    class_: str = "matt"
    adds_up: bool = True
    source: str = ""
    url: str = ""
    checked: Literal["verified", ""] = ""
    quality: Literal["clean", "repaired", "inferred", ""] = ""
    derived: str = ""
    note: str = ""


class Book(Struct, frozen=True, forbid_unknown_fields=True):
    """Cases that share their materials and settings: one repository."""

    evidence: Literal["published", "constructed"]
    settings: dict[str, object]
    material: dict[str, dict[str, object]]
    case: tuple[Case, ...]

    def formula(self, case: Case) -> dict[str, object]:
        """A case as a formula: its sheet, and what its source prints as its limits."""
        limits = dict(case.limits)
        for one in case.printed:
            if self.evidence == "published" and one.measure in BY_ID:
                limits[one.measure] = {side: f"{end.normalize():f} {one.unit}".removesuffix(" 1") for side, end in zip(("min", "max"), one.ends, strict=True)}
        markets = [] if case.class_ == "intermediate" else ["us-national"]
        head = {"name": case.title, "revision": 1, "state": "production", "class": case.class_, "markets": markets}
        return {**head, "batch": case.batch, "limits": limits, "stage": case.stage}


BOOKS = {
    path.stem: msgspec.convert(tomllib.loads(path.read_text(encoding="utf-8")), Book)
    for path in sorted((Path(__file__).parent / "published").glob("*.toml"))
}
CASES = {case.id: (book, case) for book, data in BOOKS.items() for case in data.case}
FIGURES = {f"{code}::{one.measure}": (code, one) for code, (_, case) in CASES.items() for one in case.printed}
LIMITS = {name: (code, one) for name, (code, one) in FIGURES.items() if one.measure in BY_ID and BOOKS[CASES[code][0]].evidence == "published"}
OPEN = [(code, name) for code, (_, case) in CASES.items() for name in case.open]
CON_10 = {"con-10-above-50": "fail", "con-10-unknown-voc": "open", "con-10-left-out": "open", "con-10-below-110": None}


# --- the command ------------------------------------------------------------------------------------------------------


Answers = Callable[[str, str], Report]


@pytest.fixture(scope="session")
def folders(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """Each book as a repository."""
    found = {}
    for name, book in BOOKS.items():
        formulas = {case.id: book.formula(case) for case in book.case}
        found[name] = write(tmp_path_factory.mktemp(name), book.settings, book.material, formulas)
    return found


@pytest.fixture(scope="session")
def answers(folders: dict[str, Path]) -> Answers:
    """What a command says about a book; each is asked once."""
    return cache(lambda book, command: ask(folders[book], command))


def listed(raw: object) -> list[object]:
    """A list, as such."""
    assert isinstance(raw, list)
    return raw


class Paint:
    """One formula of ``properties``: its figures in kg, L, kg/L and per cent."""

    def __init__(self, code: str, answers: Answers) -> None:
        self.book = BOOKS[CASES[code][0]]
        self.case = CASES[code][1]
        self.answer = answers(CASES[code][0], "properties").formulas[code]

    def property(self, name: str) -> dict[str, Json]:
        """A property as the command gives it."""
        found = self.answer["properties"]
        assert isinstance(found, dict)
        one = found[name]
        assert isinstance(one, dict)
        return one

    def value(self, name: str, end: str = "value") -> float:
        """The value of a property, or an end of it."""
        one = self.property(name)
        number, unit = one[end], one["unit"]
        assert isinstance(number, float) and isinstance(unit, str), one
        return number * UNITS[unit]

    def pigment(self, what: Literal["kg", "litres"]) -> float:
        """Sum over the lines of pigment and extender."""
        wanted = {code for code, one in self.book.material.items() if PIGMENTS & set(map(str, listed(one["functions"])))}
        found = [one[what] for one in tables(self.answer["lines"]) if one["material"] in wanted]
        return sum(number for number in found if isinstance(number, float))


# Figures in print that are no property by themselves, from properties and lines.
MEASURES: dict[str, Callable[[Paint], float]] = {
    "voc_mass": lambda paint: paint.value("voc_material") * paint.value("volume"),
    "voc_per_solids": lambda paint: paint.value("voc_less_water") / paint.value("nonvolatile_volume") * 100,
    "exempt_content": lambda paint: paint.value("substance:67-64-1") * paint.value("density"),
    "solids_content": lambda paint: paint.value("nonvolatile_mass") / 100 * paint.value("density"),
    "pigment_share": lambda paint: paint.pigment("kg") / paint.value("mass") * 100,
    "binder_volume": lambda paint: paint.pigment("litres") * (100 / paint.value("pvc_binder") - 1),
    "nonvolatile_on_batch": lambda paint: paint.value("nonvolatile_mass") * paint.value("mass") / float(paint.case.batch.removesuffix(" kg")),
}


def measured(code: str, measure: str, answers: Answers) -> float:
    """What the command makes of a figure, in kg, L, kg/L or per cent."""
    paint = Paint(code, answers)
    if measure in MEASURES:
        return MEASURES[measure](paint)
    name, _, end = measure.partition(".")
    return paint.value(name, end or "value")


def agrees(code: str, one: Printed, answers: Answers) -> bool:
    """Whether what the command computes lies within the width of the print."""
    low, high = (float(end) * UNITS[one.unit] for end in one.ends)
    return low <= measured(code, one.measure, answers) <= high


def told(code: str, one: Printed, answers: Answers) -> str:
    """The print, what was computed, and the source: what a failing figure has to say."""
    case = CASES[code][1]
    number = measured(code, one.measure, answers) / UNITS[one.unit]
    words = f"{one.measure} is {number:.7g} {one.unit}, in print {one.printed} ({one.within or one.relative}, closes = {one.closes})"
    return "\n".join((words, f"source: {case.source or 'constructed'} {case.url} {case.checked}", *filter(None, (case.note, one.note, one.caveat))))


# --- the tests --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("code", "one"), FIGURES.values(), ids=FIGURES)
def test_figure(code: str, one: Printed, answers: Answers) -> None:
    assert agrees(code, one, answers) == one.closes, told(code, one, answers)


@pytest.mark.parametrize(("code", "one"), LIMITS.values(), ids=LIMITS)
def test_lint_judges_the_print_as_a_limit(code: str, one: Printed, answers: Answers) -> None:
    found = answers(CASES[code][0], "lint").about(code, f"own-limit/{one.measure.replace('_', '-')}")
    assert [(finding["kind"], finding["level"]) for finding in found] == ([] if one.closes else [("fail", "error")]), found


@pytest.mark.parametrize("code", CASES)
def test_lint_finds_the_sheets_that_do_not_add_up(code: str, answers: Answers) -> None:
    book, case = CASES[code]
    found = answers(book, "lint").about(code, BATCH_RULE)
    kinds = [finding["kind"] for finding in found if finding["kind"] != "open"]
    assert kinds == ([] if case.adds_up else ["fail"]), found


@pytest.mark.parametrize(("code", "name"), OPEN, ids=[f"{code}::{name}" for code, name in OPEN])
def test_what_the_source_leaves_out_stays_open(code: str, name: str, answers: Answers, folders: dict[str, Path]) -> None:
    found = Paint(code, answers).property(name)
    assert (found["kind"], found["value"]) == ("open", None)
    missing = tables(found["missing"])
    assert missing
    for one in missing:
        assert one["path"] == f"materials/{one['material']}.toml"
        assert (folders[CASES[code][0]] / str(one["path"])).is_file()
        assert isinstance(one["line"], int) and one["line"] > 0 and one["field"]


@pytest.mark.parametrize(("code", "kind"), CON_10.items())
def test_a_limit_inside_what_is_not_known_is_never_passed(code: str, kind: str | None, answers: Answers) -> None:
    found = answers("voc_constructed", "lint").about(code, "own-limit/voc-less-water")
    assert [finding["kind"] for finding in found] == ([kind] if kind else []), found


def test_a_voc_left_out_is_named_by_file_and_field(answers: Answers) -> None:
    missing = tables(Paint("con-10-left-out", answers).property("voc_less_water")["missing"])
    assert {(one["path"], one["field"]) for one in missing} >= {("materials/additives-unsaid.toml", "voc")}


def test_the_ends_enclose_what_is_not_known(answers: Answers) -> None:
    paint = Paint("con-10-unknown-voc", answers)
    assert paint.value("voc_less_water", "min") <= 0.0692108 + 1e-7
    assert paint.value("voc_less_water", "max") >= 0.1038162 - 1e-7


@pytest.mark.parametrize("lost", ["water", "voc"], ids=["water to subtract", "the VOC itself"])
def test_without_a_material_of_the_sheet_nothing_is_known(lost: str, tmp_path: Path) -> None:
    book, case = BOOKS["voc"], CASES["pub-01-02-paint"][1]
    rest = {code: one for code, one in book.material.items() if code != lost}
    report = ask(write(tmp_path, book.settings, rest, {case.id: book.formula(case)}), "properties")
    found = report.formulas[case.id]["properties"]
    assert isinstance(found, dict)
    assert {one["kind"] for one in found.values() if isinstance(one, dict)} == {"open"}
    assert ask(tmp_path, "lint").status == 1


@pytest.mark.parametrize(("water", "answer"), [("8.30 lb/gal", 4.8958), ("8.345 lb/gal", 4.8645)])
def test_the_water_density_of_the_settings_moves_what_is_counted_less_water(water: str, answer: float, tmp_path: Path) -> None:
    book, case = BOOKS["voc"], CASES["pub-03-weight-percent"][1]
    write(tmp_path, {**book.settings, "water_density": water}, book.material, {case.id: book.formula(case)})
    moved = Paint(case.id, lambda _, command: ask(tmp_path, command)).value("voc_less_water") / UNITS["lb/gal"]
    assert moved == pytest.approx(answer, abs=5e-5), "both densities are in print; worked out from the formula of the source"


def test_water_does_not_dilute_what_is_counted_less_water(answers: Answers) -> None:
    flat, diluted = (Paint(code, answers) for code in ("con-01-flat-latex", "con-06-let-down"))
    assert diluted.value("voc_less_water") == pytest.approx(flat.value("voc_less_water"), rel=1e-11)
    assert diluted.value("voc_material") < flat.value("voc_material")


def test_a_sheet_of_99_6_per_cent_stops_with_the_sum_in_words(folders: dict[str, Path]) -> None:
    report = ask(folders["paints"], "lint", "wb-1k-nonclosing")
    (found,) = report.about("wb-1k-nonclosing", BATCH_RULE)
    assert (report.status, found["measured"], found["limit"], found["level"]) == (1, "99.6 %", "100 %", "error")
    assert found["path"] == "formulas/wb-1k-nonclosing.toml"


def test_paints_of_which_everything_needed_is_known_and_agrees_pass(folders: dict[str, Path]) -> None:
    good = [code for code, (book, case) in CASES.items() if code.startswith("oil-g") and case.adds_up and all(one.closes for one in case.printed)]
    assert len(good) == 12
    answer = run(folders["paints"], "lint", *good, "--today", "2026-01-12")
    assert answer.status == 0, answer.out


def test_every_case_says_where_it_was_found() -> None:
    for book, case in CASES.values():
        published = BOOKS[book].evidence == "published"
        assert all(bool(word) == published for word in (case.source, case.url, case.checked)), case.id


def test_published_figures_are_counted(answers: Answers, capsys: pytest.CaptureFixture[str]) -> None:
    tried = {name: pair for name, pair in FIGURES.items() if BOOKS[CASES[pair[0]][0]].evidence == "published"}
    met = [name for name, pair in tried.items() if agrees(*pair, answers)]
    wrong = [name for name, (_, one) in tried.items() if not one.closes]
    constructed = [name for name, pair in FIGURES.items() if name not in tried and agrees(*pair, answers)]
    with capsys.disabled():
        print(f"\n{len(met)} of {len(tried)} published figures met by the command; {len(wrong)} are wrong in print and were found not to agree")
        print(f"{len(constructed)} of {len(FIGURES) - len(tried)} constructed figures met")
    assert len(met) + len(wrong) == len(tried) >= 53, "evidence may grow, not shrink"
