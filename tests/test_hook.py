"""The pre-commit hook in real repositories: what git is about to record is judged, nothing else, and nothing is touched."""

from __future__ import annotations

import json
import shlex
import shutil
from collections.abc import Mapping
from pathlib import Path

import pytest
from repos import Content, Link, Repo, build
from story import EXAMPLE, HOOK, STEPS, Answer, attempt, commit, copied, edited, files, founded, raised, replace, run

T140, T149, COALESCENT = "formulas/T-140.toml", "formulas/T-149.toml", "materials/RM-1021.toml"
SLIP, GOOD = STEPS["4"], STEPS["5"]
DAY = GOOD.day
USERS_OF_COALESCENT = ("T-140", "T-149", "T-301")

PREMIX = """\
code     = "{code}"
name     = "Premix of {of}"
revision = 1
state    = "production"
class    = "intermediate"
markets  = []
batch    = "100 lb"

[[stage]]
name = "Mix"
kind = "premix"
additions = [
  {{ material = "{of}", amount = "90.0 lb" }},
  {{ material = "RM-1001", amount = "10.0 lb" }},
]
"""


@pytest.fixture(scope="module")
def imported(tmp_path_factory: pytest.TempPathFactory) -> Repo:
    return founded(tmp_path_factory.mktemp("works") / "works")[0]


@pytest.fixture
def works(imported: Repo, tmp_path: Path) -> Repo:
    return copied(imported, tmp_path / "works")


def text(name: str) -> str:
    """A file of the example."""
    return (EXAMPLE / name).read_text()


def offered(repo: Repo, changes: Mapping[str, Content], message: str = "try") -> Answer:
    """Stage changes and try to commit them."""
    repo.stage(changes)
    return commit(repo, message, day=DAY)


def missing(answer: Answer, *words: str) -> list[str]:
    """Which of these were not said."""
    return [part for part in words if part not in answer.said]


# --- the index is judged -----------------------------------------------------------------------------------------


@pytest.mark.parametrize(("staged", "status"), [(SLIP, 1), (GOOD, 0)])
def test_index_is_judged_and_not_the_work_tree(works: Repo, staged: object, status: int) -> None:
    slip, good = edited(works, SLIP), edited(works, GOOD)
    works.stage(slip if staged is SLIP else good)
    works.write(good if staged is SLIP else slip)
    assert commit(works, "try", day=DAY).status == status


def test_partial_commit_is_judged_as_what_it_records(works: Repo) -> None:
    works.stage(edited(works, SLIP))
    works.write(edited(works, STEPS["1"]))
    answer = commit(works, "only T-149", T149, day=DAY)
    assert (answer.status, missing(answer, "1 formula judged", "RM-1801")) == (0, [])
    assert works.git("show", "--format=", "--name-only") == T149
    assert commit(works, "only T-140", T140, day=DAY).status == 1


def test_first_commit_is_refused_then_accepted(tmp_path: Path) -> None:
    repo = build(tmp_path)
    repo.hook("pre-commit", HOOK)
    repo.write(files())
    repo.write(edited(repo, SLIP))
    repo.git("add", "-A")
    assert (commit(repo, "start").status, repo.git("rev-list", "--all")) == (1, "")
    assert offered(repo, files()).status == 0


def test_linked_worktree_has_the_hook_and_an_index_of_its_own(works: Repo, tmp_path: Path) -> None:
    works.git("worktree", "add", "-q", "-b", "side", str(tmp_path / "side"))
    works.stage(edited(works, STEPS["6"]))
    side = Repo(tmp_path / "side")
    assert attempt(side, SLIP).status == 1
    side.git("reset", "-q", "--hard")
    answer = attempt(side, GOOD)
    assert (answer.status, missing(answer, "1 formula judged", "T-140")) == (0, [])


def test_sha256_repository(tmp_path: Path) -> None:
    repo = build(tmp_path, object_format="sha256")
    repo.hook("pre-commit", HOOK)
    assert (offered(repo, files()).status, len(repo.head)) == (0, 64)
    assert attempt(repo, SLIP).status == 1
    repo.git("reset", "-q", "--hard")
    assert attempt(repo, GOOD).status == 0


