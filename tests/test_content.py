"""What a kilogram of a material brings, and what is missing where its file does not say enough."""

from __future__ import annotations

import pytest
from in_memory import SETTINGS, catalog
from msgspec import Struct

from formulint.content import Bounded, Gap, Value
from formulint.interval import Interval, ends
from formulint.subject import Stock

PLAIN = {"name": "a material", "functions": ["other"], "density": "1 kg/L", "price": "1 USD/kg"}
ACETONE, GLYCOL, ESTER = "67-64-1", "57-55-6", "25265-77-4"  # acetone is exempt in the US


def stock(**figures: object) -> Stock:
    """A material with these figures; None takes one away."""
    record = {name: figure for name, figure in {**PLAIN, **figures}.items() if figure is not None}
    found = catalog({"X": record}, {}, {**SETTINGS, "currency": "USD"}).stock("X")
    assert found is not None, figures
    return found


def column(total: str, **figures: object) -> Value:
    """One of the totals of a kilogram."""
    return stock(**figures).content.columns.get(total, 0.0)


def missing(value: Value) -> list[str]:
    """Fields that are missing; of a value that is known, none."""
    return [one.field for one in value.missing] if isinstance(value, Gap) else []


class Shares(Struct, frozen=True):
    """Shares of a material, and whether they come to 100 % within their digits: then what is not said is none."""

    given: dict[str, object]
    closed: bool


SHARES = {
    "exactly": Shares({"nonvolatile": "25 %", "water": "75 %"}, True),
    "with a third": Shares({"nonvolatile": "33.3 %", "water": "66.7 %"}, True),
    "all of it": Shares({"nonvolatile": "100 %"}, True),
    "almost all of it": Shares({"nonvolatile": "99.9 %"}, False),
    "a tenth short, written to tenths": Shares({"nonvolatile": "33.3 %", "water": "66.6 %"}, True),
    "two tenths short, written to tenths": Shares({"nonvolatile": "33.3 %", "water": "66.5 %"}, False),
    "one short, written to ones": Shares({"nonvolatile": "33 %", "water": "66 %"}, True),
    "two short, written to ones": Shares({"nonvolatile": "33 %", "water": "65 %"}, False),
    "two too many, written to ones": Shares({"nonvolatile": "35 %", "water": "67 %"}, False),
    "ranges that may close": Shares({"nonvolatile": {"min": "48 %", "max": "52 %"}, "water": {"min": "48 %", "max": "52 %"}}, True),
    "ranges that cannot": Shares({"nonvolatile": {"min": "40 %", "max": "45 %"}, "water": {"min": "40 %", "max": "45 %"}}, False),
    "nothing said": Shares({}, False),
}


@pytest.mark.parametrize("name", SHARES)
def test_what_is_not_said_is_none_only_where_the_rest_closes(name: str) -> None:
    case = SHARES[name]
    found = column("voc_mass_us", **case.given)
    assert (found, missing(found)) == ((0.0, []) if case.closed else (found, ["voc"]))


