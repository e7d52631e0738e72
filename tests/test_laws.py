"""What holds for every paint, whatever its sheet says: tried on random ones, of every sort of amount."""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from in_memory import catalog, evaluation
from msgspec.structs import replace
from strategies import HALF, Paint, Portion, latex, paints, stage, tenth, weighed

from formulint.content import Gap, Value
from formulint.evaluate import Evaluation
from formulint.fingerprints import Digests
from formulint.interval import Interval, ends
from formulint.side import side

few = settings(max_examples=30, derandomize=True, deadline=None)
EXTENSIVE = ("mass", "volume")


def values(paint: Paint) -> dict[str, Value]:
    """All values of a paint."""
    return paint.evaluation.values


def known(value: Value) -> float:
    """A value that is a number."""
    assert isinstance(value, float), value
    return value


def same(one: Value, other: Value) -> bool:
    """Whether two values are alike but for the rounding of floats."""
    if isinstance(one, Gap) or isinstance(other, Gap):
        return isinstance(one, Gap) and isinstance(other, Gap)
    return ends(one) == pytest.approx(ends(other), rel=1e-9, abs=1e-12)


def differing(one: dict[str, Value], other: dict[str, Value], but: tuple[str, ...] = ()) -> list[str]:
    """Properties that are not alike."""
    return [name for name in one | other if name not in but and not same(one.get(name, 0.0), other.get(name, 0.0))]


def digests(paint: Paint) -> Digests:
    """Fingerprints of a paint."""
    found = side(paint.shelf, "T-1")
    assert found is not None
    return found.digests.whole


# --- the same sheet in another shape --------------------------------------------------------------------------------


@few
@given(paint=paints(), factor=st.sampled_from([Fraction(2), Fraction(1, 2), Fraction(5), Fraction(1, 8)]))
def test_scale(paint: Paint, factor: Fraction) -> None:
    grind, letdown = (tuple(one.scaled(factor) for one in part) for part in (paint.grind, paint.letdown))
    other = replace(paint, batch=(paint.batch[0] * factor, paint.batch[1]), grind=grind, letdown=letdown)
    before, after = values(paint), values(other)
    assert differing(before, after, EXTENSIVE) == []
    assert [known(after[name]) for name in EXTENSIVE] == pytest.approx([known(before[name]) * float(factor) for name in EXTENSIVE])
    assert digests(paint).composition == digests(other).composition


@few
@given(paint=paints(), data=st.data())
def test_order_within_a_stage(paint: Paint, data: st.DataObject) -> None:
    other = replace(paint, grind=tuple(data.draw(st.permutations(paint.grind))), letdown=tuple(data.draw(st.permutations(paint.letdown))))
    assert differing(values(paint), values(other)) == []
    assert digests(paint).composition == digests(other).composition
    assert (digests(paint).making == digests(other).making) == (paint == other)


@few
@given(paint=paints(), data=st.data())
def test_a_line_split_or_two_made_one(paint: Paint, data: st.DataObject) -> None:
    at = data.draw(st.sampled_from([at for at, one in enumerate(paint.grind) if one.tenths]))
    one = paint.grind[at]
    part = data.draw(st.integers(0, int(one.tenths)))
    halves = (replace(one, tenths=part), replace(one, tenths=one.tenths - part))
    other = replace(paint, grind=(*paint.grind[:at], halves[0], *paint.grind[at + 1 :]), letdown=(halves[1], *paint.letdown))
    assert differing(values(paint), values(other)) == []
    assert digests(paint).composition == digests(other).composition


@few
@given(paint=paints())
def test_another_unit(paint: Paint) -> None:
    grind, letdown = (tuple(one.in_smaller_unit for one in part) for part in (paint.grind, paint.letdown))
    other = replace(paint, grind=grind, letdown=letdown)
    assert differing(values(paint), values(other)) == []
    assert digests(paint) == digests(other)


