"""The laws of science against printed worked examples, and the house rules of their docstrings and bodies."""

from __future__ import annotations

import ast
import doctest
import inspect
import re
from collections import Counter
from types import ModuleType

import pytest
from science_cases import (
    CASES,
    FOLDER,
    LAWS,
    MIXTURES,
    MODULES,
    MUST_FAIL,
    PROPERTY_LAWS,
    TOTALS,
    Case,
    CaseFault,
    Law,
    call,
    check,
    expected,
    figure,
    named,
    read,
    section,
    totals,
    units,
)


@pytest.mark.parametrize("case", CASES.values(), ids=CASES)
def test_case(case: Case) -> None:
    assert "complaint" not in case
    check(case)


@pytest.mark.parametrize("case", MUST_FAIL.values(), ids=MUST_FAIL)
def test_the_runner_can_fail(case: Case) -> None:
    with pytest.raises(CaseFault, match=re.escape(str(case["complaint"]))):
        check(case)


def test_ids_are_unique() -> None:
    tables = [c for path in FOLDER.glob("*.toml") for kind in ("case", "mixture") for c in read(path.name, kind)]
    assert len(tables) == len(CASES) + len(MIXTURES) + len(MUST_FAIL)


def test_every_law_has_a_case_and_the_published_ones_are_counted(capsys: pytest.CaptureFixture[str]) -> None:
    of_laws = Counter({name: 0 for name in LAWS if name not in ("positive", "not_below_zero")})
    met = [c for c in CASES.values() if c["evidence"] == "published" and c.get("agrees", True)]
    wrong = [c for c in CASES.values() if c["evidence"] == "published" and not c.get("agrees", True)]
    of_laws.update(name for case in met for name in set(named(case)))
    with capsys.disabled():
        print(f"\n{len(met)} published examples met, {len(wrong)} misprints and outliers not met, as it should be")
        print(", ".join(f"{name} {count}" for name, count in sorted(of_laws.items())))
    assert len(met) >= 62, "evidence may grow, not shrink"
    in_mixtures = {name for mixture in MIXTURES.values() for name in expected(mixture)}
    assert set(of_laws) <= {name for case in CASES.values() for name in named(case)} | in_mixtures


@pytest.mark.parametrize("mixture", MIXTURES.values(), ids=MIXTURES)
def test_mixture(mixture: Case) -> None:
    assert set(mixture) == {"id", "description", "parts", "expect"}
    known = totals(mixture)
    for name, text in expected(mixture).items():
        unit = TOTALS.get(name) or units(LAWS[name], "Returns")[name]
        law = LAWS.get(name)
        value = known[name] if law is None else law(**{n: known[n] for n in inspect.signature(law).parameters})
        assert value == pytest.approx(figure(text, unit), abs=1e-5, rel=0.0), name


def test_ammonia_is_what_an_analysis_by_difference_adds() -> None:
    known = totals(MIXTURES["voc_constructed::con-08-ammonia"])
    by_difference = call("voc_by_difference", known)
    left = known["total_volume"] - known["water_volume"]
    assert by_difference - call("voc_less_water", known) == pytest.approx(0.00125 / left)


# --- the house rules of the docstrings and of the bodies ------------------------------------------------------------


@pytest.mark.parametrize("law", LAWS.values(), ids=LAWS)
def test_docstring_says_what_the_signature_says(law: Law) -> None:
    assert list(units(law)) == list(inspect.signature(law).parameters)
    assert len(units(law, "Returns")) == 1
    assert section(law, "Notes")
    assert ">>> " in section(law, "Examples")
    assert re.findall(r"^\.\. \[1\] .*(?s:.*)(?:verified|practice|memory)", section(law, "References"), re.M)


@pytest.mark.parametrize("name", PROPERTY_LAWS)
def test_arguments_of_a_property_are_totals_or_properties_of_the_same_unit(name: str) -> None:
    known = TOTALS | {law: units(LAWS[law], "Returns")[law] for law in PROPERTY_LAWS}
    assert units(LAWS[name]) == {argument: known.get(argument) for argument in units(LAWS[name])}


@pytest.mark.parametrize("module", MODULES, ids=lambda module: module.__name__)
def test_doctests(module: ModuleType) -> None:
    result = doctest.testmod(module)
    assert result.failed == 0 < result.attempted


ARITHMETIC = (ast.BinOp, ast.operator, ast.Name, ast.Constant, ast.expr_context, ast.Return, ast.Assign, ast.Expr)


def strange(tree: ast.AST) -> list[str]:
    """Where a law does more than arithmetic, which no interval could follow."""
    laws = [n for n in ast.walk(tree) if isinstance(n, ast.FunctionDef) and n.name not in ("positive", "not_below_zero", "low_solids")]
    nodes = [(law.name, node) for law in laws for line in law.body for node in ast.walk(line)]
    calls = [(n, x.func.id) for n, x in nodes if isinstance(x, ast.Call) and isinstance(x.func, ast.Name)]
    found = [f"{n}: {called}" for n, called in calls if called not in ("positive", "not_below_zero", "_less_water", *LAWS)]
    return found + [f"{n}: {type(x).__name__}" for n, x in nodes if not isinstance(x, (*ARITHMETIC, ast.Call))]


@pytest.mark.parametrize("module", MODULES, ids=lambda module: module.__name__)
def test_bodies_hold_arithmetic_only(module: ModuleType) -> None:
    assert strange(ast.parse(inspect.getsource(module))) == []


@pytest.mark.parametrize("body", ["math.log(a)", "a if a > 0 else 1", "round(a)", "max(a, 1)", "isinstance(a, int)"])
def test_more_than_arithmetic_is_seen(body: str) -> None:
    assert strange(ast.parse(f"def law(a):\n    return {body}"))
