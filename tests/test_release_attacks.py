"""Ways round a release that leave no trace in what is released: words that others sign, records written by hand, moved, edited, taken away."""

from __future__ import annotations

import json
import os
import re
import subprocess
from collections.abc import Callable
from pathlib import Path

import pytest
from proposals import CONCESSION, Answer
from signing import (
    CHEMIST,
    DAY,
    FLAT,
    MANAGER,
    NOON,
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
)
from story import replace

SECOND_RECORD = "releases/T-101-r2.toml"


def text(house: House, name: str = RECORD) -> str:
    return (house.repo.path / name).read_text()


def as_manager(house: House, *words: str) -> None:
    """Git as the lab manager calls it, who signs whatever they commit."""
    named = ("-c", "user.name=L", "-c", f"user.email={MANAGER}", "-c", "gpg.format=ssh", "-c", f"user.signingkey={house.keys.private(MANAGER)}")
    kept = {name: value for name, value in os.environ.items() if not name.startswith("GIT_")}
    dates = {"GIT_COMMITTER_DATE": NOON.format(DAY), "GIT_AUTHOR_DATE": NOON.format(DAY)}
    subprocess.run(("git", *named, "-c", "commit.gpgsign=true", *words), cwd=house.repo.path, env={**kept, **dates}, check=True, capture_output=True)


# --- words of others, signed in passing --------------------------------------------------------------------------


def smuggled(house: House) -> None:
    """A change, and behind it a commit on something else whose message approves the change; by the chemist, unsigned."""
    house.commit({FLAT: SECOND})
    house.commit({"README.md": "x\n"}, message=f"notes\n\n{house.seals('T-101')}")


def rebased(house: House) -> None:
    smuggled(house)
    as_manager(house, "rebase", "--force-rebase", "-q", "HEAD~1")


def amended(house: House) -> None:
    smuggled(house)
    as_manager(house, "commit", "-q", "--amend", "--no-edit")


def merged(house: House) -> None:
    """A tag of the chemist that the manager merges; git repeats its words in the message."""
    house.commit({FLAT: SECOND})
    house.approve(who=CHEMIST, key="", name="topic")
    house.repo.git("reset", "-q", "--hard", "HEAD~1")
    as_manager(house, "merge", "-q", "--no-ff", "--no-edit", "topic")


PASSING: dict[str, tuple[Callable[[House], None], str]] = {
    "rebased": (rebased, f"{CHEMIST} wrote it and {MANAGER} signed it"),
    "amended": (amended, f"{CHEMIST} wrote it and {MANAGER} signed it"),
    "merged": (merged, "it is a merge, whose message repeats words of others"),
}


@pytest.mark.parametrize(("sign", "words"), PASSING.values(), ids=PASSING.keys())
def test_whoever_signs_words_of_others_in_passing_approves_nothing(house: House, sign: Callable[[House], None], words: str) -> None:
    sign(house)
    assert "Approves: T-101 revision 2" in house.repo.git("cat-file", "commit", "HEAD")
    answer = house.release()
    assert refused(answer) == {"approval/given"} and words in answer.said


# --- who wrote it ------------------------------------------------------------------------------------------------


def test_a_merge_of_two_sides_that_came_to_the_same_hides_neither_author(house: House) -> None:
    house.repo.git("checkout", "-q", "-b", "side")
    house.commit({FLAT: SLIGHT}, who=MANAGER)
    house.repo.git("checkout", "-q", "main")
    house.commit({FLAT: SLIGHT}, who=CHEMIST)
    house.repo.git("merge", "-q", "--no-ff", "-m", "both", "side")
    house.approve()
    assert f"{MANAGER} changed the formula" in house.release().said


def by_hand(house: House) -> str:
    """A record of revision 1 that nobody released, which says that all up to now was approved."""
    seals = dict(re.findall(r"(Composition|Making|Data): (\S+)", house.seals("T-101")))
    head = f'format = 1\ncode = "T-101-r1"\nformula = "T-101"\nrevision = 1\nreleased_on = 2026-01-14\ncommit = "{house.repo.head}"\n'
    return head + "".join(f'digest.{name.lower()} = "{seal}"\n' for name, seal in seals.items()) + "\ninput = [\n]\n"


