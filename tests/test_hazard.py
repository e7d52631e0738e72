"""Hazard classes: published mixtures come out as printed, at the command too; bounds count to the last digit; laws hold."""

from __future__ import annotations

from datetime import date
from fractions import Fraction
from pathlib import Path
from random import Random

import pytest
from hazard_cases import WATER, Case, cases, classified, material, records, sheet, surely
from hypothesis import example, given, settings
from hypothesis import strategies as st
from in_memory import TODAY, catalog, files, findings, of_files, subject
from msgspec.structs import replace
from repository import Table, ask, run, tables, write
from story import EXAMPLE

from formulint import digest
from formulint.catalog import Catalog, stem
from formulint.compare import FormulaChange, formulas
from formulint.hazard.acute import toxicity
from formulint.hazard.classify import Classification, classify, of_subject
from formulint.hazard.ingredient import Ingredient, parsed, understood
from formulint.hazard.relation import trials
from formulint.hazard.scheme import SCHEMES, Route, Row, exact, figures, scheme_of, share
from formulint.hazard.shares import holding, unnamed_of
from formulint.hazard.steady import _unnamed, steady
from formulint.hazard_report import labels, moved
from formulint.judge import Judge
from formulint.rulebook import Shipped
from formulint.snapshot import work_tree
from formulint.subject import FormulaSubject

every_case = pytest.mark.parametrize("case", cases(), ids=str)
ROWS = figures().row


def label(found: Classification, family: str) -> str:
    """The class of a family, empty where there is none."""
    one = surely(found, family)
    return "" if one is None else one.result


# ---------------------------------------------------------------- published mixtures


@every_case
def test_a_mixture_has_the_class_of_its_source(case: Case) -> None:
    found = classified(case.scheme, case.components)
    assert label(found, case.family) == case.class_
    one = surely(found, case.family)
    assert not case.causes or (one is not None and len(one.causes) == case.causes)


@pytest.mark.parametrize("case", [case for case in cases() if case.ate], ids=str)
def test_an_estimate_is_the_printed_one(case: Case) -> None:
    materials, formula = records(case.components)
    held = holding(subject(catalog(materials, {"T-1": formula}), "T-1")).ingredients
    route = next(one for one in figures().route if case.family == f"acute {one.id}")
    dark = [one.high for one in held if one.classes is None]
    found = toxicity(scheme_of(case.scheme), route, held, dark)
    value = float(found.whole / found.low) * 1e6
    assert f"{value:.{len(case.ate.replace('.', ''))}g}" == f"{float(case.ate):.{len(case.ate.replace('.', ''))}g}"


@pytest.mark.parametrize("case", [case for case in cases() if case.sums], ids=str)
def test_weighted_sums_are_the_printed_ones(case: Case) -> None:
    materials, formula = records(case.components)
    held = holding(subject(catalog(materials, {"T-1": formula}), "T-1")).ingredients
    found = [trial for trial in trials(case.scheme, TODAY, held) if trial.row.family == case.family]
    sums = [trial.low * share(trial.row.least) * 100 for trial in found]
    assert sums[: len(case.sums)] == [Fraction(one) for one in case.sums]


def test_the_command_gives_the_same_classes(tmp_path: Path) -> None:
    materials: dict[str, Table] = {}
    formulas: dict[str, Table] = {}
    for number, case in enumerate(cases()):
        made, formula = records(case.components)
        names = {code: code if code == "WATER" else f"{code}-{number}" for code in made}
        materials |= {names[code]: record for code, record in made.items()}  # type: ignore[misc]
        lines = [{**line, "material": names[line["material"]]} for line in formula["stage"][0]["additions"]]  # type: ignore[index]
        formulas[f"T-{number}"] = sheet(f"T-{number}", lines, "100 kg")
    write(tmp_path, {"format": 1, "water_density": "1 kg/L"}, materials, formulas)
    told = ask(tmp_path, "properties").formulas
    for number, case in enumerate(cases()):
        listed = tables(told[f"T-{number}"]["hazards"][case.scheme])  # type: ignore[index,call-overload]
        classes = {one["class"] for one in listed if one["kind"] in ("known", "statement")}
        assert not case.class_ or case.class_ in classes, case.name


