"""What a table of cases cannot say of pairs: rules that contradict themselves, and that nothing makes an unsafe rule weaker."""

from __future__ import annotations

import pytest
from in_memory import SETTINGS, Records, catalog, findings
from lint_cases import shelf
from msgspec import convert
from repository import Table

from formulint.finding import Finding, Level, Source
from formulint.judge import Judge, Scope
from formulint.kinds import KINDS
from formulint.kinds.compatibility import Side, Unnamed
from formulint.material import Material
from formulint.rulebook import Rulebook
from formulint.shape import dec_hook, read_table

SHELF: Records = {name.split("/")[1].removesuffix(".toml"): text for name, text in shelf().items()}
RULE: Table = {"kind": "compatibility", "id": "toy", "level": "error", "title": "Toy.", "why": "toy", "source": {"document": "toy"}}
ONE: Table = {"one": {"tags": ["acid"]}, "one_is": "acid"}
OTHER: Table = {"other": {"tags": ["carbonate"]}, "other_is": "carbonate"}

# Words of the complaint, the key it stands at, and what is wrong in the rule.
WRONG: list[tuple[str, str, Table]] = [
    ("every material", "one", {"one": {}, "one_is": "anything"}),
    ("every material", "other", {**ONE, "other": {"except": [{"tags": ["acid"]}]}, "other_is": "anything"}),
    ("stand together", "other_is", {**ONE, "other": {"tags": ["carbonate"]}}),
    ("stand together", "other_is", {**ONE, "other_is": "carbonate"}),
    ("only keep one out", "other", {**ONE, "contact": "vessel"}),
    ("only keep one out", "other", {**ONE, "other_may_be": {"functions": ["buffer"]}}),
    ("by an error", "one_may_be", {**ONE, **OTHER, "level": "warning", "one_may_be": {"functions": ["buffer"]}}),
    ("by an error", "other_may_be", {**ONE, **OTHER, "level": "note", "other_may_be": {"functions": ["buffer"]}}),
    ("it says nothing", "on", {**ONE, "on": "film"}),
    ("", "least", {**ONE, "least": "3 kg"}),
    ("min not above max", "ph", {**ONE, "ph": {"min": "9", "max": "8"}}),
    ("min not above max", "ph", {**ONE, "ph": {}}),
    ("min not above max", "ph", {**ONE, "ph": {"min": "8 %"}}),
]  # fmt: skip


def paint(*codes: str, state: str = "bench", **line: object) -> Records:
    """A formula of these materials, a kilogram each, all in one vessel."""
    additions = [{"material": code, "amount": "1 kg", **line} for code in codes]
    stage = {"name": "Mix", "kind": "letdown", "additions": [*additions, {"material": "FILLER", "amount": "q.s."}]}
    return {"T-1": {"name": "paint", "revision": 1, "state": state, "class": "flat", "markets": ["us-national"], "batch": "100 kg", "stage": [stage]}}


def unsafe(materials: Records, formulas: Records, settings: Table = SETTINGS) -> list[Finding]:
    """What is unsafe in the formula."""
    return [one for one in findings(catalog({**SHELF, **materials}, formulas, settings), "T-1") if one.rule.startswith("unsafe/")]


def material(**fields: object) -> Material:
    """A material of the house, with these fields."""
    return convert({"code": "M", "name": "m", "functions": ["buffer"], **fields}, Material, dec_hook=dec_hook)


@pytest.mark.parametrize(("words", "key", "rule"), WRONG)
def test_a_rule_that_contradicts_itself_is_refused(words: str, key: str, rule: Table) -> None:
    record, faults = read_table({**RULE, **rule}, KINDS["compatibility"], "rules.toml", ("rule", 0))
    assert record is not None, faults
    found = [(error.at[0], error.message) for error in record.faults_of_reading()]
    assert [at for at, message in found if words in message] == [key], found


@pytest.mark.parametrize("rule", [ONE, {**ONE, **OTHER}, {**ONE, **OTHER, "contact": "vessel"}, {**ONE, "least": "1 %", "on": "film"}])
def test_a_rule_that_does_not_is_taken(rule: Table) -> None:
    record, faults = read_table({**RULE, **rule}, KINDS["compatibility"], "rules.toml", ("rule", 0))
    assert record is not None and not faults
    assert list(record.faults_of_reading()) == []


