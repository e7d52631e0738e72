"""A revision released: what is asked, what is written, and what proves it again."""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Mapping
from pathlib import Path

import pytest
import tomli
from proposals import CONCESSION, Edit, Edits, both
from repos import Repo
from signing import (
    DAY,
    FLAT,
    MANAGER,
    OFFICER,
    RECORD,
    SECOND,
    SETTINGS,
    SIGNERS,
    SLIGHT,
    House,
    lose,
    refused,
    untested,
)
from story import amount, replace

from formulint.released import ReleaseRecord, text_of
from formulint.render import FORMATS
from formulint.shape import read_table


def record_of(house: House, name: str = RECORD) -> ReleaseRecord:
    found, faults = read_table(tomli.loads((house.repo.path / name).read_text()), ReleaseRecord, name, ())
    assert found is not None, faults
    return found


# --- what is written ---------------------------------------------------------------------------------------------


def test_a_record_says_what_it_rests_on(released: House) -> None:
    record = record_of(released)
    assert (record.code, record.revision, str(record.released_on)) == ("T-101-r1", 1, DAY)
    assert [one.by for one in record.approval] == [MANAGER]
    assert released.repo.git("rev-parse", f"{record.commit}^{{tree}}") == record.tree
    assert {one.path: one.id for one in record.input}[FLAT] == released.repo.git("rev-parse", f"{record.commit}:{FLAT}")
    assert {"formulint.toml", SIGNERS, "rules/house.toml", "materials/RM-1301.toml"} <= {one.path for one in record.input}


def test_its_digests_and_numbers_are_those_that_are_shown(released: House) -> None:
    record = record_of(released)
    shown = json.loads(released.ask("properties", "T-101").out)["formulas"][0]
    assert {name: getattr(record.digest, name) for name in ("composition", "making", "data")} == shown["digest"]
    values = {one.id: float(one.value) for one in record.property if one.value is not None}
    assert values == {name: one["value"] for name, one in shown["properties"].items() if name in values}
    assert [one.classes for one in record.hazard if one.scheme == "eu"] == [("EUH208",)]


def test_the_same_commit_tool_and_day_give_the_same_bytes(house: House) -> None:
    text = house.on_record()
    (house.repo.path / RECORD).unlink()
    house.repo.git("checkout", "-q", house.works.base)
    assert house.release().status == 0
    assert (house.repo.path / RECORD).read_text() == text == text_of(record_of(house))


def test_another_commit_is_named(house: House) -> None:
    house.approve()
    house.commit({FLAT: SLIGHT})
    house.repo.write({FLAT: "not even TOML"})
    assert house.release("--at", house.works.base).status == 0
    assert record_of(house).commit == house.works.base


def test_an_intermediate_and_its_materials_are_inputs(house: House) -> None:
    house.commit({"formulas/T-102.toml": untested})
    house.on_record("T-102")
    inputs = {one.path for one in record_of(house, "releases/T-102-r1.toml").input}
    assert {"formulas/PX-1.toml", "materials/RM-1601.toml"} <= inputs


RESULTS = """\
code = "{code}-r1"
formula = "{code}"
revision = 1
digest = {{ composition = "{composition}", data = "{data}" }}
"""


FLAT_IS = ("c1:dff9f90da0486a25f60363083a3e929233f6f7b10b3aae78504295dafa6ffa8e", "d1:1029132741696ff9998683c960e40fa660a40b705a022ef3a80e4499abd04d65")
"""Composition and data of T-101 as it lies in the example."""


