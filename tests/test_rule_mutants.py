"""A slip in a shipped rule does not go unnoticed: for each one some case or probe disagrees, or it is explained why none can."""

from __future__ import annotations

import re
from collections.abc import Iterable
from pathlib import Path

import pytest
import tomli
from in_memory import shipped
from lint_cases import Case, cases, disagreements
from msgspec import Struct, convert
from mutants import OPERATORS, Altered, Table, mutants, rules
from probes import disagrees, probes

from formulint.kinds import KINDS
from formulint.shape import read_table

RULES = Path(__file__).parent.parent / "rules"
EXPLANATIONS = Path(__file__).parent / "cases" / "explained.toml"
ALL = {f"{part.split('/')[0]}/{table['id']}": (part, table) for part, table in rules(RULES)}
ERRORS = {rule: one for rule, one in ALL.items() if one[1]["level"] == "error"}
OTHERS = {rule: one for rule, one in ALL.items() if rule not in ERRORS}
COMMON = {"id": "toy", "level": "warning", "title": "Toy.", "why": "Toy.", "source": {"document": "toy"}}
TOYS: dict[str, Table] = {
    "evidence": {"check": "not-too-old", "tests": ["scrub", "ph"], "max_age": "2 a"},
    "hazard": {"scheme": "eu", "unwanted": ["Skin Sens.", "EUH208"], "by": ["2634-33-5"]},
    "limit": {"property": "water", "min": "40 %", "max": "50.0 %"},
    "completeness": {"record": "material", "needs": ["sds_date"], "max_age": "3 a", "of": {"functions": ["binder"]}},
    "presence": {"of": {"functions": ["binder"]}, "needs": {"functions": ["coalescent"]}, "needs_is": "one", "figure": "ph", "below": "6.5"},
    "sheet": {"check": "weighable", "least": "1 g"},
    "step": {"steps": ["disperse"], "stages": ["grind"], "figure": "time", "min": "15 min", "max": "30 min"},
    "boiling": {"apart": "15 K"},
    "entry": {"by": ["2634-33-5", "26530-20-1", "64359-81-5", "55406-53-6", "330-54-1", "10605-21-7"]},
    "mill": {"of": {"functions": ["white-pigment", "extender"]}, "figure": "nonvolatile_mass", "min": "60 %", "max": "78 %"},
    "warmth": {"of": {"functions": ["binder", "opaque-polymer"], "forms": ["emulsion", "solution"]}, "max": "45 degC"},
    "plausibility": {"of": {"functions": ["water"]}, "window": {"ph": {"min": "6.0", "max": "8.5"}}},
}
"""Of kinds that no shipped error is of."""


def survivors(rule: str, part: str, table: Table, known: Iterable[Case], only: set[str] | None = None) -> list[str]:
    """The slips of a rule, of all or of ``only`` some, that none of the cases disagrees with."""
    about = [case for case in known if rule == case.rule or rule in {mark[3] for mark in case.marks}]
    texts = {str(case): f"{case.name} {' '.join(case.words.values())}" for case in about}
    found = []
    for words, altered in mutants(table):
        if only is not None and words not in only:
            continue
        packs = Altered(shipped(), part, table["id"], altered)
        named = re.findall(r"[\w/-]{2,}", words)  # most slips are noticed by a case that has a word in common with them
        likely = sorted(about, key=lambda case: (-sum(word in texts[str(case)] for word in named), not case.fires))
        if not any(disagreements(case, packs) for case in likely):
            found.append(f"{rule}: {words}: no case disagrees")
    return found


class Explained(Struct, frozen=True, forbid_unknown_fields=True):
    """Slips that make no difference: rule and slip as patterns, and why nobody could notice."""

    rule: str
    slip: str
    why: str

    def covers(self, rule: str, words: str) -> bool:
        """True for a slip of a rule that it is about."""
        return bool(re.fullmatch(self.rule, rule) and re.fullmatch(self.slip, words))


EXPLAINED = tuple(convert(one, Explained) for one in tomli.loads(EXPLANATIONS.read_text(encoding="utf-8"))["explained"])


def unnoticed(rule: str, part: str, table: Table, known: Iterable[Case]) -> list[str]:
    """The slips of a rule, in words, that neither a probe nor a case disagrees with."""
    mine, left = probes().get(rule, ()), set[str]()
    for words, altered in mutants(table):
        record = None if altered is None else read_table(altered, KINDS[table["kind"]], "rules.toml", ("rule", 0))[0]
        if not any(bool(probe.says) if record is None else disagrees(probe, record) for probe in mine):
            left.add(words)
    named = {f"{rule}: {words}: no case disagrees": words for words in left}
    return [named[one] for one in survivors(rule, part, table, known, left)] if left else []


@pytest.mark.parametrize("rule", OTHERS)
def test_every_slip_of_what_stops_nothing_is_noticed_or_explained(rule: str) -> None:
    words = [words for words, _ in mutants(OTHERS[rule][1])]
    assert unnoticed(rule, *OTHERS[rule], cases()) == [one for one in words if any(why.covers(rule, one) for why in EXPLAINED)]


@pytest.mark.parametrize("one", EXPLAINED, ids=lambda one: f"{one.rule} {one.slip}")
def test_an_explanation_is_about_some_slip(one: Explained) -> None:
    slips = ((rule, words) for rule, (_, table) in OTHERS.items() for words, _ in mutants(table))
    assert any(one.covers(*slip) for slip in slips) and len(one.why) > 10


@pytest.mark.parametrize("rule", ERRORS)
def test_every_slip_is_noticed_by_some_case(rule: str) -> None:
    assert survivors(rule, *ERRORS[rule], cases()) == []


def test_there_are_many_slips() -> None:
    assert sum(1 for _, table in ERRORS.values() for _ in mutants(table)) > 700
    assert sum(1 for _, table in OTHERS.values() for _ in mutants(table)) > 3400


@pytest.mark.parametrize(
    ("gone", "survives"),
    [(("at", "outside"), "max 10 % -> 9 %"), (("outside",), "removed")],
)
def test_a_slip_that_no_case_is_left_for_is_named(gone: tuple[str, ...], survives: str) -> None:
    rule = "dose/glycol-ceiling"
    left = [case for case in cases() if not case.name.endswith(gone)]
    assert f"{rule}: {survives}: no case disagrees" in survivors(rule, *ERRORS[rule], left)


def test_every_kind_has_its_slips() -> None:
    assert set(OPERATORS) == set(KINDS) == {table["kind"] for _, table in ERRORS.values()} | set(TOYS)


@pytest.mark.parametrize("kind", TOYS)
def test_a_kind_that_no_shipped_error_is_of_has_slips_too(kind: str) -> None:
    words = [words for words, _ in mutants({**COMMON, "kind": kind, **TOYS[kind]})]
    assert len(words) == len(set(words)) > 5