# ---------------------------------------------------------------- bounds


def plain_rows() -> list[tuple[str, Row, str, str]]:
    """Every row that one component alone can reach: scheme, row, class, share of the bound."""
    found = []
    for scheme in SCHEMES:
        for row in ROWS:
            if scheme in row.schemes:
                for term in row.of:
                    bound = float(row.least.removesuffix(" %")) / term.times
                    found += [(scheme, row, held, f"{bound:.10f}".rstrip("0")) for held in term.classes]
    return found


def part(row: Row, held: str, pct: str) -> dict[str, object]:
    """A component of a class, that does not add up where the row asks for that."""
    return {"pct": pct, "hazards": [held], "additive": not row.apart}


def reached(scheme: str, row: Row, made: dict[str, object]) -> bool:
    """True where a mixture of one component reaches a row."""
    materials, formula = records([made])
    held = holding(subject(catalog(materials, {"T-1": formula}), "T-1")).ingredients
    return next(trial for trial in trials(scheme, row.from_ or TODAY, held) if trial.row is row).low >= 1


@pytest.mark.parametrize(("scheme", "row", "held", "bound"), plain_rows(), ids=lambda one: getattr(one, "result", str(one)))
def test_a_bound_counts_and_one_unit_of_the_last_digit_below_does_not(scheme: str, row: Row, held: str, bound: str) -> None:
    cut = next((cut.least for cut in figures().cut_off if scheme in cut.schemes and held in cut.classes), "0 %")
    at = max(Fraction(bound), share(cut) * 100 if row.how == "sum" else Fraction(0))
    text = f"{float(at):.10f}"
    below = f"{float(at) - 1e-10:.10f}"
    assert reached(scheme, row, part(row, held, text))
    assert not reached(scheme, row, part(row, held, below))


@pytest.mark.parametrize("route", figures().route, ids=lambda one: one.id)
@pytest.mark.parametrize("at", range(4))
def test_an_upper_limit_of_toxicity_is_included(route: Route, at: int) -> None:
    number, unit = route.limits[at].split()
    above = f"{float(number) + 1e-6:.6f} {unit}"
    for estimate, expected in ((route.limits[at], True), (above, False)):
        found = classified("eu", [{"pct": "100", "hazards": [], "ate": {route.id: estimate}}])
        assert label(found, f"acute {route.id}").startswith(f"Acute Tox. {at + 1}") is expected


def test_a_share_in_thirds_is_not_rounded() -> None:
    parts = [{"pct": pct, "hazards": ["Aquatic Chronic 1"], "m_chronic": "1"} for pct in ("0.25", "0.5")]
    materials, formula = records(parts, batch="3 kg")
    found = of_subject("eu", subject(catalog(materials, {"T-1": formula}), "T-1"))
    assert label(found, "aquatic-chronic") == "Aquatic Chronic 1"
    one = surely(found, "aquatic-chronic")
    assert one is not None and sum(cause.low for cause in one.causes) == Fraction(1, 4)


def test_a_volume_batch_is_exact_too() -> None:
    materials: dict[str, Table] = {"M-0": {**material({"hazards": ["Skin Corr. 1"]}, 0), "density": "1.25 kg/L"}, "WATER": WATER}
    lines = [{"material": "M-0", "amount": "4 L"}, {"material": "WATER", "amount": "q.s."}]
    held = holding(subject(catalog(materials, {"T-1": sheet("T-1", lines, "99 L")}), "T-1"))
    assert [one.low for one in held.ingredients] == [Fraction(5, 100)]


# ---------------------------------------------------------------- laws

