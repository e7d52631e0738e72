"""Which class a change is of, for every paint: rewritten exactly, rounded within its digits, made otherwise, corrected, another."""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from in_memory import files, of_files
from msgspec.structs import replace
from proposals import Works, ask, both
from repository import text
from story import amount
from story import replace as exchange
from strategies import Paint, Portion, paints, weighed
from test_laws import differing

from formulint.catalog import Catalog
from formulint.change import Change
from formulint.compare import FormulaChange, formulas
from formulint.evaluate import Evaluation
from formulint.overview import mixed
from formulint.side import side

few = settings(max_examples=20, derandomize=True, deadline=None)
EXACT = {"kg": ("g", Fraction(1000)), "L": ("mL", Fraction(1000)), "lb": ("kg", Fraction("0.45359237")), "gal": ("L", Fraction("3.785411784")), "%": ("ppm", Fraction(10000))}
"""The same amount in another unit, with all digits: the factors are exact by definition."""
POUND = Fraction("0.45359237")  # kg, exact by definition
SAME = (Change.none, Change.editorial)


def changed(before: Catalog, after: Catalog) -> FormulaChange:
    """What a comparison makes of T-1."""
    (found,) = formulas(before, after, ["T-1"])
    return found


def values(catalog: Catalog) -> Evaluation:
    """All values of T-1."""
    file = catalog.find_formula("T-1")
    assert file is not None
    return catalog.full(catalog.subject(file))


def told(shelf: Catalog) -> tuple[str, str, str]:
    """The fingerprints of T-1."""
    found = side(shelf, "T-1")
    assert found is not None
    return found.digests.composition, found.digests.making, found.digests.data


# --- the same paint ----------------------------------------------------------------------------------------------


def in_other_units(paint: Paint, which: set[int]) -> Paint:
    """The lines of these numbers in another unit, with all digits."""
    lines = [
        replace(one, unit=EXACT[one.unit][0], tenths=one.tenths * EXACT[one.unit][1]) if at in which and one.unit in EXACT else one
        for at, one in enumerate(paint.portions)
    ]
    return replace(paint, grind=tuple(lines[: len(paint.grind)]), letdown=tuple(lines[len(paint.grind) :]))


def shuffled(record: Mapping[str, object], draw: st.DrawFn) -> dict[str, object]:
    """A table with its keys in another order, and so those inside it; the stages stay where they are."""
    names = draw(st.permutations(list(record)))
    found = {name: record[name] for name in names if name not in ("stage", "additions")}
    for name in ("stage", "additions"):
        inner = record.get(name)
        if isinstance(inner, list):
            found[name] = [shuffled(one, draw) for one in inner]
    return found


@st.composite
def written(draw: st.DrawFn, paint: Paint) -> str:
    """The file of a paint, with keys in any order, comments, blanks and empty lines."""
    lines = text(shuffled({"code": "T-1", **paint.sheet}, draw)).split("\n")
    ends = st.sampled_from(["", "", "  # a remark", "\t", "\n", "\n# T-2 = \"no\"\n"])
    return "\n".join(line + draw(ends) for line in lines)


@few
@given(paint=weighed(units=("kg", "L", "lb", "gal")), data=st.data())
def test_an_exact_rewriting_is_editorial(paint: Paint, data: st.DataObject) -> None:
    other = in_other_units(paint, data.draw(st.sets(st.integers(0, len(paint.portions) - 1))))
    made = files(paint.materials, {"T-1": data.draw(written(other))})
    place = data.draw(st.sampled_from(["formulas/T-1.toml", "formulas/white/flat/T-1.toml"]))
    after = of_files({place if name == "formulas/T-1.toml" else name: content for name, content in made.items()})
    before = paint.shelf
    assert changed(before, after).change in SAME and told(before) == told(after)
    assert differing(values(before).values, values(after).values) == []


@few
@given(paint=paints(), factor=st.sampled_from([Fraction(2), Fraction(1, 2), Fraction(5), Fraction(1, 8)]))
def test_a_batch_scaled_with_its_lines_is_editorial(paint: Paint, factor: Fraction) -> None:
    grind, letdown = (tuple(one.scaled(factor) for one in part) for part in (paint.grind, paint.letdown))
    other = replace(paint, batch=(paint.batch[0] * factor, paint.batch[1]), grind=grind, letdown=letdown)
    assert changed(paint.shelf, other.shelf).change in SAME


def in_pounds(one: Portion, digits: int) -> Portion:
    """Kilograms as pounds, rounded to so many digits."""
    if one.unit != "kg":
        return one
    step = Fraction(1, 10**digits)
    pounds = round(Fraction(one.tenths) / 10 / POUND / step) * step
    return replace(one, unit="lb", tenths=pounds * 10)


@few
@given(paint=paints(), digits=st.integers(2, 6))
def test_rounded_within_half_a_last_digit_is_equivalent(paint: Paint, digits: int) -> None:
    grind, letdown = (tuple(in_pounds(one, digits) for one in part) for part in (paint.grind, paint.letdown))
    other = replace(paint, grind=grind, letdown=letdown)
    assume(other != paint)
    for found in (changed(paint.shelf, other.shelf), changed(other.shelf, paint.shelf)):
        moved = found.change is Change.compositional
        assert found.change in (*SAME, Change.equivalent) or (moved and digits < 5)  # a few digits less, and a printed figure may move
        assert all(one.rewritten for one in found.additions if one.action == "changed")


