"""What a reviewer sees of fields, work and stages: every row, as written on both sides; and that no edit goes unsaid."""

from __future__ import annotations

import tomllib
from collections import Counter
from pathlib import Path

import msgspec
import pytest
from edits import EDITS, Replacements, base, edited, shelf, states
from msgspec import Struct
from test_compare import compared

from formulint.catalog import Catalog
from formulint.change import Change
from formulint.changed import change_section, record_sections
from formulint.compare import materials
from formulint.fields import FieldChange
from formulint.finding import Place
from formulint.report import Section


class Case(Struct, frozen=True, forbid_unknown_fields=True):
    """An edit, and the rows of fields that are told of the record it is about."""

    name: str
    files: Replacements
    rows: list[tuple[str, str, str]]
    about: str = "T-1"


CASES = {one.name: one for one in msgspec.convert(tomllib.loads((Path(__file__).parent / "cases" / "fields.toml").read_text("utf-8"))["case"], list[Case])}
HEADS = ("policy", "made", "also", "field")


def told(before: Catalog, after: Catalog, code: str) -> Section:
    """The part of the report about a record."""
    if after.find_formula(code):
        return change_section(before, after, compared(before, after, code), ())
    (section,) = record_sections(materials(before, after, [f"materials/{code}.toml"]))
    return section


def rows(section: Section) -> list[tuple[str, str, str]]:
    """The rows of fields, and that of the batch."""
    found = [tuple(cell.text for cell in row) for table in section.tables if table.columns[0] in HEADS for row in table.rows]
    batch = [("batch", row[3].text, row[4].text) for table in section.tables for row in table.rows if row[0].text == "batch"]
    return [*batch, *((one[0], one[1], one[2]) for one in found)]


@pytest.mark.parametrize("name", CASES)
def test_rows_of_an_edit(name: str) -> None:
    case, files = CASES[name], base()
    section = told(shelf(files), shelf(edited(files, case.files, {})), case.about)
    assert Counter(rows(section)) == Counter(case.rows)
    assert [row for row in rows(section) if row[1] == row[2]] == []


@pytest.mark.parametrize("name", CASES)
def test_policy_comes_first(name: str) -> None:
    case, files = CASES[name], base()
    section = told(shelf(files), shelf(edited(files, case.files, {})), case.about)
    order = [("policy", "line", "made", "property", "also", "field", "what moved", "test now due").index(table.columns[0]) for table in section.tables]
    assert order == sorted(order)


def test_policy_of_a_material_comes_first_and_is_in_its_heading() -> None:
    case, files = CASES["the state of a material is policy, and comes first"], base()
    section = told(shelf(files), shelf(edited(files, case.files, {})), "D")
    assert rows(section) == case.rows
    assert section.heading == "D  dispersant: its own file changed, policy: state"


@pytest.mark.parametrize("name", EDITS)
def test_nothing_in_a_sheet_changes_unsaid(name: str) -> None:
    edit = EDITS[name]
    for before, after in states(edit):
        found = compared(before, after, edit.about)
        assert found.before is not None and found.after is not None
        written = [line for line in found.additions if line.action != "filled"]  # q.s. moves by itself
        assert bool(found.fields or written) == (found.before.formula != found.after.formula)


def swapped(fields: tuple[FieldChange, ...]) -> Counter[tuple[Change, str | None, str | None]]:
    """Fields as they must be told in the other direction."""
    return Counter((one.change, one.after, one.before) for one in fields)


@pytest.mark.parametrize("name", EDITS)
def test_fields_read_the_same_both_ways(name: str) -> None:
    edit = EDITS[name]
    for before, after in states(edit):
        there, back = compared(before, after, edit.about), compared(after, before, edit.about)
        assert swapped(there.fields) == Counter((one.change, one.before, one.after) for one in back.fields)


@pytest.mark.parametrize("name", CASES)
def test_a_field_is_found_in_its_file(name: str) -> None:
    case, files = CASES[name], base()
    made = edited(files, case.files, {})
    after = shelf(made)
    if after.find_formula(case.about) is None:
        return
    lines = made[f"formulas/{case.about}"].splitlines()
    for one in compared(shelf(files), after, case.about).fields:
        mark = after.locate(Place(f"formulas/{case.about}.toml", one.keys))
        word = one.what.split(", ")[1].removeprefix("takes up ") if isinstance(one.keys[-1], int) and len(one.keys) > 2 else ""
        assert one.after is None or (mark.line and word in lines[mark.line - 1])


def test_materials_that_come_and_go_are_named() -> None:
    files = base()
    less = shelf({name: content for name, content in files.items() if name not in ("materials/E", "materials/P2")})
    come = record_sections(materials(less, shelf(files), ["materials/E.toml", "materials/P2.toml"]))
    gone = record_sections(materials(shelf(files), less, [], ["E", "P2"]))
    assert [one.heading.partition(":")[0] for one in (*come, *gone)] == ["2 materials new", "2 materials removed"]
    assert "E " in come[0].heading and "; P2 " in gone[0].heading


def test_a_material_that_cannot_be_read_says_where() -> None:
    files = base()
    broken = shelf({**files, "materials/D": files["materials/D"].replace('"1.10 kg/L"', '"1.10 kg/L')})
    now, then = (record_sections(materials(*pair, ["materials/D.toml"]))[0].heading for pair in ((shelf(files), broken), (broken, shelf(files))))
    assert now.startswith("D  dispersant: cannot be read now: materials/D.toml, line 4: ")
    assert then.startswith("D  dispersant: could not be read before: materials/D.toml, line 4: ")
    assert materials(broken, broken, ["materials/D.toml"]) == ()


def test_settings_are_told_field_by_field() -> None:
    files = base()
    other = {**files, "formulint": files["formulint"].replace('"metric"', '"us"')}
    (section,) = record_sections(materials(shelf(files), shelf(other), []))
    assert rows(section) == [("units", "metric", "us")]