CLASSES = sorted({held for row in ROWS for term in row.of for held in term.classes if "Acute Tox." not in held} | {f"Acute Tox. {at} (oral)" for at in range(1, 5)})
substances = st.builds(
    lambda classes, ppm, m: (classes, ppm, m),
    st.lists(st.sampled_from(CLASSES), max_size=3, unique=True),
    st.integers(1, 150_000),
    st.sampled_from([None, 1, 10, 100]),
)
mixtures = st.lists(substances, min_size=1, max_size=6)
Substance = tuple[list[str], int, int | None]


def ingredients(parts: list[Substance]) -> list[Ingredient]:
    """Substances of the mixture, shares in ppm."""
    made = []
    for at, (classes, ppm, m) in enumerate(parts):
        share_, factor = Fraction(ppm, 10**6), None if m is None else Fraction(m)
        made.append(Ingredient(f"part {at}", "", share_, share_, tuple(classes), m_acute=factor, m_chronic=factor))
    return made


ORDER = [(row.family, row.result) for row in ROWS] + [(row.family, row.milder.result) for row in ROWS if row.milder is not None]


def rank(family: str, result: str) -> int:
    """How severe a class is within its family: more is worse."""
    return 10 - int(parsed(result).category) if family.startswith("acute") else len(ORDER) - ORDER.index((family, result))


def severity(found: Classification) -> dict[str, int]:
    """How severe the certain class of each family is; families without one are left out."""
    worst: dict[str, int] = {}
    for one in found.of("known"):
        worst[one.family] = max(worst.get(one.family, 0), rank(one.family, one.result))
    return worst


@settings(max_examples=60, deadline=None)
@given(mixtures, st.data(), st.sampled_from(SCHEMES))
def test_more_of_a_component_never_makes_less_of_a_class(parts: list[Substance], data: st.DataObject, scheme: str) -> None:
    at = data.draw(st.integers(0, len(parts) - 1))
    classes, ppm, m = parts[at]
    more = [*parts[:at], (classes, ppm + data.draw(st.integers(1, 100_000)), m), *parts[at + 1 :]]
    before, after = (severity(classify(scheme, ingredients(one), (), TODAY)) for one in (parts, more))
    assert all(after.get(family, 0) >= rank for family, rank in before.items())


@settings(max_examples=40, deadline=None)
@given(mixtures, st.randoms(use_true_random=False), st.sampled_from(SCHEMES))
@example([([], 1, None), (["Acute Tox. 1 (oral)", "Eye Irrit. 2B"], 1, None), (["Eye Irrit. 2"], 1, None)], Random(1), "un")
@example([(["Eye Irrit. 2"], 1, None), (["Eye Irrit. 2B"], 1, None)], Random(2), "un")
def test_the_order_of_components_does_not_matter(parts: list[Substance], random: object, scheme: str) -> None:
    made = ingredients(parts)
    other = list(made)
    random.shuffle(other)  # type: ignore[attr-defined]
    one, two = (classify(scheme, each, (), TODAY) for each in (made, other))
    assert [(o.result, o.kind, {c.name for c in o.causes}) for o in one.outcomes] == [(o.result, o.kind, {c.name for c in o.causes}) for o in two.outcomes]
    assert {(n.result, n.more) for n in one.near} == {(n.result, n.more) for n in two.near}


@settings(max_examples=40, deadline=None)
@given(mixtures, st.sampled_from(SCHEMES))
def test_the_distance_to_a_class_is_exact(parts: list[Substance], scheme: str) -> None:
    made = ingredients(parts)
    for near in classify(scheme, made, (), TODAY).near:
        if near.family == "contains":
            continue
        aim = rank(near.family, near.result)
        at, below = (with_more(made, near.name, near.more - less) for less in (0, Fraction(1, 10**12)))
        assert severity(classify(scheme, at, (), TODAY)).get(near.family, 0) >= aim
        assert severity(classify(scheme, below, (), TODAY)).get(near.family, 0) < aim


def with_more(made: list[Ingredient], name: str, more: Fraction) -> list[Ingredient]:
    """The same mixture with more of one component."""
    return [replace(one, low=one.low + more, high=one.high + more) if one.name == name else one for one in made]


