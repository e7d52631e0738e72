"""Both ends of a value over a box: outer bounds at every moment, and near to what is really taken."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from itertools import product

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from formulint.extremes import NEAR, Box, Bracket, Search, Sum, contracted
from formulint.interval import Interval, Number, ends
from formulint.swing import Swing, half_width, moving

few = settings(max_examples=60, derandomize=True, deadline=None)
Law = Callable[..., Number]


def looked(law: Law, box: Box, sums: tuple[Sum, ...] = (), most: int = 120) -> Bracket:
    """The bounds of a law over a box."""

    def value(part: Box) -> Number:
        half = [half_width(*one) for one in part]
        return law(*(moving(at, *one, half) if one[0] < one[1] else Interval(*one) for at, one in enumerate(part)))

    found = Search(value, sums, most).bracket(box)
    assert found is not None
    return found


LAWS: dict[str, tuple[Law, Box, tuple[float, float]]] = {
    "one that goes out again": (lambda x: x - x + 3.0, ((1.0, 2.0),), (3.0, 3.0)),
    "above and below": (lambda x, y: x / (x + y), ((1.0, 3.0), (1.0, 2.0)), (1 / 3, 3 / 4)),
    "highest inside": (lambda x: x * (1.0 - x), ((0.0, 1.0),), (0.0, 0.25)),
    "lowest inside": (lambda x: x + 1.0 / x, ((0.5, 4.0),), (2.0, 4.25)),
    "inside by both": (lambda x, y: x * (1.0 - x) * y * (1.0 - y), ((0.0, 1.0), (0.0, 1.0)), (0.0, 1 / 16)),
    "one way, then the other": (lambda x, y: x * y, ((-1.0, 2.0), (-3.0, 1.0)), (-6.0, 3.0)),
    "quotients of one": (lambda x, y: (x / (x + y)) * ((x + 2.0) / x), ((1.0, 3.0), (1.0, 3.0)), (0.75, 1.5)),
    "what nothing moves": (lambda x: Interval(1.0, 2.0), ((0.0, 1.0),), (1.0, 2.0)),
    "a number before": (lambda x: 6.0 / (3.0 - x), ((0.0, 1.0),), (2.0, 3.0)),
}  # fmt: skip


@pytest.mark.parametrize("name", LAWS)
def test_both_ends_are_near_and_outside(name: str) -> None:
    law, box, (low, high) = LAWS[name]
    found = looked(law, box, most=600)
    off = 1.01 * NEAR * (high - low) + 1e-12
    assert low - off <= found.lo <= low + 1e-15 and high - 1e-15 <= found.hi <= high + off


@pytest.mark.parametrize("name", LAWS)
@pytest.mark.parametrize("most", [0, 1, 3])
def test_outside_however_little_is_tried(name: str, most: int) -> None:
    law, box, (low, high) = LAWS[name]
    found = looked(law, box, most=most)
    assert found.lo <= low + 1e-15 and high - 1e-15 <= found.hi


@pytest.mark.parametrize("law", LAWS)
def test_outside_where_evaluations_are_used_up_in_the_middle_of_it(law: str) -> None:
    whole, box, (low, high) = LAWS[law]
    for left in range(1, 40):
        asked = iter(range(left))

        def value(part: Box, asked: Iterator[int] = asked) -> Number | None:
            half = [half_width(*one) for one in part]
            numbers = [moving(at, *one, half) if one[0] < one[1] else Interval(*one) for at, one in enumerate(part)]
            return None if next(asked, None) is None else whole(*numbers)

        found = Search(value).bracket(box)
        assert found is not None
        assert found.lo <= low + 1e-15 and high - 1e-15 <= found.hi, left


SLICE = (Sum((0, 1), 0.9, 1.0),)


SUMS: dict[str, tuple[Law, float, float]] = {
    "together": (lambda x, y: x + y, 0.9, 1.0), "both up": (lambda x, y: 2.0 * x + y, 1.1, 1.7), "against each other": (lambda x, y: x - 2.0 * y, -1.4, 0.1),
    "product": (lambda x, y: x * y, 0.14, 0.25), "both down": (lambda x, y: -x - y, -1.0, -0.9),
}  # fmt: skip


@pytest.mark.parametrize("name", SUMS)
def test_inputs_whose_sum_is_bounded(name: str) -> None:
    law, low, high = SUMS[name]
    found = looked(law, ((0.2, 0.7), (0.3, 0.8)), SLICE)
    assert found.lo <= low + 1e-12 and found.hi >= high - 1e-12
    assert found.hi - found.lo <= (high - low) * 1.01


def test_what_no_sum_allows_is_cut_off() -> None:
    first, second = contracted(((0.0, 1.0), (0.3, 0.4)), SLICE) or ()
    assert first == pytest.approx((0.5, 0.7)) and second == (0.3, 0.4)
    assert contracted(((0.0, 0.1), (0.0, 0.1)), SLICE) is None


numbers = st.floats(0.1, 9.0)


@few
@given(ends_of=st.lists(st.tuples(numbers, numbers).map(lambda pair: (min(pair), max(pair))), min_size=3, max_size=3), place=st.tuples(*[st.floats(0.0, 1.0)] * 3))
def test_every_point_is_held(ends_of: list[tuple[float, float]], place: tuple[float, ...]) -> None:
    def law(x: Number, y: Number, z: Number) -> Number:
        return (x * y + z) / (x + z) - y * (x / (1.0 + z))

    found = looked(law, tuple(ends_of), most=10)
    points = [*product(*ends_of), tuple(low + (high - low) * at for (low, high), at in zip(ends_of, place, strict=True))]
    values = [ends(law(*point))[0] for point in points]
    off = 1e-12 * max(1.0, *(abs(value) for value in values))
    assert found.lo - off <= min(values) and max(values) <= found.hi + off


def test_a_derivative_is_held_too() -> None:
    half = [0.5, 0.25]
    x, y = moving(0, 1.0, 2.0, half), moving(1, 2.0, 2.5, half)
    found = (x * x / y - y) * 3.0
    assert isinstance(found, Swing)
    (least_x, most_x), (least_y, most_y) = found.slopes[0], found.slopes[1]
    assert least_x <= 3 * 2 * 1.0 / 2.5 and most_x >= 3 * 2 * 2.0 / 2.0
    assert least_y <= 3 * (-4.0 / 4.0 - 1) and most_y >= 3 * (-1.0 / 6.25 - 1)


def test_nothing_is_said_where_nobody_can() -> None:
    assert Search(lambda box: None).bracket(((0.0, 1.0),)) is None
    with pytest.raises(ValueError, match="may be zero"):
        moving(0, 1.0, 2.0, [0.5]) / moving(0, -1.0, 1.0, [1.0])
