"""Which formulas hold something: materials, intermediates, substances, functions; how much, through what, and what is made of it."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from repository import Json, Table, run, tables, write
from story import EXAMPLE

BIT = "2634-33-5"
SETTINGS: Table = {"format": 1, "water_density": "1 kg/L"}
WATER: Table = {"name": "water", "functions": ["water"], "density": "1 kg/L", "nonvolatile": "0 %", "water": "100 %"}
GUARD: Table = {
    "name": "preservative", "functions": ["in-can-preservative"], "density": "1 kg/L", "nonvolatile": "20 %", "water": "80 %",
    "component": [{"name": "BIT", "cas": BIT, "share": "20 %"}],
}  # fmt: skip
OTHER: Table = {**GUARD, "name": "second preservative", "component": [{"name": "BIT", "cas": BIT, "share": "5 %"}]}


def sheet(state: str, *lines: Table, class_: str = "flat") -> Table:
    return {
        "name": "white", "revision": 1, "state": state, "class": class_, "batch": "100 kg",
        "stage": [{"name": "Grind", "kind": "grind", "additions": list(lines)}],
    }  # fmt: skip


def line(code: str, amount: str, **more: object) -> Table:
    return {"material": code, "amount": amount, **more}


FORMULAS: dict[str, Table] = {
    "T-1": sheet("bench", line("RM-1", "99 kg"), line("RM-2", "1 kg")),
    "T-2": sheet("production", line("RM-1", "50 kg"), line("IM-2", "50 kg")),
    "T-3": sheet("pilot", line("RM-1", "99 kg"), line("RM-3", "1 kg", alternates=["RM-2"])),
    "T-4": sheet("withdrawn", line("RM-1", "100 kg")),
    "IM-1": sheet("production", line("RM-1", "90 kg"), line("RM-2", "10 kg"), class_="intermediate"),
    "IM-2": sheet("production", line("RM-1", "80 kg"), line("IM-1", "20 kg"), class_="intermediate"),
}


@pytest.fixture(scope="module")
def house(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write(tmp_path_factory.mktemp("house"), SETTINGS, {"RM-1": WATER, "RM-2": GUARD, "RM-3": OTHER}, FORMULAS)


def uses(house: Path, asked: str) -> list[dict[str, Json]]:
    answer = run(house, "whereused", asked, "--format", "json")
    assert answer.status == 0, answer.err
    return tables(json.loads(answer.out)["uses"])


def shares(house: Path, asked: str) -> dict[Json, Json]:
    return {one["formula"]: one["share_min"] for one in uses(house, asked)}


EXPECTED: dict[str, dict[str, float]] = {
    "RM-2": {"IM-1": 10.0, "IM-2": 2.0, "T-2": 1.0, "T-3": 0.0, "T-1": 1.0},
    "RM-3": {"T-3": 1.0},
    "IM-1": {"IM-2": 20.0, "T-2": 10.0},
    BIT: {"IM-1": 2.0, "IM-2": 0.4, "T-2": 0.2, "T-3": 0.0, "T-1": 0.2},
    "in-can-preservative": {"IM-1": 10.0, "IM-2": 2.0, "T-2": 1.0, "T-3": 0.0, "T-1": 1.0},
    "T-4": {},
}


@pytest.mark.parametrize("asked", EXPECTED)
def test_who_holds_it_and_how_much(house: Path, asked: str) -> None:
    assert shares(house, asked) == pytest.approx(EXPECTED[asked])


def test_what_is_made_comes_first_and_is_said_loudly(house: Path) -> None:
    states = [str(one["state"]) for one in uses(house, "RM-2")]
    assert states == sorted(states, key=("production", "pilot", "bench", "withdrawn").index)
    out = run(house, "whereused", "RM-2").out
    assert "PRODUCTION" in out
    assert "IN PRODUCTION: IM-1, IM-2, T-2; pilot: T-3; bench: T-1" in out


def test_the_way_through_intermediates_is_told(house: Path) -> None:
    found = next(one for one in uses(house, "RM-2") if one["formula"] == "T-2")
    assert (found["material"], found["through"], found["holds"], found["amount"]) == ("IM-2", ["IM-2", "IM-1"], ["RM-2"], "50 kg")
    assert (found["stage"], found["path"]) == ("Grind", "formulas/T-2.toml")


def test_an_alternate_is_no_part_of_the_batch(house: Path) -> None:
    found = next(one for one in uses(house, "RM-2") if one["formula"] == "T-3")
    assert (found["instead_of"], found["share_min"], found["share_max"]) == ("RM-3", 0.0, 0.0)
    assert next(one for one in uses(house, "RM-3"))["alternates"] == ["RM-2"]


def test_a_substance_counts_in_every_material_that_holds_it(house: Path) -> None:
    both = [one["share_min"] for one in uses(house, BIT) if one["formula"] == "T-3"]
    assert both == pytest.approx([0.05, 0.0])


def test_a_substance_is_found_by_its_name_and_by_a_word_of_it() -> None:
    named = shares(EXAMPLE, "2634-33-5")
    assert shares(EXAMPLE, "BIT") == shares(EXAMPLE, "1,2-benzisothiazol-3(2H)-one (bit)") == named != {}


def test_a_biocide_is_told_in_ppm() -> None:
    found = run(EXAMPLE, "whereused", BIT).out
    assert "235 ppm" in found and "0.02 %" not in found


def test_an_amount_that_nobody_knows_is_no_zero(tmp_path: Path) -> None:
    unclear = sheet("bench", line("RM-1", "99 L"), line("RM-2", "1 kg"))
    house = write(tmp_path, SETTINGS, {"RM-1": {**WATER, "density": {"min": "0.9 kg/L", "max": "1.1 kg/L"}}, "RM-2": GUARD}, {"T-1": unclear})
    found = uses(house, "RM-2")[0]
    assert found["share_min"] == pytest.approx(100 / (1 + 99 * 1.1))
    assert found["share_max"] == pytest.approx(100 / (1 + 99 * 0.9))


def test_what_cannot_be_read_is_told(house: Path, tmp_path: Path) -> None:
    other = write(tmp_path, SETTINGS, {"RM-1": WATER}, {"T-1": sheet("bench", line("RM-1", "100 kg"))})
    (other / "formulas" / "T-9.toml").write_text("code = ")
    assert "formulas/T-9.toml cannot be read" in run(other, "whereused", "RM-1").out


REFUSED = {"RM-22": "did you mean RM-2?", "2634-33-4": "last digit", "dispersent": "did you mean dispersant?", "": "what is looked for"}
TWO = {"name": "two", "functions": ["other"], "form": "liquid", "component": [{"name": f"{which}-methyl isothiazolone", "share": "5 %", "cas": cas} for which, cas in (("2", "2682-20-4"), ("5-chloro-2", "26172-55-4"))]}


@pytest.mark.parametrize("asked", REFUSED)
def test_what_nobody_knows_is_said(house: Path, asked: str) -> None:
    answer = run(house, "whereused", *([asked] if asked else []))
    assert answer.status == 2
    assert REFUSED[asked] in answer.err


def test_a_name_of_several_substances_is_asked_back(tmp_path: Path) -> None:
    answer = run(write(tmp_path, SETTINGS, {"RM-1": TWO}, {}), "whereused", "isothiazolone")
    assert (answer.status, "2682-20-4 (2-methyl isothiazolone)" in answer.err, "26172-55-4 (" in answer.err) == (2, True, True)


def test_markdown_has_the_same_rows(house: Path) -> None:
    out = run(house, "whereused", "RM-2", "--format", "markdown").out
    assert sum(line.startswith("| ") for line in out.splitlines()) == len(uses(house, "RM-2")) + 2


def test_the_example_is_as_its_sheets_say() -> None:
    example = Path(__file__).parent.parent / "example_repo"
    written = {path.stem for path in (example / "formulas").glob("*.toml") if '"RM-1801"' in path.read_text(encoding="utf-8")}
    assert {one["formula"] for one in uses(example, "RM-1801")} == written
