"""Fields of one record that do not belong together: each told once, at its key; nothing told of records that are right."""

from __future__ import annotations

import tomllib
from pathlib import Path

import msgspec
import pytest
from edits import base, edited, shelf
from msgspec import Struct

from formulint.consistency import of_formula, of_material
from formulint.finding import Fault
from formulint.formula import Formula
from formulint.material import Material

HERE = Path(__file__).parent
EXAMPLE = HERE.parent / "example_repo"
MARKETS = frozenset({"us-national", "us-south-coast", "us-regional-1", "us-utah", "eu"})
TAGS = frozenset({"acrylic-latex", "polyacrylate"})


class Case(Struct, frozen=True, forbid_unknown_fields=True):
    """An edit of one file, and the fault that it makes."""

    name: str
    file: str
    swap: list[tuple[str, str]]
    at: list[str | int]
    words: str
    helps: str = ""


CASES = {case.name: case for case in msgspec.convert(tomllib.loads((HERE / "cases" / "consistency.toml").read_text())["case"], list[Case])}


def record(files: dict[str, str], name: str) -> Formula | Material:
    """The record of a file."""
    catalog = shelf(files)
    file = catalog.find_formula(name.rpartition("/")[2]) or catalog.find_material(name.rpartition("/")[2])
    assert file is not None and file.record is not None, file
    return file.record


def faults(files: dict[str, str], name: str, tags: frozenset[str] = TAGS) -> list[Fault]:
    """Everything that is inconsistent in a file."""
    one = record(files, name)
    return list(of_formula(one, name, MARKETS) if isinstance(one, Formula) else of_material(one, name, tags))


@pytest.mark.parametrize("name", CASES)
def test_a_fault_is_told_once_at_its_key(name: str) -> None:
    case = CASES[name]
    (fault,) = faults(edited(base(), {case.file: case.swap}, {}), case.file)
    assert (fault.place.path, list(fault.place.keys)) == (case.file, case.at)
    assert case.words in fault.message and case.helps in fault.remedy and fault.remedy


@pytest.mark.parametrize("name", [name for name in base() if "/" in name])
def test_nothing_is_told_of_what_is_right(name: str) -> None:
    assert faults(base(), name) == []


@pytest.mark.parametrize("path", sorted(EXAMPLE.glob("*/[RT]*.toml")), ids=lambda path: path.stem)
def test_nothing_is_told_of_the_example(path: Path) -> None:
    listed = tomllib.loads((HERE.parent / "rules" / "vocabulary.toml").read_text())["tag"]
    files = {"formulint": "format = 1\n", f"{path.parent.name}/{path.stem}": path.read_text()}
    assert faults(files, f"{path.parent.name}/{path.stem}", frozenset(tag["id"] for tag in listed)) == []


def test_an_intermediate_needs_no_market() -> None:
    assert record(base(), "formulas/SL") and faults(base(), "formulas/SL") == []


def test_related_places_are_told() -> None:
    twice = edited(base(), {"formulas/T-1": [('"1.5 gal"', '"q.s."')]}, {})
    (fault,) = faults(twice, "formulas/T-1")
    assert [place.keys for place in fault.related] == [("stage", 1, "additions", 2, "amount")]
