"""What has to hold for every mixture and every interval, and a second reckoning as on a bench sheet."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from science_cases import CASES, LAWS, MIXTURES, PROPERTY_LAWS, TOTALS, arguments, call, totals, units

from formulint.science import cost, film, mixing, pigment, voc

# --- numbers that are intervals -------------------------------------------------------------------------------------


class Interval:
    """The smallest number with two ends that the laws may meet."""

    def __init__(self, lo: float, hi: float) -> None:
        self.lo, self.hi = min(lo, hi), max(lo, hi)

    def _with(self, other: object, by: Callable[[float, float], float]) -> Interval:
        right = other if isinstance(other, Interval) else Interval(float(other), float(other))  # type: ignore[arg-type]
        ends = [by(a, b) for a in (self.lo, self.hi) for b in (right.lo, right.hi)]
        return Interval(min(ends), max(ends))

    def __add__(self, other: object) -> Interval:
        return self._with(other, lambda a, b: a + b)

    def __sub__(self, other: object) -> Interval:
        return self._with(other, lambda a, b: a - b)

    def __mul__(self, other: object) -> Interval:
        return self._with(other, lambda a, b: a * b)

    def __truediv__(self, other: object) -> Interval:
        return self._with(other, lambda a, b: a / b)

    __radd__, __rmul__ = __add__, __mul__

    def __rsub__(self, other: float) -> Interval:
        return Interval(other, other) - self

    def __rtruediv__(self, other: float) -> Interval:
        return Interval(other, other) / self

    def floored(self) -> Interval:
        return Interval(max(self.lo, 0.0), max(self.hi, 0.0))

    def __gt__(self, other: float) -> bool:
        return self.lo > other

    def __contains__(self, value: float) -> bool:
        slack = 1e-12 * max(abs(self.lo), abs(self.hi))
        return self.lo - slack <= value <= self.hi + slack


SOUND = {str(c["function"]): c for c in CASES.values() if "refused" not in c and c["function"] != "low_solids"}


SHIFT = st.floats(0.99, 1.01)


@pytest.mark.parametrize("name", SOUND)
@settings(max_examples=40, derandomize=True, deadline=None)  # a law is a few operations of arithmetic: each is met by every example
@given(data=st.data())
def test_an_interval_holds_every_value_within(name: str, data: st.DataObject) -> None:
    at = arguments(LAWS[name], SOUND[name]["inputs"])  # type: ignore[arg-type]
    shifts = data.draw(st.tuples(*(st.tuples(SHIFT, SHIFT, SHIFT) for _ in at)))
    ends = {n: sorted(value * shift for shift in three) for (n, value), three in zip(at.items(), shifts, strict=True)}
    wide: object = LAWS[name](**{n: Interval(lo, hi) for n, (lo, _, hi) in ends.items()})
    assert isinstance(wide, Interval)
    assert LAWS[name](**{n: x for n, (_, x, _) in ends.items()}) in wide


def test_an_interval_that_reaches_zero_is_refused() -> None:
    left = Interval(-0.1, 0.4)
    with pytest.raises(ValueError, match="nothing is left"):
        mixing.positive(left, "nothing is left")  # type: ignore[arg-type]


def test_what_is_no_number_is_refused() -> None:
    with pytest.raises(ValueError, match="there is no mass"):
        mixing.water_share(1.0, float("nan"))


def test_an_unknown_volatile_share_gives_both_ends() -> None:
    known: dict[str, object] = dict(totals(MIXTURES["voc_constructed::con-01-flat-latex"]))
    known["voc_mass_us"] = Interval(0.020, 0.030)
    wide: object = call("voc_less_water", known)
    assert isinstance(wide, Interval)
    assert (wide.lo, wide.hi) == pytest.approx((0.0692108, 0.1038162), abs=1e-6)


# --- laws that hold for every mixture -------------------------------------------------------------------------------


ROLES = ("pigment", "binder", "additive", "water", "voc", "exempt", "ammonia")
Row = tuple[str, float, float]  # role, mass in kg, density in kg/L
rows = st.lists(st.tuples(st.sampled_from(ROLES), st.floats(0.01, 500.0), st.floats(0.6, 5.0)), min_size=1, max_size=12)


ALWAYS: list[Row] = [("pigment", 1.0, 4.1), ("binder", 1.0, 1.1), ("voc", 0.1, 0.95)]  # keeps every law answerable


def batch(parts: list[Row]) -> dict[str, float]:
    """Totals of rows of pure substances."""
    known = dict.fromkeys((*TOTALS, "voc_volume"), 0.0)
    for role, mass, density in [*parts, *ALWAYS]:
        volume = mass / density
        known["total_mass"], known["total_volume"] = known["total_mass"] + mass, known["total_volume"] + volume
        solid = role in ("pigment", "binder", "additive")
        where = {"voc": ("voc_mass_us", "voc_volume"), "ammonia": ()}.get(role, (f"{role}_mass", f"{role}_volume"))
        where += ("nonvolatile_mass", "nonvolatile_volume") if solid else ()
        for key in where:
            known[key] = known.get(key, 0.0) + (mass if "mass" in key else volume)
    for convention in ("all", "binder_convention", "oil"):
        known[f"pigment_volume_{convention}"] = known["pigment_volume"]
    asked = {"dispersant_needed": 0.004, "dispersant_active": 0.005, "pigment_area": 10.0, "film_temperature_mass": 280.0}
    known |= {name: times * known["pigment_mass"] for name, times in asked.items()}
    return known | {"oil_mass": 0.2 * known["pigment_mass"], "voc_mass_eu": known["voc_mass_us"], "cost": 3.0}


def spreadsheet(parts: list[Row]) -> tuple[float, float, float]:
    """Density (lb/gal), PVC (%), VOC less water (g/L) as a bench sheet has them: per cent and bulking values."""
    full = [*parts, *ALWAYS]
    whole = sum(mass for _, mass, _ in full)
    sheet = [(role, 100 * mass / whole, 1 / (density * 8.345404452)) for role, mass, density in full]
    gallons = {role: sum(pounds * bulk for r, pounds, bulk in sheet if r == role) for role in ROLES}
    of_100_lb = sum(gallons.values())
    dry = gallons["pigment"] + gallons["binder"] + gallons["additive"]
    pounds_voc = sum(pounds for role, pounds, _ in sheet if role == "voc")
    less_water = pounds_voc / (of_100_lb - gallons["water"] - gallons["exempt"]) * 119.826427
    return 100 / of_100_lb, 100 * gallons["pigment"] / dry, less_water


@given(rows)
def test_a_bench_sheet_agrees(parts: list[Row]) -> None:
    known = batch(parts)
    lb_gal, percent, g_l = spreadsheet(parts)
    assert call("density", known) * 8.345404452 == pytest.approx(lb_gal, rel=1e-8)
    assert call("pvc", known) * 100 == pytest.approx(percent, rel=1e-8)
    assert call("voc_less_water", known) * 1000 == pytest.approx(g_l, rel=1e-7)


EXTENSIVE = {name for name, unit in TOTALS.items() if unit in ("kg", "L", "money", "m2", "K kg")} - {"mill_volume"}
BY_TOTALS = tuple(name for name in PROPERTY_LAWS if set(units(LAWS[name])) <= EXTENSIVE)


@given(rows, st.floats(0.001, 1000.0))
def test_a_larger_batch_is_the_same_paint(parts: list[Row], times: float) -> None:
    known = batch(parts)
    large = {name: value * times for name, value in known.items()}
    for name in BY_TOTALS:
        assert call(name, large) == pytest.approx(call(name, known), rel=1e-9), name


@given(rows, st.floats(0.01, 500.0), st.sampled_from(["water", "exempt"]))
def test_water_and_exempt_compounds_dilute_the_material_value_only(parts: list[Row], mass: float, role: str) -> None:
    before, after = batch(parts), batch([*parts, (role, mass, 0.998)])
    for name in ("voc_less_water", "voc_by_difference", "pvc", "pvc_binder", "cpvc", "pigment_binder"):
        assert call(name, after) == pytest.approx(call(name, before), rel=1e-7), name
    for name in ("voc_material", "nonvolatile_mass_share", "nonvolatile_volume_share", "solids_content"):
        assert call(name, after) < call(name, before), name


@given(rows)
def test_shares_are_shares_and_additives_lower_the_pvc(parts: list[Row]) -> None:
    known = batch(parts)
    names = ("pvc", "pvc_binder", "cpvc", "nonvolatile_mass_share", "nonvolatile_volume_share", "water_share")
    assert all(0 <= call(name, known) <= 1 + 1e-12 for name in names)
    assert call("pvc", known) <= call("pvc_binder", known) * (1 + 1e-12)


@given(rows)
def test_density_lies_between_the_parts(parts: list[Row]) -> None:
    densities = [*(density for _, _, density in parts), 4.1, 1.1, 0.95]
    assert min(densities) * (1 - 1e-12) <= call("density", batch(parts)) <= max(densities) * (1 + 1e-12)


@given(rows)
def test_less_water_lies_between_the_material_value_and_the_density_of_the_voc(parts: list[Row]) -> None:
    known = batch(parts)
    less_water, material = call("voc_less_water", known), call("voc_material", known)
    assert less_water >= material * (1 - 1e-12)
    assert less_water <= known["voc_mass_us"] / known["voc_volume"] * (1 + 1e-9)


@given(rows)
def test_without_water_and_exempt_compounds_less_water_is_the_material_value(parts: list[Row]) -> None:
    known = batch([part for part in parts if part[0] not in ("water", "exempt")])
    assert call("voc_less_water", known) == call("voc_material", known)


@given(rows)
def test_weight_percent_form_is_the_same_law(parts: list[Row]) -> None:
    known = batch(parts)
    exempt_density = known["exempt_mass"] / known["exempt_volume"] if known["exempt_mass"] else 1.0
    water_density = known["water_mass"] / known["water_volume"] if known["water_mass"] else 1.0
    solids, water, exempt = (known[f"{name}_mass"] / known["total_mass"] for name in ("nonvolatile", "water", "exempt"))
    density = call("density", known)
    value = voc.less_water_from_weight_percent(density, solids, water, exempt, water_density, exempt_density)
    assert value == pytest.approx(call("voc_by_difference", known), rel=1e-6)


@given(rows)
def test_by_difference_is_never_below_the_listed_value(parts: list[Row]) -> None:
    known = batch(parts)
    by_difference, listed = call("voc_by_difference", known), call("voc_less_water", known)
    assert by_difference >= listed * (1 - 1e-7)
    assume(all(role != "ammonia" for role, _, _ in parts))
    assert by_difference == pytest.approx(listed, rel=1e-6)


@given(rows)
def test_solids_basis_is_voc_over_the_volume_of_solids(parts: list[Row]) -> None:
    known = batch([part for part in parts if part[0] != "ammonia"])
    value = voc.voc_per_solids_volume(call("voc_less_water", known), known["voc_mass_us"] / known["voc_volume"])
    assert value == pytest.approx(known["voc_mass_us"] / known["nonvolatile_volume"], rel=1e-6)


@given(rows, st.floats(0.01, 500.0))
def test_more_pigment_never_lowers_the_pvc(parts: list[Row], mass: float) -> None:
    before, after = batch(parts), batch([*parts, ("pigment", mass, 2.7)])
    assert call("pvc", after) >= call("pvc", before)
    assert call("pvc_binder", after) >= call("pvc_binder", before)


@given(st.lists(st.tuples(st.floats(0.1, 100.0), st.floats(1.5, 5.0), st.floats(0.05, 1.0)), min_size=1, max_size=6))
def test_a_pigment_mixture_is_the_single_pigment_of_its_means(pigments: list[tuple[float, float, float]]) -> None:
    mass, volume = sum(m for m, _, _ in pigments), sum(m / d for m, d, _ in pigments)
    oil = sum(m * absorption for m, _, absorption in pigments)
    absorption = pigment.oil_absorption_of_mixture(oil, mass)
    single = pigment.critical_pvc_from_oil_absorption(absorption, mixing.density(mass, volume))
    assert pigment.cpvc(volume, oil) == pytest.approx(single, rel=1e-12)


@given(st.floats(0.05, 0.95), st.floats(1.0, 3.0), st.floats(0.99, 1.0))
def test_taking_the_water_away_keeps_mass_and_volume(share: float, solid: float, water: float) -> None:
    wet = mixing.density(1.0, mixing.volume(share, solid) + mixing.volume(1 - share, water))
    assert mixing.nonvolatile_density_by_balance(share, wet, water) == pytest.approx(solid, rel=1e-9)
    by_volume = mixing.nonvolatile_volume_by_balance(share, wet, water)
    assert by_volume == pytest.approx(share / solid * wet, rel=1e-9)


@given(st.floats(1e-6, 1e-3), st.floats(0.05, 1.0), st.floats(0.0, 8.0), st.floats(1.0, 1e4))
def test_films_and_scales_go_there_and_back(dry: float, share: float, hegman: float, area: float) -> None:
    wet = film.wet_film(dry, share)
    assert film.dry_film(wet, share) == pytest.approx(dry)
    assert film.micrometre_to_hegman(film.hegman_to_micrometre(hegman)) == pytest.approx(hegman, abs=1e-9)
    needed = film.volume_for_area(area, film.spreading_rate(share, dry))
    assert film.film_thickness(needed, area) == pytest.approx(wet)


@given(rows, st.floats(0.1, 2.0))
def test_cost_of_an_area_is_cost_of_the_volume_on_it(parts: list[Row], area: float) -> None:
    by_volume = call("cost_volume", batch(parts))
    rate = film.spreading_rate(0.4, 40e-6)
    assert cost.cost_area(by_volume, rate) * area == pytest.approx(by_volume * film.volume_for_area(area, rate))
    assert call("cost_mass", batch(parts)) * call("density", batch(parts)) == pytest.approx(by_volume)
