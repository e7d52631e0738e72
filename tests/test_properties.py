"""Properties that a formula has only where it states what they rest on; bounds of what is missing; stages; the reference."""

from __future__ import annotations

import html
import json
from collections.abc import Callable
from pathlib import Path

import pytest
import reference_counts
from repository import Json, Table, ask, run, tables, write

from formulint.circumstances import hull
from formulint.content import TOTALS, Absent, Bounded, Gap, Missing, Value, add, joined
from formulint.extras import EXTRAS
from formulint.finding import Place
from formulint.interval import Interval
from formulint.properties import BY_ID, BY_LAW, DOSES, PROPERTIES, Property
from formulint.quantity import read, step_in
from formulint.reference import definition, section

MATERIALS: dict[str, dict[str, object]] = {
    "W": {"name": "water", "functions": ["water"], "density": "1 kg/L", "water": "100 %"},
    "P": {"name": "pigment", "functions": ["white-pigment"], "density": "4 kg/L", "nonvolatile": "100 %", "oil_absorption": "20 g/100 g", "price": "2 USD/kg"},
    "B": {"name": "latex", "functions": ["binder"], "density": "1.04 kg/L", "nonvolatile": "50 %", "water": "50 %", "nonvolatile_density": "derived"},
    "D": {"name": "dispersant", "functions": ["dispersant"], "density": "1.2 kg/L", "nonvolatile": "40 %", "water": "60 %", "nonvolatile_density": "derived", "active": "40 %"},
    "C": {"name": "coalescent", "functions": ["coalescent"], "density": "0.95 kg/L", "voc": "100 %"},
    "T": {"name": "colorant", "functions": ["colorant"], "density": "1.5 kg/L", "nonvolatile": "60 %", "water": "30 %", "voc": "10 %", "nonvolatile_density": "3 kg/L", "pigment": "50 %", "pigment_density": "4 kg/L"},
    "U": {"name": "unsaid", "functions": ["other"], "density": "1 kg/L", "nonvolatile": "80 %", "water": "5 %", "nonvolatile_density": "1 kg/L"},
}  # fmt: skip
LINES = (("W", "20 kg"), ("D", "1 kg"), ("P", "40 kg"), ("B", "38 kg"), ("C", "1 kg"))
FULL: dict[str, dict[str, object]] = {
    **MATERIALS,
    "P": {**MATERIALS["P"], "surface_area": "15 m2/g", "dispersant_demand": "0.4 %"},
    "B": {**MATERIALS["B"], "binder_index": "0.7", "minimum_film_temperature": "12 degC"},
    "C": {**MATERIALS["C"], "film_temperature_drop": "2 K"},
}
DISPERSE = {"step": "disperse", "speed": "1200 rpm", "time": "20 min"}
Answered = dict[str, dict[str, Json]]


def paint(lines: tuple[tuple[str, str], ...] = LINES, step: Table | None = None, **more: object) -> dict[str, object]:
    """A formula of a grind with everything in it."""
    additions: list[object] = [{"material": code, "amount": amount} for code, amount in lines]
    stage = {"name": "Grind", "kind": "grind", "vessel": "TK-1", "additions": [*additions, *([step] if step else [])]}
    return {"name": "paint", "revision": 1, "state": "bench", "class": "flat", "markets": ["us-national"], "batch": "100 kg", **more, "stage": [stage]}


Computed = Callable[..., Answered]


@pytest.fixture
def computed(tmp_path: Path) -> Computed:
    """The properties of a paint, as the command gives them."""

    def answer(formula: dict[str, object], materials: dict[str, dict[str, object]] = FULL, units: str = "metric") -> Answered:
        write(tmp_path, {"format": 1, "water_density": "1 kg/L", "units": units}, materials, {"T-1": formula})
        found = ask(tmp_path, "properties").formulas["T-1"]["properties"]
        assert isinstance(found, dict)
        return found  # type: ignore[return-value]

    return answer


def value(found: Answered, name: str) -> float:
    """A known value."""
    number = found[name]["value"]
    assert isinstance(number, float | int), found[name]
    return number


# --- there only where something is stated ----------------------------------------------------------------------------

OF_FIGURES = {"binder_index", "cpvc_latex", "reduced_pvc_latex", "voids_latex", "dispersant_demand", "dispersant_supply", "dispersant_on_area", "minimum_film_temperature"}
OF_FILM = {"spreading_rate", "wet_film", "mass_on_area", "cost_area"}
OF_COVERAGE = {"wet_film_at_coverage", "dry_film_at_coverage"}
OF_STATES = {one.id for one in PROPERTIES if one.state}
OF_TANK = {"tip_speed", "disc_to_tank", "disc_coverage"}


