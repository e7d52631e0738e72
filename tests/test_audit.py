"""An auditor's questions to a house with a history: what was valid on a day, who approved it, what changed, what is conceded, what holds."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from proposals import Answer, both
from signing import CHEMIST, DAY, FLAT, MANAGER, OFFICER, RECORD, SECOND, STRANGER, House, lose, untested
from story import amount, replace

QUESTIONS = ("valid T-101 --on 2026-01-20", "approval T-101", "changes T-101", "concessions", "records")


@pytest.fixture(scope="module")
def past(tmp_path_factory: pytest.TempPathFactory, first_released: House) -> House:
    """Revision 1 released on the 20th of January, revision 2 on the 10th of February, withdrawn on the 1st of March; never changed."""
    made = first_released.copied(tmp_path_factory.mktemp("past") / "house")
    made.commit({FLAT: SECOND}, day="2026-02-05", message="more ammonia: pH was low | <b>")
    made.approve(day="2026-02-08")
    assert made.release(today="2026-02-10").status == 0
    made.commit({"releases/T-101-r2.toml": (made.repo.path / "releases/T-101-r2.toml").read_text()}, who=OFFICER, day="2026-02-10")
    made.commit({FLAT: replace('"production"', '"withdrawn"')}, day="2026-03-01")
    return made


@pytest.fixture
def house(tmp_path: Path, past: House) -> House:
    """The same house, to be changed freely."""
    return past.copied(tmp_path / "house")


def asked(house: House, question: str, how: str = "json") -> Answer:
    return house.ask("audit", *question.split(), "--today", "2026-03-10", how=how)


def told(answer: Answer) -> dict[str, Any]:
    assert answer.status in (0, 1), answer.err
    found: dict[str, Any] = json.loads(answer.out)
    return found


DAYS = {"2026-01-19": (1, None), "2026-01-20": (0, 1), "2026-02-09": (0, 1), "2026-02-10": (0, 2), "2026-02-28": (0, 2), "2026-03-01": (1, None)}


@pytest.mark.parametrize("on", DAYS)
def test_what_was_valid_on_a_day(past: House, on: str) -> None:
    answer = asked(past, f"valid T-101 --on {on}")
    found = told(answer)
    revision = found["record"]["record"]["revision"] if found["sure"] else None
    assert (answer.status, revision) == DAYS[on]


def test_why_nothing_was_valid(past: House) -> None:
    assert "its first release on record is of 2026-01-20" in told(asked(past, "valid T-101 --on 2026-01-01"))["why"]
    assert "T-101 was withdrawn by 2026-03-02" in told(asked(past, "valid T-101 --on 2026-03-02"))["why"]
    assert "nothing of it is on record" in told(asked(past, "valid T-105 --on 2026-03-02"))["why"]


def test_the_sheet_that_was_valid_is_shown_as_it_was(past: House) -> None:
    pages = [asked(past, f"valid T-101 --on {on}", "markdown").out for on in ("2026-01-30", "2026-02-20")]
    assert ["1.6 lb" in page for page in pages] == [False, True]


def test_a_record_that_came_later_than_it_says_is_doubted(house: House) -> None:
    house.commit({"formulas/T-160.toml": untested}, day="2026-01-14")
    house.approve("T-160", day="2026-01-15")
    assert house.release(code="T-160", today="2026-01-16").status == 0
    text = (house.repo.path / "releases/T-160-r1.toml").read_text()
    house.commit({"releases/T-160-r1.toml": text}, day="2026-03-05")
    answer = asked(house, "valid T-160 --on 2026-01-31")
    assert answer.status == 1 and "its record came into git on 2026-03-05" in told(answer)["doubts"][0]


def test_a_clock_that_ran_backwards_is_doubted(house: House) -> None:
    back = replace('"withdrawn"', '"production"')
    house.commit({FLAT: back}, day="2026-02-20", message="back to production, by a clock of February")
    found = told(asked(house, "valid T-101 --on 2026-02-25"))
    assert not found["sure"] and "is dated 2026-02-20, and stands behind one dated after 2026-02-25" in found["doubts"][0]
    assert told(asked(house, "valid T-101 --on 2026-01-21"))["sure"]


def test_who_approved_it_on_what_evidence(past: House) -> None:
    found = told(asked(past, "approval T-101"))
    assert [(one["by"], one["how"]) for one in found["approvals"]] == [(MANAGER, "signed")]
    assert [(one["code"], one["holds"]) for one in found["records"]] == [("T-101-r1", True), ("T-101-r2", True)]


def test_an_approval_that_is_none_is_told_with_the_reason(house: House) -> None:
    house.commit({FLAT: both(replace("revision = 2", "revision = 3"), amount("RM-1901", "1.6 lb", "1.7 lb"))}, day="2026-03-02")
    house.approve(who=STRANGER, day="2026-03-03")
    answer = asked(house, "approval T-101")
    assert answer.status == 1 and told(answer)["approvals"] == [] and "its signature is not good" in told(answer)["doubts"][0]


def test_what_changed_since_the_last_release_and_why(house: House) -> None:
    house.commit({FLAT: both(replace("revision = 2", "revision = 3"), amount("RM-1901", "1.6 lb", "1.9 lb"))}, day="2026-03-02", message="still low")
    found = told(asked(house, "changes T-101"))
    assert found["released"]["revision"] == 2
    assert [(one["date"], one["author"], one["subject"]) for one in found["commits"]] == [("2026-03-02", CHEMIST, "still low"), ("2026-03-01", CHEMIST, "change")]
    assert found["change"]["class"] == "compositional" and "state" in asked(house, "changes T-101", "markdown").out


def test_a_material_that_changed_is_a_change_of_what_was_released(house: House) -> None:
    house.commit({"materials/RM-1301.toml": replace('"9.06 lb/gal"', '"9.05 lb/gal"')}, day="2026-03-02", message="latex measured anew")
    assert "latex measured anew" in {one["subject"] for one in told(asked(house, "changes T-101"))["commits"]}


GIVEN = 'code = "{}"\nrule = "{}"\nformula = "T-105"\nrevision = 1\nreason = "old stock"\napproved_by = "{}"\nexpires = {}\nup_to = "60 %"\n'


def test_what_is_conceded_and_why(house: House) -> None:
    house.commit(
        {
            "formulas/T-105.toml": lambda text: text.replace("[limits]", '[limits]\nwater = { max = "10 %" }'),
            "concessions/C-1.toml": GIVEN.format("C-1", "own-limit/water", MANAGER, "2026-04-01"),
            "concessions/C-2.toml": GIVEN.format("C-2", "own-limit/density", MANAGER, "2026-03-01"),
            "concessions/C-3.toml": GIVEN.format("C-3", "own-limit/density", STRANGER, "2026-05-01"),
            "concessions/C-4.toml": "code =",
        }, day="2026-03-02",
    )  # fmt: skip
    found = {Path(one["path"]).stem: (one["acts"], one["today"]) for one in told(asked(house, "concessions"))["concessions"]}
    assert {code: acts for code, (acts, _) in found.items()} == {"C-1": True, "C-2": False, "C-3": False, "C-4": False}
    assert "C-2 ended on 2026-03-01" in found["C-2"][1] and "is not among those who approve formulas" in found["C-3"][1]


def test_what_has_run_out_since_the_last_commit_is_conceded_no_more(house: House) -> None:
    limit = {"formulas/T-105.toml": lambda text: text.replace("[limits]", '[limits]\nwater = { max = "10 %" }')}
    house.commit({**limit, "concessions/C-1.toml": GIVEN.format("C-1", "own-limit/water", MANAGER, "2026-04-01")}, day="2026-03-02")
    words = ("audit", "concessions")
    acts = [json.loads(house.ask(*words, *more).out)["concessions"][0]["acts"] for more in (("--today", "2026-03-10"), ("--at", "HEAD"), ())]
    assert acts == [True, True, False]


def test_which_records_hold_no_longer_and_why(house: House) -> None:
    assert asked(house, "records").status == 0
    house.commit({RECORD: lambda text: text.replace('"1.43043294926"', '"1.44043294926"')}, day="2026-03-02")
    answer = asked(house, "records")
    assert answer.status == 1 and [one["holds"] for one in told(answer)["records"]] == [False, True]
    lose(house.repo, next(line.split('"')[3] for line in (house.repo.path / RECORD).read_text().split("\n") if "RM-1601.toml" in line))
    assert asked(house, "records").status == 2


@pytest.mark.parametrize("question", QUESTIONS)
@pytest.mark.parametrize("how", ["terminal", "markdown", "html", "json"])
def test_every_answer_can_be_printed(past: House, question: str, how: str) -> None:
    one, other = asked(past, question, how), asked(past, question, how)
    assert one == other and one.status == 0 and one.out.endswith("\n")


@pytest.mark.parametrize("how", ["markdown", "html"])
def test_words_of_a_commit_are_no_markup(house: House, how: str) -> None:
    house.commit({FLAT: lambda text: "# seen\n" + text}, day="2026-03-02", message="low | <b>@all</b>")
    page = asked(house, "changes T-101", how).out
    assert "low" in page and "low | <b>" not in page and "<b>@all" not in page


WRONG = {
    "": "name one of these. valid: which formula was valid on a day (--on); approval: who", "approvals T-101": "did you mean approval?",
    "who T-101": "is no question that can be answered here", "valid T-101": "nobody knows which day is meant",
    "approval": "nobody knows which formula is meant", "concessions T-101": "is asked about the whole repository",
    "approval T-999": "there is no formula T-999", "changes T-105": "no release of T-105 is on record",
}  # fmt: skip


@pytest.mark.parametrize("question", WRONG)
def test_what_is_no_question_says_what_is(past: House, question: str) -> None:
    answer = asked(past, question)
    assert answer.status == 2 and WRONG[question] in answer.said and " do: " in answer.said


def test_a_day_given_for_a_question_is_a_day(past: House) -> None:
    assert DAY in asked(past, f"valid T-101 --on {DAY}", "markdown").out