@settings(max_examples=20, deadline=None)
@given(st.lists(st.tuples(st.sampled_from(CLASSES), st.integers(1, 9)), min_size=2, max_size=4), st.integers(2, 7))
def test_neither_the_size_of_the_batch_nor_an_intermediate_matters(parts: list[tuple[str, int]], times: int) -> None:
    made = [{"pct": str(pct), "hazards": [held]} for held, pct in parts]
    materials, plain = records(made)
    lines = [*plain["stage"][0]["additions"]]  # type: ignore[index]
    grown = [{**line, "amount": f"{times * pct} kg"} for line, (_, pct) in zip(lines, parts, strict=False)]
    first = sheet("B-1", lines[:2], f"{parts[0][1] + parts[1][1]} kg", "intermediate")
    blended = [{"material": "B-1", "amount": first["batch"]}, *lines[2:]]
    shelf = {"T-1": plain, "T-2": sheet("T-2", [*grown, lines[-1]], f"{100 * times} kg"), "T-3": sheet("T-3", blended, "100 kg"), "B-1": first}
    whole = catalog(materials, shelf)
    held = [{one.name: (one.low, one.high) for one in holding(subject(whole, code)).ingredients} for code in ("T-1", "T-2", "T-3")]
    assert held[0] == held[1] == held[2]
    assert held[0] == {f"part {at}": (Fraction(pct, 100), Fraction(pct, 100)) for at, (_, pct) in enumerate(parts)}


# ---------------------------------------------------------------- what is not known


def test_a_component_without_hazards_leaves_open_what_it_could_bring() -> None:
    found = classified("eu", [{"pct": "4"}, {"pct": "2", "hazards": ["Skin Corr. 1"]}])
    assert [one.name for one in found.unknown] == ["part 0"]
    opened = {one.result for one in found.of("open")}
    assert "Skin Corr. 1A" in opened or "Skin Corr. 1" in opened
    assert label(found, "skin") == "Skin Irrit. 2"


def test_what_is_not_named_leaves_open_what_it_could_bring() -> None:
    made, formula = records([{"pct": "20", "hazards": []}])
    component = [{"name": "part 0", "share": "90 %", "hazards": []}]
    materials = {**made, "M-0": {**material({"hazards": []}, 0), "disclosure": "above-cut-off", "component": component}}
    one = subject(catalog(materials, {"T-1": formula}), "T-1")
    assert [(part.code, part.high) for part in holding(one).unnamed] == [("M-0", Fraction(2, 100))]
    assert {outcome.result for outcome in of_subject("eu", one).of("open")} >= {"Skin Irrit. 2", "Carc. 1A"}


@pytest.mark.parametrize(("share", "rest"), [("90 %", Fraction(95, 1000)), ("99.9 %", Fraction(5, 10_000)), ("100 %", 0), ("99.95 %", Fraction(45, 100_000))])
def test_a_word_that_everything_is_named_does_not_make_up_for_what_is_not(share: str, rest: Fraction) -> None:
    part = {**material({"hazards": []}, 0), "component": [{"name": "part 0", "share": share, "hazards": []}]}
    materials = catalog({"M-0": part}, {})
    stock = materials.stock("M-0")
    assert stock is not None and stock.material.disclosure == "full"
    assert unnamed_of(stock.material) == rest


def test_too_little_of_the_unknown_opens_nothing() -> None:
    found = classified("us", [{"pct": "0.0999"}])
    assert found.of("open") == ()
    assert len(found.unknown) == 1


def test_a_range_is_certain_at_its_lower_end_and_open_at_its_upper() -> None:
    made, formula = records([{"pct": "10", "hazards": []}])
    component = [{"name": "x", "share": {"min": "20 %", "max": "60 %"}, "hazards": ["Skin Corr. 1"]}]
    shelf = catalog({**made, "M-0": {**material({}, 0), "component": component}}, {"T-1": formula})
    found = of_subject("eu", subject(shelf, "T-1"))
    assert label(found, "skin") == "Skin Irrit. 2"
    assert "Skin Corr. 1" in {one.result for one in found.of("open")}


