"""States of a formula repository, read from real git repositories: what is in them, where the root is, what differs."""

from __future__ import annotations

import os
import socket
from datetime import date
from pathlib import Path

import pytest
from repos import ROOT, Commit, Content, Files, Link, Repo, build

from formulint import snapshot
from formulint.errors import UserError
from formulint.plumbing import LONGEST

A, B = "formulas/T-1.toml", "materials/RM-1.toml"
START = Commit("start", {**ROOT, A: "a = 1\n", B: "b = 1\n"})
ODD = {
    "formulas/space and 'quote\".toml": "s",
    "formulas/weiß-白.toml": "u",
    "formulas/line\nbreak\ttab.toml": "n",
    "formulas/\udcff\udcfe.toml": "b",
    "formulas/[a]*?.toml": "g",
    "formulas/:(top).toml": "p",
}


def read(state: snapshot.Snapshot) -> dict[str, str]:
    """Everything in a state, as text."""
    return {name: raw.decode() for name, raw in state.read_many(state.entries).items()}


def kinds(changes: tuple[snapshot.FileChange, ...]) -> dict[str, str]:
    """What happened, by name."""
    return {change.name: change.kind for change in changes}


# --- the three sources -------------------------------------------------------------------------------------------


@pytest.mark.parametrize("object_format", ["sha1", "sha256"])
def test_each_source_gives_its_own_bytes(tmp_path: Path, object_format: str) -> None:
    repo = build(tmp_path, [START], staged={A: "a = 2\n"}, dirty={A: "a = 3\n"}, object_format=object_format)
    states = (snapshot.at(str(repo), "HEAD"), snapshot.index(str(repo)), snapshot.work_tree(str(repo)))
    assert [state.read(A) for state in states] == [b"a = 1\n", b"a = 2\n", b"a = 3\n"]
    assert [state.label for state in states] == [repo.head[:7], "index", "work tree"]
    assert kinds(snapshot.changed(states[1])) == {A: "changed"}


def test_fixed_identity_gives_fixed_ids(tmp_path: Path) -> None:
    repos = [build(tmp_path / name, [START, Commit("next", {B: None})]) for name in ("one", "two")]
    assert repos[0].head == repos[1].head == "2f1452e423fe2de4a44019367147e33432947b14"


@pytest.mark.parametrize("state", ["HEAD", "index", "work tree"])
def test_odd_names_survive(tmp_path: Path, state: str) -> None:
    repo = build(tmp_path / "a b'c", [Commit("odd", {**ROOT, **ODD})])
    assert read(_state(repo, state)) == {**ROOT, **ODD}


def _state(repo: Repo, name: str) -> snapshot.Snapshot:
    made = {"index": snapshot.index, "work tree": snapshot.work_tree}
    return made[name](str(repo)) if name in made else snapshot.at(str(repo), name)


def test_work_tree_is_tracked_and_not_ignored_and_there(tmp_path: Path) -> None:
    repo = build(tmp_path, [START, Commit("ignore", {".gitignore": "*.bak\n", "formulas/T-9.toml": "9"})])
    repo.write({B: None, "formulas/new.toml": "n", "formulas/old.bak": "x"})
    assert set(snapshot.work_tree(str(repo)).entries) == {
        "formulint.toml", ".gitignore", A, "formulas/T-9.toml", "formulas/new.toml",
    }  # fmt: skip


def test_work_tree_of_some_folders_only(tmp_path: Path) -> None:
    repo = build(tmp_path, [Commit("start", {**START.files, "other/x": "x", "formulint.toml": "formulas\n"})])
    state = snapshot.work_tree(str(repo), folders=lambda raw: raw.decode().split())
    assert set(state.entries) == {"formulint.toml", A}


def test_index_knows_nothing_of_what_is_not_staged(tmp_path: Path) -> None:
    repo = build(tmp_path, [START], dirty={"formulas/new.toml": "n", A: None})
    assert set(snapshot.index(str(repo)).entries) == {"formulint.toml", A, B}


