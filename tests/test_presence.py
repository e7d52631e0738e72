"""What a table of cases cannot say of presence: rules that contradict themselves, and what alternates and intermediates bring."""

from __future__ import annotations

import pytest
from in_memory import Records, catalog, findings
from lint_cases import shelf
from repository import Table

from formulint.kinds import KINDS
from formulint.shape import read_table

SHELF: Records = {name.split("/")[1].removesuffix(".toml"): text for name, text in shelf().items()}
RULE: Table = {
    "kind": "presence", "id": "toy", "level": "error", "title": "Toy.", "why": "toy", "source": {"document": "toy"},
    "of": {"functions": ["binder"]}, "needs": {"functions": ["coalescent"]}, "needs_is": "one",
}  # fmt: skip
WINDOW: Table = {"figure": "minimum_film_temperature", "above": "10 degC"}

# Words of the complaint, the key it stands at, and what is wrong in the rule.
WRONG: list[tuple[str, str, Table]] = [
    ("every material", "of", {"of": {}}),
    ("every material", "needs", {"needs": {"except": [{"tags": ["acid"]}]}}),
    ("every material", "except", {"except": {}}),
    ("does not count", "needs", {"needs": {"functions": ["coalescent"], "stages": ["letdown"]}}),
    ("needs one bound", "figure", {"figure": "ph"}),
    ("needs one bound", "figure", {"above": "10 degC"}),
    ("needs one bound", "figure", {**WINDOW, "below": "20 degC"}),
    ("no figure", "figure", {"figure": "price", "above": "10 degC"}),
    ("", "above", {**WINDOW, "above": "10 %"}),
]


def read(**more: object) -> list[tuple[str | int, str]]:
    """Where a rule with these keys contradicts itself, and how."""
    record, faults = read_table({**RULE, **more}, KINDS["presence"], "rules.toml", ("rule", 0))
    assert record is not None, faults
    return [(error.at[0], error.message) for error in record.faults_of_reading()]


def lacks(*codes: str, **line: object) -> list[str]:
    """What a paint of these materials lacks by the rule on dispersants."""
    additions = [{"material": code, "amount": "1 kg", **line} for code in codes]
    stage = {"name": "Mix", "kind": "grind", "additions": [*additions, {"material": "FILLER", "amount": "q.s."}]}
    paint: Table = {"name": "p", "revision": 1, "state": "bench", "class": "flat", "markets": ["canada"], "batch": "100 kg", "stage": [stage]}
    found = findings(catalog(SHELF, {"T-1": paint}), "T-1")
    return [one.fault.message for one in found if one.rule == "presence/dispersant-for-powder"]


@pytest.mark.parametrize(("words", "key", "more"), WRONG)
def test_a_rule_that_contradicts_itself_is_refused(words: str, key: str, more: Table) -> None:
    found = read(**more)
    assert [at for at, message in found if words in message] == [key], found


@pytest.mark.parametrize("more", [{}, WINDOW, {"except": {"tags": ["silicate"]}}, {"figure": "ph", "below": "6.5"}])
def test_a_rule_that_does_not_is_taken(more: Table) -> None:
    assert read(**more) == []


def test_an_alternate_that_lacks_it_is_named() -> None:
    assert lacks("CHALK", "DISPERSANT") == []
    assert lacks("CHALK", "DISPERSANT", alternates=["WATER"]) == [
        "with WATER instead of DISPERSANT: ground calcium carbonate (CHALK) is in the paint without a dispersant"
    ]