def measured(house: House, edit: Edit = lambda text: text) -> Edits:
    """Every test of T-105 measured, in the middle of what is asked."""
    words = dict(re.findall(r"(Composition|Data): (\S+)", house.seals("T-105")))
    text = RESULTS.format(code="T-105", composition=words["Composition"], data=words["Data"])
    for name, asked in tomli.loads((house.repo.path / "formulas/T-105.toml").read_text())["tests"].items():
        value = asked.get("min", asked.get("max", "pass"))
        more = "".join(f'{key} = "{asked[key]}"\n' for key in ("after", "condition") if key in asked)
        text += f'\n[[result]]\ntest = "{name}"\nmethod = "{asked["method"]}"\nvalue = "{value}"\nmeasured_on = 2026-01-14\nby = "QC"\n{more}'
    return {"results/T-105-r1.toml": edit(text)}


def test_results_that_it_relies_on_are_on_record(house: House) -> None:
    house.commit(measured(house))
    house.on_record("T-105")
    record = record_of(house, "releases/T-105-r1.toml")
    assert record.result and {one.verdict for one in record.result} == {"pass"}
    assert "results/T-105-r1.toml" in {one.path for one in record.input}


TIGHT: Edits = {FLAT: replace('max = "59 %"', 'max = "55 %"')}


def test_tests_that_nobody_did_are_told_where_the_settings_require_none(house: House) -> None:
    house.commit({FLAT: lambda text: text + ASKED})
    house.on_record()
    assert "not shown by results on file, which the settings do not require: consistency" in record_of(house).cautions


def test_a_concession_without_which_it_were_refused_is_on_record(house: House) -> None:
    house.commit({**TIGHT, "concessions/C-001.toml": CONCESSION})
    house.on_record()
    assert [(one.code, str(one.expires)) for one in record_of(house).concession] == [("C-001", "2026-02-28")]


# --- what is asked -----------------------------------------------------------------------------------------------

ASKED = '\n[tests]\nconsistency = { method = "ASTM D562", min = "95 KU", max = "105 KU" }\n'
FAILED = RESULTS.format(code="T-101", composition=FLAT_IS[0], data=FLAT_IS[1]) + '\n[[result]]\ntest = "consistency"\nmethod = "ASTM D562"\nvalue = "80 KU"\nmeasured_on = 2026-01-14\nby = "QC"\n'
REFUSED: dict[str, tuple[Edits, str]] = {
    "on the bench": ({FLAT: replace('"production"', '"bench"')}, "release/in-production"),
    "outside its own limit": (TIGHT, "own-limit/pvc-binder"),
    "above the batch": ({FLAT: amount("RM-1001", "123.9 lb", "133.9 lb")}, "closure/batch"),
    "a figure that is missing": ({"materials/RM-1301.toml": lambda text: re.sub(r"density +=.*\n", "", text, count=1)}, "closure/batch"),
    "conceded until yesterday": ({**TIGHT, "concessions/C-001.toml": CONCESSION.replace("2026-02-28", "2026-01-19")}, "own-limit/pvc-binder"),
    "an old finding": ({**TIGHT, "standing.toml": 'format = 1\nday = 2026-01-12\n\n[[finding]]\nrule = "own-limit/pvc-binder"\nformula = "T-101"\nabout = "pvc_binder"\nkind = "fail"\nup_to = "60 %"\n'}, "own-limit/pvc-binder"),
    "a test that nobody did": ({FLAT: lambda text: text + ASKED, SETTINGS: lambda text: f'results = "required"\n{text}'}, "results/test-on-file"),
    "a test that failed": ({FLAT: lambda text: text + ASKED, "results/T-101-r1.toml": FAILED}, "release/tests-met"),
    "dated after the release": ({FLAT: SLIGHT}, "release/date"),
}  # fmt: skip


@pytest.mark.parametrize("case", REFUSED)
def test_what_is_not_proved_is_refused_and_named(house: House, case: str) -> None:
    edits, rule = REFUSED[case]
    house.commit(edits, day="2026-01-21" if rule == "release/date" else "2026-01-13")
    house.approve()
    answer = house.release()
    assert answer.status == 1 and rule in refused(answer), answer.said
    assert all(one["remedy"] for one in json.loads(answer.out)["results"] if one["rule"].startswith(("release/", "approval/")))
    assert house.records == []


