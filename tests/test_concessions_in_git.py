"""Concessions and old findings where they are meant to work: in a commit being made, and in a proposal that the gate judges."""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path
from typing import NamedTuple

import pytest
from proposals import CONCESSION, Answer, Edits, Works, ask, both, works_files, works_in
from repos import Repo, build
from story import STEPS, amount, raised, replace

NAME, FLAT, SEMI, LIST = "concessions/C-001.toml", "formulas/T-101.toml", "formulas/T-140.toml", "standing.toml"
TIGHT = replace('max = "59 %"', 'max = "55 %"')
RENAMED = replace("Interior flat, white", "Flat, white")  # a concession is for one revision, and another paint would be the next
HARMLESS: Edits = {FLAT: RENAMED}
TEXTS = works_files()


def tight(**more: str) -> dict[str, str]:
    """The works with a flat that is above its own limit, and more files."""
    return {**TEXTS, FLAT: TIGHT(TEXTS[FLAT]), **more}


def works(folder: Path, texts: Mapping[str, str]) -> Works:
    return works_in(folder / "works", texts)


def refused(answer: Answer) -> set[str]:
    """The rules that keep a proposal out."""
    assert answer.status in (0, 1), answer.err
    results = json.loads(answer.out)["results"]
    return {one["rule"] for one in results if one["suppressed"] is None and (one["kind"] == "review" or (one["kind"] in ("fail", "open") and one["level"] == "error"))}


# --- the gate ----------------------------------------------------------------------------------------------------


def test_what_the_base_concedes_stands_in_the_gate(tmp_path: Path) -> None:
    place = works(tmp_path, tight(**{NAME: CONCESSION}))
    answer = place.gate(place.propose(HARMLESS))
    assert (answer.status, refused(answer)) == (0, set()), answer.said
    assert "C-001" in {(one["suppressed"] or {}).get("concession") for one in json.loads(answer.out)["results"]}


def test_what_it_concedes_no_longer_on_a_later_day_is_refused(tmp_path: Path) -> None:
    place = works(tmp_path, tight(**{NAME: CONCESSION}))
    head = place.propose(HARMLESS)
    assert [place.gate(head, "--today", day).status for day in ("2026-02-28", "2026-03-01")] == [0, 1]
    assert "concession/in-time: concessions/C-001.toml: C-001 ended on 2026-02-28" in place.gate(head, "--today", "2026-03-01").said


SELF_GRANTED: dict[str, tuple[dict[str, str], Edits]] = {
    "a concession": ({}, {NAME: CONCESSION}),
    "a concession made wider": ({NAME: CONCESSION.replace("60 %", "55.1 %")}, {NAME: CONCESSION}),
    "a concession made longer": ({NAME: CONCESSION.replace("2026-02-28", "2026-01-11")}, {NAME: CONCESSION}),
    "a list of old findings": ({}, {LIST: 'format = 1\nday = 2026-01-12\n\n[[finding]]\nrule = "own-limit/pvc-binder"\nformula = "T-101"\nabout = "pvc_binder"\nkind = "fail"\nup_to = "60 %"\n'}),
    "an approver": ({NAME: CONCESSION.replace("lab.manager", "me")}, {"formulint.toml": replace('formula  = ["lab.manager', 'formula  = ["me@example.org", "lab.manager')}),
    "a folder of concessions": ({"leave/C-001.toml": CONCESSION}, {"formulint.toml": lambda text: f'{text}\n[folders]\nconcessions = "leave"\n'}),
}  # fmt: skip


@pytest.mark.parametrize("case", SELF_GRANTED)
def test_no_leave_that_a_proposal_gives_itself_acts(tmp_path: Path, case: str) -> None:
    base, grant = SELF_GRANTED[case]
    place = works(tmp_path, tight(**base))
    answer = place.gate(place.propose({**HARMLESS, **grant}))
    assert {"own-limit/pvc-binder", "proposal/policy"} <= refused(answer), answer.said


def test_a_concession_that_would_give_no_leave_is_told_when_it_is_proposed(tmp_path: Path) -> None:
    place = works(tmp_path, TEXTS)
    answer = place.gate(place.propose({NAME: CONCESSION.replace("lab.manager", "somebody")}))
    assert refused(answer) == {"proposal/policy"} and 'concession/known-approver: concessions/C-001.toml: C-001: "somebody@example.org"' in answer.said


