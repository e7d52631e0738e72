"""One missing figure is told once, before all else; machines still get every check that hangs on it."""

from __future__ import annotations

import json

import pytest
from in_memory import SETTINGS, Records, catalog, of_files
from repository import Table
from story import EXAMPLE

from formulint.catalog import Catalog
from formulint.finding import Finding
from formulint.folding import causes_first
from formulint.judge import Judge
from formulint.render import json_report
from formulint.render.terminal import plain
from formulint.report import lint, summary
from formulint.scope import everything

WATER: Table = {"name": "water", "functions": ["water"], "form": "liquid", "density": "1 kg/L", "nonvolatile": "0 %", "water": "100 %"}
OIL: Table = {"name": "oil", "functions": ["other"], "form": "liquid", "nonvolatile": "100 %"}
LIMITS: Table = {"density": {"min": "0.9 kg/L"}, "nonvolatile_volume": {"min": "1 %"}, "cost_mass": {"max": "9 USD/kg"}}


def shelf(*formulas: str, **oil: str) -> Catalog:
    """Formulas by volume of water and an oil that lacks what it is not given here."""
    lines = [{"material": "W", "amount": "6 L"}, {"material": "OIL", "amount": "3 kg"}]
    record: Table = {
        "name": "by volume", "revision": 1, "state": "production", "class": "intermediate", "batch": "9 L",
        "stage": [{"name": "Mix", "kind": "charge", "additions": lines}], "limits": LIMITS,
    }  # fmt: skip
    materials: Records = {"W": {**WATER, "price": "1 USD/kg"}, "OIL": {**OIL, **oil}}
    return catalog(materials, dict.fromkeys(formulas, record), SETTINGS)


def found(state: Catalog) -> tuple[Finding, ...]:
    """Everything there is to say, but for notes."""
    return tuple(one for one in Judge(state).findings(everything(state)) if one.level.name != "note")


def text(state: Catalog) -> str:
    """The report of everything, as one line."""
    return " ".join(plain(lint(state, everything(state), found(state), False)).split())


def test_the_cause_is_told_first_and_once_with_what_hangs_on_it() -> None:
    first, *rest = causes_first(found(shelf("T-1", "T-2", price="1 USD/kg")))
    words = "OIL has no density: 6 checks of T-1, T-2 cannot be answered: whether the lines add up to the batch; density; nonvolatile, volume"
    assert first.fault.message == words
    assert (first.material, first.formula, len(first.behind), first.fault.kind) == ("OIL", "", 7, "open")
    assert first.rule == "closure/batch, own-limit/density, own-limit/nonvolatile-volume"
    assert [one for one in rest if "density" in one.fault.message] == []


def test_what_is_missing_elsewhere_is_told_apart_and_a_single_check_as_it_is() -> None:
    mixed = causes_first(found(shelf("T-1")))
    assert mixed[0].fault.message.startswith("OIL has no density, price: 4 checks of T-1 cannot")
    single = found(shelf("T-1", density="1 kg/L"))
    assert [one.fault.message for one in single if one.fault.kind == "open"] == ["Cost, mass cannot be computed: OIL has no price"]
    assert causes_first(single) == single


def test_it_stands_at_the_head_of_the_report_and_stops() -> None:
    told = text(shelf("T-1", "T-2", price="1 USD/kg"))
    assert told.index("OIL oil OPEN OIL has no density") < 120
    assert told.count("OIL has no density") == 1
    assert "STOP materials/OIL.toml, line 1: closure/batch" in told
    assert "This stops a commit." in told


def test_machines_get_every_check() -> None:
    state = shelf("T-1", "T-2", price="1 USD/kg")
    results = json.loads(json_report.lint(state, found(state), {}))["results"]
    assert sorted(one["rule"] for one in results if one["kind"] == "open") == sorted(2 * ["closure/batch", "own-limit/density", "own-limit/nonvolatile-volume"])


