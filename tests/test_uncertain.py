"""Figures given as ranges: what they make of a paint, held against every corner of what they allow."""

from __future__ import annotations

from fractions import Fraction
from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from in_memory import catalog, evaluation, findings, subject
from msgspec.structs import replace
from ranged import Range, known, ranged, seen
from repository import Table

from formulint import uncertain
from formulint.content import Gap, Value
from formulint.errors import UserError
from formulint.interval import AtLeast, Interval, ends
from formulint.subject import measure_of

few = settings(max_examples=12, derandomize=True, deadline=None)
numbers = st.integers(0, 10_000)
ROUNDING = 1e-11
WITHIN = 1.01  # of the width over all corners
TINY = 1e-6  # of its value: a width that no sheet shows
DOSED = 5e-4  # of its value: a dose on what it is dosed on is one figure, and that is only found by halves


def off(low: float, high: float) -> float:
    """What the rounding of floats may make of two ends."""
    return ROUNDING * max(abs(low), abs(high), 1e-9)


@few
@given(number=numbers)
def test_within_one_per_cent_of_all_corners_and_never_inside(number: int) -> None:
    paint = ranged(number, most=5)
    values = paint.evaluate()
    for name, (low, high) in seen(paint).items():
        least, most = ends(values[name])  # type: ignore[arg-type]
        slack = off(low, high)
        assert least - slack <= low and high <= most + slack, name
        dosed = DOSED * high if name in ("dispersant_on_pigment", "dispersant_supplied_on_pigment") else 0.0
        assert most - least <= WITHIN * (high - low) + dosed + TINY * abs(high) + 2 * slack, name


@few
@given(number=numbers, chance=numbers)
def test_every_paint_inside_is_held(number: int, chance: int) -> None:
    paint = ranged(number)
    if paint.ranges:
        values, inside = paint.evaluate(), paint.evaluate(paint.inside_of(Random(chance)))
        for name, value in inside.items():
            least, most = ends(values[name])  # type: ignore[arg-type]
            assert least - off(least, most) <= known(value) <= most + off(least, most), name


@few
@given(number=numbers)
def test_a_range_of_no_width_is_the_figure(number: int) -> None:
    paint = ranged(number)
    narrow = replace(paint, ranges={key: Range(one.lo, one.lo) for key, one in paint.ranges.items() if not paint.sliced(key)})
    assert narrow.evaluate() == narrow.evaluate({key: one.lo for key, one in narrow.ranges.items()})


@few
@given(number=numbers, chance=numbers)
def test_a_wider_range_never_narrows_a_value(number: int, chance: int) -> None:
    paint = ranged(number)
    random = Random(chance)
    wider = {key: Range(one.lo * (1 - Fraction(random.randint(0, 9), 100)), one.hi * (1 + Fraction(random.randint(0, 9), 100))) for key, one in paint.ranges.items()}
    before, after = paint.evaluate(), replace(paint, ranges=wider).evaluate()
    for name, value in before.items():
        (low, high), (least, most) = ends(value), ends(after[name])  # type: ignore[arg-type]
        slack = off(low, high) + (WITHIN - 1) / 2 * (most - least)  # what an end may lie outside
        assert least <= low + slack and high <= most + slack, name


# --- cases ----------------------------------------------------------------------------------------------------------

PIGMENT: Table = {"name": "pigment", "functions": ["white-pigment"], "density": "4 kg/L", "nonvolatile": "100 %", "oil_absorption": "20 g/100 g", "price": "2 USD/kg"}
LATEX: Table = {"name": "latex", "functions": ["binder"], "density": "1.05 kg/L", "nonvolatile": "50 %", "water": "50 %", "nonvolatile_density": "1.1 kg/L", "price": "1 USD/kg"}
WATER: Table = {"name": "water", "functions": ["water"], "density": "1 kg/L", "nonvolatile": "0 %", "water": "100 %", "price": "0 USD/kg"}
LINES = [{"material": "P", "amount": "20 kg"}, {"material": "L", "amount": "40 kg"}, {"material": "W", "amount": "30 kg"}]
FIFTY = {"min": "48 %", "max": "52 %"}
DENSITY = {"min": "3.6 kg/L", "max": "4.4 kg/L"}


def values(pigment: Table = PIGMENT, latex: Table = LATEX, lines: list[dict[str, str]] = LINES, **more: object) -> dict[str, Value]:
    """Values of a paint of three lines."""
    return evaluation(catalog({"P": pigment, "L": latex, "W": WATER}, {"T-1": sheet(lines, **more)}), "T-1").values


