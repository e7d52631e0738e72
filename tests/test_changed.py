"""How a change is shown: columns that agree with each other, lines sorted and folded, q.s., limits, what cannot be read."""

from __future__ import annotations

import re
from decimal import Decimal
from pathlib import Path

import pytest
from edits import base, edited, shelf
from hypothesis import assume, example, given
from hypothesis import strategies as st
from in_memory import SETTINGS
from proposals import Works, both, copied
from proposals import ask as ask_gate
from repository import ask, run, text, write
from repository import tables as tables_of
from story import amount, raised, replace
from test_compare import compared

from formulint import tables
from formulint.catalog import Catalog
from formulint.changed import change_section, delta_text, digits_of
from formulint.compare import PropertyChange, formulas, materials
from formulint.finding import Level
from formulint.report import Report, Section
from formulint.scope import Touched
from formulint.verdict import bare

NUMBERS = st.floats(min_value=1e-3, max_value=1e6, allow_nan=False)


def moved(before: float, after: float) -> PropertyChange:
    """A property between two values, with no limit."""
    return PropertyChange("pigment_binder", before, after, after - before, (None, None), (None, None), "", "")


@given(before=NUMBERS, after=NUMBERS, coarse=st.integers(0, 3))
@example(before=37.14, after=37.152, coarse=1)
@example(before=99.994, after=102.486, coarse=2)
@example(before=23.6, after=23.6, coarse=1)
def test_before_and_change_make_after_as_printed(before: float, after: float, coarse: int) -> None:
    change = moved(before, after)
    digits = digits_of(change, "", coarse)
    assert Decimal(bare(before, "", digits)) + Decimal(delta_text(change, "", digits)) == Decimal(bare(after, "", digits))
    assert digits >= coarse


@given(before=NUMBERS, step=st.floats(min_value=1e-4, max_value=10), coarse=st.integers(0, 3))
def test_a_change_that_is_there_is_never_printed_as_none(before: float, step: float, coarse: int) -> None:
    assume(before + step != before)
    change = moved(before, before + step)
    assert Decimal(delta_text(change, "", digits_of(change, "", coarse))) > 0


def section(edits: dict[str, list[tuple[str, str]]], code: str = "T-1", first: dict[str, list[tuple[str, str]]] | None = None) -> Section:
    """What is told of a formula after an edit of the small repository."""
    files = edited(base(), first or {}, {})
    before, after = shelf(files), shelf(edited(files, edits, {}))
    return change_section(before, after, compared(before, after, code), ())


def columns(found: Section, head: str) -> list[tuple[str, ...]]:
    """The rows of the table with this first column."""
    return [tuple(cell.text for cell in row) for table in found.tables if table.columns[0] == head for row in table.rows]


def test_moves_are_sorted_and_rewritten_amounts_are_folded() -> None:
    found = section({"formulas/T-1": [('"200.0 lb"', '"190.0 lb"'), ('"20.0 lb"', '"50.0 lb"'), ('"1.5 gal"', '"5.678 L"')]})
    lines = [(row[0], row[1].split(" ")[0]) for row in columns(found, "line")]
    assert lines[:2] == [("changed", "SL"), ("q.s.", "W")]
    assert "1 amount written otherwise, none moved by more than its rounding" in found.remarks
    assert not [row for row in lines if row[1] == "G"]


def test_exact_rewriting_is_said_to_move_nothing() -> None:
    found = section({"formulas/T-1": [('"250.0 lb"', '"113.398092500 kg"'), ('"280.0 lb"', '"280 lb"')]})
    assert found.remarks[0] == "2 amounts written otherwise, none moved"
    assert columns(found, "line") == []


def test_a_small_move_is_no_rewriting() -> None:
    found = section({"formulas/T-1": [('"0.500 lb"', '"0.502 lb"')]}, first={"formulas/T-1": [('"0.5 lb"', '"0.500 lb"')]})
    assert [row[5:] for row in columns(found, "line") if row[0] == "changed"] == [("+0.002", "+0.4 %")]
    assert not [one for one in found.remarks if "written otherwise" in one]


def test_another_alternate_is_shown_though_nothing_moves() -> None:
    found = section({"formulas/T-1": [('["P2"]', '["E"]')]})
    assert [row[3:5] for row in columns(found, "line")] == [("200.0 lb or P2", "200.0 lb or E")]


def test_where_a_line_has_moved() -> None:
    there = section({"formulas/T-1": [("  { material = \"G\", amount = \"1.5 gal\" },\n", ""), ('  { material = "SL"', '  { material = "G", amount = "1.5 gal" },\n  { material = "SL"')]})
    assert [(row[0], row[2]) for row in columns(there, "line")] == [("moved", "Letdown -> Grind")]
    within = section({"formulas/T-2": [("  { material = \"G\", amount = \"1.0 L\" },\n", ""), ("additions = [\n", "additions = [\n  { material = \"G\", amount = \"1.0 L\" },\n")]}, "T-2")
    assert [row[2] for row in columns(within, "line")] == ["after W -> first"]


