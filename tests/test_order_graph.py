"""The fewest additions to move, chains of reasons, contradictions: against brute force, and at examples."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterator, Sequence
from itertools import combinations, pairwise, permutations

from hypothesis import given, settings
from hypothesis import strategies as st
from in_memory import catalog, subject

from formulint.arrange import Demand, contradictory, demand, meetings, moved_subject, plan, violations
from formulint.finding import Level, Source
from formulint.kinds.order import Order
from formulint.order_graph import Pair, chain, consistent, implied, knots, needed, to_move
from formulint.rule import Pick
from formulint.subject import FormulaSubject

A, B, C, D = ((0, at) for at in range(4))
CODES = "ABCDE"


# --- the graph alone ---------------------------------------------------------------------------------------------


@st.composite
def violated(draw: st.DrawFn) -> tuple[list[Pair], frozenset[Pair]]:
    """Consistent demands on up to eight additions, and those of them, with all that follows, that the row violates."""
    size = draw(st.integers(2, 8))
    wanted = draw(st.permutations(range(size)))  # an order in which all demands are met
    among = st.tuples(st.integers(0, size - 1), st.integers(0, size - 1)).filter(lambda pair: pair[0] < pair[1])
    drawn = draw(st.lists(among, max_size=14))
    demands = [((0, wanted[one]), (0, wanted[other])) for one, other in drawn]
    return demands, frozenset((one, other) for one, other in implied(demands) if other < one)


def fewest(demands: Sequence[Pair]) -> int:
    """The size of the smallest set after whose removal the rest may stay in its row while every demand can be met."""
    nodes = sorted({node for pair in demands for node in pair})
    for size in range(len(nodes) + 1):
        for moved in combinations(nodes, size):
            kept = [node for node in nodes if node not in moved]
            if consistent([*demands, *pairwise(kept)]):
                return size
    raise AssertionError("all of them moved is always enough")


@settings(max_examples=150, deadline=None)
@given(violated())
def test_as_few_as_brute_force_finds(found: tuple[list[Pair], frozenset[Pair]]) -> None:
    demands, wrong = found
    assert len(to_move(wrong, {})) == fewest(demands)


@settings(max_examples=100, deadline=None)
@given(violated())
def test_what_stays_violates_nothing(found: tuple[list[Pair], frozenset[Pair]]) -> None:
    moved = to_move(found[1], {})
    assert [pair for pair in found[1] if moved.isdisjoint(pair)] == []


def test_the_lighter_of_two_moves() -> None:
    assert to_move([(B, A)], {A: 200.0, B: 8.0}) == {B}
    assert to_move([(B, A)], {A: 8.0, B: 200.0}) == {A}


def test_one_for_many() -> None:
    assert to_move([(D, A), (D, B), (D, C)], {D: 1000.0}) == {D}


def test_the_shortest_chain() -> None:
    pairs = [(A, B), (B, C), (C, D), (B, D)]
    assert chain(pairs, A, D) == ((A, B), (B, D))
    assert chain(pairs, D, A) == ()


def test_what_follows_is_left_out() -> None:
    assert needed([(A, B), (B, C), (A, C)]) == {(A, B), (B, C)}


def test_one_shortest_circle_of_each_knot() -> None:
    other = [((1, at), (1, (at + 1) % 3)) for at in range(3)]
    assert knots([(A, B), (B, C), (C, A), (B, A), *other]) == (((A, B), (B, A)), tuple(other))
    assert knots([(A, B), (B, C)]) == ()


# --- with rules, against every order there is --------------------------------------------------------------------


def rule(first: str, then: str, quantifier: str, share: str | None) -> Order:
    return Order(
        id="drawn", level="error", title="drawn", why="drawn", source=Source(), first=Pick(codes=tuple(first)),
        then=Pick(codes=tuple(then)), quantifier=quantifier, share=share,  # type: ignore[arg-type]
    )  # fmt: skip


@st.composite
def rules(draw: st.DrawFn) -> list[Order]:
    """One to three rules about five materials."""
    some = st.sets(st.sampled_from(CODES), min_size=1, max_size=3).map(sorted).map("".join)
    found = []
    for _ in range(draw(st.integers(1, 3))):
        quantifier = draw(st.sampled_from(("every", "first", "enough")))
        share = draw(st.sampled_from(("40 %", "60 %", "100 %"))) if quantifier == "enough" else None
        found.append(rule(draw(some), draw(some), quantifier, share))
    return found


def paint(row: Sequence[str]) -> FormulaSubject:
    """Five materials in one vessel, A the lightest."""
    lines = [{"material": code, "amount": f"{1 + CODES.index(code)} kg"} for code in row]
    sheet = {
        "name": "x", "revision": 1, "state": "bench", "class": "flat", "markets": ["us-national"], "batch": "15 kg",
        "stage": [{"name": "Mix", "kind": "charge", "additions": lines}],
    }  # fmt: skip
    record = {"name": "x", "functions": ["other"], "form": "liquid", "density": "1 kg/L", "nonvolatile": "0 %", "water": "100 %", "disclosure": "full"}
    return subject(catalog({code: {**record, "name": code} for code in CODES}, {"T-1": sheet}), "T-1")


def demands_of(found: Sequence[Order], one: FormulaSubject) -> list[Demand]:
    return [demand(f"house/{at}", Level.error, each, one) for at, each in enumerate(found)]


def longest_row(order: Sequence[int]) -> int:
    """Length of the longest rising row in an order."""
    tails: list[int] = []
    for at in order:
        place = bisect_left(tails, at)
        tails[place : place + 1] = [at]
    return len(tails)


def every_order(one: FormulaSubject, demands: Sequence[Demand]) -> Iterator[int]:
    """How many additions move in each order that meets all demands."""
    for order in permutations(range(len(CODES))):
        layout = (tuple((0, at) for at in order),)
        if not any(violations(moved_subject(one, layout), demands)):
            yield len(CODES) - longest_row(order)


@settings(max_examples=80, deadline=None)
@given(st.permutations(CODES), rules())
def test_a_plan_moves_as_few_as_any_order_asks(row: list[str], found: list[Order]) -> None:
    one = paint(row)
    demands = demands_of(found, one)
    best = min(every_order(one, demands), default=None)
    made = plan(one, demands)
    assert (None if made is None else len(made.moves)) == best
    assert (best is None) == contradictory(demands)


@settings(max_examples=40, deadline=None)
@given(st.permutations(CODES), rules())
def test_a_plan_is_what_its_moves_say(row: list[str], found: list[Order]) -> None:
    one = paint(row)
    made = plan(one, demands_of(found, one))
    if made is not None:
        met = meetings(one.formula, made.layout)
        assert sorted(met) == [(0, at) for at in range(len(CODES))]
        assert {move.spot for move in made.moves} <= set(met)
        assert not any(violations(moved_subject(one, made.layout), demands_of(found, one)))