DENSITIES: dict[str, tuple[dict[str, object], float | str]] = {
    "dry": ({"nonvolatile": "100 %", "density": "4 kg/L"}, 0.25),
    "declared": ({"nonvolatile": "50 %", "water": "50 %", "nonvolatile_density": "1.25 kg/L"}, 0.4),
    "with its void": ({"nonvolatile": "50 %", "water": "50 %", "film_density": "0.5 kg/L", "nonvolatile_density": "1.25 kg/L"}, 1.0),
    "by a balance": ({"nonvolatile": "50 %", "water": "50 %", "density": "1.25 kg/L", "nonvolatile_density": "derived"}, 0.3),
    "nothing stays": ({"nonvolatile": "0 %", "water": "100 %"}, 0.0),
    "not said": ({"nonvolatile": "50 %", "water": "50 %"}, "nonvolatile_density"),
    "by a balance beside glycol": ({"nonvolatile": "50 %", "water": "45 %", "voc": "5 %", "nonvolatile_density": "derived"}, "nonvolatile_density"),
    "by a balance without a density": ({"nonvolatile": "50 %", "water": "50 %", "density": None, "nonvolatile_density": "derived"}, "density"),
    "by a balance that cannot be": ({"nonvolatile": "50 %", "water": "50 %", "density": "2 kg/L", "nonvolatile_density": "derived"}, "nonvolatile_density"),
    "by a balance of hollow spheres": ({"functions": ["opaque-polymer"], "nonvolatile": "50 %", "water": "50 %", "nonvolatile_density": "derived"}, "film_density"),
    "by a density of nothing": ({"nonvolatile": "50 %", "water": "50 %", "nonvolatile_density": "0 kg/L"}, "nonvolatile_density"),
    "by a density that may be nothing": ({"nonvolatile": "50 %", "water": "50 %", "nonvolatile_density": {"min": "0 kg/L", "max": "1 kg/L"}}, "nonvolatile_density"),
}


@pytest.mark.parametrize("name", DENSITIES)
def test_room_in_the_film(name: str) -> None:
    figures, expected = DENSITIES[name]
    found = column("nonvolatile_volume", **figures)
    assert (missing(found) or pytest.approx(found, abs=1e-12)) == ([expected] if isinstance(expected, str) else expected)


@pytest.mark.parametrize("density", ["0 kg/L", "-1 kg/L", {"min": "0 kg/L", "max": "1 kg/L"}])
def test_a_density_that_may_be_nothing_is_none(density: object) -> None:
    found = stock(nonvolatile="0 %", water="100 %", density=density).content.columns["total_volume"]
    assert isinstance(found, Gap) and "is not above zero" in found.missing[0].what


@pytest.mark.parametrize("share", ["-5 %", "105 %", {"min": "95 %", "max": "105 %"}])
def test_a_share_of_less_than_nothing_or_more_than_all_is_none(share: object) -> None:
    found = column("nonvolatile_mass", nonvolatile=share)
    assert isinstance(found, Gap) and "is no share" in found.missing[0].what


def component(cas: str, share: object, **more: object) -> dict[str, object]:
    """A component that evaporates."""
    return {"name": f"the one of {cas}", "cas": cas, "share": share, "volatile": "organic", **more}


REST = {"nonvolatile": "95 %", "water": "0 %", "voc": "5 %"}
BOILING = {"249 degC": 0.05, "250 degC": 0.05, "251 degC": 0.0}


@pytest.mark.parametrize("text", BOILING)
def test_up_to_250_degrees_it_counts_in_europe(text: str) -> None:
    assert column("voc_mass_eu", component=[component(ESTER, "5 %", boiling_point=text)], **REST) == BOILING[text]


def test_a_boiling_range_across_250_degrees_is_open() -> None:
    one = component(ESTER, "5 %", boiling_point={"min": "244 degC", "max": "256 degC"})
    found = column("voc_mass_eu", component=[one], **REST)
    assert isinstance(found, Gap) and found.missing[0].place.keys == ("component", 0, "boiling_point")
    assert column("voc_mass_us", component=[one], **REST) == 0.05


def test_what_evaporates_is_added_up_by_scheme() -> None:
    parts = [component(GLYCOL, "10 %", boiling_point="188 degC"), component(ACETONE, "20 %", boiling_point="56 degC", density="0.79 kg/L")]
    found = stock(component=parts, nonvolatile="70 %", voc="10 %", exempt="20 %").content.columns
    assert [found[name] for name in ("voc_mass_us", "exempt_mass", "exempt_volume")] == pytest.approx([0.1, 0.2, 0.2 / 0.79])
    assert found["voc_mass_eu"] == pytest.approx(0.3)


