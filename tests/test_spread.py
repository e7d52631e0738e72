"""How values scatter by the tolerances of figures: held against another program that propagates, and against differences."""

from __future__ import annotations

import json
from math import sqrt
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from in_memory import catalog, evaluation, files, of_files
from ranged import known
from repository import Table, text, write
from test_uncertain import LATEX, LINES, PIGMENT, WATER, sheet
from uncertainties import UFloat, ufloat  # type: ignore[import-untyped]

from formulint.catalog import Catalog
from formulint.cli import main
from formulint.judge import Judge
from formulint.side import side
from formulint.spread import causes, spread, told, words

few = settings(max_examples=15, derandomize=True, deadline=None)
EVEN = sqrt(3)


def shelf(pigment: dict[str, str], latex: dict[str, str], lines: list[dict[str, str]] = LINES, **more: object) -> Catalog:
    """A paint of which some figures have tolerances."""
    materials: dict[str, Table] = {"P": {**PIGMENT, **more, "tolerance": pigment}, "L": {**LATEX, "tolerance": latex}, "W": WATER}
    return catalog(materials, {"T-1": sheet(lines)})


def spreads(of: Catalog) -> dict[str, float]:
    """One standard deviation by property."""
    one = side(of, "T-1")
    assert one is not None
    return spread(of, one)


def other_opinion(pigment: float, latex: float, solids: float) -> dict[str, UFloat]:
    """The same paint, by a program that knows nothing of paint; each argument is a tolerance."""
    d_p, d_l = ufloat(4.0, pigment / EVEN), ufloat(1.05, latex / EVEN)
    nonvolatile = ufloat(0.5, solids / EVEN)
    volume, film = 20 / d_p + 40 / d_l + 30, 20 / d_p + 40 * nonvolatile / 1.1
    oil = 20 * 0.20 / 0.935
    pvc, cpvc = (20 / d_p) / film, (20 / d_p) / (20 / d_p + oil)
    return {
        "volume": volume, "density": 90 / volume, "pvc": pvc, "cpvc": cpvc, "reduced_pvc": pvc / cpvc,
        "nonvolatile_mass": (20 + 40 * nonvolatile) / 90, "water": (40 * (1 - nonvolatile) + 30) / 90, "nonvolatile_volume": film / volume,
    }  # fmt: skip


tolerances = st.integers(1, 200).map(lambda number: number / 1000)


@few
@given(pigment=tolerances, latex=tolerances, solids=tolerances.map(lambda one: one / 10))
def test_as_another_program_propagates(pigment: float, latex: float, solids: float) -> None:
    found = spreads(shelf({"density": f"{pigment} kg/L"}, {"density": f"{latex} kg/L", "nonvolatile": f"{solids * 100:.4f} %"}))
    expected = {name: one.std_dev for name, one in other_opinion(pigment, latex, solids).items()}
    assert {name: found[name] for name in expected} == pytest.approx(expected, rel=1e-9)


def test_as_a_small_difference() -> None:
    lines = [*LINES[:2], {"material": "P", "amount": "5 %", "on": "binder"}, {"material": "W", "amount": "q.s."}]
    found = spreads(shelf({"oil_absorption": "0.001 g/100 g", "density": "0.0001 kg/L"}, {}, lines))
    apart = []
    for field, low, high in (("oil_absorption", "19.999 g/100 g", "20.001 g/100 g"), ("density", "3.9999 kg/L", "4.0001 kg/L")):
        ends = [known(evaluation(shelf({}, {}, lines, **{field: text}), "T-1").value("reduced_pvc")) for text in (low, high)]
        apart.append((ends[1] - ends[0]) / 2 / EVEN)
    assert found["reduced_pvc"] == pytest.approx(sqrt(sum(one**2 for one in apart)), rel=1e-5)


COARSE, FINE = {"kind": "scale", "capacity": "1000 kg", "division": "0.5 kg"}, {"kind": "scale", "capacity": "25 kg", "division": "0.01 kg"}
READING = sqrt(12)


def on_scales(lines: list[dict[str, str]], pigment: dict[str, str], **scales: dict[str, str]) -> Catalog:
    """A paint that is weighed on scales of which there are records."""
    made = files({"P": {**PIGMENT, "tolerance": pigment}, "L": LATEX, "W": WATER}, {"T-1": sheet(lines)})
    return of_files({**made, **{f"equipment/{code}.toml": text({"code": code, **one}) for code, one in scales.items()}})


@few
@given(pigment=tolerances)
def test_weighing_as_another_program_propagates(pigment: float) -> None:
    found = spreads(on_scales(LINES, {"density": f"{pigment} kg/L"}, LARGE=COARSE, SMALL=FINE))
    density, fine, coarse = ufloat(4.0, pigment / EVEN), 0.01 / READING, 0.5 / READING
    p, latex, water = ufloat(20, fine), ufloat(40, coarse), ufloat(30, coarse)
    mass, volume, film = p + latex + water, p / density + latex / 1.05 + water, p / density + latex * 0.5 / 1.1
    expected = {"mass": mass, "volume": volume, "density": mass / volume, "pvc": p / density / film, "water": (latex * 0.5 + water) / mass}
    assert {name: found[name] for name in expected} == pytest.approx({name: one.std_dev for name, one in expected.items()}, rel=1e-9)


