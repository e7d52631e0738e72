"""A value against its bounds: unrounded, the bounds included, and nothing said that is not known."""

from __future__ import annotations

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from formulint.content import Gap, Missing, Value
from formulint.errors import Misread
from formulint.finding import Fault, Place
from formulint.interval import AtLeast, Interval
from formulint.quantity import Quantity, read
from formulint.verdict import judge_bounds, narrowest, outcome, read_bounds, readable, shown, title_of, units_of

HERE = Place("formulas/T-1.toml", ("code",))
GAP = Gap((Missing("X has no density", Place("materials/X.toml", ("density",)), "X", "density"),))
LOOK = ("g/L", 1)
# VOC in kg/L against 20 to 50 g/L: value, outcome, the bound that decides
OUTCOMES: dict[str, tuple[Value, str, str]] = {
    "inside": (0.03, "pass", "max"),
    "on the limit": (0.05, "pass", "max"),
    "on the lower limit": (0.02, "pass", "max"),
    "above by less than a part in a thousand million": (0.05 * (1 + 1e-10), "pass", "max"),
    "below by as little": (0.02 * (1 - 1e-10), "pass", "max"),
    "above by a part in a hundred million": (0.05 * (1 + 1e-8), "fail", "max"),
    "below by a part in a hundred million": (0.02 * (1 - 1e-8), "fail", "min"),
    "above": (0.06, "fail", "max"),
    "below": (0.01, "fail", "min"),
    "an interval inside": (Interval(0.02, 0.05), "pass", "max"),
    "an interval outside": (Interval(0.051, 0.06), "fail", "max"),
    "an interval below": (Interval(0.01, 0.019), "fail", "min"),
    "an interval across the limit": (Interval(0.04, 0.06), "open", "max"),
    "an interval across the lower limit": (Interval(0.01, 0.03), "open", "min"),
    "an interval across both": (Interval(0.01, 0.06), "open", "min"),
    "at least something inside": (AtLeast(0.03, 1.0), "open", "max"),
    "at least something outside": (AtLeast(0.06, 1.0), "fail", "max"),
    "what is not known": (GAP, "open", "max"),
}
BOUNDS = {"min": read("20 g/L", ("density",)), "max": read("50 g/L", ("density",))}


def told(value: Value, least: Quantity | None, most: Quantity | None, look: tuple[str, int] = LOOK) -> list[Fault]:
    """What is said of a value."""
    return list(judge_bounds("VOC", value, (least, most), look, HERE))


@pytest.mark.parametrize("name", OUTCOMES)
def test_outcome(name: str) -> None:
    value, found, bound = OUTCOMES[name]
    assert outcome(value, BOUNDS["min"], BOUNDS["max"]) == (found, BOUNDS[bound])


@pytest.mark.parametrize("name", OUTCOMES)
def test_only_what_does_not_pass_is_told(name: str) -> None:
    value, found, _ = OUTCOMES[name]
    assert [fault.kind for fault in told(value, BOUNDS["min"], BOUNDS["max"])] == ([] if found == "pass" else [found])


@pytest.mark.parametrize("value", [0.03, Interval(0.01, 0.06)], ids=["known", "a range"])
def test_without_bounds_everything_passes(value: Value) -> None:
    assert outcome(value, None, None) == ("pass", None)
    assert told(value, None, None) == []


def test_what_is_unknown_never_passes_but_says_what_is_missing() -> None:
    (fault,) = told(GAP, None, BOUNDS["max"])
    assert (fault.kind, fault.measured, fault.limit) == ("open", None, "50 g/L")
    assert "X has no density" in fault.message and [place.keys for place in fault.missing] == [("density",)]


def test_a_fault_names_the_near_end_an_open_one_both() -> None:
    (outside,) = told(Interval(0.051, 0.06), None, BOUNDS["max"])
    (across,) = told(Interval(0.04, 0.06), None, BOUNDS["max"])
    (lower,) = told(AtLeast(0.04, 1.0), None, BOUNDS["max"])
    assert (outside.measured, across.measured, lower.measured) == ("51.0 g/L", "40.0 to 60.0 g/L", "at least 40.0 g/L")


