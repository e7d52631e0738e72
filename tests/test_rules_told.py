"""What the rules say of themselves, and what became of each for a formula: nothing is told kept that was not looked at."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest
from proposals import ask
from repos import Repo, build
from repository import tables
from story import files

from formulint.kinds import KINDS
from formulint.rule import Pick, Rule, Where
from formulint.rulebook import Entry, Shipped
from formulint.wording import pick_words, where_words

ROOT = Path(__file__).parent.parent
SHIPPED = Shipped()
ENTRIES: list[Entry] = [
    entry
    for name in (*SHIPPED.general(), *(f"voc/{one.id}" for one in SHIPPED.vocabulary().market if SHIPPED.has_market(one.id)))
    for entry in SHIPPED.rules(name)
]
TODAY = ("--today", "2026-01-12")


@pytest.fixture(scope="module")
def house(tmp_path_factory: pytest.TempPathFactory) -> Repo:
    """The example, a level set otherwise, a figure confirmed, and sheets that break rules."""
    repo = build(tmp_path_factory.mktemp("rules") / "house")
    given = {name: raw.decode() for name, raw in files().items() if isinstance(raw, bytes)}
    given["formulint.toml"] += '\n[[rule_setting]]\nrule = "dose/glycol"\nlevel = "note"\nreason = "freeze-thaw comes first here"\n'
    given["formulas/T-900.toml"] = given["formulas/T-101.toml"].replace('"T-101"', '"T-900"').replace('"250.0 lb"', '"260.0 lb"')
    given["formulas/T-901.toml"] = given["formulas/T-101.toml"].replace('"T-101"', '"T-901"').replace('"RM-1901"', '"RM-9999"')
    repo.write(given)
    return repo


def rules(house: Repo, *words: str) -> dict[str, dict[str, object]]:
    """The rules as the command tells them, by id."""
    answer = ask("-C", str(house.path), "rules", *words, *TODAY)
    assert answer.status == 0, answer.err
    return {str(one["id"]): dict(one) for one in tables(json.loads(answer.out)["rules"])}


# --- in words ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("kind", KINDS)
def test_every_kind_has_sentences_of_its_own(kind: str) -> None:
    assert KINDS[kind].says is not Rule.says


@pytest.mark.parametrize("entry", ENTRIES, ids=lambda entry: entry.id)
def test_a_rule_says_all_its_figures_and_ends_its_sentences(entry: Entry) -> None:
    said = entry.rule.says()
    figures = {str(getattr(entry.rule, key)) for key in ("min", "max", "share", "least", "max_age", "above", "below") if getattr(entry.rule, key, None)}
    assert [figure for figure in figures if figure.removesuffix(" a") not in " ".join(said)] == []
    assert all(sentence.endswith(".") and "  " not in sentence and "()" not in sentence for sentence in said)


PICKS = {
    "white pigment or extender as powder": Pick(functions=("white-pigment", "extender"), forms=("powder",)),
    "anything tagged rutile that holds CAS 7732-18-5": Pick(tags=("rutile",), cas=("7732-18-5",)),
    "dispersant (not: anything as slurry or anything in state blocked)": Pick(functions=("dispersant",), but=(Pick(forms=("slurry",)), Pick(states=("blocked",)))),
    "any material": Pick(),
}


@pytest.mark.parametrize("words", PICKS)
def test_a_selector_in_words(words: str) -> None:
    assert pick_words(PICKS[words]) == words


def test_no_two_shipped_selectors_of_formulas_are_told_alike() -> None:
    found = {where_words(where): where for entry in ENTRIES for where in (entry.rule.where, entry.rule.unless) if where is not None}
    assert where_words(Where()) == "" and len(found) > 5
    assert all(where == found[where_words(where)] for entry in ENTRIES for where in (entry.rule.where, entry.rule.unless) if where is not None)


def test_the_page_of_all_rules_is_the_one_that_is_made() -> None:
    answer = ask("rules", "--shipped", how="markdown")
    assert (ROOT / "rules" / "README.md").read_text(encoding="utf-8") == answer.out, "formulint rules --shipped --format markdown writes it"
    assert len(re.findall(r"^### ", answer.out, re.MULTILINE)) == len(ENTRIES)


# --- the list and one rule ---------------------------------------------------------------------------------------


def test_the_list_holds_every_rule_and_who_set_another_level(house: Repo) -> None:
    found = rules(house)
    assert {entry.id for entry in ENTRIES} < found.keys() and "house/bit" in found
    assert [found["dose/glycol"][key] for key in ("level", "shipped_level", "level_reason")] == ["note", "warning", "freeze-thaw comes first here"]
    assert found["voc/us-national"]["confirmed"] is True


def test_one_rule_in_full_is_told_with_figures_source_and_setting(house: Repo) -> None:
    out = " ".join(ask("-C", str(house.path), "rules", "dose/glycol", *TODAY, how="terminal").out.split())
    for words in ("at most 6 % in the paint", "level: note, set by the house in place of warning: freeze-thaw comes first here", "why: ", "do: ", "(verified)"):
        assert words in out


@pytest.mark.parametrize(("what", "words"), [("dose/glycl", "did you mean dose/glycol?"), ("doses", "known"), ("glycol", "did you mean dose/glycol?")])
def test_a_rule_that_is_none_is_asked_back(house: Repo, what: str, words: str) -> None:
    answer = ask("-C", str(house.path), "rules", what)
    assert answer.status == 2 and words in answer.err


def test_the_rules_of_a_pack_alone(house: Repo) -> None:
    assert {name.partition("/")[0] for name in rules(house, "order")} == {"order"}


# --- for a formula -----------------------------------------------------------------------------------------------


BECAME = {
    "closure/batch": ("pass", ""),
    "own-limit/density": ("pass", ""),
    "order/dispersant-before-pigment": ("pass", ""),
    "order/glycol-before-latex": ("fail", "goes in before"),
    "voc/eu": ("does not apply", "not sold in eu"),
    "house/ipbc-exterior": ("does not apply", "only for exterior use"),
    "dose/binder-solids": ("pass", ""),
    "unsafe/nitrite-with-secondary-amine": ("does not apply", "holds none: anything tagged nitrite"),
    "process/letdown-speed": ("not checked", "the sheet does not give the speed"),
    "voc/us-national": ("pass", ""),
}


@pytest.mark.parametrize("rule", BECAME)
def test_what_became_of_a_rule_and_why(house: Repo, rule: str) -> None:
    one = rules(house, "--formula", "T-101")[rule]
    became, words = BECAME[rule]
    assert (one["became"], words in str(one["reason"] or "")) == (became, True), one


@pytest.mark.parametrize("code", ["T-101", "T-140", "T-149", "T-210", "T-301", "T-900"])
def test_what_lint_finds_is_what_is_told_broken(house: Repo, code: str) -> None:
    found = rules(house, "--formula", code)
    results = json.loads(ask("-C", str(house.path), "lint", code, *TODAY).out)["results"]
    broken = {name for name, one in found.items() if one["became"] in ("fail", "open", "review")}
    assert {one["rule"] for one in results if one["formula"] == code and not one["rule"].startswith("record/")} == broken
    assert {one["became"] for one in found.values()} >= {"pass", "does not apply"}


def test_of_a_sheet_that_names_what_is_not_there_no_rule_is_told_kept(house: Repo) -> None:
    found = rules(house, "--formula", "T-901")
    assert {one["became"] for one in found.values()} == {"not checked"}
    assert "RM-9999" in str(found["closure/batch"]["reason"])


def test_a_figure_that_is_missing_opens_each_rule_that_asks_for_it(house: Repo) -> None:
    text = (house.path / "materials/RM-1401.toml").read_text()
    house.write({"materials/RM-1401.toml": re.sub(r"(?m)^density .*\n", "", text)})
    try:
        found = rules(house, "--formula", "T-101")
    finally:
        house.write({"materials/RM-1401.toml": text})
    assert {"closure/batch", "own-limit/density", "voc/us-national"} <= {name for name, one in found.items() if one["became"] == "open"}
