"""What is in the vessel when an addition goes in: contact decides, not the place in the list."""

from __future__ import annotations

import tomllib
from pathlib import Path

import msgspec
import pytest
from in_memory import catalog
from msgspec import Struct

from formulint.formula import Formula
from formulint.vessels import charges, left_over

SHEET = {"code": "T-1", "name": "a case", "revision": 1, "state": "bench", "class": "flat", "markets": ["us-national"], "batch": "100 L"}


class Case(Struct, frozen=True, forbid_unknown_fields=True):
    """Stages with what each material meets, and the stages that are left over."""

    name: str
    stages: list[dict[str, object]]
    left: list[str] = []

    @property
    def formula(self) -> Formula:
        """The case as a formula."""
        stages = [{"kind": "grind", **{k: v for k, v in stage.items() if k != "lines"}, "additions": self.bare(stage)} for stage in self.stages]
        file = catalog({}, {"T-1": {**SHEET, "stage": stages}}).find_formula("T-1")
        assert file is not None and file.record is not None, file
        return file.record

    def bare(self, stage: dict[str, object]) -> list[dict[str, object]]:
        """The lines of a stage as a file has them."""
        return [{k: v for k, v in line.items() if k != "met"} | ({"amount": "1 kg"} if "material" in line else {}) for line in self.lines(stage)]

    def lines(self, stage: dict[str, object]) -> list[dict[str, object]]:
        """The lines of a stage."""
        return msgspec.convert(stage["lines"], list[dict[str, object]])


CASES = {case.name: case for case in msgspec.convert(tomllib.loads((Path(__file__).parent / "cases" / "vessels.toml").read_text())["case"], list[Case])}


@pytest.mark.parametrize("name", CASES)
def test_what_an_addition_meets(name: str) -> None:
    case = CASES[name]
    formula = case.formula
    met = [[formula.stage[i].additions[j].material for i, j in charge.before] for charge in charges(formula)]
    assert met == [line["met"] for stage in case.stages for line in case.lines(stage) if "material" in line]


@pytest.mark.parametrize("name", CASES)
def test_what_is_left_over(name: str) -> None:
    formula = CASES[name].formula
    assert [formula.stage[at].name for at in left_over(formula)] == CASES[name].left


def test_every_addition_is_a_charge_of_its_own_stage() -> None:
    formula = CASES["two grinds into one letdown"].formula
    assert [(charge.spot, charge.code, charge.kind) for charge in charges(formula)] == [
        ((0, 0), "P", "grind"), ((1, 0), "E", "grind"), ((2, 0), "B", "grind"), ((2, 3), "T", "grind"),
    ]  # fmt: skip


def test_an_alternate_meets_what_the_written_material_meets() -> None:
    formula = CASES["one vessel from the first line to the last"].formula
    written, swapped = charges(formula), charges(formula, {(1, 0): "B2"})
    assert [charge.code for charge in swapped] == ["W", "D", "P", "B2", "T"]
    assert [charge.before for charge in swapped] == [charge.before for charge in written]
