"""Style and types are part of the one command. On a build server a missing tool is a failure, elsewhere a skip."""

from __future__ import annotations

import importlib.util
import os
import re
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).parent.parent


def said(folder: Path, tool: str, *words: str) -> str:
    """What a tool complains about; empty where it is content."""
    assert importlib.util.find_spec(tool) is not None, f"{tool} is not installed: pip install --editable '.[test]'"
    ran = subprocess.run((sys.executable, "-m", tool, *words), cwd=folder, capture_output=True, text=True, check=False)
    return "" if ran.returncode == 0 else ran.stdout + ran.stderr


def possessive(folder: Path) -> list[str]:
    """Lines with a pattern that has a possessive group, which Python 3.11.0 to 3.11.4 match wrongly."""
    texts = {path.name: path.read_text(encoding="utf-8").splitlines() for path in sorted(folder.rglob("*.py"))}
    return [f"{name}:{at}" for name, lines in texts.items() for at, line in enumerate(lines, 1) if re.search(r"\)[*+?]\+|\(\?>", line)]


def toy(folder: Path, text: str) -> Path:
    """A folder with one module, under the configuration of this project."""
    (folder / "formulint").mkdir()
    (folder / "formulint" / "toy.py").write_text(text)
    (folder / "pyproject.toml").write_bytes((ROOT / "pyproject.toml").read_bytes())
    return folder


def test_style() -> None:
    assert said(ROOT, "ruff", "check", "--quiet") == ""


def test_types() -> None:
    assert said(ROOT, "mypy", "--strict") == ""


def test_a_lapse_of_style_is_found(tmp_path: Path) -> None:
    assert "F401" in said(toy(tmp_path, "import os\n"), "ruff", "check", "--no-cache")


def test_a_lapse_of_types_is_found(tmp_path: Path) -> None:
    text = '"""A toy."""\n\n\ndef f(x):\n    return x\n'
    assert "no-untyped-def" in said(toy(tmp_path, text), "mypy", "--strict", "--cache-dir", os.devnull)


def test_patterns_work_in_every_python_that_is_promised() -> None:
    assert possessive(ROOT / "formulint") == []


def test_a_pattern_that_does_not_is_found(tmp_path: Path) -> None:
    assert possessive(toy(tmp_path, 'A = r"a++"\nB = r"(?:a|b)*+"\n')) == ["toy.py:2"]
