"""From the sheet to kilograms: each case is a sheet with what every line must weigh, worked out by hand beside it."""

from __future__ import annotations

import tomllib
from fractions import Fraction
from pathlib import Path

import msgspec
import pytest
from in_memory import SETTINGS, catalog, evaluation, findings
from msgspec import Struct

from formulint.content import Gap, Value
from formulint.finding import Finding
from formulint.interval import AtLeast, Interval, ends

FOLDER = Path(__file__).parent / "cases" / "amounts"
SHELF = tomllib.loads((FOLDER / "shelf.toml").read_text(encoding="utf-8"))
EXPECTED = ("kg", "litres", "open", "fault", "within")
TOLD = ("record/", "closure/", "own-limit/")
"""Rules whose findings a case must name; what others say of these sheets is no matter here."""


class Case(Struct, frozen=True, forbid_unknown_fields=True):
    """A sheet; of a line, ``kg``, ``litres``, ``open`` and ``fault`` say what is expected, the rest is the line."""

    name: str
    sum: str
    batch: object
    lines: list[dict[str, object]] = []
    stages: list[dict[str, object]] = []
    blends: dict[str, dict[str, object]] = {}
    formula: dict[str, object] = {}
    closure: str = "0.5 %"
    faults: dict[str, str] = {}
    values: dict[str, str] = {}
    holds: dict[str, str] = {}

    @property
    def written(self) -> list[tuple[int, int, dict[str, object]]]:
        """Stage, place and expectations of every line with a material."""
        stages = self.stages or [{"lines": self.lines}]
        found = [(i, j, line) for i, stage in enumerate(stages) for j, line in enumerate(lines_of(stage))]
        return [one for one in found if "material" in one[2]]


def lines_of(stage: dict[str, object]) -> list[dict[str, object]]:
    """The lines of a stage of a case."""
    return msgspec.convert(stage["lines"], list[dict[str, object]])


def sheet(batch: object, stages: list[dict[str, object]], more: dict[str, object]) -> dict[str, object]:
    """A formula as its file says it."""
    head = {"name": "a case", "revision": 1, "state": "production", "batch": batch, **more}
    bare = [
        {**stage, "additions": [{k: v for k, v in line.items() if k not in EXPECTED} for line in lines_of(stage)]} for stage in stages
    ]
    return {**head, "stage": [{k: v for k, v in stage.items() if k != "lines"} for stage in bare]}


class Reckoned:
    """A case as the real code answers it."""

    def __init__(self, case: Case) -> None:
        stage = {"name": "Grind", "kind": "grind"}
        paint = {"class": "flat", "markets": ["us-national"], **case.formula}
        formulas = {"T-1": sheet(case.batch, case.stages or [{**stage, "lines": case.lines}], paint)}
        for code, blend in case.blends.items():
            more = {"class": blend.get("class", "intermediate")}
            formulas[code] = sheet(blend["batch"], [{**stage, "lines": blend["lines"]}], more)
        shelf = catalog(SHELF, formulas, {**SETTINGS, "closure": case.closure})
        self.evaluation = evaluation(shelf, "T-1")
        self.findings = [one for one in findings(shelf, "T-1") if one.rule.startswith(TOLD)]
        self.lines = {(line.stage, line.at): line for line in self.evaluation.resolved.lines}


def exact(text: str) -> Fraction:
    """What a sum comes to: the number or the quotient after the last equals sign."""
    top, _, bottom = text.rpartition("=")[2].partition("/")
    return Fraction(top.strip()) / Fraction(bottom.strip() or 1)