def sheet(lines: list[dict[str, str]], **more: object) -> Table:
    """A sheet of one stage."""
    head = {"name": "white", "revision": 1, "state": "production", "class": "flat", "markets": ["us-national"], "product": {"use": ["interior"]}}
    return {**head, "batch": "90 kg", **more, "stage": [{"name": "One", "kind": "grind", "additions": lines}]}


def width(value: Value) -> float:
    """How far the ends are apart."""
    assert isinstance(value, Interval), value
    return value.hi - value.lo


def test_one_density_in_two_quotients_is_one_density() -> None:
    found = values({**PIGMENT, "density": DENSITY})["reduced_pvc"]
    points = [known(values({**PIGMENT, "density": f"{figure} kg/L"})["reduced_pvc"]) for figure in ("3.6", "4.4")]
    assert ends(found) == pytest.approx((min(points), max(points)), rel=1e-6)  # type: ignore[arg-type]


def test_a_narrow_share_between_two_wide_ones_is_found_in_time() -> None:
    low, high = 0.0422370270543, 0.0435582971658  # over all 2048 corners of twelve inputs, worked out apart
    least, most = ends(ranged(10047, most=16).evaluate()["voc_material"])  # type: ignore[arg-type]
    assert least <= low and high <= most and most - least <= WITHIN * (high - low)


def test_shares_of_a_material_move_against_each_other() -> None:
    found = values(latex={**LATEX, "nonvolatile": FIFTY, "water": FIFTY})
    assert width(found["nonvolatile_mass"]) == pytest.approx(width(found["water"]))
    # Water and nonvolatile together are what they are: only the denominator of the film moves.
    solids = [0.48 * 40, 0.52 * 40]
    volumes = [20 / 4 + one / 1.1 for one in solids]
    assert ends(found["pvc"]) == pytest.approx((5 / volumes[1], 5 / volumes[0]))  # type: ignore[arg-type]


def test_what_only_holds_where_shares_close_is_no_gap() -> None:
    latex = {**LATEX, "nonvolatile": FIFTY, "water": FIFTY, "nonvolatile_density": "derived"}
    found = values(latex=latex)["pvc_binder"]
    points = [known(values(latex={**latex, "nonvolatile": f"{one} %", "water": f"{100 - one} %"})["pvc_binder"]) for one in (48, 52)]
    assert ends(found) == pytest.approx((min(points), max(points)))  # type: ignore[arg-type]


def test_a_material_behind_two_intermediates_is_one() -> None:
    blend = {**sheet([{"material": "P", "amount": "60 kg"}, {"material": "W", "amount": "40 kg"}]), "class": "intermediate", "batch": "100 kg", "markets": []}
    shelf = {"P": {**PIGMENT, "density": DENSITY}, "L": LATEX, "W": WATER}
    lines = [*LINES, {"material": "M", "amount": "10 kg"}, {"material": "N", "amount": "10 kg"}]
    found = evaluation(catalog(shelf, {"T-1": sheet(lines), "M": blend, "N": blend}), "T-1").values
    whole = [{"material": "P", "amount": "32 kg"}, {"material": "W", "amount": "38 kg"}, LINES[1]]
    same = values({**PIGMENT, "density": DENSITY}, lines=whole)
    assert ends(found["reduced_pvc"]) == pytest.approx(ends(same["reduced_pvc"]), rel=1e-6)  # type: ignore[arg-type]


POURED = [{"material": "P", "amount": "5 L"}, {"material": "P", "amount": "20 kg"}, {"material": "L", "amount": "40 kg"}, {"material": "W", "amount": "q.s."}]
"""A pigment by volume and by mass: some properties are lowest at a density between the ends."""


@pytest.mark.parametrize("name", ["nonvolatile_volume", "reduced_pvc"])
def test_an_extreme_between_the_corners_is_held(name: str) -> None:
    first, *between, last = (known(values({**PIGMENT, "density": f"{tenth / 10} kg/L"}, lines=POURED)[name]) for tenth in range(10, 91))
    least, most = ends(values({**PIGMENT, "density": {"min": "1 kg/L", "max": "9 kg/L"}}, lines=POURED)[name])  # type: ignore[arg-type]
    assert min(between) < min(first, last)  # of the corners alone this would be outside
    assert least <= min(between) and max(first, last) <= most + 1e-12
    assert most - least <= WITHIN * (max(first, last) - min(between))


def test_unknown_stays_unknown() -> None:
    latex = {name: figure for name, figure in LATEX.items() if name != "nonvolatile_density"}
    found = values({**PIGMENT, "density": DENSITY}, latex)
    assert isinstance(found["pvc"], Gap) and isinstance(found["volume"], Interval)


