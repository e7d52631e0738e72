"""Rules of a kind that contradict themselves are refused, at the key that is wrong; sound ones are taken."""

from __future__ import annotations

import pytest
from repository import Table

from formulint.kinds import KINDS
from formulint.shape import read_table

ANY: Table = {"id": "toy", "level": "note", "title": "Toy.", "why": "toy", "source": {"document": "toy"}}
STEP: Table = {"kind": "step", "steps": ["disperse"], "figure": "time"}
EXPOSURE: Table = {"kind": "exposure", "steps": ["disperse"]}
SHEET: Table = {"kind": "sheet"}

# Words of the complaint, the key it stands at, and the rule.
WRONG: list[tuple[str, str, Table]] = [
    ("needs min, max", "figure", STEP),
    ("", "min", {**STEP, "min": "5 kg"}),
    ("is above max", "min", {**STEP, "min": "30 min", "max": "15 min"}),
    ("at least so fine", "max", {**STEP, "figure": "fineness", "max": "7 hegman"}),
    ("every material", "of", {**EXPOSURE, "of": {}}),
    ("needs least", "check", {**SHEET, "check": "weighable"}),
    ("needs least", "check", {**SHEET, "check": "twice", "least": "1 g"}),
    ("", "least", {**SHEET, "check": "weighable", "least": "1 %"}),
]
RIGHT: list[Table] = [
    {**STEP, "min": "15 min", "max": "15 min"},
    {**STEP, "figure": "temperature", "max": "60 degC"},
    {**EXPOSURE, "of": {"functions": ["binder"]}},
    {**SHEET, "check": "weighable", "least": "1 g"},
    {**SHEET, "check": "note"},
]


def complaints(rule: Table) -> list[tuple[str | int, str]]:
    """Where a rule contradicts itself, and how."""
    record, faults = read_table({**ANY, **rule}, KINDS[str(rule["kind"])], "rules.toml", ("rule", 0))
    assert record is not None, faults
    return [(error.at[0], error.message) for error in record.faults_of_reading()]


@pytest.mark.parametrize(("words", "key", "rule"), WRONG)
def test_a_rule_that_contradicts_itself_is_refused(words: str, key: str, rule: Table) -> None:
    assert [at for at, message in complaints(rule) if words in message] == [key], complaints(rule)


@pytest.mark.parametrize("rule", RIGHT)
def test_a_rule_that_does_not_is_taken(rule: Table) -> None:
    assert complaints(rule) == []