def test_a_class_that_nobody_knows_is_unknown_and_said() -> None:
    found = classified("eu", [{"pct": "50", "hazards": ["Skin Sense 1"]}])
    assert [one.name for one in found.unknown] == ["part 0"]
    assert any("Skin Sense 1 is no class known here" in remark for remark in found.remarks)


def test_an_unknown_line_leaves_all_open() -> None:
    materials, formula = records([{"pct": "1", "hazards": []}])
    lines = [*formula["stage"][0]["additions"], {"material": "NOBODY", "amount": "1 kg"}]  # type: ignore[index]
    found = of_subject("eu", subject(catalog(materials, {"T-1": sheet("T-1", lines, "100 kg")}), "T-1"))
    assert not found.known
    assert "NOBODY" in found.remarks[0]


ODD: list[dict[str, object]] = [
    {"hazards": ["", "(", "Skin Sens. 1A (", "Acute Tox. 9 (oral)", "H317", "Skin  Corr. 1"]},
    {"hazards": ["Skin Sens. 1A"], "limits": {"Skin Sens. 1A": "0 %", "": "1 %", "Skin Sens. 1": "-1 %"}},
    {"hazards": ["Aquatic Chronic 1"], "m_chronic": "0"},
    {"hazards": ["Aquatic Acute 1"], "m_acute": {"min": "-1", "max": "10"}},
    {"hazards": ["Acute Tox. 1 (oral)"], "ate": {"oral": "0 mg/kg", "gas": "-5 ppm"}},
    {"hazards": ["Acute Tox. 2 (inhalation)"], "ate": {"vapour": {"min": "0.1 mg/L", "max": "30 mg/L"}}, "volatile": "organic"},
    {"hazards": ["Skin Sens. 1A"], "pct": "0"},
    {"hazards": ["Skin Sens. 1A"], "cas": "no number"},
]


@pytest.mark.parametrize("odd", ODD, ids=str)
@pytest.mark.parametrize("scheme", SCHEMES)
def test_whatever_a_record_says_there_is_an_answer(odd: dict[str, object], scheme: str) -> None:
    found = classified(scheme, [{"pct": "5", **odd}, {"pct": "5", **odd}])
    assert found.known


def test_an_empty_paint_is_no_harmless_one() -> None:
    found = of_subject("eu", subject(catalog({"WATER": WATER}, {"T-1": sheet("T-1", [{"material": "WATER", "amount": "0 kg"}], "100 kg")}), "T-1"))
    assert (found.known, found.remarks) == (False, ("cannot be computed: the lines do not add up to a batch",))


# ---------------------------------------------------------------- single rules


def test_one_substance_in_two_materials_is_added_up_by_its_number() -> None:
    parts = [{"pct": "0.02", "cas": "2634-33-5", "hazards": ["Skin Sens. 1A"], "limits": {"Skin Sens. 1A": "0.036 %"}} for _ in range(2)]
    found = classified("eu", parts)
    assert label(found, "skin-sens") == "Skin Sens. 1A"
    assert [one.materials for one in surely(found, "skin-sens").causes] == [("M-0", "M-1")]  # type: ignore[union-attr]


@pytest.mark.parametrize(("day", "counts"), [(date(2022, 11, 22), True), (date(2022, 11, 23), False)])
def test_a_withdrawn_class_counts_until_its_day(day: date, counts: bool) -> None:
    one = Ingredient("titanium dioxide", "13463-67-7", Fraction(1, 5), Fraction(1, 5), ("Carc. 2 (inhalation)",), materials=("RM-1",))
    eu, us = (classify(scheme, [one], (), day) for scheme in ("eu", "us"))
    assert (label(eu, "carc") == "Carc. 2") is counts
    assert any("annulled" in remark for remark in eu.remarks) is not counts
    assert label(us, "carc") == "Carc. 2"


