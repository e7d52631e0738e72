"""Words of the trade lead to the words of the format, and words of git do not reach somebody who asks about paint."""

from __future__ import annotations

from pathlib import Path
from typing import get_args

import pytest
from in_memory import SETTINGS, catalog
from repos import build
from repository import run

from formulint import vocabulary
from formulint.formula import Addition, Formula, Stage
from formulint.judge import Judge
from formulint.kinds.limit import Limit
from formulint.material import Component, Material
from formulint.properties import BY_ID
from formulint.report import state_words
from formulint.scope import everything
from formulint.suggest import closest
from formulint.synonyms import SYNONYMS

LISTS = (vocabulary.Function, vocabulary.FormulaState, vocabulary.MaterialState, vocabulary.StageKind, vocabulary.StepKind, vocabulary.TestName)
FIELDS = {name for record in (Material, Component, Formula, Addition, Stage, Limit) for name in record.__struct_encode_fields__}
KNOWN = {"kind", *FIELDS, *(word for words in LISTS for word in get_args(words)), *BY_ID}


def folded(word: str) -> str:
    """A word as it is looked up."""
    return word.lower().replace(" ", "").replace("-", "").replace("_", "")


@pytest.mark.parametrize("word", sorted(SYNONYMS))
def test_a_word_of_the_trade_stands_for_words_of_the_format(word: str) -> None:
    assert set(SYNONYMS[word]) <= KNOWN
    assert word == folded(word)
    assert word not in {folded(other) for other in SYNONYMS[word]}


@pytest.mark.parametrize(
    ("word", "meant"),
    [("MFFT", "minimum_film_temperature"), ("Solids", "nonvolatile"), ("Vendor", "supplier"), ("latex", None), ("hegman", None)],
)
def test_it_is_offered_only_where_what_it_means_can_stand(word: str, meant: str | None) -> None:
    assert closest(word, Material.__struct_encode_fields__) == meant


def test_what_is_written_right_is_what_was_meant() -> None:
    assert closest("grind", ["disperse", "grind"]) == "grind"


@pytest.mark.parametrize(("units", "words"), [("us", "28.37 lb/gal to 35.05 lb/gal is usual"), ("metric", "3.4 kg/L to 4.2 kg/L is usual")])
def test_windows_of_figures_are_told_in_the_units_of_the_house(units: str, words: str) -> None:
    white = {"name": "white", "functions": ["white-pigment"], "form": "powder", "density": "33.3 kg/L", "nonvolatile": "100 %", "tags": ["rutile"]}
    state = catalog({"W": white}, {}, {**SETTINGS, "units": units})
    told = [one.fault for one in Judge(state).findings(everything(state)) if one.rule == "materials/figures-of-rutile-dry"]
    assert [words in one.message for one in told] == [True]
    assert told[0].remedy.startswith("33.3 lb/gal would be usual")


@pytest.mark.parametrize(("label", "words"), [("work tree", "the files as they lie here"), ("index", "what is staged"), ("1e26694", "1e26694")])
def test_a_state_is_told_in_plain_words(label: str, words: str) -> None:
    assert state_words(label) == words


@pytest.mark.parametrize(("words", "helps"), [(["T-1"], "formulint diff -- T-1"), (["HEAD~0", "t-1"], "formulint diff HEAD~0 -- T-1")])
def test_a_code_in_place_of_a_state_is_told_how_codes_are_named(words: list[str], helps: str, tmp_path: Path) -> None:
    repo = build(tmp_path / "paint")
    repo.commit("first", {"formulint.toml": "format = 1\n", "formulas/T-1.toml": "", "materials/W.toml": ""})
    answer = run(repo.path, "diff", *words)
    assert (answer.status, helps in answer.err) == (2, True), answer.err
    assert "does not name a commit" in run(repo.path, "diff", "T-2").err