def test_a_higher_revision_has_no_leave(tmp_path: Path) -> None:
    place = works(tmp_path, tight(**{NAME: CONCESSION}))
    answer = place.gate(place.propose({FLAT: replace("revision = 1", "revision = 2")}))
    assert "own-limit/pvc-binder" in refused(answer) and "concession/this-revision" in answer.said


@pytest.mark.parametrize("name", [NAME, LIST])
def test_leave_that_cannot_be_read_on_the_base_is_no_yes(tmp_path: Path, name: str) -> None:
    place = works(tmp_path, {**TEXTS, name: "code ="})
    answer = place.gate(place.propose(HARMLESS))
    assert answer.status == 2 and "the policy of the base cannot be applied" in answer.said and name in answer.said


# --- the hook ----------------------------------------------------------------------------------------------------


@pytest.fixture
def house(tmp_path: Path) -> Repo:
    """A work tree with everything committed, the flat above its own limit."""
    repo = build(tmp_path / "house")
    repo.commit("all of it", tight())
    return repo


def hook(repo: Repo, today: str = "2026-01-12") -> Answer:
    return ask("-C", str(repo.path), "lint", "--staged", "--today", today)


def test_a_concession_that_is_committed_with_what_it_is_for_acts(house: Repo) -> None:
    edited = {FLAT: RENAMED(tight()[FLAT])}
    house.stage(edited)
    assert hook(house).status == 1
    house.stage({NAME: CONCESSION})
    assert [hook(house, day).status for day in ("2026-01-12", "2026-03-01")] == [0, 1]


def test_a_concession_alone_puts_its_formula_to_the_test(house: Repo) -> None:
    house.stage({NAME: CONCESSION.replace('"60 %"', '"55.1 %"')})
    assert "concession/up-to" in hook(house).said and hook(house).status == 1
    house.commit("let it stand", {NAME: CONCESSION})
    house.stage({NAME: None})
    assert "own-limit/pvc-binder" in hook(house).said and hook(house).status == 1


def test_a_concession_that_cannot_be_read_stops_its_commit(house: Repo) -> None:
    house.stage({NAME: "code ="})
    assert hook(house).status == 1 and f"record/readable: {NAME}" in hook(house).said


# --- old findings ------------------------------------------------------------------------------------------------


OLD: dict[str, str] = {
    FLAT: both(TIGHT, amount("RM-1001", "123.9 lb", "133.9 lb"))(TEXTS[FLAT]),
    SEMI: both(*STEPS["9"].edits["T-140"])(TEXTS[SEMI]),
}
"""Two paints that fail: one does not close and is above its own limit, one is above the limit of a market."""
RULES = {"closure/batch", "own-limit/pvc-binder", "voc/us-south-coast"}


class Taken(NamedTuple):
    """What became of the list: exit status, lines on it, how many were mended, rules of what is not on it."""

    status: int
    kept: list[str]
    mended: int
    others: set[str]


def standing(repo: Repo, *words: str) -> Taken:
    """The command, asked."""
    answer = ask("-C", str(repo.path), "standing", "--today", "2026-01-12", *words)
    assert answer.status < 2, answer.err
    said = json.loads(answer.out)
    return Taken(answer.status, [f"{one['rule']} {one['formula']}" for one in said["kept"]], said["mended"], {one["rule"] for one in said["others"]})


def everything(repo: Repo) -> set[str]:
    """The rules that stop, of the work tree."""
    results = json.loads(ask("-C", str(repo.path), "lint", "--today", "2026-01-12").out)["results"]
    return {one["rule"] for one in results if one["suppressed"] is None and one["kind"] in ("fail", "open") and one["level"] == "error"}


@pytest.fixture
def messy(tmp_path: Path) -> Repo:
    """A house that begins with two paints that fail."""
    repo = build(tmp_path / "messy")
    repo.commit("all of it", {**TEXTS, **OLD})
    assert everything(repo) == RULES
    return repo