def test_a_paint_that_states_nothing_more_has_none_of_them(computed: Computed) -> None:
    found = computed(paint(), MATERIALS)
    assert not set(found) & (OF_FIGURES | OF_FILM | OF_COVERAGE | OF_STATES | OF_TANK)


def test_figures_of_materials_bring_them(computed: Computed) -> None:
    found = computed(paint())
    cpvc = 1 / (1 + 0.2 * 4 / 0.935)
    latex = cpvc / (cpvc + (1 - cpvc) / 0.7)
    assert value(found, "cpvc_latex") == pytest.approx(100 * latex)
    assert value(found, "dispersant_demand") == pytest.approx(0.4)
    assert value(found, "dispersant_supply") == pytest.approx(0.4 / (40 * 0.004))
    assert value(found, "dispersant_on_area") == pytest.approx(0.4e6 / (40 * 15000))
    assert value(found, "minimum_film_temperature") == pytest.approx(12 - 2 * 100 / 19)
    assert value(found, "oil_demand") == pytest.approx(20)


def test_the_film_temperature_is_shown_in_the_shop_unit(tmp_path: Path) -> None:
    write(tmp_path, {"format": 1, "units": "us"}, FULL, {"T-1": paint()})
    row = next(line for line in run(tmp_path, "properties").out.splitlines() if "Minimum film" in line)
    assert row.split()[-1] == f"{(12 - 200 / 19) * 1.8 + 32:.1f}"


def test_a_difference_of_temperatures_has_no_zero() -> None:
    assert step_in(2.5, "degC") == 2.5
    assert step_in(2.5, "degF") == 4.5
    assert step_in(0.01, "%") == 1.0


def test_one_latex_that_gives_its_index_and_one_that_does_not_leave_it_open(computed: Computed) -> None:
    other = {**FULL, "B2": MATERIALS["B"]}
    found = computed(paint((*LINES, ("B2", "1 kg")), batch="101 kg"), other)
    assert found["cpvc_latex"]["kind"] == "open"
    assert {one["material"] for one in tables(found["binder_index"]["missing"])} == {"B2"}


def test_a_film_brings_its_properties(computed: Computed) -> None:
    found = computed(paint(product={"dry_film": "40 um", "coverage": "8 m2/L"}))
    share = value(found, "nonvolatile_volume") / 100
    assert value(found, "spreading_rate") == pytest.approx(share / 40e-6 / 1000)
    assert value(found, "wet_film") == pytest.approx(40 / share)
    assert value(found, "wet_film_at_coverage") == pytest.approx(125)
    assert value(found, "dry_film_at_coverage") == pytest.approx(125 * share)
    assert value(found, "mass_on_area") == pytest.approx(value(found, "density") / value(found, "spreading_rate") * 1000)


def test_a_limit_on_what_is_not_stated_is_open_and_says_what_is_missing(tmp_path: Path) -> None:
    limits = {"spreading_rate": {"min": "5 m2/L"}, "voc_material_tinted": {"max": "500 g/L"}, "tip_speed": {"max": "25 m/s"}, "in_can_preservative_active_on_batch": {"min": "50 ppm"}}
    write(tmp_path, {"format": 1}, FULL, {"T-1": paint(limits=limits)})
    found = [one for one in ask(tmp_path, "lint").results if str(one["rule"]).startswith("own-limit/")]
    told = {str(one["rule"]): (one["kind"], str(one["message"])) for one in found}
    assert told.pop("own-limit/in-can-preservative-active-on-batch")[0] == "fail", "of a function that is not there the dose is zero"
    assert {kind for kind, _ in told.values()} == {"open"}
    assert [words in message for words, (_, message) in zip(("dry_film", "colorants", "disperses in no vessel"), told.values(), strict=True)] == [True] * 3


# --- tinted and thinned -----------------------------------------------------------------------------------------------


def test_tinted_is_the_paint_with_all_its_colorant(computed: Computed) -> None:
    product = {"fill": "1 L", "colorant_max": "100 mL", "colorants": ["T"], "tint_base": "deep"}
    found = computed(paint(product=product))
    volume = value(found, "volume")
    assert value(found, "voc_material_tinted") == pytest.approx((1000 + 0.1 * volume * 1.5 * 100) / (1.1 * volume))
    assert value(found, "density_tinted") == pytest.approx((100 + 0.15 * volume) / (1.1 * volume))


def test_of_several_colorants_each_counts_alone(computed: Computed) -> None:
    product = {"fill": "1 L", "colorant_max": "100 mL", "colorants": ["T", "W"]}
    found = computed(paint(product=product))["density_tinted"]
    volume = 100 / 100
    assert (found["min"], found["max"]) != (None, None)
    assert isinstance(found["max"], float) and isinstance(found["min"], float) and found["max"] > found["min"] > volume


