"""``formulint demo``: the same story and the same commits on every machine, really played; and an end where it is not."""

from __future__ import annotations

import fcntl
import os
import pickle
import shutil
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import NamedTuple

import pytest
from patches import SCREENPLAY, STORY, WHOLE, patches
from played import GOLDEN, hostile, play, program, surroundings, telling
from repos import Repo
from repository import Answer
from story import IMPORT, STEPS, raised, replace

from formulint.excerpt import Lacking, excerpt

IMPORTED = {"commit": "commits/00-import.patch", "shows": ["8 formulas and 40 materials judged"]}
MENDED = {"commit": "commits/01-t149-preservative.patch", "shows": ["changed RM-1801"]}
SLIPPED = {"attempt": "attempts/04-t140-unit-slip.patch", "shows": ["STOP the lines add up"]}
SHORT = (IMPORTED, MENDED, SLIPPED)


class Played(NamedTuple):
    """A run: where, what it said, and everything that lay around its folder before and after."""

    repo: Repo
    answer: Answer
    before: dict[str, bytes]
    after: dict[str, bytes]


def around(folder: Path, inner: Path) -> dict[str, bytes]:
    """Every file below a folder but those of one inside it."""
    found = [path for path in sorted(folder.rglob("*")) if inner not in (path, *path.parents) and path.is_file()]
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in found}


@pytest.fixture(scope="session")
def once(tmp_path_factory: pytest.TempPathFactory) -> Callable[[str, Callable[[Path], Played]], Played]:
    """Play a thing once, whichever worker comes first: the folder, and what was said, are kept beside each other."""
    base = tmp_path_factory.getbasetemp()
    shared = (base.parent if "PYTEST_XDIST_WORKER" in os.environ else base) / "demo"
    shared.mkdir(exist_ok=True)

    def played(name: str, make: Callable[[Path], Played]) -> Played:
        kept = shared / f"{name}.pickle"
        with open(shared / f"{name}.lock", "w") as lock:
            fcntl.flock(lock, fcntl.LOCK_EX)
            if not kept.exists():
                (shared / name).mkdir()
                kept.write_bytes(pickle.dumps(make(shared / name)))
        found: Played = pickle.loads(kept.read_bytes())
        return found

    return played


def _plain(folder: Path) -> Played:
    (folder / "place").mkdir()
    works = folder / "place" / "works"
    answer = play(works, surroundings(folder))
    return Played(Repo(works), answer, {}, around(folder / "place", works))


def _elsewhere(folder: Path) -> Played:
    """In a folder with blanks and umlauts, for a user whose git signs, converts and has hooks; temporary files watched."""
    home, works = hostile(folder / "home"), folder / "Lacke & Farben" / "für Wände"
    (folder / "tmp").mkdir()
    works.parent.mkdir()
    environment = surroundings(folder, HOME=str(home), TMPDIR=str(folder / "tmp"), LANG="C", SKIP="formulint", GIT_DIR="/nowhere")
    for name in ("GIT_CONFIG_GLOBAL", "GIT_CONFIG_NOSYSTEM", "GIT_CONFIG_COUNT"):
        del environment[name]
    before = around(folder, works)
    return Played(Repo(works), play(works, environment), before, around(folder, works))


Once = Callable[[str, Callable[[Path], Played]], Played]


@pytest.fixture(scope="session")
def plain(once: Once) -> Played:
    return once("plain", _plain)


@pytest.fixture(scope="session")
def elsewhere(once: Once) -> Played:
    return once("elsewhere", _elsewhere)


# --- the story ---------------------------------------------------------------------------------------------------


def test_it_tells_what_it_told(plain: Played) -> None:
    assert (plain.answer.status, plain.answer.err) == (0, "")
    assert plain.answer.out == GOLDEN.read_text(encoding="utf-8"), "python tests/played.py renews it"


def test_settings_of_the_user_and_names_of_folders_change_nothing(plain: Played, elsewhere: Played) -> None:
    assert elsewhere.answer == plain.answer
    log = ("log", "--all", "--format=%H %P %an %ae %ad %cn %ce %cd %B")
    assert elsewhere.repo.git(*log) == plain.repo.git(*log)
    assert elsewhere.repo.git("for-each-ref") == plain.repo.git("for-each-ref")


def test_nothing_is_written_outside_its_folder(plain: Played, elsewhere: Played) -> None:
    assert plain.after == {}
    assert elsewhere.after == elsewhere.before


