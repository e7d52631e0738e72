"""What a run on the way to "all is well" may cost: modules that it loads, and processes of git that it starts."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest
from counted import counting
from repos import Commit, Repo, build
from story import EXAMPLE
from synthetic import TODAY, files, formula_code, material_code

from formulint.catalog import Catalog, stem
from formulint.rulebook import Shipped
from formulint.snapshot import work_tree
from formulint.subject import Choice

CODE = formula_code(3)
SHEET, RECORD = f"formulas/{CODE}.toml", f"materials/{material_code(7)}.toml"
HEAVY = {"pint", "networkx", "rich", "tomlkit", "numpy", "matplotlib"}
"""Libraries that take longer to import than a formula takes to judge."""
SLOW = {
    "argparse",
    "difflib",
    "typing_extensions",
    "importlib.metadata",
    "dataclasses",
    "pathlib",
    "tempfile",
    "inspect",
}
"""Modules that come with Python, or with others, and that a clean run has no use for."""
EXACT = {"_sha2", "_sha256", "hashlib", "fractions", "json"}
"""What fingerprints need: a run that compares nothing does without."""
LOADED = """\
import atexit, sys
from formulint.cli import main
atexit.register(lambda: sys.stderr.write("loaded: " + " ".join(sorted(sys.modules))))
sys.exit(main())
"""
RULE = """\
[[rule]]
id = "flat-is-flat"
kind = "limit"
level = "warning"
title = "A flat has at least 40 % pigment."
why = "Below, it shines."
property = "pvc_binder"
min = "40 %"
source = { document = "house rules", checked = "house" }
"""
STAGED = {
    "a formula": {SHEET: files(5, 40)[SHEET].replace('"240.0 lb"', '"240.5 lb"').replace("revision = 1\n", "revision = 2\n")},
    "a material": {RECORD: files(5, 40)[RECORD].replace("2026-01-05", "2026-01-12")},
    "a rule": {"rules/house.toml": RULE},
    "a setting": {"formulint.toml": files(5, 40)["formulint.toml"].replace("0.5 %", "0.6 %")},
    "nothing of ours": {"README.md": "A paint works.\n"},
}
CALLS = {"a formula": 4, "a material": 5, "a rule": 5, "a setting": 5, "nothing of ours": 3}
"""The most processes of git that the hook may start."""


@pytest.fixture
def works(tmp_path: Path) -> Repo:
    """A clean repository with everything committed."""
    return build(tmp_path / "works", [Commit("all of it", files(5, 40))])


def loaded(works: Repo, *words: str) -> set[str]:
    """Every module that a run has loaded when it ends well."""
    ran = subprocess.run(
        [sys.executable, "-c", LOADED, *words], cwd=works.path, capture_output=True, text=True, check=True
    )
    names = set(ran.stderr.removeprefix("loaded: ").split())
    assert "formulint.cli" in names
    return names


@pytest.mark.parametrize(
    "words", [("lint", CODE), ("lint",), ("lint", "--at", "HEAD"), ("lint", "--format", "terminal", SHEET)]
)
def test_clean_run_loads_nothing_slow(works: Repo, words: tuple[str, ...]) -> None:
    assert loaded(works, *words, "--today", TODAY) & (HEAVY | SLOW | EXACT) == set()


@pytest.mark.parametrize("change", STAGED)
def test_hook_loads_nothing_slow(works: Repo, change: str) -> None:
    works.stage(STAGED[change])
    assert loaded(works, "lint", "--staged", "--today", TODAY) & (HEAVY | SLOW) == set()


@pytest.mark.parametrize("words", [("properties", CODE), ("diff", "HEAD"), ("lint", "--format", "json")])
def test_tables_load_nothing_heavy(works: Repo, words: tuple[str, ...]) -> None:
    assert loaded(works, *words, "--today", TODAY) & HEAVY == set()


def test_a_dose_is_mended_without_a_graph(works: Repo) -> None:
    works.stage({SHEET: files(5, 40)[SHEET].replace('"8.8 lb"', '"80.0 lb"')})
    ran = subprocess.run([sys.executable, "-c", LOADED, "lint", CODE, "--today", TODAY], cwd=works.path, capture_output=True, text=True, check=False)
    assert "such as:" in ran.stdout
    assert set(ran.stderr.split()) & HEAVY == set()


def test_version_loads_next_to_nothing(works: Repo) -> None:
    assert loaded(works, "--version") & (HEAVY | SLOW | EXACT | {"msgspec", "tomli", "re"}) == set()


def test_what_is_loaded_is_seen(works: Repo) -> None:
    assert "argparse" in loaded(works, "--help")
    assert loaded(works, "properties", CODE, "--today", TODAY) & EXACT


@pytest.mark.parametrize("change", STAGED)
def test_hook_starts_few_processes(works: Repo, tmp_path: Path, change: str) -> None:
    works.stage(STAGED[change])
    calls = started(works, tmp_path, "lint", "--staged", "--today", TODAY)
    assert 3 <= len(calls) <= CALLS[change], calls


@pytest.mark.parametrize(
    ("words", "most"), [(("lint", CODE), 2), (("lint",), 2), (("lint", "--at", "HEAD"), 4), (("diff", "HEAD"), 5)]
)
def test_command_starts_few_processes(works: Repo, tmp_path: Path, words: tuple[str, ...], most: int) -> None:
    calls = started(works, tmp_path, *words, "--today", TODAY)
    assert 2 <= len(calls) <= most, calls


def started(works: Repo, tmp_path: Path, *words: str) -> list[str]:
    """The processes of git that a run starts, each as its arguments."""
    with counting(tmp_path / "counted") as (environment, calls):
        call = [sys.executable, "-m", "formulint", *words]
        subprocess.run(call, cwd=works.path, env={**os.environ, **environment}, capture_output=True, check=True)
        return calls()


def test_selectors_are_found_by_their_marks() -> None:
    catalog = Catalog(work_tree(str(EXAMPLE)), Shipped())
    stocks = {stem(name): catalog.stock(stem(name)) for name in catalog.material_files()}
    selectors = catalog.rulebook.selectors()
    choice = Choice(lambda code: [stock] if (stock := stocks[code]) else [], lambda: selectors)
    assert {code: set(choice.of(code)) for code in stocks} == {
        code: {one for one in selectors if choice.holds(one, code)} for code in stocks
    }
