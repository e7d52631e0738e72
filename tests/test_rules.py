"""Every shipped rule speaks where it must, in the line and the words it must, and is silent elsewhere."""

from __future__ import annotations

from datetime import date

import pytest
from in_memory import shipped
from lint_cases import Case, CaseFile, Ladder, cases, catalog_of, disagreements, shelf, told
from msgspec import ValidationError, convert
from mutants import shipped_rules
from probes import probes

from formulint.finding import Level
from formulint.judge import Judge, Scope
from formulint.kinds import KINDS
from formulint.rulebook import Shipped

DAY = date(2026, 1, 12)
ALL = cases()
SPOKEN = {mark[3] for case in ALL for mark in case.marks}
SILENT = {case.rule for case in ALL if not case.fires}


def kinds_of(packs: Shipped) -> dict[str, str]:
    """The kind of every shipped rule that is not about a market, by id."""
    return {entry.id: type(entry.rule).__name__.lower() for part in packs.general() for entry in packs.rules(part)}


KIND = kinds_of(shipped())


@pytest.mark.parametrize("case", ALL, ids=str)
def test_what_is_found_is_what_the_lines_are_marked_with(case: Case) -> None:
    assert disagreements(case) == []


@pytest.mark.parametrize("case", cases("_must_fail.toml"), ids=str)
def test_a_wrong_case_does_not_pass(case: Case) -> None:
    assert [words for words in disagreements(case) if words.startswith(case.name)]


@pytest.mark.parametrize("record", [Case, Ladder, CaseFile])
def test_an_unknown_key_in_a_case_is_refused(record: type) -> None:
    with pytest.raises(ValidationError, match="unknown field"):
        convert({"name": "x", "rule": "a/b", "source": "", "date": DAY, "fomula": ""}, record)


def test_a_case_has_a_name_of_its_own() -> None:
    names = [str(case) for case in ALL]
    assert sorted(names) == sorted(set(names))


def test_a_case_says_where_its_figure_comes_from() -> None:
    assert [str(case) for case in ALL if len(case.source) < 10] == []


def test_every_error_has_a_case_that_speaks_and_one_that_is_silent() -> None:
    ids = {rule for rule, table in shipped_rules() if table["level"] == "error"}
    assert len(ids) >= 30
    assert sorted(ids - SPOKEN) == []
    assert sorted(ids - SILENT) == []


def test_every_rule_speaks_of_some_case_or_probe_and_of_some_not() -> None:
    ids = {rule for rule, _ in shipped_rules()}
    assert len(ids) >= 230
    assert sorted(ids - SPOKEN - {rule for rule, them in probes().items() if any(one.says for one in them)}) == []
    assert sorted(ids - SILENT - {rule for rule, them in probes().items() if not all(one.says for one in them)}) == []


def test_every_kind_is_heard() -> None:
    heard = {KIND.get(rule, "market" if rule.startswith("voc/") else "") for rule in SPOKEN}
    heard |= {"limit"} if "house/dry-enough" in SPOKEN else set()  # no shipped rule is a limit: houses have them
    assert heard - {""} == set(KINDS)


def test_cases_name_rules_that_there_are() -> None:
    packs = shipped()
    known = {*KIND, *(f"voc/{market.id}" for market in packs.vocabulary().market)}
    assert sorted(rule for rule in SPOKEN | SILENT if rule not in known and not rule.startswith("house/")) == []


def test_the_shelf_is_silent() -> None:
    catalog = catalog_of({"formulint.toml": "format = 1\n"}, DAY)
    found = Judge(catalog).findings(Scope((), tuple(shelf()), True))
    assert [(one.rule, one.material, one.fault.message) for one in found if one.level is not Level.note] == []


def said(case: Case) -> list[tuple[str, str, int]]:
    """What is found about the records of a case: rule, words, line."""
    return [(finding.rule, finding.fault.message, line) for _, line, finding in told(case)]


def test_what_plainly_holds_has_nothing_to_say(monkeypatch: pytest.MonkeyPatch) -> None:
    quickly = {str(case): said(case) for case in ALL}
    kinds = [kind for kind in KINDS.values() if "plainly_holds" in vars(kind)]
    for kind in kinds:
        monkeypatch.setattr(kind, "plainly_holds", lambda self, subject: False)
    assert len(kinds) > 1
    assert [name for name, found in quickly.items() if said(next(case for case in ALL if str(case) == name)) != found] == []
