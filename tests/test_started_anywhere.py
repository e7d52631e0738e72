"""Started inside a folder full of modules that bear the names of ours and of what we import: none of them is run."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest
from proposals import Works, works_in
from story import amount

LURES = ("msgspec", "tomli", "argparse", "json", "hashlib", "datetime", "fractions", "difflib", "importlib", "rich", "types", "typing_extensions", "formulint")
EARLY = ("importlib", "types", "formulint")
"""What Python itself looks for before a module is started; only the command, or -P, keeps it from looking here."""

CONSOLE = "import sys\nfrom formulint.cli import run\nsys.exit(run())\n"
"""What a package installer writes as the command."""


@pytest.fixture(scope="module")
def works(tmp_path_factory: pytest.TempPathFactory) -> tuple[Works, str]:
    """A repository that holds the lures, and a proposal that must not pass."""
    works = works_in(tmp_path_factory.mktemp("lures") / "works")
    head = works.propose({"formulas/T-101.toml": amount("RM-1001", "123.9 lb", "133.9 lb")})
    for name in LURES:
        lure(works.repo.path, name)
    return works, head


def lure(folder: Path, name: str) -> None:
    """A module and a package that say yes to everything, and leave a mark."""
    says_yes = f"open({str(folder / f'ran-{name}')!r}, 'w').close()\nimport os\nos._exit(0)\n"
    if name == "formulint":
        (folder / name).mkdir()
        for part in ("__init__", "__main__", "cli"):
            (folder / name / f"{part}.py").write_text(says_yes)
    else:
        (folder / f"{name}.py").write_text(says_yes)


def asked(works: tuple[Works, str], folder: Path, *start: str) -> tuple[int, list[str]]:
    """The status of the gate asked in a folder by an interpreter started so, and the marks that were left there."""
    place, head = works
    words = ("-C", str(place.repo), "gate", "--base", place.base, "--head", head)
    ran = subprocess.run([sys.executable, *start, *words], cwd=folder, capture_output=True, check=False)
    return ran.returncode, sorted(path.name for path in folder.glob("ran-*"))


@pytest.mark.parametrize("how", ["the command", "a module, safely"])
def test_the_command_never_looks_where_it_is_started(works: tuple[Works, str], tmp_path: Path, how: str) -> None:
    script = tmp_path / "formulint-command"
    script.write_text(CONSOLE)
    start = [str(script)] if how == "the command" else ["-P", "-m", "formulint"]
    assert asked(works, works[0].repo.path, *start) == (1, [])


def test_as_a_module_it_imports_nothing_from_where_it_is_started(works: tuple[Works, str], tmp_path: Path) -> None:
    for name in LURES:
        if name not in EARLY:
            lure(tmp_path, name)
    assert asked(works, tmp_path, "-m", "formulint") == (1, [])


def test_the_lures_work(works: tuple[Works, str]) -> None:
    folder = works[0].repo.path
    ran = subprocess.run([sys.executable, "-c", "import msgspec"], cwd=folder, check=False)
    assert (ran.returncode, (folder / "ran-msgspec").exists()) == (0, True)
    (folder / "ran-msgspec").unlink()