@pytest.mark.parametrize("density", [{}, {"density": "0 kg/L"}], ids=["not said", "nothing"])
def test_an_exempt_compound_takes_up_a_volume_that_must_be_said(density: dict[str, object]) -> None:
    shares = {"nonvolatile": "80 %", "exempt": "20 %"}
    assert missing(column("exempt_volume", component=[component(ACETONE, "20 %", **density)], **shares)) == ["density"]


KNOWN: dict[str, tuple[dict[str, object], float | str]] = {
    "the shares close": ({"nonvolatile": "90 %", "voc": "10 %"}, 0.1),
    "the shares do not close, and the rest is not said": ({"nonvolatile": "20 %"}, "voc"),
    "no share is said": ({}, "voc"),
    "the share that evaporates is said": ({"nonvolatile": "20 %", "voc": "10 %"}, 0.1),
    "the components are all of it": ({"component": [component(GLYCOL, "10 %"), {"name": "water", "cas": "7732-18-5", "share": "90 %"}]}, 0.1),
}


@pytest.mark.parametrize("name", KNOWN)
def test_what_evaporates_is_the_sum_of_the_components_only_where_nothing_else_can(name: str) -> None:
    figures, expected = KNOWN[name]
    found = column("voc_mass_us", **{"component": [component(GLYCOL, "10 %")], **figures})
    assert (missing(found) or found) == ([expected] if isinstance(expected, str) else expected)


def test_an_exempt_share_of_which_nobody_says_what_it_is_has_no_volume() -> None:
    assert missing(column("exempt_volume", nonvolatile="80 %", exempt="20 %")) == ["component"]
    assert column("exempt_mass", nonvolatile="80 %", exempt="20 %") == 0.2


def test_what_the_supplier_states_stands_above_all() -> None:
    found = stock(nonvolatile="80 %", voc="20 %", voc_us="3 %", voc_eu="4 %", component=[component(GLYCOL, "10 %")]).content.columns
    assert (found["voc_mass_us"], found["voc_mass_eu"]) == (0.03, 0.04)


STATED: dict[str, tuple[dict[str, object], tuple[float, float]]] = {
    "all of it is named": ({"voc": "10 %", "component": [component(GLYCOL, "10 %")]}, (0.1, 0.1)),
    "a part is named": ({"voc": "10 %", "component": [component(GLYCOL, "6 %")]}, (0.1, 0.1)),
    "a part, as far as the digits written tell": ({"voc": "10 %", "component": [component(GLYCOL, "9.5 %")]}, (0.095, 0.095)),
    "ranges that may be the same": ({"voc": {"min": "8 %", "max": "10 %"}, "component": [component(GLYCOL, {"min": "8 %", "max": "10 %"})]}, (0.08, 0.1)),
    "the exempt part is named": ({"voc": "6 %", "exempt": "4 %", "component": [component(ACETONE, "4 %")]}, (0.06, 0.06)),
    "nobody says which part is exempt": ({"voc": "6 %", "exempt": "4 %", "component": [component(GLYCOL, "6 %")]}, (0.06, 0.1)),
}


@pytest.mark.parametrize("name", STATED)
def test_organic_volatiles_that_are_stated_and_not_named_are_not_left_out(name: str) -> None:
    figures, expected = STATED[name]
    found = column("voc_mass_us", nonvolatile="90 %", **figures)
    bounds = ends(found.between if isinstance(found, Bounded) else found)  # type: ignore[arg-type]
    assert bounds == pytest.approx(expected)
    assert missing(found) == (["component"] if name == "nobody says which part is exempt" else [])