def test_commits_are_named_in_the_story_and_refusals_leave_none(plain: Played) -> None:
    recorded = plain.repo.git("log", "--all", "--reverse", "--topo-order", "--format=%h").split()
    assert sorted(recorded) == sorted(line.split()[-1] for line in plain.answer.out.splitlines() if "   recorded as " in line)
    assert len(recorded) == sum("commit" in step for step in SCREENPLAY["step"]) == 17
    assert plain.answer.out.count("REFUSED by ") == 7


def test_it_ends_on_main_clean_and_with_every_file_of_the_example(plain: Played) -> None:
    assert plain.repo.git("status", "--porcelain", "--branch") == "## main"
    assert plain.repo.git("fsck", "--no-dangling") == ""
    first = set(plain.repo.git("ls-tree", "-r", "--name-only", "main~15").split("\n"))
    example = {path.relative_to(STORY.parent).as_posix() for path in STORY.parent.rglob("*.toml") if STORY not in path.parents}
    assert first == example | {".gitattributes"}


def test_what_it_released_holds_and_is_approved_as_stated(plain: Played) -> None:
    assert plain.repo.git("tag").split() == ["approved/T-140-r3", "approved/T-140-r4"]
    assert plain.repo.git("for-each-ref", "--format=%(taggeremail) %(taggerdate:short)", "refs/tags") == "<lab.manager@example.org> 2026-04-09\n<lab.manager@example.org> 2026-04-16"
    told = " ".join(plain.answer.out.split("== Which one was sold")[1].split())
    assert told.count("stated, not proved") == 3
    assert plain.repo.git("ls-tree", "--name-only", "main", "releases/").split() == ["releases/T-140-r3.toml", "releases/T-140-r4.toml"]


def test_lines_fit_a_page(plain: Played) -> None:
    assert [line for line in plain.answer.out.splitlines() if len(line) > 80] == []


# --- afterwards --------------------------------------------------------------------------------------------------


@pytest.fixture
def works(plain: Played, tmp_path: Path) -> Repo:
    shutil.copytree(plain.repo.path, tmp_path / "works")
    return Repo(tmp_path / "works")


def typed(text: str) -> Iterator[str]:
    """The lines that a reader is told to type."""
    for line in text.split("What to type next:\n")[1].splitlines():
        yield line.partition("  #")[0].strip()


def test_every_line_that_is_to_be_typed_works(works: Repo, plain: Played) -> None:
    first, *lines = typed(plain.answer.out)
    assert (first, len(lines)) == ("cd DIR", 6)
    environment = surroundings(works.path.parent)
    answers = [subprocess.run(("sh", "-c", line), cwd=works.path, env=environment, capture_output=True, check=False) for line in lines]
    assert [(line, one.stderr) for line, one in zip(lines, answers, strict=True) if one.returncode] == []


@pytest.mark.parametrize(("amount", "passes"), [('"19.5 kg"', False), ('"19.6 lb"', True)])
def test_its_hook_stays_whatever_the_user_has_set(works: Repo, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, amount: str, passes: bool) -> None:
    monkeypatch.setenv("HOME", str(hostile(tmp_path / "home")))
    monkeypatch.delenv("GIT_CONFIG_GLOBAL")
    sheet = works.path / "formulas" / "T-140.toml"
    sheet.write_text(raised(replace('"19.5 lb"', amount)(sheet.read_text())))
    before = works.head
    works.git("commit", "-q", "-a", "-m", "a trial of my own", check=False)
    assert (works.head != before) == passes


# --- other ways to tell it ---------------------------------------------------------------------------------------


@pytest.fixture
def short(tmp_path: Path) -> Callable[..., Answer]:
    """A demo with a story of its own, told by a package laid out as a wheel is."""

    def told(*steps: dict[str, object], words: tuple[str, ...] = (), **environment: str) -> Answer:
        site = telling(tmp_path, steps)
        return play(tmp_path / "works", {**surroundings(tmp_path), "PYTHONPATH": str(site), **environment}, *words)

    return told


