"""A limit in a unit of something else is a finding; no command answers it with a traceback."""

from __future__ import annotations

import re
import shutil
from pathlib import Path

import pytest
from repository import run

EXAMPLE = Path(__file__).parent.parent / "example_repo"


@pytest.fixture
def works(tmp_path: Path) -> Path:
    folder = shutil.copytree(EXAMPLE, tmp_path / "works")
    sheet = folder / "formulas" / "T-101.toml"
    text, found = re.subn(r'(density\s*=\s*\{ min = ")[^"]*"', r'\g<1>53 kg"', sheet.read_text())
    assert found == 1
    sheet.write_text(text)
    return folder


def test_lint_stops_at_it(works: Path) -> None:
    answer = run(works, "lint", "T-101")
    assert (answer.status, "record/consistent" in answer.out) == (1, True)


def test_properties_computes_all_the_same(works: Path) -> None:
    answer = run(works, "properties", "T-101")
    assert (answer.status, "11.94" in answer.out, "Traceback" in answer.err) == (0, True, False)