def agrees(value: Value, expected: str, within: str = "0") -> bool:
    """Whether a value is the expected number, range, lower bound or gap."""
    word, _, rest = expected.partition(": ")
    if word == "open":
        return isinstance(value, Gap) and rest in "; ".join(one.what for one in value.missing)
    if isinstance(value, Gap):
        return False
    first, _, last = expected.removeprefix("at least ").partition(" to ")
    wanted = float(exact(first)), float(exact(last or first))
    if isinstance(value, AtLeast) or expected.startswith("at least"):
        return isinstance(value, AtLeast) and expected.startswith("at least") and value.lo == pytest.approx(wanted[0], rel=1e-12)
    return isinstance(value, Interval) == bool(last) and ends(value) == pytest.approx(wanted, rel=1e-12, abs=float(within))


def at(finding: Finding) -> object:
    """The line that a finding points to, else the key."""
    keys = finding.fault.place.keys
    return (keys[1], keys[3]) if keys[0] == "stage" and len(keys) > 3 else keys[0]


def wrong_lines(case: Case, found: Reckoned) -> list[object]:
    """Everything about the lines that is not as expected."""
    wrong: list[object] = []
    for i, j, line in case.written:
        told = found.lines.get((i, j))
        if told is None:
            wrong += [(i, j, "missing")] if {"kg", "litres", "open"} & set(line) else []
            continue
        wanted = [("kg", told.kg, line.get("kg")), ("litres", told.litres, line.get("litres"))]
        wanted += [("open", told.kg, f"open: {line['open']}")] if "open" in line else []
        wrong += [(i, j, *one) for one in wanted if one[2] and not agrees(one[1], str(one[2]), str(line.get("within", "0")))]
    return wrong


def wrong_findings(case: Case, found: Reckoned) -> list[object]:
    """Findings that nobody expects, and expectations that nothing meets."""
    expected: list[tuple[object, str]] = list(case.faults.items())
    expected += [((i, j), str(line["fault"])) for i, j, line in case.written if "fault" in line]
    left = list(found.findings)
    missed: list[object] = []
    for place, words in expected:
        met = next((one for one in left if at(one) == place and words in one.fault.message), None)
        if met is None:
            missed.append((place, words))
        else:
            left.remove(met)
    return missed + [(at(one), one.rule, one.fault.message) for one in left if not follows(one)]


def follows(finding: Finding) -> bool:
    """Whether a finding only says that a sum is open: a case names it where it is the one thing said."""
    return finding.rule.startswith("closure/") and finding.fault.kind == "open" and "cannot be computed" in finding.fault.message


def wrong_values(case: Case, found: Reckoned) -> list[object]:
    """Properties and contents that are not as expected."""
    wanted = [(name, found.evaluation.value(name), text) for name, text in case.values.items()]
    wanted += [(code, found.evaluation.resolved.leaves.get(code, 0.0), text) for code, text in case.holds.items()]
    return [one for one in wanted if not agrees(one[1], one[2])]


def wrong(case: Case) -> list[object]:
    """All that is not as the case says."""
    found = Reckoned(case)
    return wrong_lines(case, found) + wrong_findings(case, found) + wrong_values(case, found)


def cases(path: Path) -> list[Case]:
    """The cases of a file."""
    return msgspec.convert(tomllib.loads(path.read_text(encoding="utf-8"))["case"], list[Case])


CASES = {f"{path.stem}::{case.name}": case for path in sorted(FOLDER.glob("*.toml")) if path.stem not in ("shelf", "must_fail") for case in cases(path)}
MUST_FAIL = {case.name: case for case in cases(FOLDER / "must_fail.toml")}


@pytest.mark.parametrize("name", CASES)
def test_sheet(name: str) -> None:
    assert wrong(CASES[name]) == [], CASES[name].sum


@pytest.mark.parametrize("name", MUST_FAIL)
def test_a_wrong_case_is_found(name: str) -> None:
    assert len(wrong(MUST_FAIL[name])) == 1


def test_names_tell_cases_apart() -> None:
    listed = [case for path in FOLDER.glob("*.toml") if path.stem != "shelf" for case in cases(path)]
    assert len(listed) == len(CASES) + len(MUST_FAIL)
    assert all(case.sum for case in listed)