def test_in_brief_and_without_a_home(short: Callable[..., Answer], monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("HOME", "GIT_CONFIG_GLOBAL", "GIT_CONFIG_NOSYSTEM"):
        monkeypatch.delenv(name)
    answer = short(*SHORT, words=("--brief",))
    lines = answer.out.splitlines()
    results = [line.strip() for line in GOLDEN.read_text(encoding="utf-8").splitlines() if "recorded as" in line][:2]
    assert (answer.status, answer.err) == (0, "")
    assert [line.strip() for line in lines if line.startswith("   ")] == [*results, "REFUSED by closure/batch; nothing is recorded"]
    assert not any(line.startswith("  |") for line in lines)


def test_with_a_git_that_cannot_merge_by_itself(short: Callable[..., Answer], tmp_path: Path) -> None:
    git = shutil.which("git")
    script = f'#!/bin/sh\ncase " $* " in *" version "*|*" --version "*) echo git version 2.34.1 ;; *) exec "{git}" "$@" ;; esac\n'
    program(tmp_path / "bin" / "git", script)
    steps = SCREENPLAY["step"]
    first, last = (next(at for at, step in enumerate(steps) if words in step.values()) for words in ("glycol", "release/15-approvals-stated.patch"))
    proposals = steps[first:last]
    answer = short(IMPORTED, *(step for step in proposals if "diff" not in step))
    assert (answer.status, answer.err) == (0, "")
    assert "git 2.34.1 cannot merge without a work tree; from 2.38 on the gate answers here" in " ".join(answer.out.split())
    assert "The gate judged what the merge would hold" not in " ".join(answer.out.split())


BAD: dict[str, tuple[dict[str, object], str, str]] = {
    "passes": ({"attempt": "commits/01-t149-preservative.patch"}, "T-149: preservative", 'should have begun with "This stops a commit."'),
    "refused": ({"commit": "attempts/04-t140-unit-slip.patch"}, "T-140: more brush drag", 'should have begun with "Nothing stops a commit."'),
    "unsaid": ({**MENDED, "shows": ["changed RM-9999"]}, "T-149: preservative", 'should have begun with "changed RM-9999"'),
    "unfit": ({"commit": "commits/14-t210-revision-2.patch"}, "T-210 revision 2", "the patch should have fitted"),
    "asked": ({"ask": "audit records", "by": "A <a@example.org>", "day": "2026-04-30", "status": 1}, "audit records", "exit status should have been 1"),
    "branch": ({"branch": "glycol"}, "the end", "should be on main and clean, not on glycol"),
}


@pytest.mark.parametrize("name", BAD)
def test_a_step_that_goes_otherwise_ends_it(short: Callable[..., Answer], name: str) -> None:
    step, title, words = BAD[name]
    answer = short(IMPORTED, step)
    assert answer.status == 2
    assert answer.err.startswith("formulint cannot answer: the demo went otherwise than told at ")
    assert (title in answer.err, words in answer.err, "type next" in answer.out) == (True, True, False)
    assert "Traceback" not in answer.err


# --- where it is not begun ---------------------------------------------------------------------------------------


def refused(answer: Answer, words: str) -> bool:
    """True where nothing was told, and these words say why."""
    return (answer.status, answer.out) == (2, "") and words in answer.err


def test_a_folder_with_something_in_it_is_left_alone(tmp_path: Path) -> None:
    (tmp_path / "works").mkdir()
    (tmp_path / "works" / ".hidden").write_text("mine")
    assert refused(play(tmp_path / "works", surroundings(tmp_path)), "is not empty")
    assert os.listdir(tmp_path / "works") == [".hidden"]


def test_a_file_and_a_formula_repository_are_no_place_for_it(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("mine")
    assert refused(play(tmp_path / "file", surroundings(tmp_path)), "cannot be made: file exists")
    (tmp_path / "formulint.toml").write_text("format = 1\n")
    assert refused(play(tmp_path / "works", surroundings(tmp_path)), "one does not lie in another")
    assert not (tmp_path / "works").exists()


def test_without_git_nothing_is_begun(tmp_path: Path) -> None:
    assert refused(play(tmp_path / "works", surroundings(tmp_path, PATH=str(tmp_path / "bin"))), "git is not installed")
    assert not (tmp_path / "works").exists()


def test_without_pre_commit_nothing_is_begun(tmp_path: Path) -> None:
    script = "import sys; sys.modules['pre_commit'] = None; from formulint.cli import main; sys.exit(main(['demo', 'works']))"
    ran = subprocess.run((sys.executable, "-c", script), cwd=tmp_path, capture_output=True, text=True, check=False)
    assert refused(Answer(ran.returncode, ran.stdout, ran.stderr), f"do: {sys.executable} -m pip install pre-commit")
    assert os.listdir(tmp_path) == []


# --- the patches -------------------------------------------------------------------------------------------------


def test_patches_are_the_edits_of_the_story(tmp_path: Path) -> None:
    found = list(patches(tmp_path / "works"))
    assert [one.name for one in found if one.written != one.made] == [], "python tests/patches.py renews them"
    assert {one.name for one in found} | set(WHOLE) == {path.relative_to(STORY).as_posix() for path in STORY.rglob("*.patch")}


def test_patches_bear_the_words_of_the_story() -> None:
    steps = {"0": IMPORT, **STEPS}
    texts = {path.stem.split("-")[0].lstrip("0") or "0": path.read_text() for path in STORY.glob("[ac]*/*.patch")}
    assert set(texts) == set(steps) - {"glycol", "coalescent"}
    assert [number for number, text in texts.items() if f"\nSubject: {steps[number].message}\n" not in text] == []


def test_git_takes_the_patches_of_commits_as_mail(works: Repo) -> None:
    kept = ("log", "--format=%T %an %ae %at %B")
    played = works.git(*kept, "main~6")
    works.git("switch", "-q", "--detach", "main~15")
    mails = sorted(str(path) for path in STORY.glob("commits/*.patch") if "import" not in path.name)
    works.git("am", "-q", "--no-gpg-sign", *mails)
    assert works.git(*kept) == played


# --- what is cut out of an answer --------------------------------------------------------------------------------

REPORT = """\
formulint: what is staged, judged as on 2026-01-12

T-1  White (production, revision 1)
  STOP    the lines add up to 102 gal
          and not to the batch
          at formulas/T-1.toml, line 8
          do: look for a line in another unit,
          doubled or missing

T-1  White: another paint (compositional)
  line     material                                               stage   before    after  lb/100 gal
  changed  RM-1 HEUR, high-shear builder, 20 % nonvolatile, pale  Post   18.0 lb  18.0 kg      +21.68
  property         before   after    change           limit  verdict
  Mass, lb         1053.3  1075.0     +21.7
  Density, lb/gal   10.53   10.49     -0.04  10.41 to 10.65  holds
  8 more without a printed difference

The sheet
  stage  material                                             as written     lb    gal  % of the batch
  Post   RM-1 HEUR, high-shear builder, 20 %, pale, filtered     18.0 lb  18.00  2.069           1.710

STOP formulas/T-1.toml, line 8: closure/batch
"""

CUTS = {
    "a finding is one line, broken anew": (["STOP the lines"], 60, ["STOP    the lines add up to 102 gal and not to the batch"]),
    "its details hang": (["do: look"], 40, ["        do: look for a line in another", "        unit, doubled or missing"]),
    "the last line is not the finding": (["STOP formulas"], 60, ["STOP formulas/T-1.toml, line 8: closure/batch"]),
    "columns close up": (["Mass, lb"], 60, ["property  before   after  change", "Mass, lb  1053.3  1075.0   +21.7"]),
    "a name gives way": (
        ["changed RM-1"],
        60,
        ["line     material      stage   before    after  lb/100 gal", "changed  RM-1 HEUR ..  Post   18.0 lb  18.0 kg      +21.68"],
    ),
    "two tables, one after the other": (
        ["changed RM-1", "Density"],
        90,
        [
            "line     material                                stage   before    after  lb/100 gal",
            "changed  RM-1 HEUR, high-shear builder, 20 % ..  Post   18.0 lb  18.0 kg      +21.68",
            "property         before  after  change           limit  verdict",
            "Density, lb/gal   10.53  10.49   -0.04  10.41 to 10.65  holds",
        ],
    ),
    "a line of a sheet": (
        ["Post RM-1"],
        70,
        ["stage  material      as written     lb    gal  % of the batch", "Post   RM-1 HEUR ..     18.0 lb  18.00  2.069           1.710"],
    ),
    "text order, whatever order is asked": (["8 more", "T-1 White:"], 60, ["T-1  White: another paint (compositional)", "8 more without a printed difference"]),
}


@pytest.mark.parametrize("name", CUTS)
def test_cut(name: str) -> None:
    wanted, width, lines = CUTS[name]
    assert excerpt(REPORT, wanted, width) == lines


def test_a_line_that_is_not_there_is_missed() -> None:
    with pytest.raises(Lacking, match="Viscosity"):
        excerpt(REPORT, ["Mass, lb", "Viscosity"], 60)