def test_what_q_s_came_to_before_and_after() -> None:
    found = section({"formulas/T-1": [('"200.0 lb"', '"190.0 lb"')]})
    (filled,) = [row for row in columns(found, "line") if row[0] == "q.s."]
    was, now = (float(cell.removeprefix("q.s. = ").removesuffix(" kg")) for cell in filled[3:5])
    assert now > was and filled[5].startswith("+")


def test_q_s_that_cannot_be_known_any_more_is_open_and_not_nothing() -> None:
    found = section({"materials/G": [('density = "1.04 kg/L"\n', "")]})
    assert [row[4:] for row in columns(found, "line") if row[0] == "q.s."] == [("q.s., open", "", "")]


def room(first: dict[str, list[tuple[str, str]]], edits: dict[str, list[tuple[str, str]]]) -> str:
    """What a review says is left to the limits."""
    (said,) = [one for one in section(edits, first=first).remarks if one.startswith("left to the limits: ")]
    return said


def test_of_the_same_paint_in_other_words_nothing_is_said_of_limits() -> None:
    found = section({"formulas/T-1": [('"250.0 lb"', '"113.398092500 kg"')]})
    assert not [one for one in found.remarks if one.startswith("left to")]


def test_what_is_left_to_a_limit_is_said_though_the_value_did_not_move() -> None:
    assert re.search(r"Density 0\.\d+ kg/L(;|$)", room({}, {"formulas/T-1": [('"0.5 lb"', '"0.6 lb"')]}))


def test_what_is_beyond_a_limit_is_said_first_and_never_printed_onto_it() -> None:
    tight = {"formulas/T-1": [('density = { min = "9 lb/gal" }', 'density = { max = "1.0001 kg/L" }')]}
    assert re.match(r"left to the limits: Density 0\.[0-9]*[1-9][0-9]* kg/L beyond", room(tight, {"formulas/T-1": [('"1.5 gal"', '"1.9 gal"')]}))


def test_a_figure_of_a_shared_material_is_named_where_it_is_the_only_cause() -> None:
    found = section({"materials/G": [('density = "1.04 kg/L"', 'density = "1.10 kg/L"')]})
    assert [one for one in found.remarks if one.startswith("because of")] == [found.remarks[0]]
    assert found.remarks[0].endswith("(G): density alone")


def test_the_limit_of_both_sides_is_shown() -> None:
    found = section({"formulas/T-1": [('"9 lb/gal"', '"8 lb/gal"')]})
    (density,) = [row for row in columns(found, "property") if row[0].startswith("Density")]
    assert density[4:] == ("at least 0.959 (was at least 1.078)", "holds")


def test_a_limit_taken_away_no_longer_judges() -> None:
    found = section({"formulas/T-1": [("[limits]\ndensity = { min = \"9 lb/gal\" }\n", "")]})
    (density,) = [row for row in columns(found, "property") if row[0].startswith("Density")]
    assert density[4:] == ("none (was at least 1.078)", "holds -> no longer judged")


# --- what cannot be read -----------------------------------------------------------------------------------------


def report(before: Catalog, after: Catalog, code: str) -> Report:
    """The whole report of a comparison of one formula."""
    return tables.diff(before, after, formulas(before, after, [code]), materials(before, after, ()), Touched((), (), {}, (), ()))


BROKEN = {"formulas/T-2": [('"30 kg"', '"30 kg')]}


def test_a_formula_that_cannot_be_read_now() -> None:
    files = base()
    found = report(shelf(files), shelf(edited(files, BROKEN, {})), "T-2")
    (part,) = found.sections
    assert part.heading.startswith("T-2  Grey: cannot be read now: formulas/T-2.toml, line 16: ")
    assert [one.finding.rule for one in part.findings] == ["record/readable"]
    assert "1 formula changed" in found.closing[0] and "0 no longer found" in found.closing[0]


def test_a_formula_that_could_not_be_read_before() -> None:
    files = base()
    (part,) = report(shelf(edited(files, BROKEN, {})), shelf(files), "T-2").sections
    assert part.heading.startswith("T-2  Grey: could not be read before: formulas/T-2.toml, line 16: ")


@pytest.mark.parametrize("first", [{"formulas/T-2": [('"20 kg"', '"20 kg')]}, None], ids=["unreadable before too", "new"])
def test_nobody_can_read_it_on_either_side(first: dict[str, list[tuple[str, str]]] | None) -> None:
    files = base()
    before = edited(files, first, {}) if first else {name: content for name, content in files.items() if name != "formulas/T-2"}
    (part,) = report(shelf(before), shelf(edited(files, BROKEN, {})), "T-2").sections
    assert part.heading.startswith("T-2: cannot be read now: formulas/T-2.toml, line 16: ")