def test_the_48th_of_an_ounce_is_a_unit() -> None:
    figure = read("24/48 fl oz", ("volume",))
    assert figure.base == pytest.approx(0.5 * 3.785411784 / 128)
    assert str(figure) == "24/48 fl oz"


def test_thinning_with_water_lowers_the_material_value_only(computed: Computed) -> None:
    found = computed(paint(product={"thinning": {"material": "W", "max": "10 %"}}))
    assert value(found, "voc_less_water_thinned") == pytest.approx(value(found, "voc_less_water"))
    assert value(found, "voc_material_thinned") == pytest.approx(value(found, "voc_material") / 1.1)
    assert value(found, "nonvolatile_volume_thinned") == pytest.approx(value(found, "nonvolatile_volume") / 1.1)


# --- equipment --------------------------------------------------------------------------------------------------------

TANK = 'code = "TK-1"\nkind = "tank"\ndiameter = "1 m"\ndisc = "0.35 m"\n'


def with_tank(folder: Path, text: str = TANK) -> Path:
    """A repository with a tank."""
    write(folder, {"format": 1, "water_density": "1 kg/L"}, FULL, {"T-1": paint(step=DISPERSE)})
    (folder / "equipment").mkdir()
    (folder / "equipment" / "TK-1.toml").write_text(text)
    return folder


def test_a_tank_with_a_record_tells_how_its_disc_runs(tmp_path: Path) -> None:
    found = ask(with_tank(tmp_path), "properties").formulas["T-1"]
    whole = found["properties"]
    (stage,) = tables(found["stages"])
    own = stage["properties"]
    assert isinstance(whole, dict) and isinstance(own, dict)
    litres = value(whole, "volume")  # type: ignore[arg-type]
    expected = {"tip_speed": 21.9911, "disc_to_tank": 0.35, "disc_coverage": litres / 785.398 / 0.35}
    for name, number in expected.items():
        assert value(whole, name) == value(own, name) == pytest.approx(number, rel=1e-4)  # type: ignore[arg-type]


FAULTS = {
    "a disc that is too large": (TANK.replace("0.35", "1.35"), "does not fit into TK-1"),
    "a tank without a diameter": ('code = "TK-1"\nkind = "tank"\n', "tank TK-1 has no diameter"),
    "a scale with a disc": ('code = "TK-1"\nkind = "scale"\ncapacity = "2000 lb"\ndisc = "1 m"\n', "disc belongs to a tank"),
    "a scale of one division": ('code = "TK-1"\nkind = "scale"\ncapacity = "2 lb"\ndivision = "2 lb"\n', "as much as it can weigh"),
    "a filling upside down": (TANK + 'fill = { min = "300 gal", max = "250 gal" }\n', "is above the most"),
    "another code": (TANK.replace("TK-1", "TK-2"), "the file is called TK-1"),
    "a unit that is none": (TANK.replace("1 m", "1 mass"), "diameter"),
    "a diameter of nothing": (TANK.replace('"1 m"', '"0 m"'), "not above zero"),
}


@pytest.mark.parametrize("name", FAULTS)
def test_a_wrong_record_of_equipment_is_found(name: str, tmp_path: Path) -> None:
    text, words = FAULTS[name]
    report = ask(with_tank(tmp_path, text), "lint")
    found = [one for one in report.results if one["path"] == "equipment/TK-1.toml"]
    assert report.status == 1
    assert any(words in str(one["message"]) for one in found), found


def test_a_sound_record_of_equipment_is_passed_over(tmp_path: Path) -> None:
    assert [one for one in ask(with_tank(tmp_path), "lint").results if one["path"] == "equipment/TK-1.toml"] == []


# --- what is missing leaves bounds -------------------------------------------------------------------------------------

UNSAID = (*LINES[:-1], ("U", "10 kg"))


def test_an_unknown_share_lies_between_nothing_and_what_the_others_leave(computed: Computed) -> None:
    found = computed(paint(UNSAID, batch="109 kg"))
    one = found["voc_material"]
    assert (one["kind"], one["value"], one["min"]) == ("open", None, 0.0)
    assert one["max"] == pytest.approx(10 * 0.15 / value(found, "volume") * 1000)
    assert {item["field"] for item in tables(one["missing"])} == {"voc"}
    assert found["density"]["kind"] == "known"


@pytest.mark.parametrize(("most", "kinds"), [("30 g/L", []), ("10 g/L", ["open"])])
def test_a_limit_outside_the_bounds_is_decided(most: str, kinds: list[str], tmp_path: Path) -> None:
    write(tmp_path, {"format": 1, "water_density": "1 kg/L"}, FULL, {"T-1": paint(UNSAID, batch="109 kg", limits={"voc_material": {"max": most}})})
    assert [one["kind"] for one in ask(tmp_path, "lint").about("T-1", "own-limit/voc-material")] == kinds