@few
@given(paint=paints())
def test_what_fills_up_may_be_written(paint: Paint) -> None:
    lines = {(line.stage, line.at): line for line in paint.evaluation.resolved.lines}
    letdown = [
        one if one.unit else replace(one, tenths=Fraction(f"{known(lines[1, at].kg):.9f}") * 10, unit="kg")
        for at, one in enumerate(paint.letdown)
    ]
    other = replace(paint, letdown=tuple(letdown))
    if any(one.unit == "%" and one.on in ("", "batch") for one in paint.portions) and paint.batch[1] == "L":
        return  # shares are of what all lines weigh: without a line that fills up, that is another sum
    found = [name for name in differing(values(paint), values(other)) if abs(known(values(paint)[name]) - known(values(other)[name])) > 1e-7]
    assert found == []


@few
@given(paint=weighed(), data=st.data())
def test_some_lines_made_an_intermediate(paint: Paint, data: st.DataObject) -> None:
    taken = data.draw(st.integers(1, len(paint.grind)))
    inside, rest = paint.grind[:taken], paint.grind[taken:]
    lines = paint.evaluation.resolved.lines[:taken]
    mass = sum(Fraction(known(line.kg)) for line in lines)
    blend = {"name": "premix", "revision": 1, "state": "bench", "class": "intermediate", "batch": "100 kg", "stage": [stage("One", "premix", inside)]}
    use = replace(paint, grind=(Portion("PM", Fraction(f"{float(mass):.9f}") * 10, "kg"), *rest))
    found = evaluation(catalog(paint.materials, {"T-1": use.sheet, "PM": blend}), "T-1").values
    assert [name for name, value in values(paint).items() if abs(known(value) - known(found[name])) > 1e-7] == []


# --- what is in the can ---------------------------------------------------------------------------------------------


@few
@given(paint=paints())
def test_parts_of_a_whole(paint: Paint) -> None:
    found = paint.evaluation
    assert known(found.value("volume")) == pytest.approx(sum(known(line.litres) for line in found.resolved.lines))
    assert known(found.value("mass")) == pytest.approx(sum(known(kg) for kg in found.resolved.leaves.values()))
    for name in ("pvc", "pvc_binder", "cpvc", "nonvolatile_mass", "nonvolatile_volume", "water"):
        assert 0 <= known(found.value(name)) <= 1 + 1e-12, name
    densities = [float(str(paint.materials[one.code]["density"]).split()[0]) for one in paint.portions]
    assert min(densities) - 1e-9 <= known(found.value("density")) <= max(densities) + 1e-9


@few
@given(paint=weighed(), more=st.integers(1, 2000))
def test_water_dilutes(paint: Paint, more: int) -> None:
    before, after = values(paint), values(replace(paint, letdown=(*paint.letdown, Portion("W", more, "kg"))))
    assert all(same(before[name], after[name]) for name in ("pvc", "pvc_binder", "cpvc", "reduced_pvc", "pigment_binder", "voc_less_water"))
    assert all(known(after[name]) < known(before[name]) for name in ("nonvolatile_mass", "nonvolatile_volume", "voc_material"))
    assert known(after["water"]) > known(before["water"])


@few
@given(paint=weighed(), code=st.sampled_from(["P", "E"]), more=st.integers(1, 2000))
def test_more_pigment(paint: Paint, code: str, more: int) -> None:
    before, after = values(paint), values(replace(paint, grind=(*paint.grind, Portion(code, more, "kg"))))
    assert all(known(after[name]) > known(before[name]) for name in ("pvc", "pvc_binder", "pigment_binder", "nonvolatile_volume"))