def test_what_nobody_can_read_and_nobody_touched_is_not_told() -> None:
    broken = shelf(edited(base(), BROKEN, {}))
    assert report(broken, broken, "T-2").sections == ()


# --- about the change itself -------------------------------------------------------------------------------------

MADE = {"formulas/T-1": [('"bench"', '"production"'), ("revision = 1", "revision = 3")]}


@pytest.mark.parametrize(
    ("first", "edits", "rules"),
    [
        (MADE, [('"200.0 lb"', '"190.0 lb"')], ["change/revision-raised"]),
        (MADE, [('"200.0 lb"', '"190.0 lb"'), ("revision = 3", "revision = 4")], []),
        (MADE, [('"1150 rpm"', '"1300 rpm"')], ["change/revision-raised"]),
        (MADE, [("revision = 3", "revision = 2")], ["change/revision-raised"]),
        (MADE, [('"250.0 lb"', '"113.398092500 kg"'), ('"first trial"', '"as made"')], []),
        ({}, [('"200.0 lb"', '"190.0 lb"')], []),
        ({}, [('"200.0 lb"', '"190.0 lb"'), ('"9 lb/gal"', '"8 lb/gal"')], ["change/limit-with-formula"]),
        ({}, [('"9 lb/gal"', '"8 lb/gal"')], []),
        (MADE, [('"200.0 lb"', '"190.0 lb"'), ('["us-national"]', '["eu"]')], ["change/revision-raised", "change/limit-with-formula"]),
    ],
)  # fmt: skip
def test_findings_about_the_change_itself(first: dict[str, list[tuple[str, str]]], edits: list[tuple[str, str]], rules: list[str]) -> None:
    files = edited(base(), first, {})
    found = compared(shelf(files), shelf(edited(files, {"formulas/T-1": edits}, {})), "T-1").own
    assert [one.rule for one in found] == rules
    assert [one.level for one in found] == [Level.error if "revision" in rule else Level.note for rule in rules]


def test_another_supplier_is_no_new_sheet() -> None:
    files = edited(base(), {**MADE, "materials/D": [('"2 USD/kg"', "\"2 USD/kg\"\nsupplier = \"S\"")]}, {})
    found = compared(shelf(files), shelf(edited(files, {"materials/D": [('"S"', '"Z"')]}, {})), "T-1")
    assert found.change.name == "compositional" and found.own == ()


# --- the sheet as resolved ---------------------------------------------------------------------------------------

WATER = {"name": "water", "functions": ["water"], "density": "1 kg/L", "nonvolatile": "0 %", "water": "100 %"}
CHALK = {"name": "chalk", "functions": ["extender"], "density": "2.5 kg/L", "nonvolatile": "100 %", "nonvolatile_density": "2.5 kg/L"}
SHEET = {"name": "wash", "revision": 1, "state": "bench", "class": "flat", "markets": ["us-national"], "batch": "100 L",
         "stage": [{"name": "All", "kind": "letdown", "additions": [{"material": "C", "amount": "50 kg"}, {"material": "W", "amount": "q.s."}]}]}  # fmt: skip


def test_properties_say_what_q_s_came_to(tmp_path: Path) -> None:
    write(tmp_path, SETTINGS, {"W": WATER, "C": CHALK}, {"T-1": SHEET})
    said = run(tmp_path, "properties", "T-1").out
    assert "  water (W) q.s. comes to 80.00 kg, 80.00 L\n" in said and "as written" not in said
    table = [line.split() for line in run(tmp_path, "properties", "T-1", "--lines").out.splitlines() if line.startswith("  All")]
    assert table[:2] == [["All", "C", "chalk", "50", "kg", "50.00", "20.000", "38.462"], ["All", "W", "water", "q.s.", "80.00", "80.000", "61.538"]]


def test_properties_say_so_where_q_s_is_not_known(tmp_path: Path) -> None:
    write(tmp_path, SETTINGS, {"W": WATER, "C": {key: one for key, one in CHALK.items() if key != "density"}}, {"T-1": SHEET})
    assert "what water (W) q.s. comes to cannot be computed" in run(tmp_path, "properties", "T-1").out
    assert ask(tmp_path, "properties", "T-1").formulas and text(SHEET)


# --- hook and gate -----------------------------------------------------------------------------------------------


def screen(works: Works, head: str, how: str = "terminal") -> list[str]:
    """What the gate prints, line by line."""
    return ask_gate("-C", str(works.repo.path), "gate", "--base", works.base, "--head", head, how=how).out.splitlines()


