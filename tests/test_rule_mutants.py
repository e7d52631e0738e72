"""A slip in a shipped rule that may stop a commit does not go unnoticed: for each one there is some case that disagrees."""

from __future__ import annotations

import re
from collections.abc import Iterable
from pathlib import Path

import pytest
from in_memory import shipped
from lint_cases import Case, cases, disagreements
from mutants import OPERATORS, Altered, Table, errors, mutants

from formulint.kinds import KINDS

RULES = Path(__file__).parent.parent / "rules"
ERRORS = {f"{part.split('/')[0]}/{table['id']}": (part, table) for part, table in errors(RULES)}
COMMON = {"id": "toy", "level": "warning", "title": "Toy.", "why": "Toy.", "source": {"document": "toy"}}
TOYS: dict[str, Table] = {
    "hazard": {"scheme": "eu", "unwanted": ["Skin Sens.", "EUH208"], "by": ["2634-33-5"]},
    "limit": {"property": "water", "min": "40 %", "max": "50.0 %"},
    "completeness": {"record": "material", "needs": ["sds_date"], "max_age": "3 a", "of": {"functions": ["binder"]}},
    "presence": {"of": {"functions": ["binder"]}, "needs": {"functions": ["coalescent"]}, "needs_is": "one", "figure": "ph", "below": "6.5"},
    "sheet": {"check": "weighable", "least": "1 g"},
    "step": {"steps": ["disperse"], "stages": ["grind"], "figure": "time", "min": "15 min", "max": "30 min"},
    "plausibility": {"of": {"functions": ["water"]}, "window": {"ph": {"min": "6.0", "max": "8.5"}}},
}
"""Of kinds that no shipped error is of."""


def survivors(rule: str, part: str, table: Table, known: Iterable[Case]) -> list[str]:
    """The slips of a rule that none of the cases disagrees with."""
    about = [case for case in known if rule == case.rule or rule in {mark[3] for mark in case.marks}]
    texts = {str(case): f"{case.name} {' '.join(case.words.values())}" for case in about}
    found = []
    for words, altered in mutants(table):
        packs = Altered(shipped(), part, table["id"], altered)
        named = re.findall(r"[\w/-]{2,}", words)  # most slips are noticed by a case that has a word in common with them
        likely = sorted(about, key=lambda case: (-sum(word in texts[str(case)] for word in named), not case.fires))
        if not any(disagreements(case, packs) for case in likely):
            found.append(f"{rule}: {words}: no case disagrees")
    return found


@pytest.mark.parametrize("rule", ERRORS)
def test_every_slip_is_noticed_by_some_case(rule: str) -> None:
    assert survivors(rule, *ERRORS[rule], cases()) == []


def test_there_are_many_slips() -> None:
    assert sum(1 for _, table in ERRORS.values() for _ in mutants(table)) > 700


@pytest.mark.parametrize(
    ("gone", "survives"),
    [(("at", "outside"), "max 10 % -> 9 %"), (("outside",), "removed")],
)
def test_a_slip_that_no_case_is_left_for_is_named(gone: tuple[str, ...], survives: str) -> None:
    rule = "dose/glycol-ceiling"
    left = [case for case in cases() if not case.name.endswith(gone)]
    assert f"{rule}: {survives}: no case disagrees" in survivors(rule, *ERRORS[rule], left)


def test_every_kind_has_its_slips() -> None:
    of_formulas = set(KINDS) - {"evidence"}  # which judges results, beside formulas; none of its shipped rules is an error
    assert set(OPERATORS) == of_formulas == {table["kind"] for _, table in ERRORS.values()} | set(TOYS)


@pytest.mark.parametrize("kind", TOYS)
def test_a_kind_that_no_shipped_error_is_of_has_slips_too(kind: str) -> None:
    words = [words for words, _ in mutants({**COMMON, "kind": kind, **TOYS[kind]})]
    assert len(words) == len(set(words)) > 5