def test_root_in_a_subfolder(tmp_path: Path) -> None:
    repo = build(tmp_path)
    repo.hook("pre-commit", HOOK)
    assert offered(repo, {f"lab/paint/{name}": content for name, content in files().items()}).status == 0
    answer = attempt(Repo(tmp_path / "lab" / "paint"), SLIP)
    assert (answer.status, missing(answer, "102.49 gal", "at formulas/T-140.toml")) == (1, [])


def test_adoption_in_a_repository_that_has_a_past(tmp_path: Path) -> None:
    repo = build(tmp_path)
    repo.commit("before the tool", {"README": "paint"})
    repo.hook("pre-commit", HOOK)
    answer = offered(repo, files())
    assert (answer.status, missing(answer, "8 formulas and 40 materials judged")) == (0, [])


def test_announced_file_is_not_part_of_the_commit(works: Repo) -> None:
    works.write({"formulas/T-9.toml": "broken"})
    works.git("add", "-N", "formulas/T-9.toml")
    answer = attempt(works, GOOD)
    assert (answer.status, missing(answer, "T-9.toml", "git add -N")) == (0, [])


# --- what a change reaches ---------------------------------------------------------------------------------------


def test_moved_material_puts_its_users_in_scope(works: Repo) -> None:
    answer = offered(works, {COALESCENT: None, "materials/coalescents/RM-1021.toml": text(COALESCENT)})
    assert (answer.status, missing(answer, "3 formulas and 1 material judged")) == (0, [])


def test_sheet_that_cannot_be_read_is_not_told_as_removed(works: Repo) -> None:
    answer = offered(works, {T140: text(T140).replace('"18.0 lb"', '"18.0 lbs/gal"')})
    assert (answer.status, "removed" in answer.said, "compositional" in answer.said) == (1, False, False)


def test_formula_renamed_without_its_code_is_refused(works: Repo) -> None:
    answer = offered(works, {T140: None, "formulas/T-141.toml": text(T140)})
    words = ('the file is called T-141, the code in it is "T-140"', "rename the file to T-140.toml")
    assert (answer.status, missing(answer, *words)) == (1, [])


def test_deleted_material_that_is_in_use_is_refused_and_named(works: Repo) -> None:
    answer = offered(works, {COALESCENT: None})
    places = [f"at formulas/{code}.toml, line" for code in USERS_OF_COALESCENT]
    words = ("RM-1021 is deleted by this commit, and T-140 uses it", "git restore --staged --worktree materials/RM-1021.toml")
    assert (answer.status, missing(answer, *words, *places)) == (1, [])


def test_deleted_material_that_nobody_uses_may_go(works: Repo) -> None:
    assert offered(works, {"materials/RM-1011.toml": None}).status == 0


def test_changed_material_shows_what_it_does_to_its_users(works: Repo) -> None:
    answer = offered(works, {COALESCENT: replace('"8.10 lb/gal"', '"8.60 lb/gal"')(text(COALESCENT))})
    assert (answer.status, missing(answer, "3 formulas and 1 material judged", "T-140", "99.99 99.92 -0.07")) == (0, [])


def test_changed_price_shows_what_it_does_to_the_cost(works: Repo) -> None:
    answer = offered(works, {COALESCENT: replace('"1.75 USD/lb"', '"2.75 USD/lb"')(text(COALESCENT))})
    assert (answer.status, missing(answer, "10.42 10.52 +0.10")) == (0, [])


def test_material_reaches_through_premixes_of_premixes(works: Repo) -> None:
    wetting = text("materials/RM-1403.toml").replace("RM-1403", "RM-9001")
    paint = text(T149).replace("T-149", "T-900").replace('"RM-1403"', '"PX-2"')
    new = {f"formulas/{code}.toml": PREMIX.format(code=code, of=of) for code, of in (("PX-1", "RM-9001"), ("PX-2", "PX-1"))}
    assert offered(works, {"materials/RM-9001.toml": wetting, "formulas/T-900.toml": paint, **new}).status == 0
    answer = offered(works, {"materials/RM-9001.toml": wetting.replace("8.80 lb/gal", "2.80 lb/gal")})
    assert (answer.status, missing(answer, "3 formulas and 1 material judged", "at formulas/T-900.toml, line 8")) == (1, [])


def test_changed_settings_put_everything_in_scope(works: Repo) -> None:
    answer = offered(works, {"formulint.toml": text("formulint.toml").replace('"0.5 %"', '"0.001 %"')})
    assert (answer.status, missing(answer, "8 formulas and 40 materials judged", "99.99 gal")) == (1, [])


