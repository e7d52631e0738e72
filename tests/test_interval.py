"""Intervals hold every value that their parts allow: held against exact arithmetic at points inside."""

from __future__ import annotations

import operator
from collections.abc import Callable
from fractions import Fraction
from math import fsum, inf, nextafter

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from formulint.interval import AtLeast, Interval, Number, ends, outward, total

few = settings(max_examples=50, derandomize=True, deadline=None)
numbers = st.floats(-1e9, 1e9, allow_subnormal=False)
places = st.sampled_from([Fraction(0), Fraction(1, 3), Fraction(1, 2), Fraction(1)])
OPERATIONS: dict[str, Callable[..., object]] = {
    "plus": operator.add, "minus": operator.sub, "times": operator.mul, "over": operator.truediv,
}  # fmt: skip


@st.composite
def intervals(draw: st.DrawFn) -> tuple[Number, Fraction]:
    """A number, often an interval, and an exact point inside."""
    lo, hi = sorted((draw(numbers), draw(numbers)))
    at = Fraction(lo) + (Fraction(hi) - Fraction(lo)) * draw(places)
    return (Interval(lo, hi), at) if draw(st.booleans()) else (lo, Fraction(lo))


def holds(number: object, point: Fraction) -> bool:
    """Whether an interval holds an exact point."""
    assert isinstance(number, Interval)
    low, high = (Fraction(end) if abs(end) < inf else end for end in (number.lo, number.hi))
    return low <= point <= high


@few
@pytest.mark.parametrize("name", OPERATIONS)
@given(left=intervals(), right=intervals())
def test_every_point_is_held(name: str, left: tuple[Number, Fraction], right: tuple[Number, Fraction]) -> None:
    one = left[0] if isinstance(left[0], Interval) else Interval(left[0], left[0])
    low, high = ends(right[0])
    if name == "over" and low <= 0 <= high:
        with pytest.raises(ValueError, match="the divisor may be zero"):
            OPERATIONS[name](one, right[0])
    else:
        assert holds(OPERATIONS[name](one, right[0]), OPERATIONS[name](left[1], right[1]))  # type: ignore[arg-type]


@few
@pytest.mark.parametrize("name", OPERATIONS)
@given(left=numbers, right=intervals())
def test_a_plain_number_may_stand_first(name: str, left: float, right: tuple[Number, Fraction]) -> None:
    one = right[0] if isinstance(right[0], Interval) else Interval(right[0], right[0])
    if name != "over" or not one.lo <= 0 <= one.hi:
        assert holds(OPERATIONS[name](left, one), OPERATIONS[name](Fraction(left), right[1]))  # type: ignore[arg-type]


@few
@given(parts=st.lists(st.tuples(st.sampled_from(["plus", "minus", "times", "over"]), intervals()), min_size=2, max_size=8))
def test_a_whole_sum_is_held(parts: list[tuple[str, tuple[Number, Fraction]]]) -> None:
    found: Number = Interval(1.0, 1.0)
    point = Fraction(1)
    for name, (number, at) in parts:
        low, high = ends(number)
        if name != "over" or not low <= 0 <= high:
            found, point = OPERATIONS[name](found, number), OPERATIONS[name](point, at)  # type: ignore[assignment]
    assert holds(found, point)


@few
@given(parts=st.lists(intervals(), min_size=1, max_size=20))
def test_a_total_is_held(parts: list[tuple[Number, Fraction]]) -> None:
    found = total([number for number, _ in parts])
    if any(isinstance(number, Interval) for number, _ in parts):
        assert holds(found, sum((at for _, at in parts), Fraction(0)))
    else:
        assert found == fsum(float(at) for _, at in parts)


@few
@given(left=intervals(), right=intervals(), places=st.tuples(places, places))
def test_a_comparison_is_said_only_if_it_is_certain(left: tuple[Number, Fraction], right: tuple[Number, Fraction], places: tuple[Fraction, Fraction]) -> None:
    one = left[0] if isinstance(left[0], Interval) else Interval(left[0], left[0])
    (a, b), (c, d) = ends(one), ends(right[0])
    assert (one > right[0], one < right[0]) == (a > d, b < c)
    assert (one >= right[0], one <= right[0]) == (a >= d, b <= c)
    assert not (one > right[0] and left[1] <= right[1]) and not (one < right[0] and left[1] >= right[1])


def test_where_nobody_can_say_neither_is_true() -> None:
    one = Interval(1.0, 3.0)
    assert not any((one > 2.0, one < 2.0, one >= 2.0, one <= 2.0, one == 2.0))
    assert (one > 0.5, one < 3.5, one >= 1.0, one <= 3.0) == (True, True, True, True)


@pytest.mark.parametrize("divisor", [Interval(-1.0, 1.0), Interval(0.0, 1.0), Interval(-1.0, 0.0), Interval(0.0, 0.0), 0.0, -0.0])
def test_nothing_is_divided_by_what_may_be_zero(divisor: Number) -> None:
    with pytest.raises(ValueError, match="the divisor may be zero"):
        Interval(1.0, 2.0) / divisor


@pytest.mark.parametrize(("left", "right"), [(3, 107), (3, 214), (3, 227), (3, 237)])
def test_a_quotient_is_rounded_twice_and_held_all_the_same(left: int, right: int) -> None:
    # As left times 1/right these are more than one step away from the exact quotient.
    assert holds(Interval(left, left) / float(right), Fraction(left, right))


def test_the_other_side_of_zero() -> None:
    assert holds(-Interval(1.0, 2.0), Fraction(-2)) and (-Interval(1.0, 2.0)).hi == -1.0
    found = Interval(1.0, 2.0) / Interval(-4.0, -2.0)
    assert (found.lo, found.hi) == pytest.approx((-1.0, -0.25), rel=1e-15)


def test_ends_move_outwards_by_one_step() -> None:
    assert outward(1.0, 2.0) == Interval(nextafter(1.0, -inf), nextafter(2.0, inf))
    assert Interval(0.1, 0.1) + 0.2 != Interval(0.1 + 0.2, 0.1 + 0.2)


def test_equal_is_what_has_the_same_ends() -> None:
    assert {Interval(1.0, 2.0), Interval(1.0, 2.0), AtLeast(1.0, 2.0)} == {Interval(1.0, 2.0)}
    assert Interval(1.0, 1.0) != 1.0
    assert repr(Interval(1.0, 2.5)) == "Interval(1.0, 2.5)"
