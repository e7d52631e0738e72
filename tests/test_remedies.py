"""What is computed to mend a finding: the figures, and that each does what it says when it is written."""

from __future__ import annotations

import tomllib
from functools import cache
from pathlib import Path

import msgspec
import pytest
from in_memory import of_files
from msgspec import Struct
from story import EXAMPLE

from formulint.catalog import Catalog
from formulint.finding import Finding, Remedy
from formulint.judge import Judge
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


def told(catalog: Catalog, code: str) -> tuple[Finding, ...]:
    file = catalog.find_formula(code)
    assert file is not None
    return tuple(Judge(catalog).formula(file))


@cache
def remedies(name: str) -> tuple[Finding, tuple[Remedy, ...]]:
    """The finding of a case, the first where there are several, and its remedies."""
    case = CASES[name]
    catalog = of_files(case.files)
    found = [one for one in helped(catalog, told(catalog, case.formula)) if one.rule == case.rule]
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
    before = [one.rule for one in told(of_files(case.files), case.formula)]
    for remedy in found:
        if remedy.edits:
            now = [one.rule for one in told(after(case, remedy), case.formula)]
            assert now.count(finding.rule) < before.count(finding.rule), remedy.text
            assert [rule for rule in set(now) if now.count(rule) > before.count(rule)] == [], remedy.text


@pytest.mark.parametrize("name", CASES)
def test_one_number_of_one_line_or_whole_lines(name: str) -> None:
    case = CASES[name]
    for remedy in remedies(name)[1]:
        old, new = case.files[case.path].splitlines(), after(case, remedy).formula(case.path).document
        assert new is not None
        changed = [pair for pair in zip(old, new.text.splitlines(), strict=True) if pair[0] != pair[1]]
        assert sorted(old) == sorted(new.text.splitlines()) if remedy.moves else len(changed) == bool(remedy.edits)


def test_the_smallest_change_comes_first() -> None:
    texts = [remedy.text for remedy in remedies("a limit of its own, on a sheet that fills up with water")[1]]
    sizes = [abs(float(text.split(" to ")[1].split()[0]) / float(text.split(" from ")[1].split()[0]) - 1) for text in texts]
    assert sizes == sorted(sizes)