def test_a_plain_folder_works_without_git(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    Repo(tmp_path).write({**START.files, ".hidden/x": "x", "x/.git/y": "y"})
    monkeypatch.setenv("PATH", str(tmp_path))
    state = snapshot.work_tree(str(tmp_path / "formulas"))
    assert set(state.entries) == {"formulint.toml", A, B, ".hidden/x"}
    assert (state.read(A), state.folder, state.repository) == (b"a = 1\n", str(tmp_path), None)


def test_a_plain_folder_has_no_index(tmp_path: Path) -> None:
    Repo(tmp_path).write(START.files)
    with pytest.raises(UserError, match="not in a git repository"):
        snapshot.index(str(tmp_path))


def test_bare_repository_has_commits_only(tmp_path: Path) -> None:
    build(tmp_path / "a", [START]).git("clone", "-q", "--bare", ".", str(tmp_path / "bare"))
    state = snapshot.at(str(tmp_path / "bare"), "main")
    assert (state.read(A), state.folder) == (b"a = 1\n", "")
    for source in (snapshot.index, snapshot.work_tree):
        with pytest.raises(UserError, match="no files lie here"):
            source(str(tmp_path / "bare"))


def test_linked_worktree_has_its_own_index_and_head(tmp_path: Path) -> None:
    main = build(tmp_path / "main", [START])
    main.git("worktree", "add", "-q", "-b", "side", str(tmp_path / "side"))
    side = Repo(tmp_path / "side")
    side.stage({A: "a = 5\n"})
    assert snapshot.index(str(side)).read(A) == b"a = 5\n"
    assert kinds(snapshot.changed(snapshot.index(str(side)))) == {A: "changed"}
    assert snapshot.changed(snapshot.index(str(main))) == ()


def test_blobs_are_bytes_as_committed(tmp_path: Path) -> None:
    content = "\ufeffa = 1\r\n".encode()
    repo = build(tmp_path, [Commit("crlf", {**ROOT, A: content})])
    assert [_state(repo, state).read(A) for state in ("HEAD", "index", "work tree")] == [content] * 3


def test_filters_and_textconv_are_never_run(tmp_path: Path) -> None:
    repo = build(tmp_path, [Commit("start", {**START.files, ".gitattributes": "*.toml filter=x diff=x\n"})])
    for key in ("filter.x.smudge", "filter.x.clean", "diff.x.textconv", "diff.x.command", "core.fsmonitor"):
        repo.git("config", key, f"touch {tmp_path}/ran; cat")
    repo.write({A: "a = 7\n"})
    states = [_state(repo, state) for state in ("HEAD", "index", "work tree")]
    found = [(read(state)[A], snapshot.grep(state, ["a = "], "formulas")) for state in states]
    assert snapshot.changed(states[1]) == () and len(found) == 3
    assert not (tmp_path / "ran").exists()


# --- the root ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("state", ["HEAD", "index", "work tree"])
@pytest.mark.parametrize(
    ("at", "start", "root"),
    [("", "", ""), ("", "formulas", ""), ("p/q/", "p/q/formulas", "p/q/"), ("p/", "p", "p/"), ("p/q/", "", "p/q/")],
)
def test_root_is_above_or_the_only_one_below(tmp_path: Path, at: str, start: str, root: str, state: str) -> None:
    repo = build(tmp_path, [Commit("x", {at + name: content for name, content in START.files.items()} | {"z": "z"})])
    found = _state(Repo(repo.path / start), state)
    assert (found.root, found.read(A)) == (root, b"a = 1\n")
    assert ("z" in found.entries) is (root == "")
    assert found.folder == str(repo.path / root)


def test_several_roots_below_are_named(tmp_path: Path) -> None:
    repo = build(
        tmp_path, [Commit("two", {"a/formulint.toml": "", "a-b/formulint.toml": "", "a/c/formulint.toml": ""})]
    )
    with pytest.raises(UserError, match=r'several .* below: "a-b/formulint.toml", "a/formulint.toml"$'):
        snapshot.index(str(repo))
    assert snapshot.index(str(repo.path / "a-b")).root == "a-b/"


@pytest.mark.parametrize("state", ["HEAD", "index", "work tree"])
def test_a_root_inside_a_root_is_a_fault(tmp_path: Path, state: str) -> None:
    repo = build(tmp_path, [Commit("two", {**START.files, "formulas/x/formulint.toml": ""})])
    outer, inner = _state(repo, state), _state(Repo(repo.path / "formulas/x"), state)
    assert [fault.place.path for fault in outer.faults] == ["formulas/x/formulint.toml"]
    assert (inner.root, [fault.place.path for fault in inner.faults]) == ("formulas/x/", ["formulint.toml"])


def test_no_root(tmp_path: Path) -> None:
    repo = build(tmp_path, [Commit("none", {A: "a"})], dirty=ROOT)
    for state in ("HEAD", "index"):
        with pytest.raises(UserError, match=r"no formulint\.toml here or above"):
            _state(repo, state)
    assert snapshot.work_tree(str(repo)).root == ""


def test_ignored_settings_mark_no_root(tmp_path: Path) -> None:
    repo = build(tmp_path, [Commit("x", {".gitignore": "/p/formulint.toml\n", **START.files, "p/z": "z"})])
    repo.write({"p/formulint.toml": ""})
    state = snapshot.work_tree(str(repo.path / "p"))
    assert (state.root, set(state.entries)) == ("", {".gitignore", *START.files, "p/z"})


@pytest.mark.parametrize("state", ["HEAD", "index", "work tree"])
def test_only_the_whole_name_marks_a_root(tmp_path: Path, state: str) -> None:
    repo = build(tmp_path, [Commit("x", {**START.files, "formulas/my-formulint.toml": "", "x/formulint.toml/y": ""})])
    found = _state(Repo(repo.path / "formulas"), state)
    assert (found.root, found.faults) == ("", ())


@pytest.mark.parametrize("place", [":(exclude)p", "p*", "[p]", ":!p", ":(top)p", "-p", " "])
@pytest.mark.parametrize("state", ["HEAD", "index", "work tree"])
def test_names_of_folders_are_taken_as_they_stand(tmp_path: Path, place: str, state: str) -> None:
    repo = build(
        tmp_path, [Commit("x", {**{f"{place}/{name}": text for name, text in START.files.items()}, "pq/z": "a"})]
    )
    found = _state(Repo(repo.path / place), state)
    assert set(found.entries) == set(START.files)
    assert snapshot.grep(found, ["a = "], "formulas") == (A,)


def test_settings_behind_a_link_mark_no_root(tmp_path: Path) -> None:
    repo = build(tmp_path, [Commit("x", {"formulint.toml": Link("s.toml"), "s.toml": "format = 1\n"})])
    for state in ("HEAD", "index", "work tree"):
        with pytest.raises(UserError, match=r'"formulint.toml" is not a regular file'):
            _state(repo, state)


# --- what is no file ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize("state", ["HEAD", "index", "work tree"])
def test_links_and_submodules_are_faults(tmp_path: Path, state: str) -> None:
    sub = build(tmp_path / "sub", [Commit("s", {"x": "x"})])
    repo = build(tmp_path / "repo", [START])
    repo.write({"formulas/link.toml": Link("/etc/passwd"), "doc/link": Link("x")})
    repo.git("clone", "-q", str(sub), "formulas/sub")
    repo.git("add", "-A")
    repo.commit("links")
    found = _state(repo, state)
    assert set(found.entries) == {"formulint.toml", A, B}
    faults = found.faults_below(("formulas", "materials"))
    assert [fault.place.path for fault in faults] == ["formulas/link.toml", "formulas/sub"]
    assert len(found.faults) == 3


def test_a_record_that_ends_as_an_editor_ends_it_is_told(tmp_path: Path) -> None:
    repo = build(tmp_path / "repo", [START])
    twin = A.removesuffix(".toml") + ".txt"
    repo.write({"formulas/T-7.toml.txt": "x", "materials/x/RM-7.txt": "x", "formulas/notes.txt": "x", "T-8.txt": "x", twin: "x"})
    faults = snapshot.work_tree(str(repo)).faults_below(("formulas", "materials"))
    assert [(fault.place.path, fault.kind) for fault in faults] == [("formulas/T-7.toml.txt", "review"), ("materials/x/RM-7.txt", "review")]
    assert faults[0].remedy == "if it is a record, rename it to T-7.toml"


def test_a_folder_that_is_a_link_is_not_followed(tmp_path: Path) -> None:
    Repo(tmp_path / "outside").write({"T-1.toml": "secret", "new.toml": "secret"})
    repo = build(tmp_path / "repo", [START])
    (repo.path / A).unlink()
    (repo.path / "formulas").rmdir()
    repo.write({"formulas": Link("../outside")})
    state = snapshot.work_tree(str(repo))
    assert set(state.entries) == {"formulint.toml", B}
    assert [fault.place.path for fault in state.faults_below(["formulas"])] == ["formulas"]


@pytest.mark.parametrize("swap", [Link("/etc/passwd"), Link("formulint.toml"), None])
def test_a_file_swapped_after_listing_is_not_read(tmp_path: Path, swap: Content) -> None:
    repo = build(tmp_path, [START])
    state = snapshot.work_tree(str(repo))
    repo.write({A: swap})
    with pytest.raises(UserError, match=r'"formulas/T-1.toml" (is a link|cannot be read)'):
        state.read(A)


def test_a_folder_swapped_after_listing_is_not_entered(tmp_path: Path) -> None:
    repo = build(tmp_path / "repo", [START])
    state = snapshot.work_tree(str(repo))
    (repo.path / "formulas").rename(tmp_path / "outside")
    repo.write({"formulas": Link("../outside")})
    with pytest.raises(UserError, match="is a link, or lies behind one"):
        state.read(A)


@pytest.mark.parametrize("git", [True, False])
def test_pipes_and_sockets_are_faults_and_never_wait(
    tmp_path: Path, git: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    repo = build(tmp_path, [START]) if git else Repo(tmp_path)
    repo.write(START.files)
    (repo.path / A).unlink()
    os.mkfifo(repo.path / A)
    monkeypatch.chdir(repo.path / "materials")
    with socket.socket(socket.AF_UNIX) as plug:
        plug.bind("plug.toml")
    state = snapshot.work_tree(str(repo))
    assert set(state.entries) == {"formulint.toml", B}
    assert "formulas/T-1.toml" in [fault.place.path for fault in state.faults]


def test_a_pipe_swapped_in_after_listing_never_waits(tmp_path: Path) -> None:
    repo = build(tmp_path, [START])
    state = snapshot.work_tree(str(repo))
    (repo.path / A).unlink()
    os.mkfifo(repo.path / A)
    with pytest.raises(UserError, match="is not a file"):
        state.read(A)


@pytest.mark.parametrize("state", ["HEAD", "index", "work tree"])
def test_long_files_are_cut(tmp_path: Path, state: str) -> None:
    files: Files = {A: b"#" * (LONGEST + 5000), B: b"#" * LONGEST, "materials/RM-2.toml": "x"}
    found = _state(build(tmp_path, [Commit("long", {**ROOT, **files})]), state)
    sizes = {name: len(raw) for name, raw in found.read_many(files).items()}
    assert sizes == {A: LONGEST + 1, B: LONGEST, "materials/RM-2.toml": 1}


@pytest.mark.parametrize("state", ["HEAD", "index", "work tree"])
def test_too_many_files_are_refused(tmp_path: Path, state: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("formulint.worktree.MOST", 2)
    with pytest.raises(UserError, match="more than 2 files"):
        _state(build(tmp_path, [START]), state)


def test_too_many_files_in_a_plain_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("formulint.worktree.MOST", 2)
    Repo(tmp_path).write({**START.files, "x/y": "", "x/z": ""})
    with pytest.raises(UserError, match="more than 2 files"):
        snapshot.work_tree(str(tmp_path))


def test_unmerged_files_are_named(tmp_path: Path) -> None:
    repo = build(tmp_path, [START, Commit("mine", {A: "a = 2\n"})])
    repo.git("checkout", "-q", "-b", "other", "HEAD~1")
    repo.commit("theirs", {A: "a = 3\n"})
    repo.git("merge", "main", check=False)
    with pytest.raises(UserError, match=r'conflicts in "formulas/T-1\.toml"') as caught:
        snapshot.index(str(repo))
    assert "git add" in caught.value.remedy
    assert b"<<<<<<<" in snapshot.work_tree(str(repo)).read(A)


def test_settings_in_conflict_are_named(tmp_path: Path) -> None:
    repo = build(tmp_path, [START, Commit("mine", {"formulint.toml": "format = 2\n"})])
    repo.git("checkout", "-q", "-b", "other", "HEAD~1")
    repo.commit("theirs", {"formulint.toml": "format = 3\n"})
    repo.git("merge", "main", check=False)
    with pytest.raises(UserError, match=r'conflicts in "formulint\.toml"'):
        snapshot.index(str(repo))


@pytest.mark.parametrize("commits", [[START], [Commit("root", ROOT)], []])
def test_announced_files_are_not_staged(tmp_path: Path, commits: list[Commit]) -> None:
    repo = build(tmp_path, commits, staged={**ROOT, "formulas/empty.toml": ""})
    repo.write({"formulas/later.toml": "x = 1\n"})
    repo.git("add", "-N", "formulas/later.toml")
    state = snapshot.index(str(repo))
    assert [(fault.place.path, fault.kind) for fault in state.faults] == [("formulas/later.toml", "review")]
    assert "formulas/later.toml" not in {*state.entries, *kinds(snapshot.changed(state))}
    assert kinds(snapshot.changed(state))["formulas/empty.toml"] == "added"


# --- dates -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("when", "day"),
    [
        ("2026-03-01T23:30:00-05:00", date(2026, 3, 2)),
        ("2026-03-01T00:30:00+09:00", date(2026, 2, 28)),
        ("1970-01-01T00:00:00+00:00", date(1970, 1, 1)),
        ("2099-12-31T23:59:59+00:00", date(2099, 12, 31)),
    ],
)
def test_a_commit_is_dated_in_utc(tmp_path: Path, when: str, day: date) -> None:
    state = snapshot.at(str(build(tmp_path, [START._replace(date=when)])), "HEAD")
    assert (state.date, state.date_origin) == (day, f"the date of commit {state.label}")


@pytest.mark.parametrize("stamp", ["99999999999999999", "-5", "x"])
def test_a_date_beyond_reason_is_refused(tmp_path: Path, stamp: str) -> None:
    repo = build(tmp_path, [START])
    raw = repo.git("cat-file", "-p", "HEAD").replace("1767268800 +0000", f"{stamp} +0000") + "\n"
    commit = repo.git("hash-object", "-t", "commit", "-w", "--literally", "--stdin", stdin=raw.encode())
    with pytest.raises(UserError, match="no date that can be read"):
        snapshot.at(str(repo), commit)
    assert snapshot.at(str(repo), commit, date(2026, 1, 1)).date_origin == "given by --today"


def test_other_states_have_the_day_of_the_machine(tmp_path: Path) -> None:
    repo = build(tmp_path, [START])
    states = [snapshot.index(str(repo)), snapshot.work_tree(str(repo))]
    assert {(state.date, state.date_origin) for state in states} == {(date.today(), "this machine's date")}
    given = snapshot.index(str(repo), date(2020, 2, 29))
    assert (given.date, given.date_origin) == (date(2020, 2, 29), "given by --today")


# --- what differs ------------------------------------------------------------------------------------------------

CHANGES: list[tuple[str, Files, dict[str, str]]] = [
    ("added", {"rules/x.toml": "x"}, {"rules/x.toml": "added"}),
    ("changed settings", {"formulint.toml": "format = 2\n"}, {"formulint.toml": "changed"}),
    ("deleted", {B: None}, {B: "deleted"}),
    ("renamed", {A: None, "formulas/T-2.toml": "a = 1\n"}, {A: "deleted", "formulas/T-2.toml": "added"}),
    ("case only", {A: None, "formulas/t-1.toml": "a = 1\n"}, {A: "deleted", "formulas/t-1.toml": "added"}),
    ("link for file", {A: Link("x")}, {A: "deleted"}),
    ("odd name", {"formulas/\udcff\n.toml": "x"}, {"formulas/\udcff\n.toml": "added"}),
    ("nothing", {}, {}),
]


@pytest.mark.parametrize(("files", "expected"), [case[1:] for case in CHANGES], ids=[case[0] for case in CHANGES])
def test_changes_are_the_same_by_every_way(tmp_path: Path, files: Files, expected: dict[str, str]) -> None:
    repo = build(tmp_path, [START], staged=files)
    staged, before, disk = snapshot.index(str(repo)), snapshot.at(str(repo), "HEAD"), snapshot.work_tree(str(repo))
    assert kinds(snapshot.changed(staged)) == kinds(snapshot.changed_between(before, disk)) == expected
    repo.commit("next")
    after = snapshot.at(str(repo), "HEAD")
    assert snapshot.changed_between(before, after) == tuple(sorted(snapshot.changed(staged), key=lambda one: one.name))


def test_changes_carry_the_ids_of_both_sides(tmp_path: Path) -> None:
    repo = build(tmp_path, [START], staged={A: "a = 2\n"})
    [change] = snapshot.changed(snapshot.index(str(repo)))
    assert (change.old, change.new) == (repo.git("rev-parse", f"HEAD:{A}"), repo.git("rev-parse", f":{A}"))


def test_the_state_before_is_head(tmp_path: Path) -> None:
    repo = build(tmp_path, [START], staged={A: None, B: "b = 2\n", "rules/x.toml": "x"})
    staged = snapshot.index(str(repo))
    before = snapshot.before(staged, snapshot.changed(staged))
    assert before.read_many(before.entries) == snapshot.at(str(repo), "HEAD").read_many(START.files)


def test_first_commit_adds_everything(tmp_path: Path) -> None:
    state = snapshot.index(str(build(tmp_path, staged=START.files)))
    assert kinds(snapshot.changed(state)) == dict.fromkeys(["formulint.toml", A, B], "added")


def test_changes_outside_the_root_are_not_ours(tmp_path: Path) -> None:
    first = Commit("x", {"p/formulint.toml": "", "p/a.toml": "1", "z.toml": "1"})
    repo = build(tmp_path, [first], staged={"p/a.toml": "2", "z.toml": "2"})
    assert kinds(snapshot.changed(snapshot.index(str(repo)))) == {"a.toml": "changed"}


def test_mode_and_line_ends_alone_are_no_change(tmp_path: Path) -> None:
    repo = build(tmp_path, [START], dirty={B: "b = 1\r\n"})
    repo.git("update-index", "--chmod=+x", A)
    before = snapshot.at(str(repo), "HEAD")
    assert snapshot.changed(snapshot.index(str(repo))) == ()
    assert snapshot.changed_between(before, snapshot.work_tree(str(repo))) == ()


def test_a_root_that_moves_is_no_change(tmp_path: Path) -> None:
    moved: Files = {"p/" + name: content for name, content in START.files.items()}
    repo = build(tmp_path, [START, Commit("move", {**dict.fromkeys(START.files), **moved})])
    assert snapshot.changed_between(snapshot.at(str(repo), "HEAD~1"), snapshot.at(str(repo), "HEAD")) == ()


# --- looking for codes -------------------------------------------------------------------------------------------


@pytest.mark.parametrize("state", ["HEAD", "index", "work tree"])
def test_grep_finds_all_that_may_hold_a_code(tmp_path: Path, state: str) -> None:
    files: Files = {
        "p/formulint.toml": "RM-1",
        "p/formulas/yes.toml": 'material = "RM-1"\n',
        "p/formulas/\udcff\n.toml": 'material = "RM-2"\n',
        "p/formulas/no.toml": 'material = "rm.1"\n',
        "p/formulas/escaped.toml": 'material = "RM\\u002d1"\n',
        "p/formulas/binary.toml": b"\0\xff RM-1",
        "p/materials/RM-1.toml": "RM-1",
        ".gitattributes": "*.toml binary\n",
    }
    found = snapshot.grep(_state(build(tmp_path, [Commit("x", files)]), state), ["RM-1", "RM-2"], "formulas")
    assert sorted(found) == sorted(f"formulas/{name}.toml" for name in ("yes", "\udcff\n", "escaped", "binary"))


def test_grep_takes_codes_as_they_stand(tmp_path: Path) -> None:
    repo = build(tmp_path, [Commit("x", {**ROOT, "formulas/a.toml": "-e .*\n", "formulas/b.toml": "b"})])
    state = snapshot.index(str(repo))
    assert snapshot.grep(state, ["-e .*"], "formulas") == ("formulas/a.toml",)
    assert snapshot.grep(state, [], "formulas") == snapshot.grep(state, ["z"], "formulas") == ()
