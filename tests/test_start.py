"""``formulint start``: what it writes is clean on every day, nothing that was there is touched, and what it says works."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
from collections.abc import Iterator
from fractions import Fraction
from pathlib import Path
from typing import NamedTuple, get_args

import pytest
import tomli
import yaml  # type: ignore[import-untyped]
from repos import IDENTITY, Repo, build
from repository import Answer, ask, run, tables

from formulint import __version__, start
from formulint.errors import UserError
from formulint.start import AT_THE_TOP, CLASSES, FORMULA, files
from formulint.vocabulary import ProductClass
from formulint.writing import write_below

TEMPLATES = Path(__file__).parent.parent / "formulint" / "templates"
DAYS = ("2020-01-01", "2026-01-12", "2040-12-31")
SETTINGS, HOOK, HOUSE = "formulint.toml", ".pre-commit-config.yaml", "rules/house.toml"
PRE_COMMIT = Path(sys.executable).with_name("pre-commit")


def begun(folder: Path, *words: str) -> Path:
    """A folder in which all was written."""
    answer = run(folder, "start", *words)
    assert (answer.status, answer.err) == (0, "")
    return folder


def contents(folder: Path) -> dict[str, bytes]:
    """Every file below a folder but git's own, links as what they point at."""
    found = [path for path in sorted(folder.rglob("*")) if ".git" not in path.relative_to(folder).parts]
    return {path.relative_to(folder).as_posix(): os.readlink(path).encode() if path.is_symlink() else path.read_bytes() for path in found if not path.is_dir() or path.is_symlink()}


def typed(answer: Answer) -> list[str]:
    """The lines that a reader is told to type, after the two that look at the formula."""
    *_, last = re.split(r",\s+type\s+in\s", answer.out)
    return re.findall(r"^  (.+)$", last, re.MULTILINE)


def said(answer: Answer) -> str:
    """What was said, without line breaks."""
    return " ".join(answer.out.split())


@pytest.fixture(autouse=True)
def nothing_installed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A PATH with git and the shell's tools and nothing else; what a test puts into the folder is installed."""
    own = tmp_path / "bin"
    own.mkdir()
    for name in ("git", "sh", "bash", "cat", "sed", "env", "touch", "dirname", "basename", "uname", "chmod", "mkdir"):
        os.symlink(shutil.which(name) or name, own / name)
    monkeypatch.setenv("PATH", str(own))
    return own


@pytest.fixture
def here(tmp_path: Path) -> Path:
    folder = tmp_path / "lab"
    folder.mkdir()
    return folder


# --- the templates -----------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def started(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """A repository of each class."""
    return {paint: begun(tmp_path_factory.mktemp(paint), "--class", paint) for paint in CLASSES}


def loud(folder: Path, day: str) -> list[object]:
    """Findings that are more than a note."""
    report = ask(folder, "lint", today=day)
    return [(one["level"], one["kind"], one["message"]) for one in report.results if one["level"] != "note" or one["kind"] in ("open", "review")]


@pytest.mark.parametrize("day", DAYS)
@pytest.mark.parametrize("paint", CLASSES)
def test_no_error_and_no_warning_on_any_day(started: dict[str, Path], paint: str, day: str) -> None:
    assert loud(started[paint], day) == []


@pytest.mark.parametrize("paint", CLASSES)
def test_nor_in_production_in_every_market_that_the_comment_names(started: dict[str, Path], paint: str, here: Path) -> None:
    copy = shutil.copytree(started[paint], here / "paint")
    text = (copy / FORMULA).read_text()
    (named,) = re.findall(r"such as (\[.+\])", text)
    text = text.replace('state    = "bench"', 'state    = "production"').replace('markets  = ["us-national"]', f"markets  = {named}")
    (copy / FORMULA).write_text(text)
    assert (text.count('"production"'), text.count(named), loud(copy, DAYS[1])) == (1, 2, [])


def test_a_loud_finding_is_found(started: dict[str, Path], here: Path) -> None:
    copy = shutil.copytree(started["flat"], here / "paint")
    (copy / FORMULA).write_text((copy / FORMULA).read_text().replace('"1.5 lb" },  # BIT', '"1.5 kg" },  # BIT'))
    rules = {str(one["rule"]) for one in ask(copy, "lint").results if one["level"] != "note"}
    assert rules == {"dose/bit", "house/bit"}


