"""What git is asked ahead of time: every question is wanted afterwards, and no run is answered with what another one asked."""

from __future__ import annotations

import fcntl
import os
from collections.abc import Mapping, Sequence
from pathlib import Path

import pytest
from proposals import ask
from repos import Repo, build
from story import EXAMPLE

from formulint import ahead, git, plumbing, snapshot
from formulint.child import DIRECT, Child

FLAT = "formulas/T-101.toml"
COMMANDS = {
    "work tree": ("lint",),
    "one formula": ("properties", "T-101"),
    "staged": ("lint", "--staged"),
    "a commit": ("lint", "--at", "HEAD"),
    "two commits": ("diff", "HEAD", "HEAD~0"),
    "two commits, in one word": ("diff", "HEAD..HEAD"),
    "a commit and the work tree": ("diff", "HEAD"),
    "a commit, in one word": ("lint", "--at=HEAD"),
}


def works(folder: Path) -> Repo:
    """The example, committed."""
    repo = build(folder)
    repo.stage({os.path.relpath(path, EXAMPLE): path.read_text() for path in EXAMPLE.rglob("*") if path.is_file()})
    repo.git("commit", "-q", "-m", "all")
    return repo


@pytest.mark.parametrize("name", COMMANDS)
@pytest.mark.parametrize("below", ["", "formulas"])
def test_nothing_is_asked_in_vain(tmp_path: Path, name: str, below: str) -> None:
    repo = works(tmp_path / "works")
    repo.stage({FLAT: (repo.path / FLAT).read_text().replace("1.5 lb", "1.6 lb")})
    answer = ask("-C", str(repo.path / below), *COMMANDS[name], "--today", "2026-02-01")
    assert answer.status in (0, 1)
    assert (plumbing._AHEAD, git.FOUND) == ({}, {})


def test_what_nobody_asked_is_put_aside_by_the_next_run(tmp_path: Path) -> None:
    repo = works(tmp_path / "works")
    words = ("-C", str(repo.path), "lint", "--staged", "T-101", "--today", "2026-02-01")
    assert ask(*words) == ask(*words)
    assert len(plumbing._AHEAD) == 1, "what is staged otherwise than HEAD, which a lint of one formula does not ask"


def test_a_second_run_sees_what_happened_since_the_first(tmp_path: Path) -> None:
    repo = works(tmp_path / "works")
    ahead.begin(str(repo.path), "lint", ("--staged",))
    repo.stage({FLAT: "nothing of a formula\n"})
    answers = [ask("-C", str(repo.path), "lint", "--staged", "--today", "2026-02-01") for _ in range(2)]
    assert [one.status for one in answers] == [1, 1]
    assert answers[0] == answers[1]


@pytest.mark.parametrize("bare", [True, False])
def test_where_there_is_nothing_to_ask_the_run_itself_says_so(tmp_path: Path, bare: bool) -> None:
    if bare:
        Repo(tmp_path).git("init", "-q", "--bare", str(tmp_path / "here"))
    else:
        (tmp_path / "here").mkdir()
    answer = ask("-C", str(tmp_path / "here"), "lint", "--staged")
    assert answer.status == 2
    assert ("so nothing is staged" if bare else "is not in a git repository") in answer.err
    assert git.FOUND == {}


class Narrow(Child):
    """A program behind the smallest pipes, as a machine gives them that has many."""

    def __init__(self, command: Sequence[str], folder: str, environment: Mapping[str, str]) -> None:
        super().__init__(command, folder, environment)
        sizes = [fcntl.fcntl(pipe, fcntl.F_SETPIPE_SZ, 4096) for pipe in (self.questions, self.answers)]
        self.room = max(sizes[0] // 2, 4096)


@pytest.mark.skipif(not DIRECT, reason="the sizes of pipes are those of Linux")
def test_more_may_be_asked_than_the_pipes_take(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    repo = works(tmp_path / "works")
    repo.stage({f"notes/{number}.txt": f"{number} " * 1500 for number in range(200)})
    repo.git("commit", "-q", "-m", "notes")
    monkeypatch.setattr(plumbing, "Child", Narrow)
    state = snapshot.at(str(repo.path), "HEAD")
    state.expect(state.entries)
    assert {name: raw.decode() for name, raw in state.read_many(state.entries).items()} == {name: (repo.path / name).read_text() for name in state.entries}
