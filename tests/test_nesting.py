"""Which intermediates cannot be computed: those in a circle, and those too deep, by a library of graphs and in any order."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from itertools import pairwise
from pathlib import Path

import networkx
import pytest
from hypothesis import given
from hypothesis import strategies as st
from lint_cases import SETTINGS, catalog_of
from proposals import works_in

from formulint.judge import Judge
from formulint.nesting import DEEPEST, Nesting
from formulint.scope import everything

CODES = [f"I-{at}" for at in range(8)]
GRAPHS = st.dictionaries(st.sampled_from(CODES), st.lists(st.sampled_from(CODES), max_size=4, unique=True))


def told(graph: Mapping[str, Sequence[str]], order: Sequence[str]) -> dict[str, tuple[str, ...]]:
    """What each code is told, asked in an order."""
    nesting = Nesting(lambda code: graph.get(code, ()))
    for code in order:
        nesting.knot(code)
    return {code: nesting.knot(code) for code in graph}


@given(GRAPHS, st.permutations(CODES), st.permutations(CODES))
def test_the_answer_is_the_same_in_every_order(graph: dict[str, list[str]], one: list[str], other: list[str]) -> None:
    assert told(graph, one) == told(graph, other)


@given(GRAPHS)
def test_those_in_a_circle_are_the_ones_that_lead_back_to_themselves(graph: dict[str, list[str]]) -> None:
    edges = networkx.DiGraph([(code, part) for code, parts in graph.items() for part in parts])
    circular = {code for code in edges if any(code == part or networkx.has_path(edges, part, code) for part in edges.successors(code))}
    assert {code for code, chain in told(graph, CODES).items() if chain} == circular


@given(GRAPHS)
def test_a_circle_that_is_told_is_there(graph: dict[str, list[str]]) -> None:
    for code, chain in told(graph, CODES).items():
        assert all(part in graph[one] for one, part in pairwise(chain))
        assert not chain or chain[0] == chain[-1]
        assert chain[:1] in ((), (code,)) or code not in chain


def chain(depth: int, width: int = 1, reverse: bool = False) -> dict[str, list[str]]:
    """Codes each of which holds those before it, as many as ``width``; numbered the other way round with ``reverse``."""
    names = [f"I-{depth - at if reverse else at:05d}" for at in range(depth)]
    return {names[at]: names[max(0, at - width) : at] for at in range(depth)}


@pytest.mark.parametrize("reverse", [False, True])
@pytest.mark.parametrize("width", [1, 2, 10_000])
def test_depth_is_counted_along_the_longest_way(width: int, reverse: bool) -> None:
    graph = chain(DEEPEST + 3, width, reverse)
    deep = [code for code, knot in told(graph, list(graph)).items() if knot]
    assert deep == list(graph)[-2:]
    assert [len(knot) for knot in told(graph, list(graph)).values() if knot] == [DEEPEST + 2] * 2


def test_whoever_nests_two_thousand_deep_gets_an_answer() -> None:
    graph = chain(2_000, 2_000)
    assert sum(bool(knot) for knot in told(graph, sorted(graph, reverse=True)).values()) == 2_000 - DEEPEST - 1


def files(graph: Mapping[str, Sequence[str]]) -> dict[str, str]:
    """The formulas of a graph, each with a filler."""
    head = 'name = "x"\nrevision = 1\nstate = "bench"\nclass = "intermediate"\nbatch = "100 kg"\n[[stage]]\nname = "Mix"\nkind = "premix"\n'
    lines = {code: "".join(f'{{ material = "{part}", amount = "1 kg" }}, ' for part in parts) for code, parts in graph.items()}
    return {f"formulas/{code}.toml": f'code = "{code}"\n{head}additions = [{lines[code]}{{ material = "FILLER", amount = "q.s." }}]\n' for code in graph}


@pytest.mark.parametrize("reverse", [False, True])
def test_what_is_too_deep_does_not_depend_on_the_order_of_files(reverse: bool) -> None:
    graph = chain(DEEPEST + 4, 3, reverse)
    catalog = catalog_of({"formulint.toml": SETTINGS, **files(graph)}, date(2026, 1, 12))
    found = Judge(catalog).findings(everything(catalog))
    stopped = {one.formula for one in found if one.rule == "record/no-circle"}
    assert stopped == set(list(graph)[-3:])
    assert all(f"more than {DEEPEST} deep" in one.fault.message for one in found if one.blocks)


def test_a_proposal_hundreds_deep_is_refused(tmp_path: Path) -> None:
    graph = chain(400)
    texts = {**files(graph), "formulint.toml": "format = 1\n", "materials/FILLER.toml": 'code = "FILLER"\nname = "x"\nfunctions = ["extender"]\n'}
    works = works_in(tmp_path / "works", texts)
    answer = works.gate(works.propose({"formulas/I-00000.toml": lambda text: text.replace("FILLER", "NONE")}))
    assert (answer.status, f"more than {DEEPEST} deep" in answer.said) == (1, True)