def test_what_is_not_named_stays_a_lower_bound() -> None:
    part = {"name": "amine", "cas": "102-71-6", "share": {"min": "1 %", "max": "2 %"}}
    found = values(latex={**LATEX, "disclosure": "sds", "component": [part]})["substance:102-71-6"]
    assert isinstance(found, AtLeast) and found.lo == pytest.approx(0.01 * 40 / 90)


@pytest.mark.parametrize(("name", "number"), [("MOST_INPUTS", 0), ("EFFORT", 0), ("EFFORT", 500)])
def test_wide_where_there_is_too_much_of_it(name: str, number: int, monkeypatch: pytest.MonkeyPatch) -> None:
    figures = {**PIGMENT, "density": DENSITY}, {**LATEX, "nonvolatile": FIFTY, "water": FIFTY}
    narrow = values(*figures)
    monkeypatch.setattr(uncertain, name, number)
    wide = values(*figures)
    assert all(ends(wide[one])[0] <= ends(narrow[one])[0] and ends(narrow[one])[1] <= ends(wide[one])[1] for one in narrow)  # type: ignore[arg-type]
    assert any(width(wide[one]) > 1.01 * width(narrow[one]) for one in ("reduced_pvc", "pvc"))


def test_a_run_has_an_end(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(uncertain, "MOST_EFFORT", 100)
    with pytest.raises(UserError, match="multiply to more than is computed"):
        values({**PIGMENT, "density": DENSITY})


# --- what is said ---------------------------------------------------------------------------------------------------

LIMITS = {"density": {"min": "1.23 kg/L"}}


def told(**figures: object) -> list[str]:
    """What a limit that may or may not hold says."""
    shelf = catalog({"P": {**PIGMENT, **figures}, "L": {**LATEX, "density": {"min": "1.04 kg/L", "max": "1.06 kg/L"}}, "W": WATER}, {"T-1": sheet(LINES, limits=LIMITS)})
    return [one.fault.message for one in findings(shelf, "T-1") if one.rule == "own-limit/density"]


def test_the_input_that_makes_it_wide_is_named() -> None:
    assert [one.rpartition(". ")[2] for one in told(density=DENSITY)] == [
        "Most of that width comes from the density of P, 3.6 to 4.4 kg/L, materials/P.toml line 4"
    ]


def test_nothing_is_said_where_it_holds_when_told_narrowly() -> None:
    latex = {**LATEX, "nonvolatile": FIFTY, "water": FIFTY}
    limits = {"pvc": {"min": "20.0 %", "max": "23.3 %"}}
    shelf = catalog({"P": {**PIGMENT, "density": {"min": "3.8 kg/L", "max": "4.2 kg/L"}}, "L": latex, "W": WATER}, {"T-1": sheet(LINES, limits=limits)})
    low, high = ends(subject(shelf, "T-1").evaluation.value("pvc"))  # type: ignore[arg-type]
    assert low < 0.2 and high > 0.233  # by plain intervals it could not be said
    assert [one.fault.message for one in findings(shelf, "T-1") if one.rule == "own-limit/pvc"] == []


def test_a_share_is_named_with_what_moves_with_it() -> None:
    shelf = catalog({"P": PIGMENT, "L": {**LATEX, "nonvolatile": FIFTY, "water": FIFTY}, "W": WATER}, {"T-1": sheet(LINES)})
    found = shelf.ranges(subject(shelf, "T-1")).cause(measure_of("pvc"))
    assert found is not None and found.share == pytest.approx(1.0)
    assert found.words.startswith("the nonvolatile of L, 48 to 52 %, and water with it, ")


def test_a_substance_is_named_by_its_material() -> None:
    part = {"name": "amine", "cas": "102-71-6", "share": {"min": "1 %", "max": "2 %"}}
    materials = {"P": PIGMENT, "L": {**LATEX, "component": [part]}, "W": WATER}
    shelf = catalog({code: {**one, "disclosure": "full"} for code, one in materials.items()}, {"T-1": sheet(LINES)})
    found = shelf.ranges(subject(shelf, "T-1")).cause(measure_of("substance:102-71-6"))
    assert found is not None and found.words.startswith("the share of amine in L, 1 to 2 %, ")


def test_a_formula_without_ranges_is_not_looked_into() -> None:
    shelf = catalog({"P": PIGMENT, "L": LATEX, "W": WATER}, {"T-1": sheet(LINES)})
    evaluation(shelf, "T-1")
    assert shelf.effort == 0