def test_there_is_a_template_of_every_class_that_has_an_ordinary_sheet() -> None:
    assert {path.stem for path in TEMPLATES.glob("formulas/*.toml")} == set(CLASSES)
    assert set(get_args(ProductClass)) - set(CLASSES) == {"stain", "clear", "intermediate"}


@pytest.mark.parametrize("paint", CLASSES)
def test_class_and_name_are_those_that_were_asked_for(started: dict[str, Path], paint: str) -> None:
    record = tomli.loads((started[paint] / FORMULA).read_text())
    assert (record["class"], paint in record["name"].casefold(), record["code"]) == (paint, True, Path(FORMULA).stem)


def test_every_raw_material_is_used_and_none_is_missing() -> None:
    used = {Path(name).stem for paint in CLASSES for name in files(paint) if name.startswith("materials/")}
    assert used == {path.stem for path in TEMPLATES.glob("materials/*.toml")}


def water(paint: str) -> tuple[int, int]:
    """Pounds of water that the comment promises for q.s., and as computed."""
    text = files(paint)[FORMULA].decode()
    (promised,) = re.findall(r"now about (\d+) lb", text)
    return int(promised), sum(Fraction(pounds) for pounds in re.findall(r'amount = +"([0-9.]+) lb"', text)).__floor__()


@pytest.mark.parametrize("paint", CLASSES)
def test_the_water_is_what_the_comment_says(started: dict[str, Path], paint: str) -> None:
    promised, rest = water(paint)
    found = ask(started[paint], "properties").formulas["F-001"]["properties"]
    assert isinstance(found, dict)
    (mass,) = tables([found["mass"]])
    assert abs(float(str(mass["value"])) / 0.45359237 - rest - promised) <= 1


def dates(value: object) -> Iterator[object]:
    """Whatever is a date in a table of TOML."""
    if isinstance(value, dict | list):
        for inner in value.values() if isinstance(value, dict) else value:
            yield from dates(inner)
    elif not isinstance(value, str | int):
        yield value


def test_nothing_in_it_ages() -> None:
    everything = [tomli.loads(path.read_text()) for path in TEMPLATES.glob("*/*.toml")]
    assert list(dates(everything)) == []
    assert list(dates([{"price_date": tomli.loads("day = 2026-01-05")["day"]}])) != []


def test_cas_numbers_carry_their_check_digit() -> None:
    found = {cas for path in TEMPLATES.rglob("*.toml") for cas in re.findall(r'"(\d+-\d\d-\d)"', path.read_text())}
    assert len(found) > 10
    for cas in found:
        digits = cas.replace("-", "")
        assert sum(at * int(digit) for at, digit in enumerate(reversed(digits[:-1]), 1)) % 10 == int(digits[-1])


@pytest.mark.parametrize("name", [FORMULA, SETTINGS, HOUSE, HOOK, "materials/RM-101.toml", "materials/RM-301.toml"])
def test_a_file_begins_with_what_a_reader_should_know(name: str) -> None:
    assert files("flat")[name].decode().startswith("# ")


def test_settings_pin_the_packs_and_the_version_that_wrote_them() -> None:
    settings = tomli.loads(files("flat")[SETTINGS].decode())
    packs = {path.parent.name: tomli.loads(path.read_text())["version"] for path in (TEMPLATES.parent.parent / "rules").glob("*/pack.toml")}
    assert (settings["packs"], settings["requires"]) == (packs, f">={__version__}")


def test_the_settings_that_are_commented_out_can_be_used(started: dict[str, Path], here: Path) -> None:
    copy = shutil.copytree(started["flat"], here / "paint")
    text = (copy / SETTINGS).read_text().replace('confirmed = []                 # such as ["voc/us-national"]', 'confirmed = ["voc/us-national"]')
    (copy / SETTINGS).write_text(re.sub(r"^# (?=\[\[|\w+ +=)", "", text, flags=re.MULTILINE))
    read = tomli.loads((copy / SETTINGS).read_text())
    assert (len(read["rule_setting"]), read["confirmed"], ask(copy, "lint").status) == (1, ["voc/us-national"], 0)


def test_git_keeps_the_files_to_the_byte(here: Path) -> None:
    repo = build(begun(here))
    repo.git("-c", "core.autocrlf=true", "add", "-A")
    (here / FORMULA).write_bytes(b"x\r\n")
    repo.git("-c", "core.autocrlf=true", "add", "-A")
    assert repo.git("cat-file", "-s", f":{FORMULA}") == "3"


# --- what is there is left as it was -----------------------------------------------------------------------------