def spreadsheet(paint: Paint) -> dict[str, float]:
    """As on a bench sheet: every line by itself, nothing shared with the code that is tried."""
    rows = []
    for one in paint.portions:
        facts = {name: float(str(value).split()[0]) for name, value in paint.materials[one.code].items() if str(value)[:1].isdigit()}
        amount = float(tenth(one.tenths))
        kg = amount if one.unit == "kg" else amount * facts["density"]
        solids = kg * facts["nonvolatile"] / 100
        film = solids / facts.get("nonvolatile_density", facts["density"])
        rows.append((kg, kg / facts["density"], solids, film, kg * facts.get("water", 0) / 100, kg * facts.get("voc", 0) / 100, kg * facts["price"]))
    mass, volume, solids, film, water, voc, cost = (sum(column) for column in zip(*rows, strict=True))
    dry = [(one.code, row[3]) for one, row in zip(paint.portions, rows, strict=True)]
    pigment = sum(litres for code, litres in dry if code in "PE")
    binder = sum(litres for code, litres in dry if code == "B")
    return {
        "mass": mass, "volume": volume, "density": mass / volume, "nonvolatile_mass": solids / mass, "nonvolatile_volume": film / volume,
        "pvc": pigment / film, "pvc_binder": pigment / (pigment + binder), "water": water / mass, "voc_material": voc / volume,
        "voc_less_water": voc / (volume - water), "cost_mass": cost / mass, "cost_volume": cost / volume,
    }  # fmt: skip


@few
@given(paint=weighed())
def test_a_second_reckoning(paint: Paint) -> None:
    expected = spreadsheet(paint)
    found = values(paint)
    assert {name: known(found[name]) for name in expected} == pytest.approx(expected, rel=1e-9)


# --- what is not known ----------------------------------------------------------------------------------------------

FIGURES = {
    "W": ("density", "nonvolatile", "water", "price"),
    "P": ("density", "nonvolatile", "oil_absorption", "price"),
    "B": ("density", "nonvolatile", "water", "nonvolatile_density", "price"),
    "D": ("density", "nonvolatile", "water", "nonvolatile_density", "active", "price"),
    "G": ("density", "nonvolatile", "voc", "price"),
}
MISSING = [(code, name) for code, names in FIGURES.items() for name in names]


@pytest.mark.parametrize(("code", "name"), MISSING, ids=[".".join(one) for one in MISSING])
@settings(max_examples=5, derandomize=True, deadline=None)
@given(paint=paints())
def test_a_gap_never_becomes_another_value(code: str, name: str, paint: Paint) -> None:
    before, after = values(paint), values(paint.with_figures(code, **{name: None}))
    assert [one for one in differing(before, after) if not isinstance(after.get(one, 0.0), Gap)] == []
    missing = {(item.material, item.field) for value in after.values() if isinstance(value, Gap) for item in value.missing}
    assert missing <= {(code, field) for field in FIGURES[code] + ("voc", "exempt", "water", "nonvolatile")}


@few
@given(paint=weighed(), code=st.sampled_from("WPBDG"))
def test_a_material_without_a_file_opens_all_that_it_bears_on(paint: Paint, code: str) -> None:
    rest = {key: record for key, record in paint.materials.items() if key != code}
    assert all(isinstance(value, Gap) for value in values(replace(paint, materials=rest)).values())


def test_hollow_spheres_have_no_room_but_that_with_their_void() -> None:
    spheres = {"name": "spheres", "functions": ["opaque-polymer"], "density": "1.02 kg/L", "nonvolatile": "30 %", "water": "70 %", "price": "1 USD/kg"}
    sheet = {"name": "one", "revision": 1, "state": "bench", "class": "flat", "markets": ["us-national"], "batch": "10 kg", "stage": [stage("One", "grind", [Portion("S", 100, "kg")])]}
    known_, unknown = ({**spheres, "nonvolatile_density": density, "film_density": film} for density, film in (("1.05 kg/L", "0.59 kg/L"), ("1.05 kg/L", None)))
    found = [evaluation(catalog({"S": {k: v for k, v in one.items() if v}}, {"T-1": sheet}), "T-1").value("nonvolatile_volume") for one in (known_, unknown)]
    assert known(found[0]) == pytest.approx(0.3 / 0.59 * 1.02)
    assert isinstance(found[1], Gap) and found[1].missing[0].field == "film_density"