def test_what_fills_the_batch_is_weighed_too_and_what_is_metered_is_not() -> None:
    lines = [{"material": "P", "amount": "5 L"}, {"material": "L", "amount": "40 kg"}, {"material": "W", "amount": "q.s."}]
    assert spreads(on_scales(lines, {}, LARGE=COARSE))["mass"] == pytest.approx(sqrt(2) * 0.5 / READING)


def test_what_no_scale_holds_is_weighed_in_several_goes() -> None:
    small = {"kind": "scale", "capacity": "15 kg", "division": "0.1 kg"}
    assert spreads(on_scales(LINES, {}, SMALL=small))["mass"] == pytest.approx(sqrt(2 + 3 + 2) * 0.1 / READING)


def test_what_the_house_lets_pass_scatters_beside_the_division() -> None:
    lax = {"kind": "scale", "capacity": "50 kg", "division": "0.1 kg", "tolerance": "1 %"}
    expected = sqrt(3 * 0.1**2 / 12 + (20**2 + 40**2 + 30**2) * 0.01**2 / 3)
    assert spreads(on_scales(LINES, {}, LAX=lax))["mass"] == pytest.approx(expected)


@pytest.mark.parametrize("scale", [{"kind": "scale", "capacity": "25 kg"}, {"kind": "tank", "diameter": "1 m"}])
def test_without_a_division_what_is_weighed_counts_as_exact(scale: dict[str, str]) -> None:
    one = on_scales(LINES, {}, X=scale)
    assert spreads(one) == {}
    assert "counts as exact" in words(one) and "counts as exact" not in words(on_scales(LINES, {}, X=FINE))


def test_a_share_of_a_figure() -> None:
    assert spreads(shelf({"density": "1 %"}, {})) == pytest.approx(spreads(shelf({"density": "0.04 kg/L"}, {})))


def test_a_range_stands_in_its_middle() -> None:
    ranged = shelf({}, {"nonvolatile": "1 %"}, density={"min": "3 kg/L", "max": "5 kg/L"})
    assert spreads(ranged)["pvc"] == pytest.approx(spreads(shelf({}, {"nonvolatile": "1 %"}))["pvc"])


@pytest.mark.parametrize("tolerance", [{}, {"ph": "0.5"}, {"density": "0.1 lb"}, {"nonvolatile": "1 %"}])
def test_what_scatters_nothing(tolerance: dict[str, str]) -> None:
    assert spreads(shelf(tolerance, {})) == {}


@pytest.mark.parametrize(
    ("text", "words"), [("0.1 lb", "0.1 lb"), ("0 kg/L", "not above zero"), ("-0.1 kg/L", "not above zero"), ("a bit", "a bit")]
)
def test_a_tolerance_that_says_nothing_is_a_fault(text: str, words: str) -> None:
    one = shelf({"density": text}, {})
    found = [finding.fault for finding in Judge(one).material(one.material("materials/P.toml"))]
    assert [words in fault.message for fault in found if fault.place.keys == ("tolerance", "density")] == [True]


def test_what_makes_values_wide_is_told_once_an_input() -> None:
    one = shelf({}, {}, density={"min": "3 kg/L", "max": "5 kg/L"})
    found = side(one, "T-1")
    assert found is not None
    (words,) = told(causes(one, found))
    assert words.startswith("a range most of all by the density of P, 3 to 5 kg/L, materials/P.toml line 4: Volume, additive; Density; ")


@pytest.fixture
def works(tmp_path: Path) -> Path:
    """A repository on disk with a range and a tolerance."""
    materials = {"P": {**PIGMENT, "density": {"min": "3 kg/L", "max": "5 kg/L"}}, "L": {**LATEX, "tolerance": {"density": "0.01 kg/L"}}, "W": WATER}
    return write(tmp_path, {"format": 1}, materials, {"T-1": sheet(LINES)})


def test_for_machines(works: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    main(["-C", str(works), "properties", "--spread", "--format", "json"])
    density = json.loads(capsys.readouterr().out)["formulas"][0]["properties"]["density"]
    assert density["cause"] == {
        "material": "P", "field": "density", "path": "materials/P.toml", "line": 4, "share": pytest.approx(1.0),
        "text": "the density of P, 3 to 5 kg/L, materials/P.toml line 4",
    }  # fmt: skip
    assert 0.0 <= density["slack"] < 0.005
    assert density["spread"] == pytest.approx(90 / 73.0952**2 * 40 / 1.05**2 * 0.01 / EVEN, rel=1e-4)


def test_for_people(works: Path, capsys: pytest.CaptureFixture[str]) -> None:
    main(["-C", str(works), "properties", "--spread"])
    told = capsys.readouterr().out
    assert "spread" in told and "never a verdict" in told.replace("\n", " ")
    main(["-C", str(works), "properties"])
    assert "never a verdict" not in capsys.readouterr().out.replace("\n", " ")
