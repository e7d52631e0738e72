"""A slip in a shipped rule that may stop a commit does not go unnoticed: for each one there is some case that disagrees."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

import pytest
from in_memory import shipped
from lint_cases import Case, cases, disagreements
from mutants import OPERATORS, Altered, Table, errors, mutants

from formulint.kinds import KINDS

RULES = Path(__file__).parent.parent / "rules"
ERRORS = {f"{part.split('/')[0]}/{table['id']}": (part, table) for part, table in errors(RULES)}

# Slips that change nothing that can be told from a formula, each with the reason.
EQUIVALENT: dict[tuple[str, str], str] = {}


def survivors(rule: str, part: str, table: Table, known: Iterable[Case]) -> list[str]:
    """The slips of a rule that none of the cases disagrees with."""
    about = sorted((case for case in known if rule == case.rule or rule in {mark[3] for mark in case.marks}), key=lambda case: not case.fires)
    found = []
    for words, altered in mutants(table):
        packs = Altered(shipped(), part, table["id"], altered)
        if not any(disagreements(case, packs) for case in about):
            found.append(f"{rule}: {words}: no case disagrees")
    return found


@pytest.mark.parametrize("rule", ERRORS)
def test_every_slip_is_noticed_by_some_case(rule: str) -> None:
    found = [words for words in survivors(rule, *ERRORS[rule], cases()) if tuple(words.split(": ")[:2]) not in EQUIVALENT]
    assert found == []