@pytest.mark.parametrize("level", ["note", "warning"])
def test_no_setting_lowers_what_is_unsafe(level: str) -> None:
    lowered = {**SETTINGS, "rule_setting": [{"rule": "unsafe/nitrite-with-secondary-amine", "level": level, "reason": "we always did"}]}
    (found,) = unsafe({}, paint("NITRITE", "MORPHOLINE"), lowered)
    assert found.level is Level.error and found.blocks
    settings = Judge(catalog(SHELF, paint("NITRITE"), lowered)).findings(Scope((), ()))
    assert "unsafe/nitrite-with-secondary-amine cannot be given another level" in [one.fault.message for one in settings]


def test_what_is_only_recalled_and_unsafe_blocks_on_the_bench_and_says_so() -> None:
    (found,) = unsafe({"HG": {"name": "hg", "functions": ["other"], "tags": ["mercury"]}}, paint("HG"))
    assert found.blocks and found.source is not None and found.source.checked == "memory"
    assert found.fault.message.endswith("(figure recalled, not verified)")


def test_once_the_house_has_confirmed_it_it_is_no_longer_said() -> None:
    confirmed = {**SETTINGS, "confirmed": ["unsafe/no-mercury"]}
    (found,) = unsafe({"HG": {"name": "hg", "functions": ["other"], "tags": ["mercury"]}}, paint("HG"), confirmed)
    assert found.blocks
    assert "recalled" not in found.fault.message


def test_what_nobody_knows_to_be_safe_blocks_on_the_bench_too() -> None:
    for state, blocks in (("production", True), ("pilot", True), ("bench", True), ("withdrawn", False)):
        (found,) = unsafe({}, paint("INHIBITOR", "MORPHOLINE", state=state))
        assert (found.fault.kind, found.blocks) == ("open", blocks)
        assert [place.path for place in found.fault.missing] == ["materials/INHIBITOR.toml"]


def test_a_pair_is_told_once_with_both_places() -> None:
    (found,) = unsafe({}, paint("NITRITE", "MORPHOLINE", "NITRITE", "MORPHOLINE"))
    places = [place.keys[3] for place in (found.fault.place, *found.fault.related)]
    assert places == [0, 1]


@pytest.mark.parametrize(
    ("named", "components"),
    [
        (False, []),
        (False, [{"name": "water", "share": "90 %", "volatile": "water"}]),
        (False, [{"name": "water", "share": "90 %", "cas": "7732-18-5"}]),
        (False, [{"name": "salt", "share": "9 %", "cas": "532-32-1"}, {"name": "secret", "share": "1 %"}]),
        (True, [{"name": "salt", "share": "9 %", "cas": "532-32-1"}]),
        (True, [{"name": "salt", "share": "9 %", "cas": "532-32-1"}, {"name": "water", "share": "90 %", "volatile": "water"}]),
    ],
)
def test_a_material_says_what_it_is_where_every_component_has_its_number(named: bool, components: list[Table]) -> None:
    assert Unnamed(functions=("buffer",)).holds(material(component=components)) is not named


def test_of_alternatives_one_is_enough_and_the_rest_must_hold_too() -> None:
    side = Side(any_=(Side(tags=("acid",)), Side(ionic=("cationic",))), but=(Side(tags=("carbonate",)),))
    told = {"acid": material(tags=["acid"]), "cationic": material(ionic="cationic"), "neither": material(tags=["borate"])}
    told["excepted"] = material(tags=["acid", "carbonate"])
    assert [name for name, one in told.items() if side.holds(one)] == ["acid", "cationic"]


def test_a_side_knows_whether_the_stage_counts() -> None:
    staged = Side(stages=("tint",))
    assert [Side(any_=(Side(), staged)).staged, Side(but=(staged,)).staged, Side(any_=(Side(tags=("acid",)),)).staged] == [True, True, False]


def test_suspects_are_among_what_is_asked_of_every_material() -> None:
    book: Rulebook = catalog(SHELF, paint("WATER")).rulebook
    entry = next(one for one in book.in_force() if one.id == "unsafe/nitrite-with-secondary-amine")
    inhibitor, morpholine = (catalog(SHELF, {}).stock(code) for code in ("INHIBITOR", "MORPHOLINE"))
    assert inhibitor is not None and morpholine is not None
    assert [side.holds(stock.material) for side, stock in zip(entry.rule.about, (inhibitor, morpholine), strict=True)] == [True, True]
    assert isinstance(entry.rule.source, Source)