def test_changed_house_rule_puts_everything_in_scope(works: Repo) -> None:
    stricter = text("rules/house.toml").replace('max = "350 ppm"', 'max = "280 ppm"')
    answer = offered(works, {"rules/house.toml": stricter})
    words = ("8 formulas and 40 materials judged", "T-140", "above the limit of 280 ppm")
    assert (answer.status, missing(answer, *words)) == (0, [])


def test_untracked_material_does_not_exist(works: Repo) -> None:
    works.write({"materials/RM-9001.toml": text(COALESCENT).replace("RM-1021", "RM-9001")})
    answer = offered(works, {T140: raised(text(T140)).replace("RM-1021", "RM-9001")})
    assert (answer.status, missing(answer, 'there is no material "RM-9001"', "git add materials/RM-9001.toml")) == (1, [])
    works.git("add", "materials/RM-9001.toml")
    assert commit(works, "with its material", day=DAY).status == 0


def test_old_fault_elsewhere_is_counted_and_no_barrier(works: Repo) -> None:
    works.stage(edited(works, SLIP))
    works.git("commit", "-q", "--no-verify", "-m", "slipped in")
    answer = offered(works, {"materials/RM-1307.toml": text("materials/RM-1307.toml") + "# seen\n"})
    assert (answer.status, missing(answer, "2 findings about records that this commit does not touch")) == (0, [])
    assert attempt(works, STEPS["1"]).status == 0


@pytest.mark.parametrize("changes", [{}, {"README.md": "r", "rules/README": "x", "materials/sheet.pdf": b"\x00"}])
def test_commit_of_nothing_of_ours_is_silent_and_reads_nothing(works: Repo, tmp_path: Path, changes: dict[str, Content]) -> None:
    log = counted(works, tmp_path)
    works.stage(changes)
    assert commit(works, "other things", "--allow-empty", day=DAY) == Answer(0, "")
    assert sorted(calls(log)) == ["diff-index", "ls-files", "rev-parse"]  # the last two side by side


# --- odd files ---------------------------------------------------------------------------------------------------


def test_letters_and_blanks_of_all_kinds_in_folders(works: Repo) -> None:
    there = "materials/Füll & Weiß 白/d'or \"1\"/RM-1021.toml"
    assert offered(works, {COALESCENT: None, there: text(COALESCENT)}).status == 0
    answer = offered(works, {there: text(COALESCENT).replace("form ", "from ")})
    assert (answer.status, missing(answer, f"at {there}, line 4", "formulas cannot be judged until it can be read")) == (1, [])


def test_material_beside_the_commit_is_named_so_that_a_shell_takes_it_for_a_name(works: Repo) -> None:
    there = "materials/$(touch x) 'a/RM-9001.toml"
    works.write({there: text(COALESCENT).replace("RM-1021", "RM-9001")})
    answer = offered(works, {T140: raised(text(T140)).replace("RM-1021", "RM-9001")})
    command = answer.said.partition("in this commit: ")[2].partition(" rule ")[0]
    assert shlex.split(command) == ["git", "add", there]


def test_windows_line_ends(works: Repo) -> None:
    answer = offered(works, {T140: raised(text(T140)).replace("\n", "\r\n").replace("RM-1021", "RM-1022")})
    assert (answer.status, missing(answer, "at formulas/T-140.toml, line 7", "RM-1021 -> RM-1022")) == (1, [])
    assert offered(works, {T140: raised(text(T140)).replace("\n", "\r\n").replace('"18.0 lb"', '"18.1 lb"')}).status == 0


@pytest.mark.parametrize(
    ("name", "before", "after", "line"),
    [
        (T140, 'batch    = "100 gal"', 'batch    = "100 gal', 8),
        (T140, "[[stage]]", "<<<<<<< HEAD\n[[stage]]", 10),
        (T140, '"18.0 lb"', '"18.0 lbs/gal"', 41),
        (COALESCENT, 'form ', 'from ', 4),
        ("formulint.toml", "format        = 1", "format        = one", 4),
        ("rules/house.toml", 'kind = "dose"', 'kind = "does"', 3),
    ],
)
def test_what_cannot_be_read_is_refused_with_its_line(works: Repo, name: str, before: str, after: str, line: int) -> None:
    answer = offered(works, {name: text(name).replace(before, after, 1)})
    assert answer.status == 1
    assert missing(answer, f"{name}, line {line}") == []