@settings(max_examples=200, derandomize=True, deadline=None)
@given(limit=st.decimals("0.0001", "999", places=4), off=st.integers(1, 10**7), unit=st.sampled_from(["g/L", "lb/gal", "kg/L"]), side=st.sampled_from([-1, 1]))
def test_a_failing_value_never_looks_allowed(limit: object, off: int, unit: str, side: int) -> None:
    bound = read(f"{limit} {unit}", ("density",))
    value = bound.base * (1 + side * off * 2e-9)
    assume(value >= 0)
    (fault,) = told(value, *((None, bound) if side > 0 else (bound, None)))
    measured, edge = (float(str(text).split()[0]) for text in (fault.measured, fault.limit))
    assert (measured > edge) if side > 0 else (measured < edge), fault.message
    assert str(fault.measured) in fault.message and str(fault.limit) in fault.message


@settings(max_examples=100, derandomize=True, deadline=None)
@given(value=st.floats(0, 1), width=st.floats(0, 0.2), tighter=st.floats(0.5, 1))
def test_a_tighter_limit_never_removes_a_fault(value: float, width: float, tighter: float) -> None:
    rank = {"pass": 0, "open": 1, "fail": 2}
    number = Interval(value, value + width)
    loose, tight = read("0.5 kg/L", ("density",)), read(f"{0.5 * tighter:.12f} kg/L", ("density",))
    assert rank[outcome(number, None, tight)[0]] >= rank[outcome(number, None, loose)[0]]


SHOWN = [
    (1.4304, "kg/L", 3, "1.430 kg/L"), (1.4305, "lb/gal", 2, "11.94 lb/gal"), (Interval(0.371, 0.39), "%", 1, "37.1 to 39.0 %"),
    (Interval(0.3712, 0.3713), "%", 1, "37.1 %"), (AtLeast(0.000265, 0.01), "ppm", 1, "at least 265.0 ppm"), (GAP, "%", 1, "open"),
    (1.25, "", 2, "1.25"), (-1e-9, "kg", 2, "0.00 kg"),
]  # fmt: skip


@pytest.mark.parametrize(("value", "unit", "digits", "text"), SHOWN, ids=[one[3] for one in SHOWN])
def test_shown(value: Value, unit: str, digits: int, text: str) -> None:
    assert shown(value, unit, digits) == text


@pytest.mark.parametrize(("values", "told"), [((5e-4,), ("ppm", 1)), ((1e-3,), ("ppm", 1)), ((1.1e-3,), ("%", 4)), ((5e-4, 2e-3), ("%", 4))])
def test_a_sentence_tells_more_than_a_thousand_ppm_in_percent(values: tuple[float, ...], told: tuple[str, int]) -> None:
    assert readable("ppm", 1, *values) == told
    assert readable("kg/L", 3, *values) == ("kg/L", 3)


def test_the_narrowest_of_all_bounds() -> None:
    low, high = BOUNDS["min"], BOUNDS["max"]
    wide, tight = read("10 g/L", ("density",)), read("40 g/L", ("density",))
    assert narrowest([(wide, high), (low, None), (None, tight)]) == (low, tight)
    assert narrowest([]) == (None, None)


def test_bounds_are_read_in_a_unit_of_their_property() -> None:
    assert read_bounds("density", "9 lb/gal", None) == (read("9 lb/gal", ("density",)), None)
    with pytest.raises(Misread) as wrong:
        read_bounds("density", "9 lb/gal", "9 %")
    with pytest.raises(Misread, match='there is no property "densty"'):
        read_bounds("densty", None, None)
    assert wrong.value.at == ("max",)


def test_how_people_see_a_property() -> None:
    assert units_of("cost_volume", "us", "CAD") == ("CAD/gal", 2)
    assert units_of("density", "metric", "USD") == ("kg/L", 3)
    assert (units_of("dispersant_on_pigment", "us", "USD")[0], units_of("substance:2634-33-5", "us", "USD")) == ("%", ("ppm", 1))
    assert (title_of("pvc"), title_of("dispersant_on_pigment"), title_of("substance:1-2-3")) == ("PVC (ISO 4618)", "Dispersant on pigment", "CAS 1-2-3")