def test_the_verdict_stands_on_top_with_its_reasons(works: Works) -> None:
    head = works.propose({"formulas/T-140.toml": both(raised, amount("RM-1603", "12.0 lb", "12.5 lb")), "formulas/T-160.toml": None})
    lines = " ".join(screen(works, head)).partition("judged by the settings")[0]
    assert "The gate says no. 1 finding keeps it out: proposal/formula-stays." in lines
    assert screen(works, head, "markdown")[2].startswith("- The gate says no. 1 finding keeps it out")
    assert "The gate says no." in screen(works, head)


def test_what_only_warns_and_is_old_is_told_after_the_change(works: Works) -> None:
    head = works.propose({"formulas/T-149.toml": both(amount("RM-1403", "4.0 lb", "4.1 lb"), replace("revision = 1", "revision = 2"))})
    lines = screen(works, head)
    (old,) = [at for at, line in enumerate(lines) if line.strip() == "already on the base"]
    assert old > next(at for at, line in enumerate(lines) if line.startswith("T-149 ") and "another paint" in line)


def test_the_gate_says_what_the_base_had_already(works: Works) -> None:
    head = works.propose({"formulas/T-149.toml": both(amount("RM-1403", "4.0 lb", "4.1 lb"), replace("revision = 1", "revision = 2"))})
    lines = screen(works, head)
    marked = [lines[at - 2] for at, line in enumerate(lines) if line.strip() == "already on the base"]
    assert [line for line in marked if "BIT in the paint is 363 ppm" in line] and len(marked) == 1


def test_the_hook_stops_what_the_change_itself_shows(works: Works, tmp_path: Path) -> None:
    mine = copied(works, tmp_path / "works")
    mine.repo.stage({"formulas/T-140.toml": amount("RM-1603", "12.0 lb", "12.5 lb")(works.texts["formulas/T-140.toml"])})
    said = ask_gate("-C", str(mine.repo.path), "lint", "--staged", "--today", "2026-01-12", how="terminal").out
    assert "T-140 is another paint than before, and still revision 1" in said and ": 1 error," in said
    found = ask(mine.repo.path, "lint", "--staged")
    assert found.status == 1 and len(found.about("T-140", "change/revision-raised")) == 1


def test_machines_get_fields_lines_and_limits_of_both_sides(works: Works) -> None:
    edit = both(amount("RM-1603", "12.0 lb", "12.5 lb"), replace('max = "10.65 lb/gal"', 'max = "10.70 lb/gal"'), replace('"1850 rpm"', '"1900 rpm"'))
    head = works.propose({"formulas/T-140.toml": edit, "materials/RM-1402.toml": replace('"9.10 lb/gal"', '"9.05 lb/gal"')})
    found = ask(works.repo.path, "diff", works.base, head)
    one = found.formulas["T-140"]
    policy, fields, lines, properties = (tables_of(one[key]) for key in ("policy", "fields", "additions", "properties"))
    assert [(row["field"], row["before"], row["after"]) for row in policy] == [("limits, density", "10.41 lb/gal to 10.65 lb/gal", "10.41 lb/gal to 10.70 lb/gal")]
    assert [(row["field"], row["before"], row["after"]) for row in fields] == [("Grind, disperse, speed", "1850 rpm", "1900 rpm")]
    assert [(row["action"], row["before"], row["after"]) for row in lines] == [("changed", "12.0 lb", "12.5 lb")]
    (density,) = [row for row in properties if row["id"] == "density"]
    assert density["limit"] != density["limit_before"]
    assert [(row["code"], row["status"]) for row in tables_of(found.data["records"])] == [("RM-1402", "changed")] and found.data["affected"]


def test_an_unreadable_formula_stops_diff_and_is_told_to_machines(works: Works) -> None:
    head = works.propose({"formulas/T-990.toml": "code = \n"})
    answer = ask(works.repo.path, "diff", works.base, head)
    assert answer.status == 1
    assert str(answer.formulas["T-990"]["unread"]).startswith("cannot be read now: formulas/T-990.toml, line 1: ")


def test_a_review_shows_what_brings_each_delta_with_its_part() -> None:
    found = section({"formulas/T-1": [('"200.0 lb"', '"190.0 lb"'), ('"1.5 gal"', '"1.9 gal"'), ('"0.5 lb"', '"0.7 lb"')]})
    rows = columns(found, "what moved")
    heads = dict.fromkeys(row[0] for row in rows)
    assert len(heads) > 1 and all(head.partition(" ")[0] for head in heads)
    for head in heads:
        parts = [abs(float(row[2])) for row in rows if row[0] == head and not re.match(r"\d+ others?$", row[1])]
        assert parts == sorted(parts, reverse=True) and len(parts) <= 3