def test_file_over_one_mebibyte_is_refused(works: Repo) -> None:
    answer = offered(works, {T140: text(T140) + "# " + "x" * (1 << 20)})
    assert (answer.status, missing(answer, T140, "1 MiB")) == (1, [])


@pytest.mark.parametrize("name", [COALESCENT, "materials/RM-9001.toml"])
def test_link_in_place_of_a_material_is_refused(works: Repo, name: str) -> None:
    answer = offered(works, {name: Link("RM-1010.toml")})
    assert (answer.status, missing(answer, f'"{name}" is a symbolic link')) == (1, [])


def test_link_elsewhere_or_of_old_is_no_barrier(works: Repo) -> None:
    assert offered(works, {"docs": Link("README.md")}) == Answer(0, "")
    works.stage({"materials/RM-9001.toml": Link("RM-1010.toml")})
    works.git("commit", "-q", "--no-verify", "-m", "slipped in")
    assert attempt(works, GOOD).status == 0


# --- a guest that leaves no trace and takes no time ---------------------------------------------------------------


def everything(folder: Path) -> dict[str, tuple[int, bytes]]:
    """Every file below a folder, the git directory included: when it was written, and what it holds."""
    return {str(path): (path.stat().st_mtime_ns, path.read_bytes()) for path in folder.rglob("*") if path.is_file()}


@pytest.mark.parametrize("step", [SLIP, GOOD, STEPS["14"]])
def test_nothing_is_written(works: Repo, step: object) -> None:
    works.stage(edited(works, step))  # type: ignore[arg-type]
    before = everything(works.path)
    answer = run(works, "formulint", "lint", "--staged", "--today", DAY)
    assert (answer.status, everything(works.path) == before) == (step is SLIP, True)


def counted(repo: Repo, tmp_path: Path) -> Path:
    """A git in front of git that writes down how it is called by the hook; the file it writes to."""
    log, shim = tmp_path / "calls", tmp_path / "bin" / "git"
    shim.parent.mkdir()
    shim.write_text(f'#!/bin/sh\necho "$@" >> "{log}"\nexec "{shutil.which("git")}" "$@"\n')
    shim.chmod(0o755)
    repo.hook("pre-commit", HOOK.replace("exec", f'PATH="{shim.parent}:$PATH"\nexec'))
    return log


def calls(log: Path) -> list[str]:
    """The commands that git was asked for, without the settings in front of them."""
    words = [line.split() for line in log.read_text().splitlines()]
    return [next(word for at, word in enumerate(line) if not {word, line[at - 1]} & {"-c", "-C"}) for line in words]


FOUR = ["rev-parse", "ls-files", "diff-index", "cat-file"]
CHANGED: list[tuple[dict[str, Content], list[str]]] = [
    ({T140: text(T140) + "# seen\n"}, FOUR),
    ({T140: text(T140) + "# seen\n", T149: text(T149) + "# seen\n"}, FOUR),
    ({T140: None}, [*FOUR, "grep"]),
    ({COALESCENT: text(COALESCENT) + "# seen\n"}, [*FOUR, "grep"]),
    ({COALESCENT: None}, [*FOUR, "grep"]),
    ({"formulint.toml": text("formulint.toml") + "# seen\n"}, FOUR),
    ({"rules/house.toml": text("rules/house.toml") + "# seen\n"}, FOUR),
]


@pytest.mark.parametrize(("changes", "expected"), CHANGED)
def test_git_is_started_four_times_or_five(
    works: Repo, tmp_path: Path, changes: dict[str, Content], expected: list[str]
) -> None:
    log = counted(works, tmp_path)
    offered(works, changes)
    assert sorted(calls(log)) == sorted(expected)  # some of them run side by side


def test_machine_form_of_the_hook(works: Repo) -> None:
    works.stage(edited(works, SLIP))
    answer = run(works, "formulint", "lint", "--staged", "--format", "json", "--today", DAY)
    found = json.loads(answer.text)
    assert (answer.status, found["state"], found["verdict"]) == (1, "index", "fail")
    assert found["judged"] == {"formulas": 1, "materials": 0}