@pytest.mark.parametrize(
    ("low", "high", "kind"),
    [(None, 2.0, "known"), (11.5, 12.0, "known"), (8.5, 11.5, "open"), (8.5, 11.4, ""), (2.1, 11.4, ""), (None, None, "")],
)
def test_an_extreme_ph_makes_a_paint_corrosive(low: float | None, high: float | None, kind: str) -> None:
    found = classify("eu", [], (), TODAY, (low, high))
    assert {one.kind for one in found.outcomes} == ({kind} if kind else set())
    assert not kind or {one.statement for one in found.outcomes} == {"H314", "H318"}


def test_a_class_of_2023_waits_for_its_day() -> None:
    one = Ingredient("x", "", Fraction(1, 100), Fraction(1, 100), ("ED HH 1",))
    assert [label(classify("eu", [one], (), day), "ed-hh") for day in (date(2026, 4, 30), date(2026, 5, 1))] == ["", "ED HH 1"]


def test_a_sensitising_paint_names_further_sensitisers() -> None:
    limits = {"Skin Sens. 1A": "0.0015 %"}
    parts = [{"pct": pct, "hazards": ["Skin Sens. 1A"], "limits": limits} for pct in ("0.002", "0.0002")]
    one = surely(classified("eu", parts), "contains")
    assert one is not None and (one.result, [cause.name for cause in one.causes]) == ("to be named on the label", ["part 1"])


def test_aspiration_waits_for_the_viscosity() -> None:
    found = classified("eu", [{"pct": "12", "hazards": ["Asp. Tox. 1"]}])
    assert [(one.result, "viscosity" in one.why) for one in found.of("conditional") if one.family == "asp"] == [("Asp. Tox. 1", True)]


def test_options_of_the_un_are_told_as_such() -> None:
    found = classified("un", [{"pct": "0.5", "hazards": ["Carc. 2"]}])
    assert [(one.result, one.kind) for one in found.outcomes] == [("Carc. 2", "conditional")]


def test_every_class_of_the_rows_is_understood() -> None:
    assert [held for held in CLASSES if not understood(held)] == []
    assert not understood("Acute Tox. 4")
    assert not understood("Skin Sens 1A")


def test_every_figure_says_where_it_is_from_and_can_be_read() -> None:
    data = figures()
    told = [(one.checked, one.source) for part in (data.row, data.cut_off, data.route, data.extreme, data.follows, data.withdrawn) for one in part]
    assert all(checked in ("verified", "memory") and len(source) > 10 for checked, source in told)
    assert all(0 < share(row.least) <= 1 for row in data.row)
    assert all(exact(text, route.dimension) > 0 for route in data.route for text in (*route.limits, *route.points))
    assert data.acute is not None and share(data.acute.unknown_above) == Fraction(1, 10)


# ---------------------------------------------------------------- as a rule

RULE = """\
[[rule]]
id = "no-sensitiser"
kind = "hazard"
level = "{level}"
title = "No label of a sensitiser."
why = "Customers ask for it."
scheme = "eu"
unwanted = {unwanted}
source = {{ document = "house", checked = "house" }}
"""


def told(level: str, unwanted: str, *parts: dict[str, object]) -> list[tuple[str, str]]:
    """What a rule of the house says about a mixture: kind and message."""
    materials, formula = records(parts)
    made = files(materials, {"T-1": formula}) | {"rules/house.toml": RULE.format(level=level, unwanted=unwanted)}
    shelf = of_files(made)
    assert shelf.house_faults == ()
    return [(one.fault.kind, one.fault.message) for one in findings(shelf, "T-1") if one.rule == "house/no-sensitiser"]


def test_a_rule_names_what_brings_an_unwanted_class() -> None:
    part_: dict[str, object] = {"pct": "0.0015", "hazards": ["Skin Sens. 1A"], "limits": {"Skin Sens. 1A": "0.0015 %"}}
    assert told("warning", '["H317"]', part_) == [("fail", "by calculation (eu) the paint is due Skin Sens. 1A (H317): part 0 15 ppm")]
    assert told("warning", '["Skin Sens."]', {**part_, "pct": "0.00149"}) == []