@few
@given(paint=weighed(), data=st.data())
def test_a_last_digit_is_another_paint(paint: Paint, data: st.DataObject) -> None:
    at = data.draw(st.integers(0, len(paint.grind) - 1))
    more = replace(paint.grind[at], tenths=paint.grind[at].tenths + data.draw(st.integers(1, 9)))
    other = replace(paint, grind=(*paint.grind[:at], more, *paint.grind[at + 1 :]))
    assert changed(paint.shelf, other.shelf).change is Change.compositional


# --- another making, other figures -------------------------------------------------------------------------------


@few
@given(paint=paints(), data=st.data())
def test_another_order_is_procedural(paint: Paint, data: st.DataObject) -> None:
    lines = data.draw(st.permutations(paint.portions))
    other = replace(paint, grind=tuple(lines[: len(paint.grind)]), letdown=tuple(lines[len(paint.grind) :]))
    expected = Change.procedural if other != paint else Change.none
    assert changed(paint.shelf, other.shelf).change is expected


STEPS = [
    {"step": "disperse", "speed": "1150 rpm", "time": "20 min"},
    {"step": "hold", "check": "consistency"},
    {"step": "mix", "temperature": {"max": "110 degF"}},
]


@few
@given(paint=paints(), step=st.sampled_from(STEPS), stage=st.integers(0, 1))
def test_another_step_is_procedural(paint: Paint, step: dict[str, object], stage: int) -> None:
    sheet = paint.sheet
    stages = sheet["stage"]
    assert isinstance(stages, list)
    longer = [{**one, "additions": [*one["additions"], step]} if at == stage else one for at, one in enumerate(stages)]
    after = of_files(files(paint.materials, {"T-1": {**sheet, "stage": longer}}))
    assert changed(paint.shelf, after).change is Change.procedural


@few
@given(paint=paints(), code=st.sampled_from("WPEBDG"), factor=st.sampled_from(["1.234 kg/L", "2.345 kg/L", "0.987 kg/L"]))
def test_a_corrected_figure_is_data_and_a_price_is_not(paint: Paint, code: str, factor: str) -> None:
    assert changed(paint.shelf, paint.with_figures(code, density=factor).shelf).change is Change.data
    assert changed(paint.shelf, paint.with_figures(code, price="9.87 USD/kg").shelf).change is Change.none


@few
@given(paint=weighed(), data=st.data())
def test_every_class_is_the_same_in_both_directions(paint: Paint, data: st.DataObject) -> None:
    lines = data.draw(st.permutations(paint.portions))
    more = data.draw(st.sampled_from([0, 0, 3]))
    first = replace(lines[0], tenths=lines[0].tenths + more)
    other = replace(paint, grind=(first, *lines[1 : len(paint.grind)]), letdown=tuple(lines[len(paint.grind) :]))
    assert changed(paint.shelf, other.shelf).change is changed(other.shelf, paint.shelf).change


# --- policy and paint at once ------------------------------------------------------------------------------------


POLICIES: dict[str, object] = {
    "class": "matt", "markets": ["eu"], "state": "pilot", "limits": {"density": {"min": "0.1 kg/L"}}, "product": {"use": ["exterior"]}, "tests": {"ph": {"method": "ASTM E70", "min": "8", "max": "9"}},
}  # fmt: skip


@few
@given(paint=weighed(), name=st.sampled_from(sorted(POLICIES)), more=st.integers(0, 2))
def test_policy_with_paint_is_pointed_out_and_each_alone_is_not(paint: Paint, name: str, more: int) -> None:
    first = replace(paint.grind[0], tenths=paint.grind[0].tenths + more)
    sheet = {**replace(paint, grind=(first, *paint.grind[1:])).sheet, name: POLICIES[name]}
    found = changed(paint.shelf, of_files(files(paint.materials, {"T-1": sheet})))
    assert (found.policy, found.change is Change.compositional) == ((name,), more > 0)
    assert [f"policy of T-1 ({name}); paint of T-1" in words for words in mixed([found], ())] == [True] * (more > 0)


FLAT = "formulas/T-101.toml"
PAINT = amount("RM-1901", "1.5 lb", "1.6 lb")
MARKET = exchange('markets  = ["us-national", "us-south-coast"]', 'markets  = ["us-national"]')
HOUSE = exchange('min = "180 ppm"', 'min = "170 ppm"')
WORDS = "policy and paint in one proposal"


@pytest.mark.parametrize(
    ("edits", "who"),
    [
        ({FLAT: both(PAINT, MARKET)}, "policy of T-101 (markets); paint of T-101."),
        ({FLAT: PAINT, "rules/house.toml": HOUSE}, "policy of rules/house.toml; paint of T-101."),
        ({FLAT: PAINT}, ""),
        ({FLAT: MARKET}, ""),
        ({"rules/house.toml": HOUSE}, ""),
    ],
)
def test_gate_and_diff_point_it_out(works: Works, edits: Mapping[str, object], who: str) -> None:
    head = works.propose(edits)  # type: ignore[arg-type]
    place = ("-C", str(works.repo.path))
    gate = " ".join(ask(*place, "gate", "--base", works.base, "--head", head, how="terminal").out.split())
    diff = " ".join(ask(*place, "diff", works.base, head, how="terminal").out.split())
    assert [WORDS in said for said in (gate, diff)] == [bool(who)] * 2
    assert all(who in said for said in (gate, diff))
