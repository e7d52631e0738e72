"""What is computed to mend a finding: the figures, and that each does what it says when it is written."""

from __future__ import annotations

import tomllib
from functools import cache
from pathlib import Path

import msgspec
import pytest
from in_memory import catalog, findings, of_files
from msgspec import Struct
from story import EXAMPLE

from formulint.catalog import Catalog
from formulint.finding import Finding, Remedy
from formulint.remedies import helped
from formulint.splice import spliced

FOLDER = Path(__file__).parent / "cases" / "remedies"


class Case(Struct, frozen=True, forbid_unknown_fields=True):
    """Edits of one formula of the example, the rule that speaks, and what is computed."""

    name: str
    formula: str
    edits: list[tuple[str, str]]
    rule: str
    texts: list[str]

    @property
    def path(self) -> str:
        return f"formulas/{self.formula}.toml"

    @property
    def files(self) -> dict[str, str]:
        """The example with the edits made."""
        found = dict(example())
        for old, new in self.edits:
            assert found[self.path].count(old) == 1, f"{self.path} says {old} {found[self.path].count(old)} times"
            found[self.path] = found[self.path].replace(old, new)
        return found


@cache
def example() -> dict[str, str]:
    """The files of the example firm."""
    paths = [path for path in sorted(EXAMPLE.rglob("*.toml")) if "story" not in path.parts]
    return {path.relative_to(EXAMPLE).as_posix(): path.read_text(encoding="utf-8") for path in paths}


CASES = {case.name: case for case in msgspec.convert(tomllib.loads((FOLDER / "example.toml").read_text(encoding="utf-8"))["case"], list[Case])}


@cache
def remedies(name: str) -> tuple[Finding, tuple[Remedy, ...]]:
    """The finding of a case, the first where there are several, and its remedies."""
    case = CASES[name]
    shelf = of_files(case.files)
    found = [one for one in helped(shelf, findings(shelf, case.formula)) if one.rule == case.rule]
    assert found, f"{case.rule} does not speak"
    return found[0], found[0].remedies


def after(case: Case, remedy: Remedy) -> Catalog:
    """The repository with a remedy written, read anew."""
    document = of_files(case.files).formula(case.path).document
    assert document is not None
    return of_files({**case.files, case.path: spliced(document, remedy.edits).decode()})


@pytest.mark.parametrize("name", CASES)
def test_what_is_computed(name: str) -> None:
    texts = [remedy.text for remedy in remedies(name)[1]]
    asked = CASES[name].texts
    assert [text[: len(start)] for text, start in zip(texts, asked, strict=False)] == asked, texts
    assert len(texts) == len(asked), texts


@pytest.mark.parametrize("name", CASES)
def test_what_is_written_mends_and_brings_nothing(name: str) -> None:
    case, (finding, found) = CASES[name], remedies(name)
    before = [one.rule for one in findings(of_files(case.files), case.formula)]
    for remedy in found:
        if remedy.edits:
            now = [one.rule for one in findings(after(case, remedy), case.formula)]
            assert now.count(finding.rule) < before.count(finding.rule), remedy.text
            assert [rule for rule in set(now) if now.count(rule) > before.count(rule)] == [], remedy.text


@pytest.mark.parametrize("name", CASES)
def test_one_number_of_one_line_or_whole_lines(name: str) -> None:
    case = CASES[name]
    for remedy in remedies(name)[1]:
        old, document = case.files[case.path].splitlines(), after(case, remedy).formula(case.path).document
        assert document is not None
        gone, new = remedy.text.startswith("without "), document.text.splitlines()
        changed = len(old) - len(new) if gone else len([1 for one, other in zip(old, new, strict=True) if one != other])
        assert sorted(old) == sorted(new) if remedy.moves else changed == bool(remedy.edits)
        assert not gone or list(dict.fromkeys(old)) == list(dict.fromkeys(new))


def test_the_smallest_change_comes_first() -> None:
    texts = [remedy.text for remedy in remedies("a limit of its own, on a sheet that fills up with water")[1]]
    sizes = [abs(float(text.split(" to ")[1].split()[0]) / float(text.split(" from ")[1].split()[0]) - 1) for text in texts]
    assert sizes == sorted(sizes)


# --- what bounds and forbids -------------------------------------------------------------------------------------

WATER = {"name": "water", "functions": ["water"], "density": "1 kg/L", "nonvolatile": "0 %", "water": "100 %", "disclosure": "full"}
LATEX = {"name": "latex", "functions": ["binder"], "density": "1 kg/L", "nonvolatile": "50 %", "water": "50 %", "nonvolatile_density": "1 kg/L", "disclosure": "full"}


def sheet(code: str, class_: str, least: str, lines: list[tuple[str, str]]) -> dict[str, object]:
    """A formula of two lines with a lowest share of solids."""
    additions = [{"material": material, "amount": amount} for material, amount in lines]
    return {
        "name": code, "revision": 1, "state": "production", "class": class_, "markets": [] if class_ == "intermediate" else ["us-national"], "batch": "10 kg",
        "limits": {"nonvolatile_mass": {"min": least}}, "stage": [{"name": "Mix", "kind": "letdown", "additions": additions}],
    }  # fmt: skip


def blended(most: str) -> Catalog:
    """A premix with too little latex, and a paint that holds it and has a highest share of solids of its own."""
    paint = sheet("T-1", "flat", "1 %", [("S-1", "5.00 kg"), ("W", "q.s.")])
    paint["limits"] = {"nonvolatile_mass": {"max": most}}
    premix = sheet("S-1", "intermediate", "20 %", [("L", "3.00 kg"), ("W", "q.s.")])
    return catalog({"W": WATER, "L": LATEX}, {"T-1": paint, "S-1": premix})


@pytest.mark.parametrize(("most", "text"), [("10.0 %", "L in Mix (line"), ("9.9 %", "no single amount helps, from half to twice of what it is")])
def test_every_formula_that_is_touched_is_judged(most: str, text: str) -> None:
    shelf = blended(most)
    found = [one for one in helped(shelf, findings(shelf, "S-1")) if one.rule == "own-limit/nonvolatile-mass"]
    assert [remedy.text[: len(text)] for one in found for remedy in one.remedies] == [text]


def test_the_limit_holds_after_rounding() -> None:
    shelf = blended("10.0 %")
    (remedy,) = (remedy for one in helped(shelf, findings(shelf, "S-1")) for remedy in one.remedies)
    assert (remedy.edits[0].old, remedy.edits[0].new) == ('"3.00 kg"', '"4.00 kg"')


def test_where_the_work_is_bounded_nothing_is_claimed(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("formulint.remedies.ALLOWED", 5)
    case = CASES["out of reach"]
    shelf = of_files(case.files)
    assert [remedy for one in helped(shelf, findings(shelf, case.formula)) for remedy in one.remedies] == []


def test_the_hook_answers_the_same_way_twice() -> None:
    case = CASES["a limit of its own, on a sheet that fills up with water"]
    said = [[one.remedies for one in helped(shelf, findings(shelf, case.formula), waiting=True)] for shelf in (of_files(case.files), of_files(case.files))]
    assert said[0] == said[1] != []


def test_notes_are_left_alone_unless_they_are_shown() -> None:
    shelf = of_files(example())
    found = findings(shelf, "T-101")
    assert [one for one in helped(shelf, found) if one.remedies] == []
    assert len([one for one in helped(shelf, found, notes=True) if one.remedies]) >= 2
