"""Two states of a formula: the class of the change, the lines that are told, and that it reads the same both ways."""

from __future__ import annotations

from collections import Counter
from itertools import combinations, permutations

import pytest
from edits import EDITS, base, shelf, states

from formulint.catalog import Catalog
from formulint.change import Change
from formulint.compare import FormulaChange, formula
from formulint.lines import LineChange
from formulint.side import side

OPPOSITE = {"added": "removed", "removed": "added"}


def compared(before: Catalog, after: Catalog, code: str) -> FormulaChange:
    """What differs between two states of a formula."""
    found = formula(side(before, code), side(after, code), code)
    assert found is not None, f"{code} cannot be read"
    return found


def told(line: LineChange) -> str:
    """A line as a case says it."""
    return f"{line.action} {line.material}: {line.before or ''} -> {line.after or ''}"


def mirrored(line: LineChange) -> tuple[object, ...]:
    """What the same line must be in the other direction."""
    material = " -> ".join(reversed(line.material.split(" -> ")))
    return OPPOSITE.get(line.action, line.action), material, line.after, line.before, line.kg_after, line.kg_before


def plain(line: LineChange) -> tuple[object, ...]:
    """A line without its place."""
    return line.action, line.material, line.before, line.after, line.kg_before, line.kg_after


@pytest.mark.parametrize("name", EDITS)
def test_edit(name: str) -> None:
    edit = EDITS[name]
    for before, after in states(edit):
        found = compared(before, after, edit.about)
        assert (found.change.name, list(found.policy)) == (edit.class_, edit.policy)
        assert Counter(told(one) for one in found.additions if one.action != "filled") == Counter(edit.lines)


@pytest.mark.parametrize("name", EDITS)
def test_both_ways(name: str) -> None:
    edit = EDITS[name]
    for before, after in states(edit):
        there, back = compared(before, after, edit.about), compared(after, before, edit.about)
        assert Counter(map(mirrored, there.additions)) == Counter(map(plain, back.additions))
        assert {one.id: one.delta for one in there.properties} == {one.id: None if one.delta is None else -one.delta for one in back.properties}
        assert [(one.before, one.after) for one in there.properties] == [(one.after, one.before) for one in back.properties]
        assert (set(there.new), set(there.gone)) == (set(back.gone), set(back.new))
        assert (there.change, there.policy) == (back.change, back.policy)


@pytest.mark.parametrize("code", ["T-1", "T-2", "SL"])
def test_nothing_differs_from_itself(code: str) -> None:
    same = shelf(base())
    found = compared(same, same, code)
    assert (found.change, found.policy, found.additions, found.new, found.gone) == (Change.none, (), (), (), ())
    assert {one.delta for one in found.properties} <= {0.0, None}
    assert {one.id for one in found.properties if one.delta is None} == {one.id for one in found.properties if not isinstance(one.before, float)}


def test_a_formula_that_comes_and_one_that_goes() -> None:
    files = base()
    without = shelf({name: text for name, text in files.items() if name != "formulas/T-2"})
    come, gone = compared(without, shelf(files), "T-2"), compared(shelf(files), without, "T-2")
    assert {line.action for line in come.additions} == {"added"} and len(come.additions) == 5
    assert {line.action for line in gone.additions} == {"removed"} and len(gone.additions) == 5
    assert (come.change, gone.change) == (Change.compositional, Change.compositional)
    assert (come.before, gone.after) == (None, None)
    assert come.new and not come.gone and set(come.new) == set(gone.gone)


def test_nothing_to_compare() -> None:
    assert formula(None, None, "T-9") is None


def test_a_limit_that_is_passed_and_no_longer() -> None:
    files = base()
    heavy = {**files, "formulas/T-1": files["formulas/T-1"].replace('min = "9 lb/gal"', 'min = "9 kg/L"')}
    found = compared(shelf(files), shelf(heavy), "T-1")
    (density,) = (one for one in found.properties if one.id == "density")
    assert (density.verdict_before, density.verdict_after) == ("pass", "fail")
    assert "own-limit/density" in {one.rule for one in found.new} and not found.gone
    assert found.policy == ("limits",)


def test_every_class_is_reached_and_policy_is_told_beside_it() -> None:
    assert {edit.class_ for edit in EDITS.values()} == {one.name for one in Change} - {"policy", "evidence"}
    assert any(edit.policy for edit in EDITS.values())


CHARGED = ("W", "P", "B", "G", "E")


@pytest.mark.parametrize("order", list(permutations(CHARGED))[::5], ids="".join)
def test_no_more_lines_are_told_to_have_moved_than_had_to(order: tuple[str, ...]) -> None:
    files = base()
    lines = {code: f'  {{ material = "{code}", amount = "20 kg" }},\n' for code in CHARGED}
    head, _, rest = files["formulas/T-2"].partition("additions = [\n")
    before, after = ({**files, "formulas/T-2": f"{head}additions = [\n{''.join(lines[code] for code in codes)}]\n"} for codes in (CHARGED, order))
    kept = max(len(run) for size in range(1, 6) for run in combinations(order, size) if list(run) == sorted(run, key=CHARGED.index))
    found = compared(shelf(before), shelf(after), "T-2")
    assert rest and [line.action for line in found.additions] == ["moved"] * (len(CHARGED) - kept)
