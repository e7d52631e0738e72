"""The gate as a question to git: which base, which head, what a merge would hold, and no yes where nobody can know."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import zlib
from collections.abc import Callable
from pathlib import Path
from typing import NamedTuple

import pytest
from proposals import BENCH, DAY, PREMIX, START, Answer, Edits, Works, ask, both, copied, process, works_files, works_in
from repos import Link, Repo
from story import STEPS, amount, below, in_kilograms, replace

FLAT, SEMI, MATT, PREMIXED = (f"formulas/{code}.toml" for code in ("T-101", "T-140", "T-301", "T-102"))
LATEX, THICKENER, SETTINGS, HOUSE, CI = "materials/RM-1301.toml", "materials/RM-1601.toml", "formulint.toml", "rules/house.toml", ".github/workflows/formulas.yml"
TEXTS = works_files()
GOOD: Edits = {FLAT: amount("RM-1901", "1.5 lb", "1.6 lb")}
BAD: Edits = {FLAT: amount("RM-1001", "123.9 lb", "133.9 lb")}
FULL = "closure/batch: formulas/T-101.toml"
TOGETHER = "each side passed alone, together they do not"
REAL_GIT = shutil.which("git") or "git"


@pytest.fixture(scope="module")
def works(tmp_path_factory: pytest.TempPathFactory) -> Works:
    """For questions that leave the repository as it is, but for more commits."""
    return works_in(tmp_path_factory.mktemp("gate") / "works")


@pytest.fixture
def own(works: Works, tmp_path: Path) -> Works:
    """A copy to be changed freely."""
    return copied(works, tmp_path / "own")


def cannot(answer: Answer, words: str) -> None:
    """It is no answer, in these words, and it says what helps."""
    assert answer.status == 2, answer
    assert words in answer.said
    assert " do: " in answer.said


# --- honest proposals --------------------------------------------------------------------------------------------

SECOND = {"formulas/T-500.toml": TEXTS[FLAT].replace("T-101", "T-500").replace("RM-1601", "RM-1699")}
HONEST: dict[str, Edits] = {
    "a composition within its limits": {FLAT: amount("RM-1101", "200.0 lb", "199.0 lb")},
    "the story's first change": {"formulas/T-149.toml": both(*STEPS["1"].edits["T-149"])},
    "a formula and a material, both new": {**SECOND, "materials/RM-1699.toml": TEXTS[THICKENER].replace("RM-1601", "RM-1699")},
    "a comment and a name": {FLAT: lambda text: replace("Interior flat, white", "Flat, white")(f"# seen\n{text}")},
    "the same amounts in other units": {FLAT: in_kilograms()},
    "a price": {LATEX: lambda text: replace("price      =", "price      = ", )(text).replace("price_date = ", "# today\nprice_date = ")},
    "a figure corrected": {THICKENER: lambda text: text.replace('ph  ', 'ph   ') + "# checked\n"},
    "words for people": {"README.md": "# Works\n", "docs/notes.md": "x\n"},
    "a file moved within its folder": {FLAT: None, "formulas/flats/T-101.toml": TEXTS[FLAT]},
    "the bench is free": {BENCH: both(replace('"flat"', '"matt"'), replace('max = "59 %"', 'max = "69 %"'))},
    "from the bench to production": {BENCH: replace('"bench"', '"production"')},
    "a bench formula given up": {BENCH: None},
    "a weaker premix": {"formulas/PX-1.toml": both(replace('"104.5 lb"', '"104.4 lb"'), amount("RM-1601", "4.5 lb", "4.4 lb"))},
    "a house rule is met at its edge": {MATT: amount("RM-1802", "0.8 lb", "0.9 lb")},
}  # fmt: skip


@pytest.mark.parametrize("edits", HONEST.values(), ids=HONEST.keys())
def test_an_honest_proposal_passes(works: Works, edits: Edits) -> None:
    answer = works.gate(works.propose(edits))
    assert (answer.status, answer.err) == (0, ""), answer.said


@pytest.mark.parametrize("kind", ["sha256", "below", "bare", "worktree"])
def test_it_answers_wherever_the_root_lies(tmp_path: Path, kind: str) -> None:
    root = "paint/" if kind == "below" else ""
    works = works_in(tmp_path / "works", root=root, object_format="sha256" if kind == "sha256" else "sha1")
    good, bad = works.propose(GOOD, root=root), works.propose(BAD, root=root)
    other = tmp_path / "other"
    if kind == "bare":
        works.repo.git("clone", "-q", "--bare", "--mirror", ".", str(other))
    elif kind == "worktree":
        works.repo.git("worktree", "add", "-q", "--detach", str(other), bad)
    place = Works(Repo(other), works.base, works.texts) if other.exists() else works
    assert [place.gate(head, folder=root).status for head in (good, bad)] == [0, 1]


# --- which commits -----------------------------------------------------------------------------------------------


class Name(NamedTuple):
    """A base as somebody may name it, the refs that are made before (to the proposal), and the complaint."""

    base: str
    refs: tuple[str, ...]
    words: str


NAMES = [
    Name("origin/main", ("refs/tags/origin/main", "refs/remotes/origin/main"), 'may be refs/tags/origin/main or refs/remotes/origin/main'),
    Name("v1", ("refs/tags/v1", "refs/heads/v1"), "may be refs/tags/v1 or refs/heads/v1"),
    Name("v2", ("refs/v2", "refs/heads/v2"), "may be refs/v2 or refs/heads/v2"),
    Name("refs/heads/next", ("refs/tags/refs/heads/next",), 'there is no ref "refs/heads/next"'),
    Name("refs/heads", ("refs/heads/p",), 'there is no ref "refs/heads"'),
    Name("refs/heads/main~0", (), "there is no ref"),
    Name("refs/heads/*", (), "there is no ref"),
    Name("HEAD", (), "does not name a commit"),
    Name("main~0", (), "is not the name of a branch or tag"),
    Name("main^{tree}", (), "is not the name of a branch or tag"),
    Name("@{u}", (), "is not the name of a branch or tag"),
    Name(":/x", (), "is not the name of a branch or tag"),
    Name("-x", (), ""),
    Name("--all", (), ""),
    Name("a b", (), "is not the name of a branch or tag"),
    Name("nowhere", (), "does not name a commit"),
    Name("0" * 40, (), "does not name a commit"),
    Name("", (), "the gate needs a base"),
]


@pytest.mark.parametrize("name", NAMES, ids=lambda name: name.base or "nothing")
def test_a_base_that_may_be_another_is_none(own: Works, name: Name) -> None:
    head = own.propose(GOOD)
    for ref in name.refs:
        own.repo.git("update-ref", ref, own.base)
    answer = ask("-C", str(own.repo), "gate", f"--base={name.base}", "--head", head)
    cannot(answer, name.words)


def test_a_tree_is_no_base_and_the_first_letters_of_an_id_are_none(works: Works) -> None:
    head = works.propose(GOOD)
    cannot(works.gate(head, base=works.repo.git("rev-parse", f"{works.base}^{{tree}}")), "but a tree")
    cannot(works.gate(head, base=works.base[:12]), "does not name a commit")


@pytest.mark.parametrize("base", ["main", "refs/heads/main", "origin/main", "annotated"])
def test_a_base_that_is_clear(own: Works, base: str) -> None:
    own.repo.git("update-ref", "refs/remotes/origin/main", own.base)
    own.repo.git("tag", "-a", "-m", "x", "annotated", own.base)
    assert own.gate(own.propose(GOOD), base=base).status == 0


@pytest.mark.parametrize("end", ["", "~0", "^{commit}"])
def test_a_tag_does_not_stand_in_for_the_branch_that_is_proposed(own: Works, end: str) -> None:
    own.repo.git("update-ref", "refs/tags/topic", own.propose(GOOD))
    head = own.propose(BAD, name="topic")
    cannot(own.gate(f"topic{end}"), "may be refs/heads/topic or refs/tags/topic")
    assert [own.gate(name).status for name in (head, "refs/heads/topic")] == [1, 1]


def test_the_head_is_what_is_checked_out(own: Works) -> None:
    own.repo.git("checkout", "-q", own.propose(BAD))
    assert ask("-C", str(own.repo), "gate", "--base", "main").status == 1


def test_nothing_proposed(works: Works) -> None:
    head = works.propose(GOOD)
    for base, tip in ((works.base, works.base), (head, works.base), (head, head)):
        cannot(works.gate(tip, base=base), "proposes nothing")


@pytest.mark.parametrize("head", ["nowhere", "^main", "main..main", "--all", "-h", "$(true)", ""])
def test_a_head_that_is_no_commit(works: Works, head: str) -> None:
    answer = ask("-C", str(works.repo), "gate", "--base", works.base, f"--head={head}")
    assert answer.status == 2
    assert answer.err


# --- what a merge would hold -------------------------------------------------------------------------------------

GLYCOL, COALESCENT = ({"formulas/T-120.toml": both(*STEPS[name].edits["T-120"])} for name in ("glycol", "coalescent"))
TWINS: tuple[Edits, Edits] = tuple({f"formulas/{folder}/T-7.toml": TEXTS[FLAT].replace("T-101", "T-7")} for folder in "ab")
APART: dict[str, tuple[Edits, Edits, str]] = {
    "two organic liquids, each within the limit": (GLYCOL, COALESCENT, "voc/us-south-coast: formulas/T-120.toml"),
    "one code in two files": (*TWINS, "is also the code of"),
    "a material given up, and taken up": (
        {"materials/RM-1307.toml": None},
        {FLAT: lambda text: replace('"production"', '"pilot"')(TEXTS[FLAT]), "formulas/T-7.toml": TEXTS[BENCH].replace("T-900", "T-7").replace("RM-1301", "RM-1307")},
        'there is no material "RM-1307"',
    ),
    "a user more, and another premix": (
        {"formulas/T-500.toml": TEXTS[PREMIXED].replace("T-102", "T-500").replace('"104.5 lb"', '"52.25 lb"').replace('"150.0 lb"', '"202.25 lb"')},
        {"formulas/PX-1.toml": both(replace('"104.5 lb"', '"106.5 lb"'), below("RM-1601", '{ material = "RM-1802", amount = "2.0 lb" },'))},
        "formulas/T-500.toml",
    ),
}


@pytest.mark.parametrize("merged", [False, True], ids=["not merged", "merged"])
@pytest.mark.parametrize(("ours", "theirs", "words"), list(APART.values())[:3], ids=list(APART)[:3])
def test_two_sides_that_pass_alone_and_not_together(works: Works, ours: Edits, theirs: Edits, words: str, merged: bool) -> None:
    base, head = works.propose(ours), works.propose(theirs)
    tip = works.propose({**theirs}, base, head) if merged else head
    answer = works.gate(tip, base=works.base if merged else base)
    assert answer.status == 1
    assert [line for line in answer.said.split("\n") if words in line and line.endswith(TOGETHER)], answer.said