def test_everything_is_written(here: Path) -> None:
    begun(here, "paint")
    assert contents(here) == {f"paint/{name}": data for name, data in files("flat").items()} | {f"paint/{name}": files("flat")[name] for name in AT_THE_TOP}


@pytest.mark.parametrize("name", [name for name in files("flat") if name != SETTINGS])
def test_a_file_that_is_there_is_kept_and_told(here: Path, name: str) -> None:
    path = here / name
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(b"# mine\n")
    answer = run(here, "start")
    assert (answer.status, path.read_bytes(), name in answer.out.split("Kept as it was")[1].split("\n\n")[0]) == (1, b"# mine\n", True)
    assert len(contents(here)) == len(files("flat"))


def test_a_link_is_kept_and_not_followed(here: Path) -> None:
    (here / "mine").write_bytes(b"mine")
    os.symlink("mine", here / ".gitattributes")
    assert run(here, "start").status == 1
    assert ((here / "mine").read_bytes(), os.readlink(here / ".gitattributes")) == (b"mine", "mine")


@pytest.mark.parametrize("way", ["materials", "rules", ".github", ".github/workflows"])
def test_a_folder_that_is_a_link_stops_it_before_anything_is_written(here: Path, tmp_path: Path, way: str) -> None:
    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()
    (here / way).parent.mkdir(exist_ok=True)
    os.symlink(elsewhere, here / way)
    before = contents(here)
    answer = run(here, "start")
    assert (answer.status, f'"{way}" is there already and is a link' in answer.err) == (2, True)
    assert (contents(here), list(elsewhere.iterdir())) == (before, [])


def test_records_that_are_there_get_no_template_beside_them(here: Path) -> None:
    (here / "materials").mkdir()
    (here / "materials" / "W-1.toml").write_text('code = "W-1"\nname = "water"\nfunctions = ["water"]\n')
    answer = run(here, "start")
    assert (answer.status, "there are formulas or materials already" in said(answer)) == (1, True)
    assert [name for name in contents(here) if name.endswith(".toml")] == [SETTINGS, "materials/W-1.toml", HOUSE]


def test_settings_come_last_so_that_a_start_that_was_stopped_can_be_started_again(here: Path) -> None:
    assert list(files("flat"))[-1] == SETTINGS
    begun(here)
    (here / SETTINGS).unlink()
    (here / HOUSE).unlink()
    begun(here)
    assert contents(here) == files("flat")


