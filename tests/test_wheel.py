"""What others install: the wheel, away from this checkout, with its rules and its example; and the editable install."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import zipfile
from pathlib import Path
from typing import NamedTuple

import pytest

ROOT = Path(__file__).parent.parent
PARTS = ("formulint", "rules", "example_repo", "README.md", "pyproject.toml")
PLAIN = {name: value for name, value in os.environ.items() if name not in ("PYTHONPATH", "PYTHONHOME", "VIRTUAL_ENV")}
QUESTION = ("lint", "--today", "2026-01-12", "--notes")

pytestmark = pytest.mark.wheel


class Answer(NamedTuple):
    """Status and words of a command."""

    status: int
    text: str


def run(folder: Path, *words: str | Path) -> Answer:
    """Run a command in a folder, with nothing of this checkout on Python's path."""
    ran = subprocess.run(
        words, cwd=folder, env=PLAIN, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, check=False
    )
    return Answer(ran.returncode, ran.stdout)


def done(folder: Path, *words: str | Path) -> str:
    """The same for a command that must succeed."""
    answer = run(folder, *words)
    assert answer.status == 0, answer.text
    return answer.text


def trees(source: Path) -> dict[str, bytes]:
    """Rules and example as they must be inside the package."""
    found = [path for part in ("rules", "example_repo") for path in sorted((source / part).rglob("*")) if path.is_file()]
    return {f"formulint/{path.relative_to(source).as_posix()}": path.read_bytes() for path in found}


@pytest.fixture(scope="module")
def source(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The project without anything that lies about in a checkout."""
    folder = tmp_path_factory.mktemp("source") / "project"
    for part in PARTS:
        if (ROOT / part).is_dir():
            shutil.copytree(ROOT / part, folder / part, ignore=shutil.ignore_patterns("__pycache__"))
        else:
            shutil.copy(ROOT / part, folder / part)
    return folder


@pytest.fixture(scope="module")
def wheel(source: Path) -> Path:
    done(source, sys.executable, "-m", "pip", "wheel", ".", "--no-deps", "--quiet", "--wheel-dir", source.parent / "wheels")
    (found,) = (source.parent / "wheels").iterdir()
    return found


def installed(folder: Path, *what: str | Path) -> Path:
    """A fresh environment with the project in it, beside a copy of the example that it did not bring; its programs."""
    done(folder, sys.executable, "-m", "venv", "env")
    done(folder, folder / "env/bin/python", "-m", "pip", "install", "--quiet", "--disable-pip-version-check", *what)
    shutil.copytree(ROOT / "example_repo", folder / "paint")
    return folder / "env/bin"


def checkout(*words: str) -> Answer:
    """What this checkout says."""
    return run(ROOT, sys.executable, "-m", "formulint", *words)


def test_the_wheel_carries_rules_and_example_and_nothing_else(source: Path, wheel: Path) -> None:
    with zipfile.ZipFile(wheel) as archive:
        inside = {name: archive.read(name) for name in archive.namelist()}
    assert {name: text for name, text in inside.items() if name.startswith(("formulint/rules/", "formulint/example_repo/"))} == trees(source)
    assert {name.split("/")[0].split("-")[0] for name in inside} == {"formulint"}


def test_the_wheel_judges_as_the_checkout_does(wheel: Path, tmp_path: Path) -> None:
    programs = installed(tmp_path, wheel)
    assert run(tmp_path, programs / "formulint", "-C", "paint", *QUESTION) == checkout("-C", str(tmp_path / "paint"), *QUESTION)
    place = done(tmp_path, programs / "python", "-c", "from formulint import packing; print(packing.folder())")
    assert Path(place.strip()).is_relative_to(tmp_path / "env")
    assert done(tmp_path, programs / "formulint", "--version") == checkout("--version").text


def test_an_editable_install_takes_the_rules_beside_it(source: Path, tmp_path: Path) -> None:
    programs = installed(tmp_path, "--editable", source)
    assert run(tmp_path, programs / "formulint", "-C", "paint", *QUESTION) == checkout("-C", str(tmp_path / "paint"), *QUESTION)
    place = done(tmp_path, programs / "python", "-c", "from formulint import packing; print(packing.folder())")
    assert Path(place.strip()) == source / "rules"
