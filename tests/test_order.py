"""The order that rules ask of real sheets: what is commonly done passes, what is not names the move; contradictions are told."""

from __future__ import annotations

import json
import re
import tomllib
from datetime import date
from pathlib import Path

import msgspec
import pytest
from lint_cases import catalog_of
from msgspec import Struct
from repository import Answer, run
from story import EXAMPLE

from formulint.catalog import Catalog
from formulint.finding import Finding, Level
from formulint.judge import Judge
from formulint.order_report import Ordering, ordering, report
from formulint.remedies import helped
from formulint.render.markdown import show

TODAY = date(2026, 1, 12)


class Wrong(Struct, frozen=True, forbid_unknown_fields=True):
    """An edit of the sheet, the rule that must speak and what must be said to do."""

    name: str
    rule: str
    remedy: str
    move: str = ""
    before: str = ""
    replace: tuple[str, str] | None = None

    def of(self, sheet: str) -> str:
        """The sheet with the edit made."""
        if self.replace is not None:
            assert self.replace[0] in sheet
            return sheet.replace(*self.replace)
        line = next(one for one in sheet.splitlines(keepends=True) if f'"{self.move}"' in one)
        anchor = next(one for one in sheet.splitlines(keepends=True) if f'"{self.before}"' in one)
        return sheet.replace(line, "").replace(anchor, line + anchor)


class Practice(Struct, frozen=True, forbid_unknown_fields=True):
    """A sheet, the materials that only it has, and what must not pass."""

    sheet: str
    materials: dict[str, str]
    wrong: list[Wrong]


PRACTICE = msgspec.convert(tomllib.loads((Path(__file__).parent / "cases" / "remedies" / "practice.toml").read_text(encoding="utf-8")), Practice)
WRONG = {one.name: one for one in PRACTICE.wrong}


def shelf(sheet: str, house: str = "") -> Catalog:
    files = {f"materials/{code}.toml": raw for code, raw in PRACTICE.materials.items()}
    settings = 'format = 1\nunits = "us"\nwater_density = "1 kg/L"\n'
    return catalog_of({"formulint.toml": settings, "formulas/FLAT-1.toml": sheet, "rules/house.toml": house, **files}, TODAY)


def told(catalog: Catalog) -> list[Finding]:
    """Findings of order that are more than notes, with what is computed."""
    file = catalog.find_formula("FLAT-1")
    assert file is not None and file.record is not None, file
    found = [one for one in Judge(catalog).formula(file) if one.rule.startswith(("order/", "house/"))]
    return [one for one in helped(catalog, found) if one.level is not Level.note]


def worked_out(catalog: Catalog, notes: bool = False) -> Ordering:
    file = catalog.find_formula("FLAT-1")
    assert file is not None
    return ordering(Judge(catalog), file, notes)


def test_what_is_commonly_done_passes() -> None:
    assert told(shelf(PRACTICE.sheet)) == []
    found = worked_out(shelf(PRACTICE.sheet))
    assert (found.wrong, found.violated, found.remedy) == (frozenset(), (), None)
    assert len(found.rules) > 20


@pytest.mark.parametrize("name", WRONG)
def test_what_is_not_is_told_with_the_move(name: str) -> None:
    case = WRONG[name]
    found = {one.rule: one for one in told(shelf(case.of(PRACTICE.sheet)))}
    assert case.rule in found
    assert found[case.rule].fault.remedy.startswith(case.remedy)


@pytest.mark.parametrize("name", WRONG)
def test_the_whole_order_asks_for_one_move(name: str) -> None:
    found = worked_out(shelf(WRONG[name].of(PRACTICE.sheet)))
    assert found.remedy is not None
    assert found.remedy.text.count("move ") == 1


RULE = """
[[rule]]
id = "{id}"
kind = "order"
level = "error"
title = "{first} before {then}."
why = "The house has learned it."
quantifier = "every"
first = {{ codes = ["{first}"] }}
then = {{ codes = ["{then}"] }}
source = {{ document = "house rules", checked = "house" }}
"""


