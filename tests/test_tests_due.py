"""Tests that a change asks for, and what plant control would not notice: every row of the table, the sheet's own words, no test for no change."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import get_args

import pytest
from edits import EDITS, Replacements, base, edited, shelf, states
from repos import Commit, build
from repository import Json, run, tables
from test_compare import compared

from formulint.catalog import Catalog
from formulint.change import Change
from formulint.compare import FormulaChange
from formulint.plant_control import margins, noticed, plant
from formulint.properties import PROPERTIES, dimension_of
from formulint.quantity import read
from formulint.repeatability import scatter
from formulint.settings import Settings
from formulint.tests_due import Due, due, methods, objects, remarks, table
from formulint.vocabulary import TestName

SHEET = "formulas/T-1"
Sides = tuple[Catalog, Catalog, FormulaChange]


def changed(edits: Replacements, first: Replacements | None = None) -> Sides:
    """A formula of the small repository before and after an edit."""
    files = edited(base(), first or {}, {})
    before, after = shelf(files), shelf(edited(files, edits, {}))
    return before, after, compared(before, after, "T-1")


def asked(edits: Replacements, first: Replacements | None = None) -> dict[str, Due]:
    return {one.test: one for one in due(*changed(edits, first))}


# --- the table ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("row", table().due, ids=lambda row: row.id)
def test_a_row_names_tests_that_exist_and_its_source(row: object) -> None:
    one = next(known for known in table().due if known is row)
    assert one.tests and set(one.tests) <= methods().keys()
    assert one.source.document and one.source.checked in ("verified", "practice", "memory")
    assert [bool(one.functions), bool(one.property), one.making].count(True) == 1
    if one.property:
        assert read(one.by, (dimension_of(one.property) or "",)).base > 0


def test_ids_are_unique_and_every_test_has_a_method() -> None:
    ids = [row.id for row in table().due]
    assert len(ids) == len(set(ids))
    assert set(get_args(TestName)) <= methods().keys()
    assert all(one.methods and one.checked in ("verified", "practice", "memory") for one in methods().values())


def test_the_plant_measures_properties_that_exist() -> None:
    assert {one.property for one in plant().control} <= {one.id for one in PROPERTIES}
    assert all(scatter(Settings(format=1), one.test) for one in plant().control)
    assert all(one.source.document and one.source.checked in ("verified", "practice", "memory") for one in plant().uncomputed)


# --- a change and its tests --------------------------------------------------------------------------------------

FUNCTIONS: dict[str, tuple[tuple[str, str], set[str]]] = {
    "binder": (('"280.0 lb"', '"270.0 lb"'), {"scrub", "low_temperature_film", "adhesion", "heat_age"}),
    "white pigment": (('"200.0 lb"', '"190.0 lb"'), {"contrast_ratio", "tint_strength", "color"}),
    "dispersant": (('"0.45 %"', '"0.55 %"'), {"fineness", "consistency", "water_sensitivity", "color_acceptance"}),
    "preservative": (('"0.10 %"', '"0.12 %"'), {"in_can_preservation", "ph"}),
    "glycol": (('"1.5 gal"', '"1.9 gal"'), {"freeze_thaw", "open_time"}),
    "neutralizer": (('"0.5 lb"', '"0.7 lb"'), {"ph", "consistency", "heat_age"}),
}


@pytest.mark.parametrize(("edit", "tests"), FUNCTIONS.values(), ids=FUNCTIONS.keys())
def test_what_changed_says_what_is_due(edit: tuple[str, str], tests: set[str]) -> None:
    found = asked({SHEET: [edit]})
    assert tests <= found.keys()
    assert all(one.because and one.method for one in found.values())


def test_what_did_not_change_asks_for_nothing() -> None:
    found = asked({SHEET: [('"1.5 gal"', '"1.9 gal"')]})
    assert found.keys() == {"freeze_thaw", "open_time"}
    assert found["open_time"].because == ("G, glycol: it keeps the can from freezing and the edge wet",)


@pytest.mark.parametrize("name", EDITS)
def test_the_same_paint_asks_for_no_test(name: str) -> None:
    for before, after in states(EDITS[name]):
        change = compared(before, after, EDITS[name].about)
        method = any(one.keys[0] == "tests" for one in change.fields)
        if change.change in (Change.none, Change.editorial, Change.equivalent, Change.data) and not method:
            assert due(before, after, change) == ()


def test_the_making_asks_for_the_grind() -> None:
    assert asked({SHEET: [('"1150 rpm", time = "20 min"', '"1150 rpm", time = "10 min"')]}).keys() == {"fineness", "consistency"}


def test_the_sheet_says_method_and_the_pack_says_it_otherwise() -> None:
    found = asked({SHEET: [('"0.5 lb"', '"0.7 lb"')]}, {SHEET: [('min = "8.3"', 'min = "8.3", condition = "25 degC", after = "24 h"')]})
    assert (found["ph"].method, found["ph"].condition) == ("ASTM E70", "after 24 h; 25 degC")
    assert (found["consistency"].method, found["consistency"].condition) == ("ASTM D562", "24 h after making, 25 degC")


def test_another_method_asks_for_the_test_and_another_window_does_not() -> None:
    assert asked({SHEET: [('"ASTM E70"', '"in-house"')]}).keys() == {"ph"}
    assert asked({SHEET: [('min = "8.3"', 'min = "8.4"')]}) == {}


def test_a_film_that_shines_is_tested_for_it() -> None:
    shiny: Replacements = {SHEET: [('class    = "flat"', 'class    = "gloss"')]}
    edit: Replacements = {SHEET: [('"280.0 lb"', '"270.0 lb"')]}
    assert {"blocking", "gloss_60"} <= asked(edit, shiny).keys()
    assert not {"blocking", "gloss_60"} & asked(edit).keys()


def test_another_supplier_is_another_material() -> None:
    found = asked({"materials/B": [('supplier = "South"', 'supplier = "East"')]})
    assert {"scrub", "adhesion"} <= found.keys()


def test_what_moved_inside_an_intermediate_is_seen() -> None:
    text = base()["formulas/SL"]
    line = next(line for line in text.splitlines() if "amount" in line)
    amount = line.split('amount = "')[1].split('"')[0]
    more = f"{float(amount.split()[0]) * 1.2:g} {amount.split()[1]}"
    found = asked({"formulas/SL": [(f'"{amount}"', f'"{more}"')]})
    assert found
    assert all(one.because for one in found.values())


def test_a_new_paint_asks_for_the_tests_of_its_sheet() -> None:
    after = shelf(base())
    before = shelf({name: text for name, text in base().items() if name != SHEET})
    found = due(before, after, compared(before, after, "T-1"))
    assert [(one.test, one.because) for one in found] == [("ph", ("the paint is new",))]
    assert due(after, before, compared(after, before, "T-1")) == ()


def test_words_name_each_test_once() -> None:
    found = due(*changed({SHEET: [('"280.0 lb"', '"250.0 lb"'), ('"1.5 gal"', '"1.9 gal"')]}))
    said = list(remarks(found))
    assert all(one.startswith("tests now due: ") for one in said)
    assert sum(one.count("freeze-thaw") for one in said) == 1
    assert [one["test"] for one in objects(found)] == [one.test for one in found]


# --- plant control -----------------------------------------------------------------------------------------------


def remark(edits: Replacements, first: Replacements | None = None) -> str:
    return "".join(noticed(*changed(edits, first)))


def test_a_change_that_density_would_not_show_is_said() -> None:
    words = remark({SHEET: [('"0.5 lb"', '"0.7 lb"')]})
    assert words.startswith("density and nonvolatile would not show it in the plant")
    assert words.endswith("consistency and pH cannot be computed, and A usually moves the pH")


def test_what_density_shows_is_said_as_well_as_what_nobody_can_compute() -> None:
    words = remark({SHEET: [('"200.0 lb"', '"120.0 lb"')]})
    assert words.startswith("density and nonvolatile would show it in the plant (density -")
    assert words.endswith("; consistency and pH cannot be computed, and no thickener or neutralizer changed")


def test_without_thickener_or_neutralizer_that_is_said() -> None:
    assert remark({SHEET: [('"0.10 %"', '"0.12 %"')]}).endswith("and no thickener or neutralizer changed")


def test_the_window_of_the_sheet_goes_before_the_scatter_of_the_test() -> None:
    narrow: Replacements = {SHEET: [('density = { min = "9 lb/gal" }', 'density = { min = "9.00 lb/gal", max = "9.0001 lb/gal" }')]}
    edit: Replacements = {SHEET: [('"1.5 gal"', '"2.5 gal"')]}
    assert remark(edit).startswith("density and nonvolatile would not show it")
    assert re.match(r"nonvolatile would not show it in the plant \(.*\), density would \(.*, its window\); ", remark(edit, narrow))


def test_the_scatter_is_a_share_of_the_value() -> None:
    before, after, change = changed({SHEET: [('"1.5 gal"', '"1.9 gal"')]})
    density = next(one for one in margins(after, change) or [] if one.control.property == "density")
    value = next(one.before for one in change.properties if one.id == "density")
    assert density.within == pytest.approx(0.006 * value if isinstance(value, float) else 0)
    assert before is not None and density.whose == "the scatter of the test"


def test_the_lab_s_own_repeatability_goes_before_that_of_the_pack() -> None:
    settings = base()["formulint"]
    own = {"formulint": [(settings, settings + '\n[repeatability]\ndensity = { relative = "0.0001 %" }\n')]}
    edit: Replacements = {SHEET: [('"1.5 gal"', '"1.9 gal"')]}
    assert remark(edit).startswith("density and nonvolatile would not show it")
    assert re.match(r"nonvolatile would not show it in the plant \(.*\), density would \(.*, the lab's own repeatability\); ", remark(edit, own))


def test_what_cannot_be_computed_is_not_called_hidden() -> None:
    lost: Replacements = {"materials/G": [("density", "# density")]}
    assert remark({SHEET: [('"1.5 gal"', '"1.9 gal"')]}, lost).startswith("whether density and nonvolatile would show it")


@pytest.mark.parametrize("name", [name for name, edit in EDITS.items() if edit.class_ != "compositional"])
def test_what_is_no_other_paint_is_not_looked_for(name: str) -> None:
    assert all("".join(noticed(before, after, compared(before, after, EDITS[name].about))) == "" for before, after in states(EDITS[name]))


# --- shown -------------------------------------------------------------------------------------------------------


def test_the_difference_says_it_to_people_and_machines(tmp_path: Path) -> None:
    files = {f"{name}.toml": text for name, text in base().items()}
    other = {f"{SHEET}.toml": files[f"{SHEET}.toml"].replace('"1.5 gal"', '"1.9 gal"')}
    build(tmp_path, [Commit("a", files), Commit("b", other)])
    answer: dict[str, Json] = json.loads(run(tmp_path, "diff", "HEAD~1", "HEAD", "--format", "json").out)
    [formula] = [one for one in tables(answer["formulas"]) if one["code"] == "T-1"]
    assert [one["test"] for one in tables(formula["tests_due"])] == ["freeze_thaw", "open_time"]
    assert {key for one in tables(formula["tests_due"]) for key in one} == {"test", "method", "condition", "because"}
    told = " ".join(run(tmp_path, "diff", "HEAD~1", "HEAD").out.split())
    assert "test now due method and condition because of Freeze-thaw ASTM D2243; one can" in told
    assert "tests are due because of G, glycol: it keeps the can from freezing and the edge wet" in told
