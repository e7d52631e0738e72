"""What may stand: a concession covers what it names and nothing else, and what is doubtful in it gives no leave."""

from __future__ import annotations

import json
from collections.abc import Mapping
from datetime import date

import pytest
from lint_cases import SETTINGS, catalog_of

from formulint.finding import Finding, Level
from formulint.judge import Judge, Scope
from formulint.render import json_report, sarif
from formulint.render.terminal import plain
from formulint.report import lint, overall

DAY = date(2026, 1, 12)
LAB, CHIEF, LAW = "lab@example.org", "chief@example.org", "law@example.org"
APPROVERS = f'{SETTINGS}\n[approvers]\nformula = ["{LAB}", "{CHIEF}"]\nmaterial = ["{CHIEF}"]\npolicy = ["{LAW}"]\n'
GLYCOL = '{ material = "GLYCOL", amount = "11 kg" }'
NITRITE = '{ material = "NITRITE", amount = "1 kg" }, { material = "MORPHOLINE", amount = "1 kg" }'
POWDER = '{ material = "RUTILE", amount = "9 kg" }, { material = "DISPERSANT", amount = "0.3 kg" }'
MUTE = '{ material = "MUTE", amount = "1 kg" }'
MATERIAL = 'code = "MUTE"\nname = "says nothing"\nfunctions = ["other"]\nstate = "blocked"\ndensity = "1 kg/L"\nnonvolatile = "100 %"\nvoc = "0 %"\n'


def paint(lines: str = GLYCOL, revision: int = 1) -> dict[str, str]:
    """A formula of 100 kg in production, and a material that is blocked."""
    head = f'code = "T-1"\nname = "paint"\nrevision = {revision}\nstate = "production"\nclass = "flat"\nbatch = "100 kg"\nmarkets = ["us-national"]\n'
    fill = '{ material = "FILLER", amount = "q.s." }'
    stage = f'\n[[stage]]\nname = "Mix"\nkind = "letdown"\nadditions = [{lines}, {fill}]\n'
    return {"formulas/T-1.toml": head + stage, "materials/MUTE.toml": MATERIAL}


def conceded(**more: object) -> dict[str, str]:
    """A concession for glycol above its ceiling, with fields written otherwise or, where None, left out."""
    fields: dict[str, object] = {
        "code": "C-001", "rule": "dose/glycol-ceiling", "formula": "T-1", "revision": 1, "up_to": "11.5 %",
        "reason": "trial for the north", "approved_by": LAB, "expires": date(2026, 5, 31),
    }  # fmt: skip
    lines = [f"{key} = {value if isinstance(value, date) else json.dumps(value)}" for key, value in {**fields, **more}.items() if value is not None]
    return {"concessions/C-001.toml": "\n".join(lines) + "\n"}


def found(files: Mapping[str, str], today: date = DAY, scope: tuple[str, ...] = ("formulas/T-1.toml",)) -> tuple[Finding, ...]:
    """Everything that is said about these files."""
    materials = tuple(name for name in files if name.startswith("materials/"))
    return Judge(catalog_of({"formulint.toml": APPROVERS, **files}, today)).findings(Scope(scope, materials, True))


def told(files: Mapping[str, str], rule: str, today: date = DAY) -> tuple[str, list[str]]:
    """What became of a rule's finding ("stops", "stands" or "warns"), and what is said of the concessions."""
    all_ = found(files, today)
    one = next(one for one in all_ if one.rule == rule)
    words = "stands" if one.granted else "stops" if one.blocks else "warns"
    return words, [f"{one.rule}: {one.fault.message}" for one in all_ if one.fault.place.path.startswith("concessions/")]


# --- what a concession covers ------------------------------------------------------------------------------------