def test_a_full_disk_leaves_no_half_of_a_repository(here: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    wanted, done = files("flat"), []

    def write(root: str, name: str, data: bytes) -> None:
        done.append(name)
        if len(done) == 5:
            raise UserError("the disk is full")
        write_below(root, name, data)

    monkeypatch.setattr(start, "write_below", write)
    with pytest.raises(UserError):
        start.place(start.survey(str(here)), wanted)
    assert len(contents(here)) == 4
    begun(here)


@pytest.mark.parametrize("place", ["", "above", "below", "far/below"])
def test_a_folder_that_is_lies_in_or_holds_a_formula_repository_is_refused(here: Path, place: str) -> None:
    inner, outer = here / "a" / "b", here / "a"
    inner.mkdir(parents=True)
    (outer / place).mkdir(parents=True, exist_ok=True)
    (outer / ("" if place == "above" else place) / SETTINGS).write_text("format = 1\n")
    before = contents(here)
    answer = run(here, "start", "a/b/new" if place == "above" else "a")
    words = {"": "is a formula repository already", "above": "lies in the formula repository"}.get(place, "holds a formula repository")
    assert (answer.status, words in answer.err, contents(here)) == (2, True, before)


@pytest.mark.parametrize("words", [("file",), ("file/below",), (".git",), ("--class", "clear"), ("--hook-revision", "v1")])
def test_what_cannot_be_done_is_refused_and_nothing_is_written(here: Path, words: tuple[str, ...]) -> None:
    build(here).write({"file": "x"})
    answer = run(here, "start", *words)
    assert (answer.status, "Traceback" in answer.err, contents(here)) == (2, False, {"file": b"x"})


def test_a_folder_in_another_repository_gets_no_files_that_nobody_would_look_at(here: Path) -> None:
    build(here)
    answer = run(here, "start", "lab/paint")
    assert (answer.status, "only at the top of the git repository" in said(answer)) == (1, True)
    assert set(contents(here)) == {f"lab/paint/{name}" for name in files("flat")} - {f"lab/paint/{name}" for name in AT_THE_TOP}
    assert typed(answer) == ["git add .gitattributes formulas formulint.toml materials rules", 'git commit -m "start"']


# --- git ---------------------------------------------------------------------------------------------------------


def test_without_being_asked_nothing_is_done_with_git(here: Path) -> None:
    begun(here)
    assert not (here / ".git").exists()


def test_the_first_state_is_recorded_under_the_name_of_the_user(here: Path) -> None:
    (here / "junk").write_text("not ours")
    answer = run(here, "start", "--git")
    repo = Repo(here)
    assert (answer.status, repo.git("log", "--format=%an <%ae> %s")) == (0, f"{IDENTITY['GIT_AUTHOR_NAME']} <{IDENTITY['GIT_AUTHOR_EMAIL']}> start")
    assert set(repo.git("ls-tree", "-r", "--name-only", "HEAD").split("\n")) == set(files("flat"))
    assert f"recorded as {repo.head[:7]}" in said(answer)


def test_where_git_knows_no_name_it_does_not_guess_one(here: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    for name in IDENTITY:
        monkeypatch.delenv(name)
    answer = run(here, "start", "--git")
    assert (answer.status, "git config --global user.name" in answer.out) == (0, True)
    assert Repo(here).git("rev-list", "--all") == ""
    assert typed(answer)[1] == 'git commit -m "start"'


def test_a_hook_of_the_users_template_is_not_run(here: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    hooks = tmp_path / "template" / "hooks"
    hooks.mkdir(parents=True)
    (hooks / "pre-commit").write_text(f"#!/bin/sh\ntouch {tmp_path}/ran\nexit 1\n")
    (hooks / "pre-commit").chmod(0o755)
    (tmp_path / "config").write_text(f"[init]\n\ttemplateDir = {tmp_path}/template\n")
    monkeypatch.setenv("GIT_CONFIG_GLOBAL", str(tmp_path / "config"))
    assert "recorded as" in said(run(here, "start", "--git"))
    assert not (tmp_path / "ran").exists()


def test_a_repository_that_is_there_is_not_recorded_into(here: Path) -> None:
    repo = build(here)
    repo.stage({"half": "done"})
    answer = run(here, "start", "--git")
    assert (answer.status, repo.git("rev-list", "--all"), repo.git("ls-files")) == (0, "", "half")
    assert typed(answer)[0] == "git add .gitattributes .github .gitlab-ci.yml .pre-commit-config.yaml formulas formulint.toml materials rules"


def test_without_git_it_is_said_before_anything_is_written(here: Path, nothing_installed: Path) -> None:
    (nothing_installed / "git").unlink()
    answer = run(here, "start", "--git")
    assert (answer.status, "git is not installed" in answer.err, contents(here)) == (2, True, {})
    assert "install the package git first" in said(run(here, "start"))


# --- the hook ----------------------------------------------------------------------------------------------------


def installed(own: Path, *names: str) -> None:
    """Put programs where PATH leads: the real pre-commit; formulint by the interpreter under test."""
    for name in names:
        text = f'exec "{PRE_COMMIT}" "$@"' if name == "pre-commit" else f'exec "{sys.executable}" -m formulint "$@"'
        (own / name).write_text(f"#!/bin/sh\n{text}\n")
        (own / name).chmod(0o755)


def attempt(repo: Repo, before: str, after: str) -> tuple[int, str]:
    """A commit of an edit of the formula; its status, and what was said without line breaks."""
    text = (repo.path / FORMULA).read_text()
    assert text.count(before) == 1
    (repo.path / FORMULA).write_text(text.replace(before, after))
    ran = subprocess.run(("git", "commit", "-qam", "try"), cwd=repo.path, capture_output=True, text=True, check=False)
    return ran.returncode, " ".join((ran.stdout + ran.stderr).split())


def test_where_pre_commit_is_there_every_later_commit_is_checked(here: Path, nothing_installed: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    installed(nothing_installed, "pre-commit", "formulint")
    monkeypatch.setenv("PRE_COMMIT_HOME", str(here.parent / "home"))
    answer = run(here, "start", "--git")
    assert "Every commit is checked before it is recorded." in answer.out
    assert {"pre-commit", "pre-merge-commit"} <= {path.name for path in (here / ".git" / "hooks").iterdir()}
    status, words = attempt(Repo(here), 'amount = "280.0 lb"', 'amount = "280.0 kg"')
    assert (status, "This stops a commit." in words) == (1, True), words
    Repo(here).git("reset", "-q", "--hard")
    status, words = attempt(Repo(here), 'amount = "200.0 lb"', 'amount = "195.0 lb"')
    assert (status, "200.0 lb 195.0 lb" in words) == (0, True), words


def test_pre_commit_takes_both_configurations(here: Path) -> None:
    begun(here, "plain")
    begun(here, "pinned", "--hook-from", "https://example.org/formulint")
    for name in ("plain", "pinned"):
        assert subprocess.run((PRE_COMMIT, "validate-config", here / name / HOOK), capture_output=True, check=False).returncode == 0


def test_the_local_hook_is_the_one_that_the_project_offers() -> None:
    (own,) = yaml.safe_load((TEMPLATES.parent.parent / ".pre-commit-hooks.yaml").read_text())
    (local,) = yaml.safe_load(files("flat")[HOOK])["repos"]
    (hook,) = local["hooks"]
    same = ("id", "name", "entry", "always_run", "pass_filenames", "require_serial", "verbose", "stages")
    assert {key: hook[key] for key in same} == {key: own[key] for key in same}
    assert (local["repo"], hook["language"]) == ("local", "system")


@pytest.mark.parametrize("address", ["https://example.org/formulint", "git@example.org:formulint", 'x"y:[z]', "a#b", "*c"])
def test_an_address_is_one_value_whatever_it_holds(here: Path, address: str) -> None:
    begun(here, "--hook-from", address, "--hook-revision", "abc")
    (one,) = yaml.safe_load((here / HOOK).read_text())["repos"]
    assert (one["repo"], one["rev"], one["hooks"]) == (address, "abc", [{"id": "formulint"}])


@pytest.mark.parametrize("words", [("a b",), ("a\nb",), ("a\u202eb",), ("a", "--hook-revision", "v 1")])
def test_an_address_or_revision_that_cannot_be_one_is_refused(here: Path, words: tuple[str, ...]) -> None:
    answer = run(here, "start", "--hook-from", *words)
    assert (answer.status, "cannot be one" in answer.err, contents(here)) == (2, True, {})


# --- what is said ------------------------------------------------------------------------------------------------


class Scene(NamedTuple):
    """A folder and what is installed: with how many lines it goes on."""

    installed: tuple[str, ...]
    words: tuple[str, ...]
    lines: int
    known: bool = True


SCENES = {
    "nothing but git": Scene((), (), 3),
    "pre-commit too": Scene(("pre-commit",), (), 3),
    "git asked": Scene((), ("--git",), 1),
    "all of it": Scene(("pre-commit", "formulint"), ("--git",), 2),
    "git knows no name": Scene((), ("--git",), 3, False),
}


@pytest.mark.parametrize("scene", SCENES.values(), ids=SCENES)
def test_at_most_three_lines_are_to_be_typed_and_they_work(scene: Scene, here: Path, nothing_installed: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    installed(nothing_installed, *scene.installed)
    if not scene.known:
        for name in IDENTITY:
            monkeypatch.delenv(name)
        monkeypatch.setenv("GIT_CONFIG_GLOBAL", str(here.parent / "gitconfig"))
    lines = typed(run(here, "start", *scene.words))
    assert len(lines) == scene.lines
    (nothing_installed / "pip").write_text("#!/bin/sh\n")
    (nothing_installed / "pip").chmod(0o755)
    installed(nothing_installed, "pre-commit", "formulint")
    (here / "note.txt").write_text("a change")
    for line in lines:
        subprocess.run(("bash", "-c", line), cwd=here, check=True, capture_output=True)
    assert (here / ".git" / "hooks" / "pre-commit").exists()
    assert Repo(here).git("ls-tree", "--name-only", "HEAD", FORMULA) == FORMULA


def test_lines_of_text_fit_a_screen(here: Path) -> None:
    long = here / ("a folder with a long name " * 4).strip()
    answer = run(here, "start", long.name)
    assert [line for line in answer.out.splitlines() if len(line) > 79 and not line.startswith("  ") and '"' not in line] == []


def test_a_name_that_steers_the_screen_does_not(here: Path) -> None:
    answer = run(here, "start", "a\x1b[2Jb")
    assert (answer.status, "\x1b" in answer.out) == (0, False)


def test_it_says_that_the_hook_would_not_find_what_it_calls(here: Path, nothing_installed: Path) -> None:
    assert "its name, which is not found here" in said(run(here, "start", "one"))
    installed(nothing_installed, "formulint")
    assert "not found here" not in said(run(here, "start", "two"))