def test_lists_for_machines_name_every_finding_by_its_own_rule() -> None:
    state = shelf("T-1", "T-2", price="1 USD/kg")
    listed = lint(state, everything(state), found(state), False).findings
    assert sorted((one.finding.rule, one.finding.formula) for one in listed) == sorted((one.rule, one.formula) for one in found(state))


def test_it_stops_where_any_of_the_checks_stops() -> None:
    findings = found(shelf("T-1"))
    assert any(one.blocks for one in causes_first(findings)) == any(one.blocks for one in findings) is True


@pytest.mark.parametrize(("oil", "words"), [({}, "no errors, 4 open that stop, 1 warning"), ({"density": "1 kg/L"}, "no errors, 1 open that stop")])
def test_what_is_open_is_counted_apart(oil: dict[str, str], words: str) -> None:
    assert summary(found(shelf("T-1", **oil))) == words


def test_what_is_open_and_does_not_stop_is_no_warning() -> None:
    latex: Table = {"name": "latex", "functions": ["binder"], "form": "emulsion", "density": "1 kg/L", "nonvolatile": "50 %", "water": "50 %", "nonvolatile_density": "1.1 kg/L"}
    stage = {"name": "Mix", "kind": "letdown", "additions": [{"material": "L", "amount": "9 kg"}]}
    record: Table = {"name": "p", "revision": 1, "state": "bench", "class": "clear", "markets": ["canada"], "batch": "9 kg", "stage": [stage]}
    opens = [one for one in found(catalog({"L": latex}, {"T-1": record})) if one.rule == "presence/coalescent-for-hard-latex"]
    assert summary(opens) == "no errors, 1 open"


def unread(*formulas: str) -> Catalog:
    """Formulas of a material that nobody can read, for a day that is none."""
    return shelf(*formulas, density="1 kg/L", price="1 USD/kg", sds_date="2025-02-30")


def test_a_record_that_cannot_be_read_is_told_once_with_the_formulas_that_wait_for_it() -> None:
    state = unread("T-1", "T-2", "T-3")
    first, *rest = causes_first(found(state))
    assert (first.rule, first.fault.place.path, len(first.behind)) == ("record/readable", "materials/OIL.toml", 4)
    assert first.fault.message.endswith("; 3 formulas cannot be judged until it can be read: T-1, T-2, T-3")
    assert [one for one in rest if one.blocks] == []
    told = text(state)
    assert (told.count("cannot be read"), told.count("STOP materials/OIL.toml"), told.count("STOP formulas/")) == (0, 1, 0)


def test_machines_get_every_formula_that_waits() -> None:
    state = unread("T-1", "T-2")
    results = json.loads(json_report.lint(state, found(state), {}))["results"]
    assert [one["rule"] for one in results].count("record/known-material") == 2


def test_who_waits_is_told_where_what_it_waits_for_is_not_looked_at() -> None:
    waiting = tuple(one for one in found(unread("T-1", "T-2")) if one.formula)
    assert causes_first(waiting) == waiting != ()


def test_that_a_sheet_does_not_add_up_stands_before_all_else_of_it() -> None:
    texts = {path.relative_to(EXAMPLE).as_posix(): path.read_text(encoding="utf-8") for path in EXAMPLE.rglob("*.toml") if "story" not in path.parts}
    name = "formulas/T-140.toml"
    state = of_files({**texts, name: texts[name].replace('"RM-1010", amount =   "9.0 lb"', '"RM-1010", amount =  "90.0 lb"')})
    told = text(state)
    assert 0 < told.index("STOP the lines add up to") < told.index("rule voc/")
    assert 0 < told.index("line 8: closure/batch") < told.index("line 7: voc/")


def test_where_one_formula_waits_its_line_is_named() -> None:
    first, *_ = causes_first(found(unread("T-1")))
    assert first.fault.message.endswith("; 1 formula cannot be judged until it can be read: T-1")
    assert [place.path for place in first.fault.related] == ["formulas/T-1.toml"]