def test_a_limit_that_is_passed_whatever_is_missing_fails_with_its_reason(tmp_path: Path) -> None:
    lines = (*UNSAID, ("C", "10 kg"))
    write(tmp_path, {"format": 1, "water_density": "1 kg/L"}, FULL, {"T-1": paint(lines, batch="119 kg", limits={"voc_material": {"max": "10 g/L"}})})
    (found,) = ask(tmp_path, "lint").about("T-1", "own-limit/voc-material")
    assert found["kind"] == "fail"
    assert "is at least" in str(found["message"]) and "U has no voc" in str(found["message"])


def test_what_is_named_is_there_at_least(computed: Computed) -> None:
    named = {"name": "glycol", "cas": "57-55-6", "share": "3 %", "volatile": "organic", "boiling_point": "188 degC"}
    found = computed(paint(UNSAID, batch="109 kg"), {**FULL, "U": {**MATERIALS["U"], "component": [named]}})["voc_material"]
    assert isinstance(found["min"], float) and isinstance(found["max"], float)
    assert found["min"] == pytest.approx(found["max"] * 3 / 15)


GAP = Gap((Missing("no x", Place("x.toml"), "X", "x"),))
BOUNDED = Bounded(GAP.missing, Interval(1.0, 2.0))
ABSENT = Absent(GAP.missing)


@pytest.mark.parametrize(
    ("parts", "kind"),
    [([1.0, 2.0], float), ([1.0, BOUNDED], Bounded), ([BOUNDED, GAP], Gap), ([BOUNDED, ABSENT], Absent), ([GAP, ABSENT], Absent), ([Interval(1, 2), BOUNDED], Bounded)],
)
def test_sums_of_values(parts: list[Value], kind: type) -> None:
    assert type(add(parts)) is kind


def test_a_law_of_what_is_bounded_encloses_it() -> None:
    found = joined(lambda x, y: x / y, 4.0, BOUNDED)
    assert isinstance(found, Bounded) and found.missing == GAP.missing
    assert found.between.lo <= 2.0 and found.between.hi >= 4.0
    assert type(joined(lambda x, y: x / y, 4.0, Bounded(GAP.missing, Interval(-1.0, 1.0)))) is Gap


def test_the_hull_of_values() -> None:
    assert hull([1.0, 3.0, Interval(0.5, 2.0)]) == Interval(0.5, 3.0)
    assert hull([2.0]) == 2.0
    assert type(hull([2.0, GAP])) is Gap
    assert type(hull([2.0, BOUNDED])) is Bounded


# --- the reference ----------------------------------------------------------------------------------------------------


def test_printed_examples_are_counted_as_written_down() -> None:
    assert reference_counts.FILE.read_text(encoding="utf-8") == reference_counts.text()


@pytest.mark.parametrize("one", PROPERTIES, ids=lambda one: str(one.id))
def test_every_property_is_explained(one: Property) -> None:
    assert definition(one).endswith(".")
    assert section(one.law, "Notes") and ">>> " in section(one.law, "Examples")


def test_the_reference_needs_no_repository(tmp_path: Path) -> None:
    page = run(tmp_path, "properties", "--reference", "--format", "markdown")
    assert page.status == 0
    told = {html.unescape(line.split(" | ")[1]).replace("\\", "") for line in page.out.splitlines() if line.startswith("| ")}
    assert {*(one.id for one in PROPERTIES), *(one.id for one in DOSES)} - told == set()


def test_the_reference_is_there_for_machines(tmp_path: Path) -> None:
    found = json.loads(run(tmp_path, "properties", "--reference", "--format", "json").out)
    assert found["format"] == "formulint/reference/1"
    assert {one["id"]: one["published"] for one in found["properties"]}["density"] >= 28
    assert all(one["definition"] and one["source"] for one in found["properties"])


def test_needs_of_laws_are_known() -> None:
    assert {BY_LAW[one.law.__name__] for one in PROPERTIES} <= set(BY_ID)
    looked_up = {"water_volume", "dry_film", "coverage", "disc", "tank", "rotation", "mill_volume"}
    assert {name for one in PROPERTIES for name in one.needs} <= {*TOTALS, *EXTRAS, *BY_ID, *BY_LAW, *looked_up}


def test_a_thinner_or_colorant_of_which_there_is_no_record_is_found(tmp_path: Path) -> None:
    product = {"thinning": {"material": "X", "max": "5 %"}, "colorants": ["T", "Y"]}
    write(tmp_path, {"format": 1}, FULL, {"T-1": paint(product=product)})
    found = [str(one["message"]) for one in ask(tmp_path, "lint").about("T-1", "record/known-material")]
    assert [message.split('"')[1] for message in found] == ["Y", "X"]