CEILING, UNSAFE, ORDER = "dose/glycol-ceiling", "unsafe/nitrite-with-secondary-amine", "order/dispersant-before-pigment"
BLOCKED = "materials/blocked-in-use"
OF_MUTE: dict[str, object] = {"rule": BLOCKED, "formula": None, "revision": None, "material": "MUTE", "up_to": None, "approved_by": CHIEF}
COVERED: dict[str, tuple[dict[str, str], dict[str, object], str]] = {
    "a value up to the one that is stated": (paint(), {}, CEILING),
    "a value on the one that is stated": (paint(), {"up_to": "11 %"}, CEILING),
    "to the end of its last day": (paint(), {"expires": DAY}, CEILING),
    "a name in other letters": (paint(), {"approved_by": f" {LAB.upper()}"}, CEILING),
    "a revision": (paint(revision=3), {"revision": 3}, CEILING),
    "an order that must be kept, by two": (paint(POWDER), {"rule": ORDER, "up_to": None, "also_approved_by": LAW}, ORDER),
    "what is unsafe, by two": (paint(NITRITE), {"rule": UNSAFE, "up_to": None, "also_approved_by": CHIEF}, UNSAFE),
    "a material in every paint": (paint(MUTE), OF_MUTE, BLOCKED),
}


@pytest.mark.parametrize("case", COVERED)
def test_what_is_conceded_stands(case: str) -> None:
    files, more, rule = COVERED[case]
    assert told({**files, **conceded(**more)}, rule) == ("stands", [])
    assert told(files, rule)[0] == "stops"


GIVEN_NO_LEAVE: dict[str, tuple[dict[str, str], dict[str, object], str, str]] = {
    "a day later": (paint(), {"expires": date(2026, 1, 11)}, CEILING, "in-time: C-001 ended on 2026-01-11"),
    "further off than was said": (paint(), {"up_to": "10.9 %"}, CEILING, "up-to: C-001: dose/glycol-ceiling in T-1, revision 1 may stand up to 10.9 %; it is 11.0 %"),
    "the other way": (paint(), {"up_to": "9 %"}, CEILING, "up-to:"),
    "without a stated value": (paint(), {"up_to": None}, CEILING, "may stand only up to a stated value; it is 11.0 %"),
    "in another unit": (paint(), {"up_to": "11.5 kg"}, CEILING, "up-to:"),
    "a value where nothing is measured": (paint(POWDER), {"rule": ORDER, "also_approved_by": LAW}, ORDER, "measures nothing that could lie within 11.5 %"),
    "another revision": (paint(revision=2), {}, CEILING, "this-revision: C-001 is for revision 1 of T-1, which is at revision 2"),
    "a rule that is none": (paint(), {"rule": "dose/glycol-cieling"}, CEILING, 'known-rule: C-001: there is no rule "dose/glycol-cieling"'),
    "a property that is none": (paint(), {"rule": "own-limit/denstiy"}, CEILING, "known-rule"),
    "a formula that is none": (paint(), {"formula": "T-2"}, CEILING, "known-record: C-001: there is no formula T-2"),
    "a material that is none": (paint(MUTE), {**OF_MUTE, "material": "MUTED"}, BLOCKED, "there is no material MUTED"),
    "a stranger": (paint(), {"approved_by": "x@example.org"}, CEILING, 'known-approver: C-001: "x@example.org" is not among those who approve formulas'),
    "somebody for other things": (paint(MUTE), {**OF_MUTE, "approved_by": LAB}, BLOCKED, "is not among those who approve materials"),
    "one name for what is unsafe": (paint(NITRITE), {"rule": UNSAFE, "up_to": None}, UNSAFE, "two-names: C-001"),
    "the same name twice": (paint(NITRITE), {"rule": UNSAFE, "up_to": None, "also_approved_by": f"{LAB} "}, UNSAFE, "two-names: C-001"),
    "a stranger as the second": (paint(POWDER), {"rule": ORDER, "up_to": None, "also_approved_by": "x"}, ORDER, 'known-approver: C-001: "x"'),
    "one name for an order": (paint(POWDER), {"rule": ORDER, "up_to": None}, ORDER, "two-names: C-001"),
    "what does not add up": (paint(f'{GLYCOL}, {{ material = "WATER", amount = "200 kg" }}'), {"rule": "closure/batch"}, "record/amounts", "can-be-given: C-001"),
    "what cannot be read": (paint(), {"rule": "record/readable"}, CEILING, "can-be-given"),
}


