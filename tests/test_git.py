"""How git is asked: in hooks, through other people's surroundings, in broken repositories, and never more than needed."""

from __future__ import annotations

import hashlib
import os
import shutil
import sys
from collections.abc import Callable
from pathlib import Path

import pytest
from repos import ROOT, Commit, Repo, build

from formulint import git, snapshot
from formulint.errors import UserError

A, B = "formulas/T-1.toml", "materials/RM-1.toml"
START = Commit("start", {**ROOT, A: "a = 1\n", B: "b = 1\n"})
GIT = shutil.which("git") or "git"

SHOW = f"""#!{sys.executable}
from formulint import snapshot
state = snapshot.index(".")
changes = " ".join(f"{{one.kind}}:{{one.name}}" for one in snapshot.changed(state))
print(f"[{{state.root}}] {{changes}} | {{len(state.read_many(state.entries))}} files", file=open("{{log}}", "a"))
"""


@pytest.fixture
def wrap(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[[str], None]:
    """Puts a script called git on PATH before the real one."""

    def install(script: str) -> None:
        folder = tmp_path / "bin"
        folder.mkdir()
        (folder / "git").write_text("#!/bin/sh\n" + script.replace("REAL", GIT))
        (folder / "git").chmod(0o755)
        monkeypatch.setenv("PATH", f"{folder}{os.pathsep}{os.environ['PATH']}")

    return install


def refusal(act: Callable[[], object]) -> str:
    """What the refusal says, with its remedy."""
    with pytest.raises(UserError) as caught:
        act()
    return f"{caught.value.message} -- {caught.value.remedy}"


# --- few processes -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("commits", "grep", "most"), [([START], False, 4), ([], False, 3), ([START], True, 5)])
def test_a_hook_needs_few_processes(
    tmp_path: Path, wrap: Callable[[str], None], commits: list[Commit], grep: bool, most: int
) -> None:
    repo = build(tmp_path / "repo", commits, staged={**START.files, A: "a = 2\n"})
    wrap(f'echo "$*" >> {tmp_path}/calls\nexec REAL "$@"\n')
    state = snapshot.index(str(repo))
    for change in snapshot.changed(state):
        state.read(change.name)
    state.read_many(state.entries)
    if grep:
        assert snapshot.grep(state, ["a"], "formulas") == (A,)
    assert len((tmp_path / "calls").read_text().splitlines()) == most


def test_two_commits_share_a_repository(tmp_path: Path, wrap: Callable[[str], None]) -> None:
    repo = build(tmp_path / "repo", [START, Commit("next", {A: "a = 2\n"})])
    wrap(f'echo "$*" >> {tmp_path}/calls\nexec REAL "$@"\n')
    shared = git.require(str(repo))
    states = [snapshot.at(shared, revision) for revision in ("HEAD~1", "HEAD")]
    assert [state.read(A) for state in states] == [b"a = 1\n", b"a = 2\n"]
    assert len((tmp_path / "calls").read_text().splitlines()) == 6


def test_thousands_of_objects_do_not_jam(tmp_path: Path) -> None:
    """More questions than a pipe holds, while more answers wait than a pipe holds."""
    texts = [b"%d\n" % number * 20 for number in range(2500)]
    repo = build(tmp_path)
    repo.git("fast-import", "--quiet", stdin=b"".join(b"blob\ndata %d\n%s\n" % (len(text), text) for text in texts))
    names = {hashlib.sha1(b"blob %d\0" % len(text) + text).hexdigest(): "some file" for text in texts}
    assert list(git.require(str(repo)).contents(names).values()) == texts


# --- inside hooks ------------------------------------------------------------------------------------------------


def hooked(repo: Repo, log: Path) -> None:
    """Installs a hook that writes down what it sees staged."""
    repo.hook("pre-commit", SHOW.replace("{log}", str(log)))


def test_hook_at_the_first_commit(tmp_path: Path) -> None:
    repo = build(tmp_path / "repo", staged={**ROOT, A: "a"})
    hooked(repo, tmp_path / "log")
    repo.git("commit", "-q", "-m", "first")
    assert (tmp_path / "log").read_text() == f"[] added:{A} added:formulint.toml | 2 files\n"


def test_hook_sees_only_what_is_committed(tmp_path: Path) -> None:
    repo = build(tmp_path / "repo", [START], staged={A: "a = 2\n"}, dirty={B: None})
    hooked(repo, tmp_path / "log")
    repo.git("commit", "-q", "-m", "staged")
    repo.git("commit", "-q", "-a", "-m", "all")
    repo.git("commit", "-q", "--amend", "-m", "again")
    assert (tmp_path / "log").read_text().splitlines() == [
        f"[] changed:{A} | 3 files",
        f"[] deleted:{B} | 2 files",
        "[]  | 2 files",
    ]


@pytest.mark.parametrize("words", [["-m", "one", A], ["-m", "one", "--only", "--", A]])
def test_hook_at_a_commit_of_named_files(tmp_path: Path, words: list[str]) -> None:
    """Git then puts the commit together in an index of its own (GIT_INDEX_FILE)."""
    repo = build(tmp_path / "repo", [START], staged={B: "b = 2\n"}, dirty={A: "a = 2\n"})
    hooked(repo, tmp_path / "log")
    repo.git("commit", "-q", *words)
    assert (tmp_path / "log").read_text() == f"[] changed:{A} | 3 files\n"


def test_hook_inside_a_linked_worktree(tmp_path: Path) -> None:
    repo = build(tmp_path / "repo", [START])
    hooked(repo, tmp_path / "log")
    repo.git("worktree", "add", "-q", "-b", "side", str(tmp_path / "side"))
    side = Repo(tmp_path / "side")
    side.stage({A: "a = 4\n", B: None})
    Repo(side.path / "formulas").git("commit", "-q", "-m", "from a folder below")
    assert (tmp_path / "log").read_text() == f"[] changed:{A} deleted:{B} | 2 files\n"


def test_hook_that_changes_into_a_folder(tmp_path: Path) -> None:
    repo = build(tmp_path / "repo", [Commit("x", {"p/" + name: content for name, content in START.files.items()})])
    repo.hook("pre-commit", SHOW.replace("{log}", str(tmp_path / "log")).replace('"."', '"p"'))
    repo.write({"p/" + A: "a = 2\n"})
    repo.git("commit", "-q", "-m", "x", "p/" + A)
    assert (tmp_path / "log").read_text() == f"[p/] changed:{A} | 3 files\n"


def test_hook_in_a_linked_worktree_that_changes_into_a_folder(tmp_path: Path) -> None:
    repo = build(tmp_path / "repo", [Commit("x", {"p/" + name: content for name, content in START.files.items()})])
    repo.hook("pre-commit", SHOW.replace("{log}", str(tmp_path / "log")).replace('"."', '"p"'))
    repo.git("worktree", "add", "-q", "-b", "side", str(tmp_path / "side"))
    side = Repo(tmp_path / "side")
    side.write({"p/" + A: "a = 2\n"})
    side.git("commit", "-q", "-m", "x", "p/" + A)
    assert (tmp_path / "log").read_text() == f"[p/] changed:{A} | 3 files\n"


def test_hook_that_asks_about_another_repository(tmp_path: Path) -> None:
    other = build(tmp_path / "other", [START], staged={B: None})
    repo = build(tmp_path / "repo", [START], dirty={A: "a = 2\n"})
    repo.hook("pre-commit", SHOW.replace("{log}", str(tmp_path / "log")).replace('"."', f'"{other}"'))
    repo.git("commit", "-q", "-m", "x", A)
    assert (tmp_path / "log").read_text() == f"[] deleted:{B} | 2 files\n"


# --- the surroundings --------------------------------------------------------------------------------------------


def test_what_git_handed_over_counts_only_where_we_were_started(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    ours, theirs = (build(tmp_path / name, [Commit(name, {**ROOT, A: name})]) for name in ("ours", "theirs"))
    monkeypatch.chdir(ours.path)
    monkeypatch.setenv("GIT_DIR", ".git")
    monkeypatch.setenv("GIT_WORK_TREE", ".")
    monkeypatch.setenv("GIT_INDEX_FILE", ".git/index")
    found = [snapshot.index(start).read(A) for start in (".", "formulas", str(ours), str(theirs), "../theirs/formulas")]
    assert found == [b"ours", b"ours", b"ours", b"theirs", b"theirs"]


def test_a_repository_named_from_where_we_were_started(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    repo = build(tmp_path, [START], dirty={A: "a = 2\n"})
    monkeypatch.chdir(repo.path / "formulas")
    monkeypatch.setenv("GIT_DIR", "../.git")
    monkeypatch.setenv("GIT_WORK_TREE", "..")
    found = [state.read(A) for state in (snapshot.index("."), snapshot.work_tree("."), snapshot.at("..", "HEAD"))]
    assert found == [b"a = 1\n", b"a = 2\n", b"a = 1\n"]


def test_a_work_tree_away_from_its_repository(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    repo = build(tmp_path / "repo", [START])
    Repo(tmp_path / "tree").write({A: "a = 9\n"})
    (tmp_path / "tree" / "formulint.toml").touch()
    monkeypatch.chdir(repo.path)
    monkeypatch.setenv("GIT_DIR", str(repo.path / ".git"))
    monkeypatch.setenv("GIT_WORK_TREE", str(tmp_path / "tree"))
    state = snapshot.work_tree(str(tmp_path / "tree" / "formulas"))
    assert (state.read(A), state.folder) == (b"a = 9\n", str(tmp_path / "tree"))
    assert state.repository is not None and state.repository.head == repo.head


@pytest.mark.parametrize(
    "name",
    [
        "GIT_EXTERNAL_DIFF",
        "GIT_SSH_COMMAND",
        "GIT_CONFIG_PARAMETERS",
        "GIT_CEILING_DIRECTORIES",
        "GIT_REPLACE_REF_BASE",
    ],
)
def test_other_variables_of_git_are_dropped(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, name: str) -> None:
    repo = build(tmp_path, [START], staged={A: "a = 2\n"})
    monkeypatch.setenv(name, str(tmp_path.parent))
    assert [one.name for one in snapshot.changed(snapshot.index(str(repo)))] == [A]
    assert name not in git.require(str(repo)).git.environment


def test_replaced_objects_and_grafts_are_not_believed(tmp_path: Path) -> None:
    repo = build(tmp_path, [START, Commit("two", {A: "a = 2\n"}), Commit("three", {A: "a = 3\n"})])
    two, three = repo.git("rev-parse", "HEAD~1", "HEAD").split()
    blobs = [repo.git("rev-parse", f"{commit}:{A}") for commit in (two, three)]
    repo.git("replace", *blobs[::-1])
    (repo.path / ".git" / "info").mkdir(exist_ok=True)
    (repo.path / ".git" / "info" / "grafts").write_text(f"{three}\n")
    assert repo.git("rev-list", "--count", "HEAD") == "1"  # the graft works, where it is believed
    assert snapshot.at(str(repo), "HEAD").read(A) == b"a = 3\n"
    assert snapshot.at(str(repo), "HEAD~1").commit == two


def test_programs_of_the_repository_are_not_run(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    repo = build(tmp_path, [START], dirty={"git": f"#!/bin/sh\ntouch {tmp_path}/ran\n"})
    (repo.path / "git").chmod(0o755)
    monkeypatch.chdir(repo.path)
    monkeypatch.setenv("PATH", f"{os.pathsep}.{os.pathsep}{os.environ['PATH']}")
    assert snapshot.index(".").read(A) == b"a = 1\n"
    assert not (repo.path / "ran").exists()


@pytest.mark.parametrize(("left_out", "words"), [("blob:none", "missing"), ("tree:0", "incomplete")])
def test_a_clone_without_objects_fetches_nothing(tmp_path: Path, left_out: str, words: str) -> None:
    origin = build(tmp_path / "origin", [START])
    origin.git("config", "uploadpack.allowFilter", "true")
    origin.git("clone", "-q", "--bare", f"--filter={left_out}", f"file://{origin}", str(tmp_path / "clone"))
    before = sorted((tmp_path / "clone" / "objects").rglob("*"))
    said = refusal(lambda: snapshot.at(str(tmp_path / "clone"), "HEAD").read(A))
    assert words in said and "clone without it" in said
    assert sorted((tmp_path / "clone" / "objects").rglob("*")) == before


# --- revisions ---------------------------------------------------------------------------------------------------

NONSENSE = ["", "-x", "--output=made", "--help", "^main", "main..main", "main:", f"main:{A}", "HEAD^{tree}", "nowhere"]
NONSENSE += [
    "HEAD~9",
    ":/start",
    "main\0",
    "\udcff",
    "0" * 40,
    "@{u}",
    "HEAD@{99}",
    " ",
    "main --",
    "\n",
    "refs/heads/",
    "x" * 9999,
]


@pytest.mark.parametrize("revision", NONSENSE)
def test_what_names_no_commit_is_refused(tmp_path: Path, revision: str) -> None:
    repo = build(tmp_path, [START])
    said = refusal(lambda: snapshot.at(str(repo), revision))
    assert "does not name a commit" in said
    assert said.isprintable() and not (repo.path / "made").exists()
    assert (
        "is not the name" in (said := refusal(lambda: git.require(str(repo)).resolve_base(revision)))
        or "does not" in said
    )


def test_names_of_commits(tmp_path: Path) -> None:
    repo = build(tmp_path, [START, Commit("next")])
    repo.git("tag", "-a", "v1", "-m", "v1")
    names = ["HEAD", "main", "refs/heads/main", "v1", "@", repo.head[:8], "HEAD^0", "HEAD^{/next}"]
    assert {snapshot.at(str(repo), name).commit for name in names} == {repo.head}
    assert snapshot.at(str(repo), "HEAD~1").commit == repo.git("rev-parse", "HEAD~1")


def test_what_is_no_commit_is_called_what_it_is(tmp_path: Path) -> None:
    repo = build(tmp_path, [START])
    blob = repo.git("rev-parse", f"HEAD:{A}")
    assert "but a blob" in refusal(lambda: snapshot.at(str(repo), blob))


def test_a_base_is_named_without_doubt(tmp_path: Path) -> None:
    repo = build(tmp_path, [START, Commit("next")])
    repo.git("update-ref", "refs/remotes/origin/main", "HEAD~1")
    found = git.require(str(repo))
    assert found.resolve_base("origin/main") == repo.git("rev-parse", "HEAD~1")
    repo.git("tag", "origin/main", "HEAD")
    said = refusal(lambda: found.resolve_base("origin/main"))
    assert "refs/remotes/origin/main or refs/tags/origin/main" in said
    assert found.resolve_base("refs/remotes/origin/main") == repo.git("rev-parse", "HEAD~1")
    assert found.resolve_base(repo.head) == found.resolve_base("main") == repo.head


@pytest.mark.parametrize("revision", ["HEAD~1", "main^", "@{u}", "-x", "ma*n", "", "main@{0}", ":/next", "HEAD..main"])
def test_a_base_is_a_name_not_a_calculation(tmp_path: Path, revision: str) -> None:
    found = git.require(str(build(tmp_path, [START, Commit("next")])))
    assert "is not the name of a branch or tag" in refusal(lambda: found.resolve_base(revision))


def test_before_the_first_commit(tmp_path: Path) -> None:
    repo = build(tmp_path, staged=ROOT)
    assert "nothing has been committed yet" in refusal(lambda: snapshot.at(str(repo), "HEAD"))


def test_a_shallow_clone_says_so(tmp_path: Path) -> None:
    origin = build(tmp_path / "origin", [START, Commit("next", {A: "a = 2\n"})])
    origin.git("clone", "-q", "--depth=1", f"file://{origin}", str(tmp_path / "clone"))
    assert snapshot.at(str(tmp_path / "clone"), "HEAD").read(A) == b"a = 2\n"
    said = refusal(lambda: snapshot.at(str(tmp_path / "clone"), "HEAD~1"))
    assert "shallow" in said and "git fetch --unshallow" in said


def test_differences_of_two_commits_cover_the_whole_tree(tmp_path: Path) -> None:
    repo = build(tmp_path, [START, Commit("next", {A: None, ".gitattributes": "x\n"})])
    found = git.require(str(repo)).differences(repo.git("rev-parse", "HEAD~1"), repo.head)
    assert [(one.name, set(one.new) == {"0"}) for one in found] == [(".gitattributes", False), (A, True)]


# --- damage ------------------------------------------------------------------------------------------------------


def spoil(repo: Repo, name: str, content: bytes | None) -> None:
    """Overwrite or remove the object of this name."""
    oid = repo.git("rev-parse", name)
    path = repo.path / ".git" / "objects" / oid[:2] / oid[2:]
    path.unlink()
    if content is not None:
        path.write_bytes(content)


@pytest.mark.parametrize("content", [None, b"", b"garbage", b"x\x9cKLJ"], ids=["missing", "empty", "garbage", "zlib"])
@pytest.mark.parametrize("name", ["HEAD", "HEAD^{tree}", "HEAD:formulas", f"HEAD:{A}"])
def test_spoilt_objects_are_named_with_a_remedy(tmp_path: Path, name: str, content: bytes | None) -> None:
    repo = build(tmp_path, [START], staged={B: "b = 2\n"})
    spoil(repo, name, content)
    said = refusal(lambda: snapshot.at(str(repo), "HEAD").read_many([B, A]))
    assert "git fsck" in said and said.isprintable()
    assert ":" not in name or A in said or "damaged" in said


@pytest.mark.parametrize("name", ["HEAD", "HEAD^{tree}"])
def test_changes_against_a_spoilt_commit_are_refused(tmp_path: Path, name: str) -> None:
    repo = build(tmp_path, [START], staged={B: "b = 2\n"})
    state = snapshot.index(str(repo))
    spoil(repo, name, None)
    assert "damaged or incomplete" in refusal(lambda: snapshot.changed(state))


def test_looking_for_a_code_in_a_spoilt_file_is_refused(tmp_path: Path) -> None:
    repo = build(tmp_path, [START], dirty={A: "other\n"})
    state = snapshot.index(str(repo))
    spoil(repo, f"HEAD:{A}", None)
    assert "damaged or incomplete" in refusal(lambda: snapshot.grep(state, ["a"], "formulas"))


def test_a_spoilt_index_is_named_with_a_remedy(tmp_path: Path) -> None:
    repo = build(tmp_path, [START])
    (repo.path / ".git" / "index").write_bytes(b"garbage")
    assert "what git holds as staged is damaged" in refusal(lambda: snapshot.index(str(repo)))


def test_a_tree_that_names_a_file_twice_is_refused(tmp_path: Path) -> None:
    repo = build(tmp_path, [START])
    blob = bytes.fromhex(repo.git("rev-parse", f"HEAD:{A}"))
    entry = b"100644 formulint.toml\0" + blob
    tree = repo.git("hash-object", "-t", "tree", "-w", "--literally", "--stdin", stdin=entry * 2)
    commit = repo.git("commit-tree", tree, "-m", "x")
    assert "holds one file name twice" in refusal(lambda: snapshot.at(str(repo), commit))


def test_a_tree_that_calls_a_commit_a_file_is_refused(tmp_path: Path) -> None:
    repo = build(tmp_path, [START])
    tree = b"100644 formulint.toml\0" + bytes.fromhex(repo.head)
    oid = repo.git("hash-object", "-t", "tree", "-w", "--literally", "--stdin", stdin=tree)
    state = snapshot.at(str(repo), repo.git("commit-tree", oid, "-m", "x"))
    assert "is a commit, where a file should be" in refusal(lambda: state.read("formulint.toml"))


# --- git itself --------------------------------------------------------------------------------------------------


def test_a_repository_of_another_owner(tmp_path: Path, wrap: Callable[[str], None]) -> None:
    repo = build(tmp_path / "repo", [START])
    wrap('GIT_TEST_ASSUME_DIFFERENT_OWNER=1 exec REAL "$@"\n')
    said = refusal(lambda: snapshot.work_tree(str(repo)))
    assert "belongs to another user" in said and f"safe.directory {repo}" in said


def test_git_is_missing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    repo = build(tmp_path, [START])
    monkeypatch.setenv("PATH", str(tmp_path))
    assert "git is not installed" in refusal(lambda: snapshot.index(str(repo.path / "formulas")))
    assert "git is not installed" in refusal(lambda: snapshot.work_tree(str(repo.path / "formulas")))


def test_git_is_too_old(tmp_path: Path, wrap: Callable[[str], None]) -> None:
    repo = build(tmp_path / "repo", [START])
    wrap('for word; do [ "$word" = version ] && echo git version 2.17.1 && exit; done; echo "--revs-only"\n')
    said = refusal(lambda: snapshot.index(str(repo)))
    assert "git 2.17.1 is too old" in said and "2.34" in said


def test_git_fails_for_a_reason_of_its_own(tmp_path: Path, wrap: Callable[[str], None]) -> None:
    repo = build(tmp_path / "repo", [START])
    wrap('case "$*" in *ls-files*) printf "fatal: out of \\033[1mluck\\n" >&2; exit 128;; esac; exec REAL "$@"\n')
    assert "git ls-files failed: out of ?[1mluck" in refusal(lambda: snapshot.index(str(repo)))


def test_a_left_over_that_is_no_repository(tmp_path: Path) -> None:
    Repo(tmp_path).write({**START.files, ".git/x": ""})
    assert "does not take it for a repository" in refusal(lambda: snapshot.work_tree(str(tmp_path / "formulas")))


def test_a_worktree_whose_repository_is_gone(tmp_path: Path) -> None:
    Repo(tmp_path).write({**START.files, ".git": f"gitdir: {tmp_path}/gone\n"})
    assert "not a git repository" in refusal(lambda: snapshot.work_tree(str(tmp_path)))


def test_no_such_folder(tmp_path: Path) -> None:
    assert "there is no folder" in refusal(lambda: snapshot.work_tree(str(tmp_path / "gone")))


def test_a_folder_with_a_line_break(tmp_path: Path) -> None:
    repo = build(tmp_path / "a\nb", [START])
    assert "holds a line break" in refusal(lambda: snapshot.index(str(repo)))