def edited(house: House) -> str:
    """The record of a release, said to be of a later commit."""
    return re.sub(r'^commit = ".*"$', f'commit = "{house.repo.head}"', text(house), flags=re.MULTILINE)


@pytest.mark.parametrize("forge", [by_hand, edited])
def test_a_record_written_by_hand_makes_nobody_innocent(house: House, forge: Callable[[House], str]) -> None:
    if forge is edited:
        house.on_record()
    house.commit({FLAT: SECOND}, who=MANAGER, day=DAY)
    house.commit({RECORD: forge(house)}, day=DAY)
    house.approve()
    answer = house.release()
    assert refused(answer) >= {"approval/given"} and f"{MANAGER} changed the formula" in answer.said


def test_who_wrote_an_earlier_release_approves_the_next(house: House) -> None:
    house.repo.git("commit", "-q", "--amend", "--no-edit", f"--author=M <{MANAGER}>")
    house.commit({FLAT: lambda text: "# seen\n" + text})
    house.approve()
    assert refused(house.release()) == {"approval/given"}
    house.commit({SETTINGS: replace('formula  = ["lab.manager@example.org"]', 'formula  = ["lab.manager@example.org", "regulatory@example.org"]')})
    house.approve(who="regulatory@example.org")
    assert house.release().status == 0
    house.commit({RECORD: text(house), FLAT: SECOND}, day=DAY)
    house.approve()
    assert house.release().status == 0
    house.commit({SECOND_RECORD: text(house, SECOND_RECORD)}, day=DAY)
    assert house.ask("release", "--verify").status == 0


# --- records that are there, and are not what they seem ----------------------------------------------------------


def troubles(answer: Answer) -> dict[str, list[str]]:
    """What keeps each record from being proved again."""
    return {one["code"]: [trouble["text"] for trouble in one["troubles"]] for one in json.loads(answer.out)["records"]}


def elsewhere(house: House) -> str:
    """A record from a branch whose settings name another approver, laid beside the settings of the house."""
    base = house.repo.head
    house.repo.git("checkout", "-q", "-b", "side")
    house.commit({SIGNERS: house.keys.line(STRANGER), SETTINGS: replace(f'formula  = ["{MANAGER}"]', f'formula  = ["{STRANGER}"]')})
    house.approve(who=STRANGER)
    assert house.release().status == 0
    record = text(house)
    house.repo.git("checkout", "-q", base)
    house.commit({RECORD: record}, day=DAY)
    return "is no part of the history of"


def redated(house: House) -> str:
    house.on_record()
    house.commit({RECORD: replace("released_on = 2026-01-20", "released_on = 2026-01-22")}, day="2026-01-23")
    return f"its file is not what came: it was edited on 2026-01-23 by {CHEMIST}"


def came_again(house: House) -> str:
    house.on_record()
    record = text(house)
    house.commit({RECORD: None}, day="2026-01-21")
    house.commit({RECORD: record.replace("released_on = 2026-01-20", "released_on = 2026-01-22")}, day="2026-01-23")
    return "its file is not what came"


def edited_here(house: House) -> str:
    house.on_record()
    house.repo.write({RECORD: text(house).replace("released_on = 2026-01-20", "released_on = 2026-01-22")})
    return "its file is not what came: it was edited"


def deleted(house: House) -> str:
    house.on_record()
    house.commit({RECORD: None}, day="2026-01-21")
    return f"the record was taken away on 2026-01-21 by {CHEMIST} with commit {house.repo.head[:10]}"


def retagged(house: House) -> str:
    house.on_record()
    house.commit({FLAT: SLIGHT}, day=DAY)
    house.repo.git("tag", "T-101-r1", "HEAD")
    return f"the tag T-101-r1 names commit {house.repo.head[:10]}"


