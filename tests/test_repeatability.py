"""Whether two results of a test differ: every figure sourced, the lab's own first, more repeats tell more, unknown says so."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from repository import ask

from formulint.quantity import Quantity, read
from formulint.repeatability import Scatter, compared, misread, scatter, table
from formulint.settings import Repeats, Settings
from formulint.tests_due import methods
from formulint.vocabulary import dimensions_of

HOUSE = Settings(format=1)
LAB = Settings(format=1, repeatability={"scrub": Repeats(relative="5 %"), "consistency": Repeats(within="0.5 KU")})


def result(test: str, text: str) -> Quantity:
    return read(text, dimensions_of(test))


def said(settings: Settings, test: str, one: str, other: str, repeats: tuple[int, int] = (1, 1)) -> str:
    return compared(scatter(settings, test), test, result(test, one), result(test, other), repeats)


@pytest.mark.parametrize("row", table().repeatability, ids=lambda row: row.test)
def test_a_row_reads_and_names_its_source(row: object) -> None:
    one = next(known for known in table().repeatability if known is row)
    assert misread(one.test, Repeats(one.within, one.relative, one.method)) is None
    assert one.method in methods()[one.test].methods
    assert one.source.document and one.source.checked in ("verified", "practice", "memory")


def test_each_test_has_one_row() -> None:
    tests = [row.test for row in table().repeatability]
    assert len(tests) == len(set(tests))


DIFFER = {
    "scrub within": (HOUSE, "scrub", "880", "820", False),
    "scrub of a careful lab": (LAB, "scrub", "880", "820", True),
    "scrub apart": (HOUSE, "scrub", "880", "400", True),
    "consistency at the bound": (HOUSE, "consistency", "98 KU", "100 KU", False),
    "consistency one digit beyond": (HOUSE, "consistency", "98 KU", "100.1 KU", True),
    "consistency of a careful lab": (LAB, "consistency", "98 KU", "99 KU", True),
    "density": (HOUSE, "density", "11.50 lb/gal", "11.55 lb/gal", False),
}


@pytest.mark.parametrize(("settings", "test", "one", "other", "apart"), DIFFER.values(), ids=DIFFER.keys())
def test_a_difference_is_judged_by_the_scatter(settings: Settings, test: str, one: str, other: str, apart: bool) -> None:
    words = said(settings, test, one, other)
    assert ("differ by more than" in words, "treat as equal" in words) == (apart, not apart)
    assert ("the lab's own" in words) == (settings is LAB)


def test_what_has_no_figure_cannot_be_said() -> None:
    assert scatter(HOUSE, "heat_age") is None
    assert "cannot be said" in said(HOUSE, "heat_age", "5", "9")
    assert "cannot be said" in compared(scatter(HOUSE, "fineness"), "fineness", result("fineness", "5 hegman"), result("fineness", "40 um"))


ROWS = [found for row in table().repeatability if (found := scatter(HOUSE, row.test)) is not None]
VALUES = st.floats(0.01, 1e4)


@given(st.sampled_from(ROWS), VALUES, VALUES, st.integers(1, 20), st.integers(1, 20))
def test_order_does_not_matter_and_repeats_only_help(found: Scatter, one: float, other: float, first: int, second: int) -> None:
    assert found.tells_apart(one, other) == found.tells_apart(other, one)
    assert found.tells_apart(one, other, (first, second)) >= found.tells_apart(one, other)
    assert not found.tells_apart(one, one, (first, second))


WRONG = {
    "both ways": ('scrub = { within = "50", relative = "5 %" }', "given twice"),
    "no way": ("scrub = { }", "without a figure"),
    "another unit": ('consistency = { within = "2 lb" }', "lb"),
    "nothing": ('density = { relative = "0 %" }', "cannot be"),
}


@pytest.mark.parametrize(("line", "words"), WRONG.values(), ids=WRONG.keys())
def test_a_lab_s_own_figure_that_cannot_be_is_a_finding(tmp_path: Path, line: str, words: str) -> None:
    (tmp_path / "formulint.toml").write_text(f"format = 1\n\n[repeatability]\n{line}\n", encoding="utf-8")
    found = ask(tmp_path, "lint").results
    assert [one["rule"] for one in found] == ["record/consistent"]
    assert words in str(found[0])
