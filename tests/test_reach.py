"""Whom a change touches: production said loudly, what is reached through materials, intermediates and policy, bases left behind."""

from __future__ import annotations

from pathlib import Path

import pytest
from repos import Commit, build
from repository import Table, run, text

WATER: Table = {"code": "RM-1", "name": "water", "functions": ["water"], "density": "1 kg/L", "nonvolatile": "0 %", "water": "100 %"}
LATEX: Table = {"code": "RM-2", "name": "latex", "functions": ["binder"], "density": "1 kg/L", "nonvolatile": "50 %", "water": "50 %", "nonvolatile_density": "1.1 kg/L"}
PAINT: Table = {"class": "clear", "markets": ["eu"]}
BLEND: Table = {"class": "intermediate", "markets": []}


def sheet(code: str, latex: int, of: str = "RM-2", state: str = "production", family: str = "", blend: bool = False) -> str:
    """A hundred kilograms of latex in water; in production unless it is said otherwise."""
    lines: list[Table] = [{"material": "RM-1", "amount": f"{100 - latex} kg"}, {"material": of, "amount": f"{latex} kg"}]
    more: Table = {"product": {"family": family}} if family else {}
    stage: list[Table] = [{"name": "Letdown", "kind": "letdown", "additions": lines}]
    return text({"code": code, "name": "white", "revision": 1, "state": state, "batch": "100 kg", **(BLEND if blend else PAINT), **more, "stage": stage})


FIRST: dict[str, str] = {
    "formulint.toml": 'format = 1\nwater_density = "1 kg/L"\n',
    "materials/RM-1.toml": text(WATER),
    "materials/RM-2.toml": text(LATEX),
    "formulas/IM-1.toml": sheet("IM-1", 80, blend=True),
    "formulas/T-1.toml": sheet("T-1", 50, family="trim"),
    "formulas/T-2.toml": sheet("T-2", 50, family="trim"),
    "formulas/T-3.toml": sheet("T-3", 50, "IM-1", state="bench"),
    "formulas/T-4.toml": sheet("T-4", 50, "IM-1"),
    "formulas/T-5.toml": sheet("T-5", 50, family="trim", state="withdrawn"),
}
FAMILY = "family trim: IN PRODUCTION T-2 is not changed with T-1"
SAID: dict[str, tuple[dict[str, str | None], list[str], list[str]]] = {
    "a sheet": ({"formulas/T-1.toml": sheet("T-1", 60, family="trim")}, ["IN PRODUCTION: T-1 is changed", FAMILY], ["reaches", "T-5"]),
    "a bench sheet": ({"formulas/T-3.toml": sheet("T-3", 60, "IM-1", state="bench")}, [], ["IN PRODUCTION", "family"]),
    "only a name": ({"formulas/T-1.toml": FIRST["formulas/T-1.toml"].replace('"white"', '"off white"')}, [], ["IN PRODUCTION", "family"]),
    "out of production": ({"formulas/T-4.toml": sheet("T-4", 50, "IM-1", state="bench")}, ["IN PRODUCTION: T-4 is changed"], []),
    "an intermediate": ({"formulas/IM-1.toml": sheet("IM-1", 70, blend=True)}, ["IM-1 white reaches 2 formulas: IN PRODUCTION T-4; T-3"], ["family"]),
    "a material": ({"materials/RM-2.toml": text({**LATEX, "nonvolatile": "52 %", "water": "48 %"})}, ["RM-2 latex reaches 4 formulas: IN PRODUCTION IM-1, T-1, T-2; T-5"], []),
    "the settings": ({"formulint.toml": FIRST["formulint.toml"] + 'closure = "0.4 %"\n'}, ["policy changed: formulint.toml; 6 formulas judged by it, 4 of them IN PRODUCTION"], []),
    "all bases": ({f"formulas/{code}.toml": sheet(code, 60, family="trim") for code in ("T-1", "T-2")}, ["IN PRODUCTION: T-1, T-2 are changed"], ["family trim"]),
}


@pytest.mark.parametrize(("edit", "told", "silent"), SAID.values(), ids=SAID.keys())
def test_a_difference_says_whom_it_touches(tmp_path: Path, edit: dict[str, str | None], told: list[str], silent: list[str]) -> None:
    build(tmp_path, [Commit("a", FIRST), Commit("b", edit)])
    head = " ".join(run(tmp_path, "diff", "HEAD~1", "HEAD", "--today", "2026-01-12").out.split("\n\n")[0].split())
    assert [words for words in told if words not in head] == []
    assert [words for words in silent if words in head] == []


def test_the_gate_says_it_too(tmp_path: Path) -> None:
    repo = build(tmp_path, [Commit("a", FIRST)])
    repo.git("checkout", "-q", "-b", "side")
    repo.commit("b", SAID["a sheet"][0])
    out = " ".join(run(tmp_path, "gate", "--base", "main", "--head", "side", "--today", "2026-01-12").out.split())
    assert "IN PRODUCTION: T-1 is changed" in out and FAMILY in out


def test_who_proposes_it_and_why_stands_at_the_head(tmp_path: Path) -> None:
    repo = build(tmp_path, [Commit("a", FIRST)])
    base = repo.head
    for number in range(5):
        repo.commit(f"step {number} for @everybody \x1b[1m", {"formulas/T-1.toml": sheet("T-1", 60 + number, family="trim")})
    lines = run(tmp_path, "diff", base, "HEAD", "--today", "2026-01-12").out.split("\n\n")[0].split("\n")
    told = [line for line in lines if line.startswith("written by ")]
    assert [line.partition(": ")[2][:6] for line in told] == ["step 4", "step 3", "step 2"]
    assert "\x1b" not in "".join(lines) and any(line.startswith("and 2 more before, by ") for line in lines)


def test_a_clone_without_its_history_says_that_it_does_not_know_who(tmp_path: Path) -> None:
    repo = build(tmp_path / "all", [Commit("a", FIRST), Commit("b", {"formulas/T-1.toml": sheet("T-1", 60)}), Commit("c", {"formulas/T-1.toml": sheet("T-1", 61)})])
    repo.git("clone", "-q", "--depth", "2", f"file://{tmp_path / 'all'}", str(tmp_path / "part"))
    assert "who proposes it and why: this clone is shallow" in " ".join(run(tmp_path / "part", "diff", "HEAD~1", "HEAD").out.split())