def test_an_alternate_is_judged_with_what_it_brings() -> None:
    materials, _ = records([{"pct": "1", "hazards": []}, {"pct": "1", "hazards": ["Skin Sens. 1"]}])
    lines: list[Table] = [{"material": "M-0", "amount": "1 kg", "alternates": ["M-1"]}, {"material": "WATER", "amount": "q.s."}]
    made = files(materials, {"T-1": sheet("T-1", lines, "100 kg")}) | {"rules/house.toml": RULE.format(level="error", unwanted='["H317"]')}
    found = [one.fault.message for one in findings(of_files(made), "T-1") if one.rule == "house/no-sensitiser"]
    assert [words.startswith("with M-1 instead of M-0: by calculation (eu) the paint is due Skin Sens. 1 (H317): part 1 1 %") for words in found] == [True]


@pytest.mark.parametrize(("level", "kinds"), [("error", ["open"]), ("warning", []), ("note", [])])
def test_an_error_is_open_where_hazards_are_unknown(level: str, kinds: list[str]) -> None:
    assert [kind for kind, _ in told(level, '["Skin Sens."]', {"pct": "0.2"}, {"pct": "1", "hazards": ["Eye Irrit. 2"]})] == kinds


def test_a_record_that_keeps_a_withdrawn_class_is_told() -> None:
    record = {**material({"cas": "13463-67-7", "hazards": ["Carc. 2 (inhalation)"]}, 0)}
    shelf = catalog({"M-0": record}, {})
    found = [one for one in Judge(shelf).material(shelf.material("materials/M-0.toml")) if one.rule == "hazard/withdrawn-titanium-dioxide"]
    assert [(one.level.name, one.fault.message) for one in found] == [("warning", "part 0 carries Carc. 2 (inhalation)")]


def test_a_rule_on_a_class_that_is_not_computed_is_refused() -> None:
    shelf = of_files(files({}, {}) | {"rules/house.toml": RULE.format(level="error", unwanted='["Skin Sense"]')})
    assert [fault.message for fault in shelf.house_faults] == ['"Skin Sense" is no class or statement that is computed']


# ---------------------------------------------------------------- in reports


@pytest.mark.parametrize("more", [{"ate": {"oral": "450 mg/kg"}}, {"additive": False}, {"m_acute": "10"}, {"limits": {"Skin Sens. 1": "1 %"}}], ids=str)
def test_every_figure_of_a_hazard_is_in_the_digest_of_data(more: dict[str, object]) -> None:
    found = [catalog({"M-0": material({"hazards": [], **one}, 0)}, {}).stock("M-0") for one in ({}, more)]
    prints = {digest.data({"M-0": stock.material}) for stock in found if stock is not None}
    assert len(prints) == 2


def both(before: str, after: str) -> tuple[FormulaChange, tuple[str, ...]]:
    """What a change of the amount of a sensitiser does, and how it is told."""
    sides = []
    for pct in (before, after):
        materials, formula = records([{"pct": pct, "hazards": ["Skin Sens. 1"]}])
        sides.append(catalog(materials, {"T-1": formula}))
    (change,) = formulas(sides[0], sides[1], ["T-1"])
    return change, moved(sides[0], sides[1], change)


def test_a_diff_tells_a_class_that_comes_and_one_that_goes() -> None:
    assert [words for words in both("0.5", "1")[1] if "(eu" in words] == ["hazard (eu, screening): EUH208 -> Skin Sens. 1 H317"]
    assert [words for words in both("1", "0.05")[1] if "(us" in words] == ["hazard (us, screening): Skin Sens. 1 H317 -> no class by calculation"]
    assert both("2", "3")[1] == ()


pairs = st.tuples(
    st.sampled_from([None, [], *([one] for one in CLASSES), ["Acute Tox. 3 (oral)", "Skin Sens. 1A"]]),
    st.sampled_from(["100 %", {"min": "20 %", "max": "60 %"}]),
    st.integers(1, 120_000),
    st.sampled_from([0.01, 0.5, 0.97, 1.0, 1.02, 1.5, 20.0]),
)


