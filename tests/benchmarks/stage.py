"""What is measured on: a clean repository of 2,000 formulas, as a folder and in git with something staged."""

from __future__ import annotations

import compileall
import os
import re
import shutil
import subprocess
import sys
from collections.abc import Iterator, Mapping
from pathlib import Path
from types import MappingProxyType

from counted import counting
from repos import Commit, Repo, build
from synthetic import files, formula_code, material_code

ROOT = Path(__file__).parent.parent.parent
FORMULAS = 2000
MATERIALS = 300
CHANGED = 50
COMMITS = 1000
START = 1_767_225_600  # 2026-01-01, in seconds
AMOUNT = re.compile(r"(?<=amount = \")[0-9.]+(?= lb)")
NOTHING: Mapping[str, str] = MappingProxyType({})


def surroundings() -> dict[str, str]:
    """The environment of every process: no settings of the user, and Python free to keep its bytecode."""
    kept = {name: value for name, value in os.environ.items() if not name.startswith(("GIT_", "PYTHON", "LC_"))}
    fixed = {"PYTHONPATH": str(ROOT), "GIT_CONFIG_GLOBAL": os.devnull, "GIT_CONFIG_NOSYSTEM": "1", "LANG": "C.UTF-8"}
    return {**kept, **fixed, "TERM": "dumb", "COLUMNS": "80"}


def compiled() -> None:
    """Compile the package, so that no run pays for it."""
    compileall.compile_dir(ROOT / "formulint", quiet=2)


SCRIPT = "import sys\nfrom formulint.cli import run\nsys.exit(run())\n"
"""What an installed ``formulint`` is: the command without the detour of ``python -m``."""


def _edited(text: str, number: int) -> str:
    """A sheet with one amount moved by a tenth, each time of another line, and the next revision."""
    amounts = [*AMOUNT.finditer(text)]
    one = amounts[number % len(amounts)]
    moved = f"{float(one[0]) + (0.1 if number // len(amounts) % 2 else -0.1):.1f}"
    return text[: one.start()].replace(f"revision = {number}\n", f"revision = {number + 1}\n") + moved + text[one.end() :]


def _commit(number: int, made: Mapping[str, str]) -> Iterator[str]:
    """A commit in the words of ``git fast-import``, an hour after the one before it; texts are plain ASCII."""
    yield f"commit refs/heads/main\ncommitter A. Chemist <a.chemist@example.org> {START + 3600 * number} +0000\ndata <<.\nstep {number}\n.\n"
    for name, text in made.items():
        yield f"M 100644 inline {name}\ndata {len(text)}\n{text}\n"


class Stage:
    """The repositories of one run, below one folder: what is staged in each says its name."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        folder.mkdir(parents=True, exist_ok=True)
        self.script = folder / "run"
        self.script.write_text(SCRIPT)
        made = files(FORMULAS, MATERIALS)
        sheet, record = f"formulas/{formula_code(7)}.toml", f"materials/{material_code(20)}.toml"
        self.small = self._repository("small", files(10, 40))
        self.big = self._repository("big", made)
        self.elsewhere = self._repository("elsewhere", made, {"README.md": "A paint works.\n"})
        self.formula = self._repository("formula", made, {sheet: made[sheet].replace('"240.0 lb"', '"240.5 lb"').replace("revision = 1\n", "revision = 2\n")})
        self.material = self._repository(
            "material", made, {record: made[record].replace('"1.55 USD/lb"', '"1.56 USD/lb"')}
        )
        self.settings = self._repository(
            "settings", made, {"formulint.toml": made["formulint.toml"].replace("0.5 %", "0.6 %")}
        )

        self.proposal = self._proposal(made)
        self.line = self._line("line", made)
        self.short_line = self._line("short line", files(10, 40))

    def _proposal(self, made: Mapping[str, str]) -> Path:
        """A commit that changes two lines of fifty formulas, each under its next revision."""
        fresh = not (self.folder / "proposal" / ".git").exists()
        sheets = [f"formulas/{formula_code(number)}.toml" for number in range(CHANGED)]
        raised = {sheet: made[sheet].replace("revision = 1\n", "revision = 2\n") for sheet in sheets}
        edits = {sheet: AMOUNT.sub(lambda found: f"{float(found[0]) + 0.1:.1f}", text, count=2) for sheet, text in raised.items()}
        place = self._repository("proposal", made, edits)
        if fresh:
            Repo(place).git("branch", "base")
            Repo(place).git("commit", "--quiet", "--message", "fifty changed")
        return place

    def _line(self, name: str, made: Mapping[str, str]) -> Path:
        """A thousand commits after the first, each with another amount on one line of one sheet, and another revision."""
        place = self.folder / name
        if (place / ".git").exists():
            return place
        sheet = f"formulas/{formula_code(7)}.toml"
        text = made[sheet]
        stream = [*_commit(0, made)]
        for number in range(1, COMMITS + 1):
            text = _edited(text, number)
            stream += _commit(number, {sheet: text})
        repo = build(place, [])
        repo.git("fast-import", "--quiet", "--force", stdin="".join(stream).encode())
        repo.git("reset", "--quiet", "--hard")
        return place

    def _repository(self, name: str, made: Mapping[str, str], staged: Mapping[str, str] = NOTHING) -> Path:
        place = self.folder / name
        if (place / ".git").exists():
            return place
        if staged:
            assert all(made.get(other) != text for other, text in staged.items()), "nothing is staged"
            shutil.copytree(self.big, place)
            Repo(place).git("update-index", "-q", "--refresh", check=False)  # the copies are of another time
            Repo(place).stage(staged)
        else:
            build(place, [Commit("all of it", made)])
        return place

    def git_calls(self, words: tuple[str, ...], folder: Path) -> int:
        """How many processes of git one run of a command starts."""
        with counting(self.folder / "counted") as (more, calls):
            subprocess.run(words, cwd=folder, env={**surroundings(), **more}, capture_output=True, check=False)
            return len(calls())


def python(*words: str) -> tuple[str, ...]:
    """A command line of this interpreter."""
    return (sys.executable, *words)