@pytest.mark.parametrize("forge", [elsewhere, redated, came_again, edited_here, deleted, retagged])
def test_a_record_that_is_not_what_was_released_does_not_hold(house: House, forge: Callable[[House], str]) -> None:
    words = forge(house)
    answer = house.ask("release", "--verify")
    told = troubles(answer)["T-101-r1"]
    assert answer.status == 1 and [one for one in told if words in one] == told, told


def test_the_audit_misses_a_record_that_was_taken_away(released: House) -> None:
    released.commit({FLAT: SECOND}, day=DAY)
    released.on_record()
    released.commit({SECOND_RECORD: None}, day="2026-01-21")
    assert troubles(released.ask("audit", "records"))["T-101-r1"] == []
    assert "taken away on 2026-01-21" in troubles(released.ask("audit", "records"))["T-101-r2"][0]
    answer = released.ask("audit", "valid", "T-101", "--on", "2026-01-30")
    assert answer.status == 1 and "T-101-r2: the record was taken away" in json.loads(answer.out)["doubts"][0]


def test_a_record_that_was_taken_back_as_it_was_holds(released: House) -> None:
    record = text(released)
    released.commit({RECORD: None}, day="2026-01-21")
    released.commit({RECORD: record}, day="2026-01-22")
    assert released.ask("audit", "records").status == 0


def test_an_approval_that_nothing_keeps_is_told(released: House) -> None:
    assert "is kept by no tag here" not in released.ask("release", "--verify").out
    released.repo.git("tag", "-d", "approved/T-101-0")
    answer = released.ask("release", "--verify")
    assert answer.status == 0 and f"by which {MANAGER} approved it is kept by no tag here: a new clone will not hold it" in answer.out


# --- what is not written -----------------------------------------------------------------------------------------


def test_what_no_record_can_say_is_not_released(house: House) -> None:
    house.repo.git("reset", "-q", "--hard", house.works.propose({"rules/\udcff.toml": "rule = []\n"}))
    house.approve()
    answer = house.release()
    assert answer.status == 2 and "the record would not say what it rests on" in answer.err and house.records == []


def test_no_release_is_dated_in_the_future(house: House) -> None:
    house.approve()
    assert refused(house.release(today="2999-01-01")) == {"release/date"} and house.records == []


def test_no_record_of_a_day_to_come_goes_in(house: House) -> None:
    base = house.repo.head
    house.approve()
    assert house.release().status == 0
    house.commit({RECORD: text(house).replace("released_on = 2026-01-20", "released_on = 2026-06-01")}, day=DAY)
    answer = house.ask("gate", "--base", base, "--head", "HEAD")
    assert refused(answer) == {"release/record-proved"} and "a release is not made before its day" in answer.said


@pytest.mark.parametrize(("day", "refuses"), [("2026-02-25", False), ("2026-05-02", True)])
def test_a_release_dated_back_does_not_revive_a_concession(house: House, day: str, refuses: bool) -> None:
    house.commit({FLAT: replace('max = "59 %"', 'max = "55 %"'), "concessions/C-001.toml": CONCESSION})
    house.approve()
    base = house.commit({"README.md": "moved on\n"}, day="2026-02-21")
    assert house.release("--at", f"{base}~1", today="2026-02-20").status == 0
    house.commit({RECORD: text(house)}, day=day)
    answer = house.ask("gate", "--base", base, "--head", "HEAD")
    assert ("on 2026-05-02 it would not be released: own-limit/pvc-binder" in answer.said) == refuses == (answer.status == 1), answer.said


LOOKALIKES = ("\u017ftranger@example.org", "stranger@ex\u0430mple.org", "stranger@example.org\u200b")


@pytest.mark.parametrize("address", LOOKALIKES)
def test_an_address_that_only_looks_like_an_approvers_is_another(tmp_path: Path, keys: Keys, address: str) -> None:
    house = signed_house(tmp_path / "house", keys, approvals="stated", signers="")
    house.commit({SETTINGS: replace(f'formula  = ["{MANAGER}"]', f'formula  = ["{STRANGER}"]')})
    house.approve(who=address, key="")
    assert refused(house.release()) == {"approval/given"}