def paints(parts: list[tuple[list[str] | None, str | Table, int, float]]) -> list[FormulaSubject]:
    """Two states of a paint: each part in ppm before, and after by its factor."""
    made: dict[str, Table | str] = {"WATER": WATER}
    for at, (classes, said, _, _) in enumerate(parts):
        record = material({} if classes is None else {"hazards": classes}, at)
        record["component"][0]["share"] = said  # type: ignore[index]
        made[f"M-{at}"] = {**record, "disclosure": "full" if said == "100 %" else "above-cut-off"}
    sheets = [
        sheet("T-1", [*({"material": f"M-{at}", "amount": f"{ppm * by:.0f} g"} for at, (_, _, ppm, by) in enumerate(parts)), FILL], "1000 kg")
        for parts in ([(one[0], one[1], one[2], 1.0) for one in parts], parts)
    ]
    return [subject(catalog(made, {"T-1": one}), "T-1") for one in sheets]


FILL: Table = {"material": "WATER", "amount": "q.s."}


@settings(max_examples=150, deadline=None)
@given(st.lists(pairs, min_size=1, max_size=5))
def test_what_looks_steady_has_the_same_classes(parts: list[tuple[list[str] | None, str | Table, int, float]]) -> None:
    one, other = paints(parts)
    same = all(labels(of_subject(name, one, distances=False)) == labels(of_subject(name, other, distances=False)) for name in SCHEMES)
    assert same or not steady(one, other)


def test_much_looks_steady_and_much_does_not() -> None:
    small, large = ([([held], "100 %", 12_000, by) for held in ("Skin Sens. 1", "Eye Dam. 1", "Aquatic Chronic 2")] for by in (1.0001, 20.0))
    assert steady(*paints(small))  # type: ignore[arg-type]
    assert not steady(*paints(large))  # type: ignore[arg-type]


def test_a_table_says_that_it_is_screening_and_whose_labels_these_are(tmp_path: Path) -> None:
    materials, formula = records([{"pct": "1", "hazards": ["Skin Sens. 1"]}, {"pct": "2"}])
    write(tmp_path, {"format": 1}, materials, {"T-1": formula})  # type: ignore[arg-type]
    short, whole = (" ".join(run(tmp_path, "properties", "T-1", *words).out.split()) for words in ((), ("--hazards",)))
    for out in (short, whole):
        assert "a qualified person decide" in out and "labels for consumers follow other law" in out
        assert "open: 1 component without hazards that can be read: part 1 2 % (M-1)" in out
    assert "Skin Sens. 1 H317" in short
    assert "(memory)" in whole and "(memory)" not in short


def test_machines_get_every_class_with_what_brings_it(tmp_path: Path) -> None:
    materials, formula = records([{"pct": "1", "hazards": ["Skin Sens. 1"], "cas": "55406-53-6"}])
    write(tmp_path, {"format": 1}, materials, {"T-1": formula})  # type: ignore[arg-type]
    hazards = ask(tmp_path, "properties").formulas["T-1"]["hazards"]
    assert isinstance(hazards, dict) and list(hazards) == list(SCHEMES)
    known = next(one for one in tables(hazards["eu"]) if one["kind"] == "known")
    assert (known["class"], known["statement"]) == ("Skin Sens. 1", "H317")
    assert known["causes"] == [{"name": "part 0", "cas": "55406-53-6", "min": 1.0, "max": 1.0, "materials": ["M-0"]}]
    assert {tuple(one) for listed in hazards.values() for one in tables(listed)} == {KEYS}


KEYS = ("class", "statement", "kind", "text", "causes", "more", "unit", "checked")


def test_what_nobody_names_is_the_same_in_floats() -> None:
    shelf = Catalog(work_tree(str(EXAMPLE)), Shipped())
    materials = [stock.material for name in shelf.material_files() if (stock := shelf.stock(stem(name)))]
    assert len(materials) == 40
    assert [_unnamed(one) for one in materials] == pytest.approx([float(unnamed_of(one)) for one in materials], rel=1e-12, abs=1e-15)
