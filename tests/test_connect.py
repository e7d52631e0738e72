"""Git told to merge and show by this program: what it writes, that it takes away just that, and what git does then."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from repos import Commit, Link, Repo, build
from repository import Answer, run
from story import EXAMPLE, HOOK, files

from formulint.connect import lines, settings, with_lines, without_lines
from formulint.settings import Folders
from formulint.sheet_text import plain

SHEET = "formulas/T-101.toml"
BEFORE = (EXAMPLE / SHEET).read_text(encoding="utf-8")
WATER, CELLULOSE = '"250.0 lb"', '"4.5 lb"'
GLYCOL, DEFOAMER = '"6.0 lb" },  # propylene', 'RM-1501", amount =   "2.0 lb" },  # mineral-oil defoamer\n  { material = "RM-1001"'
CUT = (DEFOAMER, DEFOAMER.replace('"2.0', '"2.1'))
DAY = "2026-01-12"


@pytest.fixture
def works(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Repo:
    """The example in a repository that is connected."""
    monkeypatch.setenv("DAY", DAY)
    repo = build(tmp_path / "works", [Commit("start", files())])
    said(repo, "connect")
    repo.commit("attributes", {".gitattributes": (repo.path / ".gitattributes").read_bytes()})
    return repo


def said(repo: Repo, *words: str) -> str:
    answer = run(repo.path, *words)
    assert answer.status == 0, answer
    return answer.out


def config(repo: Repo) -> bytes:
    return (repo.path / ".git" / "config").read_bytes()


def part(repo: Repo, ours: str, theirs: str) -> None:
    """Two branches, each with its own text of the sheet; the first is checked out."""
    repo.git("checkout", "-q", "-b", "topic")
    repo.commit("theirs", {SHEET: theirs})
    repo.git("checkout", "-q", "main")
    repo.commit("ours", {SHEET: ours})


def now(repo: Repo) -> str:
    return (repo.path / SHEET).read_text(encoding="utf-8")


def merge(repo: Repo) -> Answer:
    ran = subprocess.run(("git", "merge", "-m", "merge", "topic"), cwd=repo.path, capture_output=True, text=True, check=False)
    return Answer(ran.returncode, ran.stdout, ran.stderr)


# --- merging -----------------------------------------------------------------------------------------------------


def test_branches_that_change_different_lines_merge(works: Repo) -> None:
    part(works, BEFORE.replace(WATER, '"251.0 lb"'), BEFORE.replace(CELLULOSE, '"4.6 lb"'))
    assert merge(works).status == 0
    assert now(works) == BEFORE.replace(WATER, '"251.0 lb"').replace(CELLULOSE, '"4.6 lb"')


def test_without_it_git_cannot_merge_them(works: Repo) -> None:
    part(works, BEFORE.replace(WATER, '"251.0 lb"'), BEFORE.replace(CELLULOSE, '"4.6 lb"'))
    said(works, "connect", "--undo")
    assert merge(works).status == 1


def test_branches_that_change_one_amount_conflict_and_show_both(works: Repo) -> None:
    part(works, BEFORE.replace(WATER, '"251.0 lb"'), BEFORE.replace(WATER, '"252.0 lb"'))
    answer = merge(works)
    assert (answer.status, "CONFLICT (content)" in answer.out) == (1, True)
    assert "both sides changed this: stage Grind: RM-1001" in answer.err
    line = '  {{ material = "RM-1001", amount = "{}.0 lb" }},  # water\n'
    kept, (start, *rest) = BEFORE.split(line.format(250)), now(works).splitlines(keepends=True)[len(BEFORE.split(line.format(250))[0].splitlines()) :]
    assert now(works).startswith(kept[0]) and now(works).endswith(kept[1]) and start.startswith("<<<<<<< ")
    assert rest[:3] == [line.format(251), "=======\n", line.format(252)] and rest[3].startswith(">>>>>>> ")


def test_the_hook_judges_what_was_merged(works: Repo) -> None:
    works.hook("pre-merge-commit", HOOK)
    part(works, BEFORE.replace(*CUT), BEFORE.replace('"123.9 lb"', '"12.9 lb"'))
    answer = merge(works)
    assert answer.status != 0 and "the lines add up to" in " ".join((answer.out + answer.err).split())
    assert now(works) == BEFORE.replace(*CUT).replace('"123.9 lb"', '"12.9 lb"')
    assert works.git("log", "-1", "--format=%s") == "ours"


def test_the_hook_lets_a_good_merge_pass(works: Repo) -> None:
    works.hook("pre-merge-commit", HOOK)
    raised = BEFORE.replace("revision = 1\n", "revision = 2\n").replace(CELLULOSE, '"4.6 lb"')
    part(works, f"# looked through\n{BEFORE}", raised)
    answer = merge(works)
    assert answer.status == 0, answer
    assert works.git("log", "-1", "--format=%s") == "merge"


def test_rebase_and_cherry_pick_ask_it_too(works: Repo) -> None:
    part(works, BEFORE.replace(WATER, '"251.0 lb"'), BEFORE.replace(CELLULOSE, '"4.6 lb"'))
    works.git("cherry-pick", "topic")
    assert now(works) == BEFORE.replace(WATER, '"251.0 lb"').replace(CELLULOSE, '"4.6 lb"')


def test_a_text_that_is_no_record_is_merged_by_lines(works: Repo) -> None:
    part(works, BEFORE + "x\n", BEFORE.replace(WATER, '"251.0 lb"'))
    assert merge(works).status == 0
    assert now(works) == BEFORE.replace(WATER, '"251.0 lb"') + "x\n"


def test_the_gate_merges_by_lines_all_the_same(works: Repo) -> None:
    part(works, BEFORE.replace(WATER, '"251.0 lb"'), BEFORE.replace(CELLULOSE, '"4.6 lb"'))
    answer = run(works.path, "gate", "--base", "main", "--head", "topic", "--today", DAY)
    assert (answer.status, "conflicts" in answer.err) == (2, True), answer
    assert merge(works).status == 0


# --- showing -----------------------------------------------------------------------------------------------------


def test_git_shows_plain_text(works: Repo) -> None:
    works.write({SHEET: BEFORE.replace(WATER, '"251.0 lb"')})
    shown = works.git("diff")
    assert "\n-  RM-1001            250.0 lb  # water\n+  RM-1001            251.0 lb  # water\n" in shown
    assert "material =" not in shown
    assert "material =" in works.git("diff", "--no-textconv")


def test_git_shows_a_conflict_as_plain_text(works: Repo) -> None:
    part(works, BEFORE.replace(WATER, '"251.0 lb"'), BEFORE.replace(WATER, '"252.0 lb"'))
    merge(works)
    shown = works.git("diff")
    assert "251.0 lb  # water\n++=======\n" in shown and "material =" not in shown


def test_what_is_no_record_is_shown_as_it_is(works: Repo) -> None:
    works.write({SHEET: b"x \xff\n"})
    assert "+x \udcff" in works.git("diff")


RECORDS = sorted(path.relative_to(EXAMPLE).as_posix() for path in EXAMPLE.rglob("*.toml") if path.parent.name in ("formulas", "materials"))


@pytest.mark.parametrize("name", RECORDS)
def test_every_word_of_a_record_is_in_its_text(name: str) -> None:
    raw = (EXAMPLE / name).read_bytes()
    text = plain(raw) or ""
    comments = [line.partition("#")[2].strip() for line in raw.decode().splitlines() if "#" in line and '"#' not in line]
    values = [piece for line in raw.decode().splitlines() for piece in line.partition("#")[0].split('"')[1::2]]
    assert [one for one in (*values, *comments) if one not in text] == []


@given(st.binary(max_size=200) | st.sampled_from([b"a = [", b'"' * 7, b"x = { y = 1 }\n" * 30, b"a.b.c = 1\n[[d]]\n[d.e]\n[[d.e.f]]\n", b"[" * 4000]))
def test_any_bytes_end_in_a_text_or_in_none(raw: bytes) -> None:
    for one in (raw, b"<<<<<<< \n" + raw + b"\n=======\na = 1\n>>>>>>> \n"):
        text = plain(one)
        assert text is None or "\x1b" not in text


def test_nothing_in_a_text_acts_on_a_screen() -> None:
    assert plain(b'name = "\\u001b[2J"  # \xe2\x80\xae\n') == f"{'name':<20} \\u{{1b}}[2J  # \\u{{202e}}\n"


# --- what is written ---------------------------------------------------------------------------------------------


def test_it_shows_what_it_writes(works: Repo) -> None:
    said(works, "connect", "--undo")
    shown = said(works, "connect")
    assert [line for line in shown.splitlines() if line.startswith("written: ")] == [
        *(f"written: {name} = {value}" for name, value in settings((sys.executable, "-P", "-m", "formulint")).items()),
        *(f"written: .gitattributes: {line.decode()}" for line in lines(Folders())),
    ]


def test_git_is_told_the_very_program_that_was_asked(works: Repo, tmp_path: Path) -> None:
    script = tmp_path / "formulint"
    script.write_text(f"#!{sys.executable}\nfrom formulint.cli import run\nrun()\n")
    script.chmod(0o755)
    subprocess.run(("../formulint", "connect"), cwd=works.path, check=True, capture_output=True)
    assert works.git("config", "diff.formulint.textconv") == f"{script} text"


def test_twice_is_once(works: Repo) -> None:
    before = config(works), (works.path / ".gitattributes").read_bytes()
    assert "written:" not in said(works, "connect")
    assert (config(works), (works.path / ".gitattributes").read_bytes()) == before


@pytest.mark.parametrize("attributes", [None, "* -text\n", "*.md text", "# ours\r\n* -text\r\n"])
def test_undo_leaves_everything_as_it_was(tmp_path: Path, attributes: str | None) -> None:
    repo = build(tmp_path / "works", [Commit("start", {**files(), **({".gitattributes": attributes} if attributes else {})})])
    repo.git("config", "merge.other.driver", "true")
    before = config(repo), repo.git("status", "--porcelain")
    said(repo, "connect")
    assert (config(repo), repo.git("status", "--porcelain")) != before
    said(repo, "connect", "--undo")
    assert (config(repo), repo.git("status", "--porcelain")) == before


def test_undo_where_nothing_was_done_says_so(tmp_path: Path) -> None:
    repo = build(tmp_path / "works", [Commit("start", files())])
    assert all(line.startswith("not there: ") for line in said(repo, "connect", "--undo").splitlines())


def test_the_users_own_settings_are_not_touched(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "global").write_text("[x]\n\ty = z\n")
    monkeypatch.setenv("GIT_CONFIG_GLOBAL", str(tmp_path / "global"))
    said(build(tmp_path / "works", [Commit("start", files())]), "connect")
    assert (tmp_path / "global").read_text() == "[x]\n\ty = z\n"


def test_nothing_is_written_through_a_link(tmp_path: Path) -> None:
    (tmp_path / "outside").write_text("* -text\n")
    repo = build(tmp_path / "works", [Commit("start", files())])
    repo.write({".gitattributes": Link("../outside")})
    before = config(repo)
    assert run(repo.path, "connect").status == 2
    assert ((tmp_path / "outside").read_text(), config(repo)) == ("* -text\n", before)


OWN = lines(Folders())


@given(st.lists(st.sampled_from([b"* -text", b"", b"# x", b"*.toml merge=union", b"/formulas/**/*.toml -text"])), st.booleans(), st.sampled_from([b"\n", b"\r\n"]))
def test_lines_that_were_put_in_come_out_again(foreign: list[bytes], ended: bool, end: bytes) -> None:
    before = end.join(foreign) + (end if ended and foreign else b"")
    after = with_lines(before, OWN)
    assert without_lines(after) == before
    assert with_lines(after, OWN) == after
    assert [line for line in after.splitlines() if line in OWN] == OWN


@pytest.mark.parametrize("folder", ["paint sheets", 'a"b', "a[b]*", "deep/er", "back\\slash"])
def test_git_takes_the_lines_for_any_folder(tmp_path: Path, folder: str) -> None:
    repo = build(tmp_path / "works")
    repo.write({".gitattributes": b"\n".join(lines(Folders(formulas=folder)))})
    for name, value in ((f"{folder}/T-1.toml", "formulint"), (f"{folder}/x/T-1.toml", "formulint"), ("elsewhere/T-1.toml", "unspecified")):
        assert repo.git("check-attr", "-z", "merge", "--", name).split("\0")[2] == value


@pytest.mark.parametrize("program", ["/a b/formulint", "/it's/formulint", "/100%O/formulint", "/$(touch x)/formulint"])
def test_git_starts_the_program_wherever_it_lies(works: Repo, tmp_path: Path, program: str) -> None:
    script = Path(f"{tmp_path}{program}")
    script.parent.mkdir()
    script.write_text(f'#!/bin/sh\nexec "{sys.executable}" -m formulint "$@"\n')
    script.chmod(0o755)
    for name, value in settings((str(script),)).items():
        works.git("config", name, value)
    part(works, BEFORE.replace(WATER, '"251.0 lb"'), BEFORE.replace(CELLULOSE, '"4.6 lb"'))
    assert merge(works).status == 0
    assert "RM-1001            251.0 lb" in works.git("show", "main~0^1")
    assert not (works.path / "x").exists()
