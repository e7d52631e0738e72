"""What was released stays as it was: in lint, in a commit being made, and in a proposal; and what a proposal needs to go into production."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest
from proposals import Answer, Edit, Edits, Works, both
from signing import (
    CHEMIST,
    DAY,
    FLAT,
    MANAGER,
    OFFICER,
    RECORD,
    SECOND,
    SETTINGS,
    SIGNERS,
    SLIGHT,
    STRANGER,
    House,
    Keys,
    refused,
    signed_house,
    untested,
)
from story import amount, in_kilograms, replace


def edited(house: House, edits: Edits) -> dict[str, str | None]:
    """The texts as they lie there, with edits."""
    found: dict[str, str | None] = {}
    for name, edit in edits.items():
        text = edit((house.repo.path / name).read_text()) if callable(edit) else edit
        assert text is None or isinstance(text, str)
        found[name] = text
    return found


def hook(house: House, edits: Edits) -> Answer:
    house.repo.stage(edited(house, edits))
    return house.ask("lint", "--staged", "--today", DAY)


# --- lint and the hook -------------------------------------------------------------------------------------------

ANOTHER: dict[str, tuple[Edits, set[str]]] = {
    "another amount": ({FLAT: SLIGHT}, {"release/as-recorded"}),
    "another order": ({FLAT: lambda text: moved(text, "RM-1403", "RM-1501")}, {"release/as-recorded"}),
    "back to the bench": ({FLAT: both(replace('"production"', '"bench"'), SLIGHT)}, {"release/as-recorded"}),
    "moved away": ({FLAT: None, "formulas/old/T-101.toml": SLIGHT}, {"release/as-recorded"}),
    "a new revision": ({FLAT: SECOND}, set()),
    "other units": ({FLAT: in_kilograms()}, set()),
    "a comment": ({FLAT: lambda text: "# seen\n" + text}, set()),
    "another name": ({FLAT: replace("Interior flat, white", "Flat")}, set()),
    "a figure of a material": ({"materials/RM-1301.toml": replace('"9.06 lb/gal"', '"9.05 lb/gal"')}, set()),
    "withdrawn": ({FLAT: replace('"production"', '"withdrawn"')}, set()),
}  # fmt: skip


def moved(text: str, one: str, other: str) -> str:
    """Two lines of a sheet in the other order."""
    lines = text.split("\n")
    first, second = (next(at for at, line in enumerate(lines) if code in line) for code in (one, other))
    lines[first], lines[second] = lines[second], lines[first]
    return "\n".join(lines)


@pytest.mark.parametrize("case", ANOTHER)
def test_a_released_revision_stays_the_paint_that_it_was(released: House, case: str) -> None:
    edits, rules = ANOTHER[case]
    if case == "moved away":
        edits = {FLAT: None, "formulas/old/T-101.toml": SLIGHT((released.repo.path / FLAT).read_text())}
    answer = hook(released, edits)
    assert refused(answer) - {"change/revision-raised"} == rules, answer.said
    assert answer.status == bool(rules)
    assert refused(released.ask("lint", "--today", DAY)) & {"release/as-recorded"} == rules


def test_a_premix_that_changes_makes_another_paint_of_what_holds_it(house: House) -> None:
    house.commit({"formulas/T-102.toml": untested})
    house.on_record("T-102")
    answer = hook(house, {"formulas/PX-1.toml": both(replace('"104.5 lb"', '"104.4 lb"'), amount("RM-1601", "4.5 lb", "4.4 lb"))})
    assert "revision 1 is on record with composition c1:" in answer.said and "formulas/T-102.toml" in answer.said


TOUCHED: dict[str, tuple[Edit | None, str]] = {
    "edited": (replace('"1.43043294926"', '"1.43"'), "the record T-101-r1 is edited"),
    "edited beyond reading": (lambda text: "[[", "the record T-101-r1 is edited"),
    "deleted": (None, "the record T-101-r1 is deleted"),
}


@pytest.mark.parametrize(("edit", "words"), TOUCHED.values(), ids=TOUCHED.keys())
def test_a_record_is_not_touched(released: House, edit: Edit | None, words: str) -> None:
    answer = hook(released, {RECORD: edit})
    assert answer.status == 1 and "release/record-kept" in refused(answer) and words in answer.said


def test_records_that_move_with_their_folder_are_touched(released: House) -> None:
    text = (released.repo.path / RECORD).read_text()
    answer = hook(released, {RECORD: None, "kept/T-101-r1.toml": text, SETTINGS: lambda text: f'{text}\n[folders]\nreleases = "kept"\n'})
    assert "the record T-101-r1 is deleted" in answer.said


def test_a_record_that_nobody_wrote_is_none(house: House) -> None:
    answer = hook(house, {RECORD: 'code = "T-101-r1"\n'})
    assert answer.status == 1 and "T-101-r1 is no record of a release" in answer.said


def test_a_second_record_in_a_folder_below_is_none(released: House) -> None:
    text = (released.repo.path / RECORD).read_text()
    answer = hook(released, {"releases/z/T-101-r1.toml": text, FLAT: SLIGHT})
    assert {"release/record-kept", "release/as-recorded"} <= refused(answer) and "it does not lie directly in releases/" in answer.said


def test_beside_a_record_that_cannot_be_read_nothing_changes(released: House) -> None:
    released.commit({RECORD: "[["})
    answer = hook(released, {FLAT: SLIGHT})
    assert answer.status == 1 and "cannot be read, so nobody can say what was released" in answer.said


def test_a_record_of_another_paint_is_told_when_it_is_committed(house: House) -> None:
    house.approve()
    assert house.release().status == 0
    text = (house.repo.path / RECORD).read_text()
    house.commit({FLAT: SLIGHT})
    assert "release/as-recorded" in refused(hook(house, {RECORD: text}))


def test_a_record_that_the_tool_wrote_is_committed(house: House) -> None:
    house.approve()
    assert house.release().status == 0
    house.repo.stage({RECORD: (house.repo.path / RECORD).read_text()})
    assert house.ask("lint", "--staged", "--today", DAY).status == 0


@pytest.mark.parametrize("rule", ["release/as-recorded", "release/record-kept", "approval/given"])
def test_nobody_concedes_what_was_released(released: House, rule: str) -> None:
    given = f'code = "C-1"\nrule = "{rule}"\nformula = "T-101"\nrevision = 1\nreason = "x"\napproved_by = "{MANAGER}"\nexpires = 2026-02-28\n'
    answer = hook(released, {FLAT: SLIGHT, "concessions/C-1.toml": given})
    assert "release/as-recorded" in refused(answer) and f"nobody may let {rule} stand" in answer.said


def test_the_list_of_old_findings_takes_none_of_it(released: House) -> None:
    released.commit({FLAT: SLIGHT})
    assert released.ask("standing", "--today", DAY).status == 0
    assert "release/" not in (released.repo.path / "standing.toml").read_text()
    assert "release/as-recorded" in refused(released.ask("lint", "--today", DAY))


# --- a proposal --------------------------------------------------------------------------------------------------


def proposed(house: House, edits: Edits = {}, base: str = "", day: int = 9) -> tuple[House, str, str]:  # noqa: B006 - never changed
    """A proposal on top of what is committed: the base and the head."""
    base = base or house.repo.head
    works = Works(house.repo, base, {})
    head = works.propose(edited(house, edits), day=day)
    house.repo.git("update-ref", "refs/heads/proposal", head)
    return house, base, head


def gate(house: House, base: str, head: str) -> Answer:
    return house.ask("gate", "--base", base, "--head", head, "--today", "2026-01-25")


def test_production_asks_for_an_approval_and_goes_in_with_one(house: House) -> None:
    answer = gate(*proposed(house, {FLAT: SECOND}))
    assert refused(answer) == {"approval/given"}, answer.said
    house.approve(at="proposal", day="2026-01-22")
    assert gate(*proposed(house, {FLAT: SECOND})).status == 0


def test_the_gate_says_who_approved_and_by_which_key(house: House) -> None:
    base, _, head = house.repo.head, house.commit({FLAT: SECOND}), house.repo.head
    house.approve()
    given = json.loads(gate(house, base, head).out)["approvals"]
    assert [(one["formula"], one["revision"], one["asked"], one["given"][0]["by"]) for one in given] == [("T-101", 2, True, MANAGER)]
    page = house.ask("gate", "--base", base, "--head", head, how="markdown").out
    assert "T-101 revision 2 is approved by" in page and given[0]["given"][0]["key"][7:20] in page


def test_the_gate_says_that_it_asked_nobody(tmp_path: Path, keys: Keys) -> None:
    house = signed_house(tmp_path / "house", keys, signers="")
    base = house.repo.head
    head = house.commit({FLAT: SECOND})
    assert [one["asked"] for one in json.loads(gate(house, base, head).out)["approvals"]] == [False]
    page = house.ask("gate", "--base", base, "--head", head, how="markdown").out
    assert "no approval was asked for T-101 revision 2" in " ".join(page.replace("\\", "").split())


def test_a_signed_commit_of_the_proposal_approves_it(house: House) -> None:
    base = house.repo.head
    house.commit({FLAT: SECOND})
    house.approve_by_commit()
    assert gate(house, base, house.repo.head).status == 0


def test_who_proposes_does_not_approve(house: House) -> None:
    base = house.repo.head
    house.commit({FLAT: SECOND}, who=MANAGER)
    house.approve()
    assert refused(gate(house, base, house.repo.head)) == {"approval/given"}


@pytest.mark.parametrize(("writer", "refuses"), [(MANAGER, {"approval/given"}), (CHEMIST, set())])
def test_who_wrote_it_before_it_was_in_production_does_not_let_it_in(house: House, writer: str, refuses: set[str]) -> None:
    house.commit({FLAT: replace('"production"', '"pilot"')})
    base = house.commit({FLAT: SLIGHT}, who=writer)
    house.commit({FLAT: replace('"pilot"', '"production"')})
    house.approve()
    assert refused(gate(house, base, house.repo.head)) == refuses


FREE: dict[str, Edits] = {
    "a comment": {FLAT: lambda text: "# seen\n" + text},
    "the bench": {"formulas/trials/T-900.toml": SLIGHT},
    "a price": {"materials/RM-1301.toml": lambda text: text.replace("price_date = ", "# today\nprice_date = ")},
}


@pytest.mark.parametrize("edits", FREE.values(), ids=FREE.keys())
def test_what_makes_no_other_paint_in_production_asks_for_none(house: House, edits: Edits) -> None:
    answer = gate(*proposed(house, edits))
    assert answer.status == 0, answer.said


def test_a_proposal_does_not_name_its_own_approver(house: House, keys: Keys) -> None:
    base = house.repo.head
    house.commit({FLAT: SECOND, SIGNERS: keys.line(STRANGER), SETTINGS: replace('formula  = ["lab.manager', 'formula  = ["stranger')})
    house.approve(who=STRANGER)
    answer = gate(house, base, house.repo.head)
    assert {"approval/given", "proposal/policy"} <= refused(answer), answer.said


def test_a_stated_approval_is_told_loudly_by_the_gate(tmp_path: Path, keys: Keys) -> None:
    house = signed_house(tmp_path / "house", keys, None, None, approvals="stated")
    base = house.repo.head
    house.commit({FLAT: SECOND})
    house.approve(key="")
    answer = gate(house, base, house.repo.head)
    assert answer.status == 0 and "approved as stated, not proved" in answer.said


def test_an_honest_record_goes_in(house: House) -> None:
    base = house.repo.head
    house.on_record()
    assert gate(house, base, house.repo.head).status == 0


FORGED: dict[str, Edit] = {
    "another number": lambda text: text.replace('"1.43043294926"', '"1.44043294926"'),
    "no approval": lambda text: re.sub(r"  \{ by = .*\n", "", text),
    "another tool and number": both(replace('tool = "0.1.0"', 'tool = "0.0.9"'), lambda text: text.replace('"1.43043294926"', '"1.44043294926"')),
    "another day": replace("released_on = 2026-01-20", "released_on = 2026-01-11"),
    "by hand": lambda text: text + "# x\n",
}


@pytest.mark.parametrize("edit", FORGED.values(), ids=FORGED.keys())
def test_a_forged_record_does_not_go_in(house: House, edit: Edit) -> None:
    base = house.repo.head
    house.approve()
    assert house.release().status == 0
    house.commit({RECORD: edit((house.repo.path / RECORD).read_text())}, day=DAY)
    assert refused(gate(house, base, house.repo.head)) & {"release/record-proved", "release/record-kept"}


def test_a_record_under_settings_of_its_own_does_not_go_in(house: House, keys: Keys) -> None:
    base, (settings, signers) = house.repo.head, ((house.repo.path / name).read_text() for name in (SETTINGS, SIGNERS))
    house.commit({SIGNERS: keys.line(STRANGER), SETTINGS: settings.replace(MANAGER, STRANGER)})
    house.approve(who=STRANGER)
    assert house.release().status == 0
    house.commit({RECORD: (house.repo.path / RECORD).read_text(), SETTINGS: settings, SIGNERS: signers}, day=DAY)
    answer = gate(house, base, house.repo.head)
    assert refused(answer) == {"release/record-proved"} and "approval/given" in answer.said, answer.said


def test_a_record_of_a_commit_from_elsewhere_does_not_go_in(house: House) -> None:
    base = house.repo.head
    house.commit({FLAT: SECOND})
    house.approve()
    assert house.release().status == 0
    text = (house.repo.path / "releases/T-101-r2.toml").read_text()
    house.repo.git("reset", "-q", "--hard", base)
    house.commit({"releases/T-101-r2.toml": text, FLAT: SECOND}, day=DAY)
    assert "which is no part of what is proposed" in gate(house, base, house.repo.head).said


@pytest.mark.parametrize(("edit", "words"), TOUCHED.values(), ids=TOUCHED.keys())
def test_no_proposal_touches_a_record(released: House, edit: Edit | None, words: str) -> None:
    answer = gate(*proposed(released, {RECORD: edit}))
    assert "release/record-kept" in refused(answer) and words in answer.said


def test_no_proposal_changes_a_released_revision(released: House) -> None:
    assert "release/as-recorded" in refused(gate(*proposed(released, {FLAT: SLIGHT})))


def test_a_record_deleted_with_the_change_that_it_forbids(released: House) -> None:
    assert "release/record-kept" in refused(gate(*proposed(released, {FLAT: SLIGHT, RECORD: None})))


def test_a_shallow_clone_cannot_say_who_approved(house: House, tmp_path: Path) -> None:
    base = house.repo.head
    house.commit({FLAT: SECOND}, who=CHEMIST)
    house.repo.git("clone", "-q", "--depth", "2", f"file://{house.repo}", str(tmp_path / "clone"))
    house.repo.git("-C", str(tmp_path / "clone"), "fetch", "-q", "--depth", "1", "origin", base)
    clone = house._replace(works=Works(type(house.repo)(tmp_path / "clone"), base, {}))
    assert gate(clone, base, house.repo.head).status == 2


def test_whoever_is_listed_for_policy_only_approves_no_formula(house: House) -> None:
    base = house.repo.head
    house.commit({FLAT: SECOND})
    house.approve(who=OFFICER)
    assert refused(gate(house, base, house.repo.head)) == {"approval/given"}
