"""The module table of DEVELOPERS.md holds; and a toy package in which it does not, so that this is known to fail."""

from __future__ import annotations

from pathlib import Path

import pytest
from module_table import BODY, LINES, Row, faults, rows

ROOT = Path(__file__).parent.parent

TOY = {
    "__init__.py": '"""A toy."""\n',
    "low.py": '"""Low."""\n\nfrom toy import high\n',
    "typed.py": '"""For types only."""\n\nfrom typing import TYPE_CHECKING\n\nif TYPE_CHECKING:\n    from toy.high import Height\n',
    "late.py": '"""Inside a function."""\n\n\ndef go():\n    import toy.kinds.one\n',
    "near.py": '"""From beside."""\n\nfrom .low import x\n',
    "utils.py": '"""Anything."""\n',
    "kinds/__init__.py": '"""Kinds."""\n\nfrom toy.kinds.one import One\n',
    "kinds/one.py": '"""One."""\n\nfrom toy.kinds import KINDS\n',
    "silent.py": "x = 1\n",
    "high.py": '"""High."""\n\nimport toy.low\n' + "x = 1\n" * LINES,
    "stray.py": '"""Stray."""\n\n\ndef f():\n' + "    x = 1\n" * (BODY + 1),
}
ORDER = ("__init__.py", "low.py", "typed.py", "late.py", "near.py", "utils.py", "kinds/one.py", "kinds/__init__.py", "silent.py", "high.py", "gone.py")
USES = {"late.py": ("kinds/one", "low")}

EXPECTED = {
    "stray.py: not in the table",
    "gone.py: in the table, not in the package",
    "low.py:3: imports high.py, which stands below it",
    "typed.py:6: imports high.py, which stands below it",
    "late.py:5: imports kinds/one.py, which stands below it",
    "kinds/one.py:3: imports kinds/__init__.py, which stands below it",
    "near.py:3: imports from beside itself; write the package's name",
    "utils.py: a name that says nothing",
    "silent.py: has no docstring",
    f"high.py: over {LINES} lines",
    f"stray.py:4: f is {BODY + 1} lines long, over {BODY}",
    "late.py: the table says it uses low, and it does not import it",
}


@pytest.fixture
def toy(tmp_path: Path) -> Path:
    """A package with one violation of each sort."""
    for name, text in TOY.items():
        path = tmp_path / "toy" / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text)
    return tmp_path / "toy"


def table(order: tuple[str, ...]) -> list[Row]:
    return [Row(name, "", USES.get(name, ())) for name in order]


def test_every_violation_is_found(toy: Path) -> None:
    assert set(faults(toy, table(ORDER))) == EXPECTED


def test_a_module_listed_twice_is_found(toy: Path) -> None:
    assert "low.py: in the table twice" in set(faults(toy, table((*ORDER, "low.py"))))


def test_the_table_is_read() -> None:
    markdown = "| layer | module | duty | uses |\n|---|---|---|---|\n| 0 | `a.py` | does a | - |\n| 1 | `k/b.py` | does b | a, k/c |\n"
    assert rows(markdown) == [Row("a.py", "does a", ()), Row("k/b.py", "does b", ("a", "k/c"))]


def test_modules_follow_the_table() -> None:
    lines = rows((ROOT / "DEVELOPERS.md").read_text(encoding="utf-8"))
    assert len(lines) > 50
    assert list(faults(ROOT / "formulint", lines)) == []


def test_every_row_says_what_its_module_is_for() -> None:
    lines = rows((ROOT / "DEVELOPERS.md").read_text(encoding="utf-8"))
    assert [row.module for row in lines if len(row.duty) < 15] == []


def test_tests_have_names_that_say_something() -> None:
    from module_table import FORBIDDEN

    assert [path.name for path in (ROOT / "tests").glob("*.py") if path.stem in FORBIDDEN] == []