PIGMENTS: dict[str, tuple[dict[str, object], tuple[float, float | str]]] = {
    "all that stays is pigment": ({"functions": ["extender"], "nonvolatile": "100 %", "density": "2.5 kg/L"}, (1.0, 0.4)),
    "the share that is declared": ({"functions": ["colorant"], "nonvolatile": "60 %", "water": "40 %", "nonvolatile_density": "2 kg/L", "pigment": "50 %", "pigment_density": "4 kg/L"}, (0.5, 0.125)),
    "a declared share without a density": ({"functions": ["colorant"], "nonvolatile": "60 %", "water": "40 %", "pigment": "50 %"}, (0.5, "pigment_density")),
    "hollow spheres are pigment by volume only": ({"functions": ["opaque-polymer"], "nonvolatile": "30 %", "water": "70 %", "film_density": "0.6 kg/L"}, (0.0, 0.5)),
    "a latex is none": ({"functions": ["binder"], "nonvolatile": "50 %", "water": "50 %", "nonvolatile_density": "1.1 kg/L"}, (0.0, 0.0)),
}


def test_a_colorant_that_does_not_say_how_much_pigment_it_holds_is_open_between_none_and_all() -> None:
    colorant = {"functions": ["colorant"], "nonvolatile": "60 %", "water": "40 %", "nonvolatile_density": "2 kg/L", "pigment_density": "4 kg/L"}
    for total, most in (("pigment_mass", 0.6), ("pigment_volume_all", 0.3)):
        found = column(total, **colorant)
        assert isinstance(found, Bounded) and missing(found) == ["pigment"]
        assert ends(found.between) == pytest.approx((0.0, most))


@pytest.mark.parametrize("name", PIGMENTS)
def test_pigment(name: str) -> None:
    figures, (mass, volume) = PIGMENTS[name]
    found = column("pigment_volume_all", **figures)
    assert column("pigment_mass", **figures) == mass
    assert (missing(found) or pytest.approx(found)) == ([volume] if isinstance(volume, str) else volume)


PRICES = {"2 USD/kg": 2.0, "2 USD/L": 4.0, "2 EUR/kg": "price"}


@pytest.mark.parametrize("price", PRICES)
def test_cost_of_a_kilogram(price: str) -> None:
    found = column("cost", density="0.5 kg/L", price=price)
    assert (missing(found) or found) == ([PRICES[price]] if isinstance(PRICES[price], str) else PRICES[price])


NAMED: dict[str, tuple[dict[str, object], float]] = {
    "everything is named": ({"disclosure": "full", "component": [component(GLYCOL, "10 %")]}, 0.0),
    "what is not named": ({"component": [component(GLYCOL, "10 %")], "nonvolatile": "30 %", "water": "60 %"}, 0.3),
    "the water is named twice": ({"component": [component("7732-18-5", "60 %")], "nonvolatile": "40 %", "water": "60 %"}, 0.4),
    "nothing is named": ({}, 1.0),
}


@pytest.mark.parametrize("name", NAMED)
def test_what_the_supplier_has_not_named(name: str) -> None:
    figures, expected = NAMED[name]
    assert stock(**figures).content.undisclosed == pytest.approx(expected)


def test_a_range_stays_a_range() -> None:
    found = column("nonvolatile_volume", nonvolatile={"min": "48 %", "max": "52 %"}, water={"min": "48 %", "max": "52 %"}, nonvolatile_density="1.25 kg/L")
    assert isinstance(found, Interval) and ends(found) == pytest.approx((0.48 / 1.25, 0.52 / 1.25))


WIDE = {"name": "amine", "cas": GLYCOL, "share": {"min": "10 %", "max": "90 %"}}
NARROW = {"name": "amine", "cas": GLYCOL, "share": "40 %"}


def test_what_a_range_may_leave_unsaid_is_undisclosed() -> None:
    assert stock(disclosure="sds", component=[WIDE]).content.undisclosed == pytest.approx(0.9)


def test_a_substance_that_stands_twice_is_there_twice() -> None:
    assert stock(component=[NARROW, NARROW]).content.substances[GLYCOL] == pytest.approx(0.8)
    assert ends(stock(component=[NARROW, WIDE]).content.substances[GLYCOL]) == pytest.approx((0.5, 1.3))
