"""Steps of a formula's state and number: which are allowed, in a comparison, at a commit, and in a proposal."""

from __future__ import annotations

from itertools import product
from pathlib import Path

import pytest
from in_memory import catalog
from proposals import BENCH, Edit, Works, ask, both, copied, works_files
from repository import Table
from story import amount, raised, replace
from test_results import LATEX, LINES, WATER, sheet

from formulint.compare import formulas
from formulint.finding import Level

STATES = ("bench", "pilot", "production", "withdrawn")
ALLOWED = {
    ("bench", "pilot"), ("pilot", "bench"), ("pilot", "production"),
    ("bench", "withdrawn"), ("pilot", "withdrawn"), ("production", "withdrawn"),
}  # fmt: skip
"""Under the same revision; what was withdrawn comes back only under another."""
FLAT = "formulas/T-101.toml"
TEXTS = works_files()


def own(old: Table, new: Table) -> list[tuple[str, Level]]:
    """What the change itself shows: rule and level."""
    first, last = (catalog({"W": WATER, "LATEX": LATEX}, {"T-1": one}) for one in (old, new))
    return [(one.rule, one.level) for change in formulas(first, last, ["T-1"]) for one in change.own]


@pytest.mark.parametrize(("was", "now"), [pair for pair in product(STATES, STATES) if pair[0] != pair[1]])
def test_steps_under_one_revision(was: str, now: str) -> None:
    found = own(sheet({}, state=was), sheet({}, state=now))
    level = Level.warning if was == "production" else Level.error
    assert found == ([] if (was, now) in ALLOWED else [("change/allowed-step", level)])


@pytest.mark.parametrize(("now", "found"), [("bench", []), ("pilot", []), ("production", [("change/allowed-step", Level.error)])])
def test_what_was_withdrawn_comes_back_as_another_revision(now: str, found: list[tuple[str, Level]]) -> None:
    assert own(sheet({}, state="withdrawn"), sheet({}, state=now, revision=2)) == found


MORE = [{**LINES[0], "amount": "41.0 kg"}, LINES[1]]
SAME = [{**LINES[0], "amount": "40.00 kg"}, LINES[1]]
MIXED = [*LINES, {"step": "mix", "time": "5 min"}]
STOPS, WARNS = [("change/revision-raised", Level.error)], [("change/revision-raised", Level.warning)]
RAISES = {
    "another paint": (MORE, "production", 1, STOPS),
    "another paint under another number": (MORE, "production", 2, []),
    "made in another way": (MIXED, "production", 1, STOPS),
    "the same figure": (SAME, "production", 1, []),
    "a pilot": (MORE, "pilot", 1, WARNS),
    "the bench": (MORE, "bench", 1, []),
}


@pytest.mark.parametrize(("lines", "state", "revision", "found"), RAISES.values(), ids=RAISES.keys())
def test_who_has_to_raise_the_revision(lines: list[Table], state: str, revision: int, found: list[tuple[str, Level]]) -> None:
    assert own(sheet({}, state=state), sheet({}, lines, state, revision)) == found


@pytest.mark.parametrize("state", STATES)
def test_a_revision_never_goes_down(state: str) -> None:
    assert own(sheet({}, state=state, revision=3), sheet({}, state=state, revision=2)) == STOPS


# --- in git ------------------------------------------------------------------------------------------------------


SHEETS: dict[str, tuple[str, Edit, bool, bool, str]] = {
    "a paint changes": (FLAT, amount("RM-1901", "1.5 lb", "1.6 lb"), False, False, "change/revision-raised"),
    "and its revision is raised": (FLAT, both(raised, amount("RM-1901", "1.5 lb", "1.6 lb")), True, True, ""),
    "a revision is taken back": (FLAT, replace("revision = 1", "revision = 0"), False, False, "revision"),
    "from the bench to a pilot": (BENCH, replace('"bench"', '"pilot"'), True, True, ""),
    "from the bench to production": (BENCH, replace('"bench"', '"production"'), False, False, "change/allowed-step: formulas/trials/T-900.toml: T-900 goes from bench to production"),
    "from production to the bench": (FLAT, replace('"production"', '"bench"'), True, False, "proposal/formula-stays"),
    "withdrawn from production": (FLAT, replace('"production"', '"withdrawn"'), True, False, "proposal/formula-stays"),
}


@pytest.mark.parametrize(("name", "edit", "hook", "gate", "words"), SHEETS.values(), ids=SHEETS.keys())
def test_at_a_commit_and_in_a_proposal(works: Works, tmp_path: Path, name: str, edit: Edit, hook: bool, gate: bool, words: str) -> None:
    answer = works.gate(works.propose({name: edit}))
    assert (answer.status == 0) == gate and words in answer.said, answer.said
    mine = copied(works, tmp_path / "works")
    mine.repo.stage({name: edit(TEXTS[name]).encode()})
    assert (ask("-C", str(mine.repo), "lint", "--staged", "--today", "2026-01-12").status == 0) == hook