def test_what_stands_on_the_day_stops_no_more_and_what_is_new_does(messy: Repo) -> None:
    assert standing(messy) == (0, ["closure/batch T-101", "own-limit/pvc-binder T-101", "voc/us-south-coast T-140"], 0, set())
    assert everything(messy) == set()
    messy.write({"formulas/T-102.toml": TIGHT(TEXTS["formulas/T-102.toml"])})
    assert everything(messy) == {"own-limit/pvc-binder"}


def test_what_gets_worse_counts_again(messy: Repo) -> None:
    standing(messy)
    messy.write({FLAT: replace('"133.9 lb"', '"134.0 lb"')(OLD[FLAT])})
    assert everything(messy) == {"closure/batch"}
    messy.write({FLAT: replace('"133.9 lb"', '"133.8 lb"')(OLD[FLAT])})
    assert everything(messy) == set()


def test_what_is_mended_is_noted_and_taken_out_and_nothing_is_added(messy: Repo) -> None:
    standing(messy)
    messy.write({FLAT: TEXTS[FLAT], "formulas/T-102.toml": TIGHT(TEXTS["formulas/T-102.toml"])})
    said = ask("-C", str(messy.path), "lint", "--today", "2026-01-12").said
    assert "standing/needed: standing.toml: mended, and still on the list of old findings: closure/batch in T-101" in said
    assert standing(messy) == (1, ["voc/us-south-coast T-140"], 2, {"own-limit/pvc-binder"})
    assert standing(messy, "--anew").kept == ["own-limit/pvc-binder T-102", "voc/us-south-coast T-140"]


def test_the_command_run_twice_writes_the_same(messy: Repo) -> None:
    first, text = standing(messy), (messy.path / LIST).read_bytes()
    assert (standing(messy), (messy.path / LIST).read_bytes()) == (first, text)


@pytest.mark.parametrize("ends", ["\n", "\r\n"])
def test_what_people_wrote_beside_a_finding_stays(messy: Repo, ends: str) -> None:
    standing(messy)
    text = (messy.path / LIST).read_text().replace('about = "', '# asked of the supplier\nabout = "').replace("day = ", "day   = ", 1)
    messy.write({LIST: text.replace("\n", ends).encode()})
    messy.write({FLAT: TEXTS[FLAT]})
    assert standing(messy).mended == 2
    start, *findings = text.split("[[finding]]")
    left = "[[finding]]".join([start, *(one for one in findings if '"T-140"' in one)])
    assert (messy.path / LIST).read_bytes() == left.replace("\n", ends).encode()


def test_what_cannot_be_read_or_is_unsafe_is_never_on_the_list(messy: Repo) -> None:
    messy.write({"formulas/T-120.toml": "code =", SEMI: OLD[SEMI].replace('"RM-1604"', '"RM-9999"')})
    assert standing(messy).others == {"record/readable", "record/known-material"}
    line = '\n[[finding]]\nrule = "record/readable"\nformula = "T-120"\nabout = ""\nkind = "fail"\n'
    messy.write({LIST: (messy.path / LIST).read_text() + line})
    assert {"record/readable", "record/known-material"} == everything(messy)


def test_a_list_that_cannot_be_read_stops_and_is_not_written_over(messy: Repo) -> None:
    messy.write({LIST: "format = 2\n"})
    assert everything(messy) == {*RULES, "record/readable"}
    assert ask("-C", str(messy.path), "standing").status == 2
    assert (messy.path / LIST).read_text() == "format = 2\n"


def test_in_the_gate_the_list_of_the_base_counts(tmp_path: Path, messy: Repo) -> None:
    standing(messy)
    place = works(tmp_path, {**TEXTS, **OLD, LIST: (messy.path / LIST).read_text()})
    good, bad = (place.propose({FLAT: both(raised, amount("RM-1001", "133.9 lb", pounds))}) for pounds in ("133.8 lb", "134.0 lb"))
    assert [refused(place.gate(head)) for head in (good, bad)] == [set(), {"closure/batch"}]
    taken_out = place.propose({FLAT: TEXTS[FLAT], LIST: "format = 1\nday = 2026-01-12\n"})
    assert "standing.toml is changed" in place.gate(taken_out).said