@pytest.mark.parametrize("how", sorted(FORMATS))
def test_a_finding_that_is_in_no_file_shows_no_empty_place(house: House, how: str) -> None:
    house.commit({}, day="2026-01-21")
    said = house.ask("release", "T-101", "--today", DAY, how=how).out
    assert "release/date" in said
    assert re.findall(r"NO: *:|\bat *$|>at *<|^\s*[*-]?\s*line \d+$|  \n +\n", said, re.MULTILINE) == []


def test_a_premix_on_the_bench_is_judged_as_what_is_sold(house: House) -> None:
    house.commit({"formulas/PX-1.toml": replace('min = "90 %"', 'min = "99 %"'), "formulas/T-102.toml": untested})
    house.approve("T-102")
    assert "own-limit/water" in refused(house.release(code="T-102"))


@pytest.mark.parametrize(("words", "said"), [((), "one formula is released at a time"), (("T-101", "T-102"), "one formula"), (("T-999",), "there is no formula T-999")])
def test_a_question_that_is_none(house: House, words: tuple[str, ...], said: str) -> None:
    answer = house.ask("release", *words)
    assert answer.status == 2 and said in answer.err and " do: " in answer.said


def staged_only(repo: Repo) -> None:
    """A change that is staged, and on disk the file as it is committed."""
    text = (repo.path / FLAT).read_text()
    repo.stage({FLAT: "x"})
    repo.write({FLAT: text})


DIRTY: dict[str, Callable[[Repo], object]] = {
    "edited": lambda repo: repo.write({FLAT: (repo.path / FLAT).read_text() + "# x\n"}),
    "staged": lambda repo: repo.stage({FLAT: (repo.path / FLAT).read_text() + "# x\n"}),
    "staged and taken back on disk": lambda repo: staged_only(repo),
    "a new material": lambda repo: repo.write({"materials/RM-9999.toml": "x"}),
    "a material gone": lambda repo: repo.write({"materials/RM-1301.toml": None}),
    "other signers": lambda repo: repo.write({SIGNERS: "x"}),
    "other settings": lambda repo: repo.write({SETTINGS: "format = 1\n"}),
}  # fmt: skip


@pytest.mark.parametrize("dirty", DIRTY)
def test_what_is_not_committed_is_not_released(house: House, dirty: str) -> None:
    house.approve()
    DIRTY[dirty](house.repo)
    answer = house.release()
    assert answer.status == 2 and "otherwise than" in answer.err and house.records == []


def test_beside_an_edited_record_nothing_is_released(released: House) -> None:
    released.repo.write({RECORD: "x"})
    assert released.release().status == 2


def test_what_does_not_count_may_lie_here(house: House) -> None:
    house.approve()
    house.repo.write({"notes.txt": "x", "README.md": "y"})
    assert house.release().status == 0


# --- once --------------------------------------------------------------------------------------------------------


def test_a_revision_is_released_once(released: House) -> None:
    text = (released.repo.path / RECORD).read_text()
    answer = released.release()
    assert (answer.status, refused(answer)) == (1, {"release/once"})
    assert (released.repo.path / RECORD).read_text() == text


@pytest.mark.parametrize("there", ["", "x", None], ids=["empty", "something", "a link"])
def test_nothing_that_lies_there_is_written_over(house: House, there: str | None) -> None:
    house.approve()
    (house.repo.path / "releases").mkdir()
    path = house.repo.path / RECORD
    if there is None:
        path.symlink_to("nowhere")
    else:
        path.write_text(there)
    assert refused(house.release()) == {"release/once"}
    assert path.is_symlink() if there is None else path.read_text() == there
    assert house.records == ["T-101-r1.toml"]


def test_the_next_revision_is_released_and_the_one_before_is_not(released: House) -> None:
    released.commit({FLAT: SECOND}, day=DAY)
    released.on_record()
    assert released.records == ["T-101-r1.toml", "T-101-r2.toml"]
    released.commit({FLAT: replace("revision = 2", "revision = 1")}, day=DAY)
    assert "release/once" in refused(released.release())