@pytest.mark.parametrize("case", GIVEN_NO_LEAVE)
def test_what_is_doubtful_gives_no_leave_and_is_told(case: str) -> None:
    files, more, rule, words = GIVEN_NO_LEAVE[case]
    became, said = told({**files, **conceded(**more)}, rule)
    assert became == "stops"
    assert len(said) == 1 and words in said[0], said


MALFORMED: dict[str, dict[str, str]] = {
    "no TOML": {"concessions/C-001.toml": "code ="},
    "no name": conceded(approved_by=None),
    "a key that is none": conceded(rule_="x"),
    "no reason": conceded(reason=""),
    "formula and material": conceded(material="MUTE"),
    "neither": conceded(formula=None),
    "a formula without revision": conceded(revision=None),
    "a material with revision": conceded(material="MUTE", formula=None),
    "another file name": {"concessions/C-9.toml": conceded()["concessions/C-001.toml"]},
    "twice": {**conceded(), "concessions/old/c-001.toml": conceded()["concessions/C-001.toml"].replace("C-001", "c-001")},
    "a time of day": {"concessions/C-001.toml": conceded()["concessions/C-001.toml"].replace("2026-05-31", "2026-05-31T12:00:00")},
}


@pytest.mark.parametrize("case", MALFORMED)
def test_what_cannot_be_read_stops_and_gives_no_leave(case: str) -> None:
    files = {**paint(), **MALFORMED[case]}
    assert told(files, CEILING)[0] == "stops"
    assert any(one.blocks and one.fault.place.path.startswith("concessions/") for one in found(files, scope=()))


# --- what it does not hide ---------------------------------------------------------------------------------------


def test_nothing_else_stands_by_it() -> None:
    lines = f"{GLYCOL}, {NITRITE}"
    with_, without = (
        {(one.rule, one.fault.message) for one in found(files) if not one.granted} for files in ({**paint(lines), **conceded()}, paint(lines))
    )
    assert without - with_ == {one for one in without if one[0] == CEILING} != set()


def test_one_that_is_needed_no_more_is_noted() -> None:
    files = {**paint('{ material = "WATER", amount = "9 kg" }'), **conceded()}
    (one,) = (one for one in found(files) if one.rule == "concession/needed")
    assert (one.level, one.formula) == (Level.note, "T-1")
    assert [one.rule for one in found(files, scope=()) if one.rule == "concession/needed"] == []


def test_of_a_material_it_says_whom_it_reaches() -> None:
    catalog = catalog_of({"formulint.toml": APPROVERS, **paint(MUTE), **conceded(**OF_MUTE)}, DAY)
    (one,) = (one for one in Judge(catalog).findings(Scope(("formulas/T-1.toml",), ())) if one.granted)
    assert one.granted is not None and one.granted.reaches == ("T-1",)
    page = " ".join(plain(lint(catalog, Scope(("formulas/T-1.toml",), ()), (one,), False), 200).split())
    assert "conceded until 2026-05-31 by C-001: trial for the north; it reaches T-1" in page


def test_machines_are_told_and_count_it_no_more() -> None:
    catalog = catalog_of({"formulint.toml": APPROVERS, **paint(), **conceded()}, DAY)
    findings = tuple(one for one in Judge(catalog).findings(Scope(("formulas/T-1.toml",), ())) if one.rule == CEILING)
    (result,) = json.loads(json_report.lint(catalog, findings, {}))["results"]
    assert {"concession": "C-001", "expires": "2026-05-31", "reason": "trial for the north"}.items() <= result["suppressed"].items()
    assert (overall(findings), result["kind"]) == ("pass", "fail")
    log = json.loads(sarif.show(lint(catalog, Scope((), ()), findings, False)))
    assert [one["kind"] for one in log["runs"][0]["results"][0]["suppressions"]] == ["external"]