def test_a_consequence_is_told_with_its_reasons() -> None:
    house = RULE.format(id="one", first="HEUR", then="COLORANT") + RULE.format(id="two", first="COLORANT", then="WAX")
    found = worked_out(shelf(PRACTICE.sheet, house))
    text = " ".join(report(shelf(PRACTICE.sheet, house), [found]).sections[0].remarks)
    assert "and so HEUR before WAX: HEUR before COLORANT (house/one), COLORANT before WAX (house/two)" in text
    assert "do: move WAX in Letdown behind COLORANT" in text


def test_rules_that_contradict_each_other_are_named() -> None:
    catalog = shelf(PRACTICE.sheet, RULE.format(id="latex-under-rutile", first="LATEX", then="RUTILE"))
    found = worked_out(catalog)
    assert found.remedy is None
    assert found.knots == (
        "rules contradict each other: RUTILE before LATEX (order/dry-pigment-not-on-latex), LATEX before RUTILE (house/latex-under-rutile)",
    )


def test_a_longer_circle_is_the_shortest_of_its_knot() -> None:
    house = RULE.format(id="one", first="COLORANT", then="SILICA") + RULE.format(id="two", first="SILICA", then="WAX") + RULE.format(id="three", first="WAX", then="COLORANT")
    (knot,) = worked_out(shelf(PRACTICE.sheet, house)).knots
    assert [rule for rule in ("house/one", "house/two", "house/three") if knot.count(rule) != 1] == []


# --- the command -------------------------------------------------------------------------------------------------


def order(*words: str) -> Answer:
    return run(EXAMPLE, "order", *words, "--today", "2026-01-12")


def test_a_sheet_in_order_has_nothing_to_move() -> None:
    answer = order("T-120")
    assert answer.status == 0
    assert "every rule is kept: nothing has to move" in answer.out


def test_notes_count_where_they_are_asked_for() -> None:
    answer = order("T-101", "--notes", "--format", "json")
    (found,) = json.loads(answer.out)["formulas"]
    assert {one["rule"] for one in found["violated"]} >= {"order/glycol-before-latex"}
    assert [step["kept"] for step in found["required"]].count(False) == len(found["violated"])
    assert "RM-1010 in Letdown before RM-1301" in found["remedies"][0]["text"] and found["remedies"][0]["edits"]


def test_the_drawing_has_a_node_for_each_addition_and_cleaned_labels() -> None:
    sheet = PRACTICE.sheet.replace('name = "Grind"', "name = 'G\"] --> x[@all'").replace('stage = "Grind"', "stage = 'G\"] --> x[@all'")
    text = show(report(shelf(sheet), [worked_out(shelf(sheet))]))
    lines = re.search(r"```mermaid\n(.+?)```", text, re.S)
    assert lines is not None
    form = re.compile(r'flowchart LR|  a\d+_\d+\["[\w #;]+"\]|  a\d+_\d+ (?:-->|==>)\|"[\w #;]+"\| a\d+_\d+')
    assert [line for line in lines[1].splitlines() if not form.fullmatch(line)] == []


def test_a_formula_has_to_be_named() -> None:
    assert order().status == 2
    assert "RM-1101 is no formula" in order("RM-1101").err


def test_status_says_whether_something_stops(tmp_path: Path) -> None:
    from shutil import copytree

    copytree(EXAMPLE, tmp_path / "works")
    sheet = tmp_path / "works" / "formulas" / "T-120.toml"
    lines = sheet.read_text(encoding="utf-8").splitlines(keepends=True)
    line = next(one for one in lines if "RM-1401" in one)
    at = next(at for at, one in enumerate(lines) if "disperse" in one)
    sheet.write_text("".join([*(one for one in lines[:at] if one != line), line, *lines[at:]]), encoding="utf-8")
    answer = run(tmp_path / "works", "order", "T-120", "--today", "2026-01-12")
    assert answer.status == 1
    assert "do: move RM-1401 in Grind before RM-1101" in answer.out