def test_an_approver_of_a_change_wrote_none_of_it_since_the_last_release(released: House) -> None:
    released.commit({FLAT: SECOND}, day=DAY, who=MANAGER)
    released.approve()
    assert refused(released.release()) == {"approval/given"}


def test_a_release_is_not_dated_before_the_one_before(released: House) -> None:
    released.commit({FLAT: SECOND}, day="2026-01-14")
    released.approve(day="2026-01-15")
    assert "release/date" in refused(released.release("--at", "HEAD", today="2026-01-19"))


# --- the tag -----------------------------------------------------------------------------------------------------


@pytest.fixture
def named(house: House) -> House:
    """A house where git knows who tags."""
    house.repo.git("config", "user.name", "L")
    house.repo.git("config", "user.email", MANAGER)
    return house


def test_the_tag_names_digests_and_record(named: House) -> None:
    named.approve()
    assert named.release("--tag").status == 0
    text = named.repo.git("cat-file", "tag", "T-101-r1")
    record = record_of(named)
    assert f"object {record.commit}" in text and record.digest.composition in text and "Record: sha256:" in text


def test_a_tag_that_is_taken_lets_nothing_be_written(named: House) -> None:
    named.approve()
    named.repo.git("tag", "T-101-r1")
    answer = named.release("--tag")
    assert answer.status == 2 and "there is a tag T-101-r1 already" in answer.err and named.records == []


def test_a_tag_that_was_left_out_is_made_when_the_record_holds(named: House) -> None:
    named.on_record()
    assert named.ask("release", "--verify", "--tag").status == 0
    assert named.repo.git("rev-parse", "T-101-r1^{commit}") == record_of(named).commit


# --- proved again ------------------------------------------------------------------------------------------------


def verified(house: House, *words: str) -> tuple[int, str]:
    answer = house.ask("release", "--verify", *words)
    if answer.status == 2 and not answer.out:
        return 2, answer.err
    told = json.loads(answer.out)["records"]
    return answer.status, " ".join(f"{trouble['level']}: {trouble['text']}" for one in told for trouble in one["troubles"]) + " ".join(one["cannot"] or "" for one in told)


def test_a_record_holds_years_later_whatever_became_of_the_paint(released: House) -> None:
    released.commit({FLAT: None, SETTINGS: lambda text: text.replace("lab.manager", "new.manager"), "rules/house.toml": None}, day="2026-01-21")
    assert verified(released) == (0, "")
    assert verified(released, "T-101-r1") == (0, "")


def rewritten(house: House, edit: Edit) -> None:
    """A record with something else in it, as the tool would write it."""
    house.repo.write({RECORD: edit((house.repo.path / RECORD).read_text())})


