"""What is measured on: a clean repository of 2,000 formulas, as a folder and in git with something staged."""

from __future__ import annotations

import compileall
import os
import shutil
import subprocess
import sys
from collections.abc import Mapping
from pathlib import Path

from counted import counting
from repos import Commit, Repo, build
from synthetic import files, formula_code, material_code

ROOT = Path(__file__).parent.parent.parent
FORMULAS = 2000
MATERIALS = 300


def surroundings() -> dict[str, str]:
    """The environment of every process: no settings of the user, and Python free to keep its bytecode."""
    kept = {name: value for name, value in os.environ.items() if not name.startswith(("GIT_", "PYTHON", "LC_"))}
    fixed = {"PYTHONPATH": str(ROOT), "GIT_CONFIG_GLOBAL": os.devnull, "GIT_CONFIG_NOSYSTEM": "1", "LANG": "C.UTF-8"}
    return {**kept, **fixed, "TERM": "dumb", "COLUMNS": "80"}


def compiled() -> None:
    """Compile the package, so that no run pays for it."""
    compileall.compile_dir(ROOT / "formulint", quiet=2)


class Stage:
    """The repositories of one run, below one folder."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        made = files(FORMULAS, MATERIALS)
        self.big = self._repository("big", made, {})
        one = f"formulas/{formula_code(7)}.toml"
        self.formula = self._repository("formula", made, {one: made[one].replace('"128.3 lb"', '"128.4 lb"').replace("variant 7", "variant 7 b")})
        sheet = f"materials/{material_code(20)}.toml"
        self.material = self._repository("material", made, {sheet: made[sheet].replace('"1.55 USD/lb"', '"1.56 USD/lb"').replace("2026-01-05", "2026-01-12")})
        self.elsewhere = self._repository("elsewhere", made, {"README.md": "A paint works.\n"})
        settings = made["formulint.toml"].replace('closure       = "0.5 %"', 'closure       = "0.6 %"')
        self.settings = self._repository("settings", made, {"formulint.toml": settings})

    def _repository(self, name: str, made: Mapping[str, str], staged: Mapping[str, str]) -> Path:
        place = self.folder / name
        if not (place / ".git").exists():
            if hasattr(self, "big"):
                shutil.copytree(self.big, place)
                Repo(place).git("update-index", "-q", "--refresh", check=False)
                Repo(place).stage(staged)
            else:
                build(place, [Commit("all of it", made)], staged)
        return place

    def git_calls(self, words: tuple[str, ...], folder: Path) -> int:
        """How many processes of git one run of a command starts."""
        with counting(self.folder / "counted") as (more, calls):
            subprocess.run(words, cwd=folder, env={**surroundings(), **more}, capture_output=True, check=False)
            return len(calls())


def python(*words: str) -> tuple[str, ...]:
    """A command line of this interpreter."""
    return (sys.executable, *words)
