"""What goes wrong in the files of a paint works is found, on its line and in words that help; what is harmless is let be."""

from __future__ import annotations

import gc
from collections.abc import Iterator

import pytest
from failure_cases import Case, Works, cases, disagreements

ALL = cases()


@pytest.fixture(scope="module")
def works(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Works]:
    yield Works(tmp_path_factory.mktemp("failures") / "works")
    gc.enable()  # the command switches it off


@pytest.mark.parametrize("case", ALL.failure, ids=str)
def test_failure_is_found_and_told(works: Works, case: Case) -> None:
    assert disagreements(case, *works.told(case)) == []


@pytest.mark.parametrize("case", ALL.harmless, ids=str)
def test_harmless_edit_brings_nothing_new(works: Works, case: Case) -> None:
    found, diff, _ = works.told(case)
    assert [str(one) for one in found] == []
    assert [words for words in (f"({case.class_})" if case.class_ else "", *case.diff) if words not in diff] == []


@pytest.mark.parametrize("case", ALL.failure, ids=str)
def test_a_failure_says_what_must_be_found(case: Case) -> None:
    assert case.finds or case.diff or case.gate
    assert [wanted.rule for wanted in case.finds if not wanted.says] == []


def test_titles_are_their_own() -> None:
    titles = [case.title for case in (*ALL.failure, *ALL.harmless)]
    assert sorted(titles) == sorted(set(titles))