FORGED: dict[str, tuple[Edit, str]] = {
    "by hand": (lambda text: text + "# x\n", "1: its text is not what formulint release writes"),
    "another number": (lambda text: text.replace('"1.43043294926"', '"1.44043294926"'), "2: property density: value on record 1.44043294926, now 1.43043294926"),
    "another verdict": (replace('value = "1.43043294926", verdict = "pass"', 'value = "1.43043294926"'), "2: property density: verdict on record none"),
    "a property less": (lambda text: re.sub(r'  \{ id = "density".*\n', "", text), "2: property density: not on record, found now"),
    "another composition": (lambda text: re.sub(r"c1:.", "c1:0", text), "1: composition is on record as c1:0"),
    "another data digest": (lambda text: re.sub(r"d1:.", "d1:0", text), "1: data is on record as d1:0"),
    "a classification less": (replace(', classes = ["EUH208"]', ""), "2: hazard eu: classes on record none, now EUH208"),
    "an input less": (lambda text: re.sub(r'  \{ path = "rules/house.toml".*\n', "", text), "1: the record does not list what the release rests on"),
    "an approver more": (lambda text: re.sub(r"(  \{ by = .*\n)", lambda found: found[1] + found[1].replace(MANAGER, OFFICER), text), "1: the approvals on record are not those"),
    "another approver": (lambda text: text.replace(f'by = "{MANAGER}"', f'by = "{OFFICER}"'), "1: the approvals on record are not those"),
    "no approver": (lambda text: re.sub(r"  \{ by = .*\n", "", text), "1: formulint 0.1.0 would not release it: approval/given"),
    "another day": (replace("released_on = 2026-01-20", "released_on = 2026-01-11"), "release/date"),
    "another tree": (lambda text: re.sub(r'tree = "(.)', lambda found: f'tree = "{"1" if found[1] == "0" else "0"}', text), "1: commit"),
    "another name": (replace("Interior flat, white", "Exterior"), "1: the record does not list"),
    "another revision": (replace('code = "T-101-r1"', 'code = "T-101-r9"'), "1: the file is called T-101-r1"),
    "no caution": (lambda text: re.sub(r"cautions = \[\n.*\n\]", "cautions = [\n]", text), "2: cautions"),
}  # fmt: skip


@pytest.mark.parametrize(("edit", "words"), FORGED.values(), ids=FORGED.keys())
def test_a_record_that_says_something_else_does_not_hold(released: House, edit: Edit, words: str) -> None:
    before = (released.repo.path / RECORD).read_text()
    rewritten(released, edit)
    assert (released.repo.path / RECORD).read_text() != before
    status, told = verified(released)
    assert status == 1 and words in told, told


def test_other_versions_are_named(released: House) -> None:
    rewritten(released, both(replace('tool = "0.1.0"', 'tool = "0.0.9"'), replace('"1.43043294926"', '"1.44"'), lambda text: re.sub(r'(packs.voc = .*sha256 = ")..', r"\g<1>00", text)))
    status, told = verified(released)
    assert status == 1 and "(by formulint 0.1.0, and the record by 0.0.9, other rules: voc)" in told


def test_an_older_version_that_came_to_the_same_holds(house: House) -> None:
    house.approve()
    assert house.release().status == 0
    house.commit({RECORD: replace('tool = "0.1.0"', 'tool = "0.0.9"')}, day=DAY)
    answer = house.ask("release", "--verify")
    assert answer.status == 0 and "released by formulint 0.0.9, proved again by 0.1.0" in answer.out


GONE: Mapping[str, Callable[[ReleaseRecord], str]] = {
    "the approval": lambda record: record.approval[0].object,
    "the commit": lambda record: record.commit,
    "the sheet": lambda record: next(one.id for one in record.input if one.path == FLAT),
    "a material": lambda record: next(one.id for one in record.input if one.path == "materials/RM-1301.toml"),
    "the list of signers": lambda record: next(one.id for one in record.input if one.path == SIGNERS),
}


@pytest.mark.parametrize("gone", GONE.values(), ids=GONE.keys())
def test_what_is_missing_is_no_yes(released: House, gone: Callable[[ReleaseRecord], str]) -> None:
    oid = gone(record_of(released))
    lose(released.repo, oid)
    status, told = verified(released)
    assert status == 2, told


def test_a_shallow_clone_cannot_say(released: House, tmp_path: Path) -> None:
    released.repo.git("clone", "-q", "--depth", "1", f"file://{released.repo}", str(tmp_path / "clone"))
    clone = released._replace(works=type(released.works)(Repo(tmp_path / "clone"), "", {}))
    status, told = verified(clone)
    assert status == 2 and "shallow" in told
    assert clone.release().status == 2


def test_records_that_nobody_wrote(house: House) -> None:
    assert "nothing is on record" in house.ask("release", "--verify").err
    house.on_record()
    assert "there is no record T-1-r1" in house.ask("release", "--verify", "T-1-r1").err