# --- what is known to lie between two ends --------------------------------------------------------------------------


def spread(figure: object, width: Fraction) -> tuple[dict[str, str], Callable[[Fraction], str]]:
    """A figure as a range around it, and a point in that range."""
    number, unit = str(figure).split(" ", 1)
    low, high = Fraction(number) * (1 - width), Fraction(number) * (1 + width)
    text = [f"{float(end):.9f} {unit}" for end in (low, high)]
    return {"min": text[0], "max": text[1]}, lambda place: f"{float(low + (high - low) * place):.9f} {unit}"


@st.composite
def ranged(draw: st.DrawFn) -> tuple[Paint, Paint]:
    """A paint of which some figures are ranges, and one with a number from within each."""
    wide = exact = draw(paints())
    place = st.sampled_from([Fraction(0), Fraction(1, 3), Fraction(1, 2), Fraction(1)])
    choices = [("W", "density"), ("P", "density"), ("P", "oil_absorption"), ("E", "density"), ("B", "density"), ("B", "nonvolatile_density"), ("D", "active"), ("G", "density"), ("B", "price")]
    for code, name in draw(st.lists(st.sampled_from(choices), min_size=1, max_size=5, unique=True)):
        text, point = spread(wide.materials[code][name], draw(st.sampled_from([Fraction(1, 100), Fraction(1, 10)])))
        wide, exact = wide.with_figures(code, **{name: text}), exact.with_figures(code, **{name: point(draw(place))})
    if draw(st.booleans()):  # the shares of one material move together
        solids, width = draw(st.integers(HALF - 5, HALF + 5)), draw(st.integers(1, 5))
        shares = {"nonvolatile": (solids - width, solids + width), "water": (100 - solids - width, 100 - solids + width)}
        wide = wide.with_figures("B", **{name: {"min": f"{low} %", "max": f"{high} %"} for name, (low, high) in shares.items()})
        exact = exact.with_figures("B", **latex(draw(st.integers(solids - width, solids + width))))
    return wide, exact


def encloses(wide: Value, exact: Value) -> bool:
    """Whether what is said of the ranges leaves room for what is said of a point."""
    if isinstance(wide, Gap) or isinstance(exact, Gap):
        return isinstance(wide, Gap)
    (low, high), value = ends(wide), known(exact)
    slack = 1e-12 * max(1.0, abs(value))
    return low - slack <= value <= high + slack


@settings(max_examples=25, derandomize=True, deadline=None)
@given(pair=ranged())
def test_ranges_enclose_every_paint_within_them(pair: tuple[Paint, Paint]) -> None:
    wide, exact = (one.evaluation for one in pair)
    assert [name for name in exact.values if not encloses(wide.values[name], exact.values[name])] == []
    lines = zip(wide.resolved.lines, exact.resolved.lines, strict=True)
    assert [line.code for line, other in lines if not encloses(line.kg, other.kg)] == []


@few
@given(paint=paints())
def test_a_range_of_nothing_but_its_middle_gives_the_middle(paint: Paint) -> None:
    density = paint.materials["B"]["density"]
    exact, wide = values(paint), values(paint.with_figures("B", density={"min": density, "max": density}))
    assert differing(exact, wide) == []


@few
@given(paint=weighed(), width=st.sampled_from([Fraction(1, 100), Fraction(1, 20)]))
def test_wider_ranges_never_give_narrower_values(paint: Paint, width: Fraction) -> None:
    def wide(by: Fraction) -> Evaluation:
        return paint.with_figures("B", density=spread(paint.materials["B"]["density"], by)[0]).evaluation

    narrow, broad = wide(width), wide(2 * width)
    assert [name for name, value in narrow.values.items() if isinstance(value, Interval) and not encloses_both(broad.value(name), value)] == []


def encloses_both(broad: Value, narrow: Interval) -> bool:
    """Whether both ends of one lie within the other."""
    return encloses(broad, narrow.lo) and encloses(broad, narrow.hi)
