"""The documents are true: tables as declared, screens as printed, every option and field named, every file there."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
from collections.abc import Iterator
from importlib import import_module
from pathlib import Path

import pytest
import tomli
from msgspec import Struct
from readme import BLOCK, PAGE, ROOT, TABLE, Block, blocks, table
from repos import Repo, build
from story import files

from formulint import formula, material, settings
from formulint.cli import COMMANDS

README = PAGE.read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
GIT = shutil.which("git") or "git"


# --- what is made ------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def ran(tmp_path_factory: pytest.TempPathFactory) -> list[Block]:
    return blocks(README, tmp_path_factory.mktemp("page"))


@pytest.mark.parametrize("found", list(TABLE.finditer(README)), ids=lambda found: found[2])
def test_a_table_is_what_the_declarations_say(found: re.Match[str]) -> None:
    assert found[3] == table(found[2]) + "\n", "python tests/readme.py renews it"


@pytest.mark.parametrize("at", range(len(BLOCK.findall(README))))
def test_a_screen_is_what_the_tool_prints(ran: list[Block], at: int) -> None:
    assert ran[at].written == ran[at].made, f"README.md, {ran[at].where}: python tests/readme.py renews it"


def test_a_wrong_screen_is_found(tmp_path: Path) -> None:
    page = "```console\n$ formulint --version\nformulint 9\n```\n\n```diff\n# example_repo/formulint.toml\n-nothing\n+something\n```\n"
    assert [block.written == block.made for block in blocks(page, tmp_path)] == [False, False]


def test_the_page_shows_a_check_a_refusal_and_a_difference() -> None:
    screens = " ".join(found["text"] for found in BLOCK.finditer(README))
    assert all(words in screens for words in ("Nothing stops a commit.", "This stops a commit.", "$ formulint diff", "$ formulint properties"))


# --- what must be named ------------------------------------------------------------------------------------------


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_and_option_is_in_the_page(command: str) -> None:
    names = [one.name for one in import_module(f"formulint.commands.{command}").OPTIONS if not one.positional]
    assert [name for name in (f"formulint {command}", *names) if name not in README] == []


@pytest.mark.parametrize("command", COMMANDS)
def test_help_of_a_command_names_all_it_takes(command: str) -> None:
    ran = subprocess.run((sys.executable, "-m", "formulint", command, "--help"), capture_output=True, text=True, check=True)
    names = [one.value if one.positional else one.name for one in import_module(f"formulint.commands.{command}").OPTIONS]
    assert [name for name in names if name not in ran.stdout] == []


RECORDS = (formula.Formula, formula.Addition, material.Material, settings.Settings)
PARTS = (formula.Product, formula.TestSpec, formula.Adjust, formula.Stage, formula.Process, material.Component, settings.RuleSetting)


@pytest.mark.parametrize("record", RECORDS, ids=lambda record: record.__name__)
def test_every_field_of_a_record_has_its_row(record: type[Struct]) -> None:
    rows = README.split(f"<!-- fields: {record.__name__} -->\n")[1].split("\n\n")[0]
    assert re.findall(r"^\| `(\w+)`", rows, re.MULTILINE) == list(record.__struct_encode_fields__)


@pytest.mark.parametrize("record", PARTS, ids=lambda record: record.__name__)
def test_every_field_of_a_part_is_named(record: type[Struct]) -> None:
    assert [name for name in record.__struct_encode_fields__ if f"`{name}`" not in README] == []


def test_every_caution_that_matters_is_there() -> None:
    cautions = README.split("## Cautions")[1].split("\n## ")[0]
    assert [word for word in ("screening", "data sheets", "Local codes", "Qualified people", "law in force") if word not in cautions] == []


# --- what must be there ------------------------------------------------------------------------------------------


def section(title: str) -> str:
    """A section of DEVELOPERS.md, without those below it."""
    return re.split(r"^##+ ", DEVELOPERS.split(f"## {title}\n")[1], maxsplit=1, flags=re.MULTILINE)[0]


@pytest.mark.parametrize("title", ["I want to change ...", "Tests", "Where things are", "Release"])
def test_every_file_that_is_named_exists(title: str) -> None:
    named = re.findall(r"(?:`|^)((?:formulint|rules|tests|\.ci)/[\w./]*)", section(title), re.MULTILINE)
    assert [name for name in named if not (ROOT / name).exists()] == []
    assert named


def test_links_inside_a_page_lead_somewhere() -> None:
    titles = {re.sub(r"[^\w -]", "", title.lower()).replace(" ", "-") for title in re.findall(r"^#+ (.+)$", README, re.MULTILINE)}
    assert set(re.findall(r"\]\(#([\w-]+)\)", README)) - titles == set()


def importers(package: str) -> list[str]:
    """Modules that import a package anywhere."""
    pattern = re.compile(rf"^\s*(?:import|from) {package}\b", re.MULTILINE)
    found = [path for path in sorted((ROOT / "formulint").rglob("*.py")) if pattern.search(path.read_text(encoding="utf-8"))]
    return [path.relative_to(ROOT / "formulint").as_posix() for path in found]


def dependencies() -> Iterator[tuple[str, list[str]]]:
    """Each package the project needs, with the modules that its row in DEVELOPERS.md names."""
    needed = tomli.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]["dependencies"]
    for name in (re.split(r"[<>=!]", one)[0] for one in needed):
        row = re.search(rf"^\| {name} \|[^|]*\|([^|]*)\|", section("Dependencies"), re.MULTILINE)
        assert row, f"{name} has no row"
        yield name, re.findall(r"`([\w/.]+)`", row[1])


@pytest.mark.parametrize(("name", "named"), list(dependencies()), ids=lambda one: one if isinstance(one, str) else "")
def test_every_dependency_says_who_imports_it(name: str, named: list[str]) -> None:
    found = importers(name)
    assert found == named if name != "msgspec" else len(found) > 20


# --- words that must not be there --------------------------------------------------------------------------------

WORDS = {
    "a word of gardening": rf"\b{'se'}ed(?:s|ed|ing)?\b",
    "a talk": r"\btranscripts?\b",
    "a number of a list of wishes": r"\b(?:issue|ticket|bug|pull request|PR|GH)[ -]?#?\d+\b",
    "a place on somebody's machine": r"(?<![\w.])/(?:work|home/(?!me/)\w+|Users)/\w",
    "a neighbour's folder": r"\.\./shared",
    "a host of packages": r"\b(?:py[p]i|python[h]osted|npm[j]s|ana[c]onda|proxy\.golang)\.(?:org|com)\b",
}
"""What tracked files do not speak of; the words themselves are written here so that this file does not break its own rule."""

QUOTED = {"tests/test_clean.py": {"a number of a list of wishes"}}
"""Texts of strangers that a test has to quote."""


def spoken(text: str, name: str = "") -> set[str]:
    """Which of the words occur in a text."""
    return {what for what, pattern in WORDS.items() if re.search(pattern, text, re.IGNORECASE)} - QUOTED.get(name, set())


def tracked() -> list[str]:
    """Names of the files that the project records; where this is no clone, of those where they would be."""
    listed = subprocess.run((GIT, "ls-files", "-z"), cwd=ROOT, capture_output=True, check=False).stdout.decode()
    names = listed.split("\0") if listed else [path.relative_to(ROOT).as_posix() for path in ROOT.rglob("*")]
    passed_over = re.compile(r"(?:^|/)(?:\.(?!ci/)|__pycache__/)" if not listed else r"^tests/conformance/")
    return sorted(name for name in names if name and (ROOT / name).is_file() and not passed_over.search(name))


def test_files_speak_of_the_project_alone() -> None:
    texts = {name: (ROOT / name).read_text(encoding="utf-8", errors="replace") for name in tracked()}
    assert {name: found for name, text in texts.items() if (found := spoken(text, name) | spoken(name))} == {}
    assert len(texts) > 100


@pytest.mark.parametrize(
    "text",
    ["a " + "se" + "ed grind", "the trans" + "cript", "iss" + "ue #12", "/wo" + "rk/main", ".." + "/shared/x", "py" + "pi.org"],
)
def test_a_word_that_must_not_be_there_is_found(text: str) -> None:
    assert spoken(text)


@pytest.mark.parametrize("text", ["linseed oil", "a network", "/home/me/formulint", "the workshop", "#12"])
def test_a_word_that_only_looks_like_one_is_not(text: str) -> None:
    assert not spoken(text)


def test_the_top_of_the_tree_holds_what_it_may() -> None:
    allowed = {"README.md", "DEVELOPERS.md", "pyproject.toml", "formulint", "rules", "tests", "example_repo"}
    top = {name.split("/")[0] for name in tracked()}
    assert {name for name in top if not name.startswith(".")} == allowed


# --- what the lines of the page ask of a machine -----------------------------------------------------------------

PYTHON = "#!/bin/sh\ncase $2 in *version_info*) echo {version} ;; *) exit {status} ;; esac\n"
MACHINES = {
    "nothing": ({}, ("install python3 and python3-venv", "install git")),
    "old python": ({"python3": ("3.9", 0), "git": "2.40.1"}, ("python3 is Python 3.9, which is too old",)),
    "no venv": ({"python3": ("3.11", 1), "git": "2.34.1"}, ("install python3-venv", "python3.11-venv")),
    "old git": ({"python3": ("3.11", 0), "git": "2.30.2"}, ("git here is 2.30.2", "install git 2.34")),
    "fine": ({"python3": ("3.11", 0), "git": "2.34.1"}, ()),
    "new": ({"python3": ("3.20", 0), "git": "3.0.0"}, ()),
    "another python": ({"python3": ("3.9", 0), "python3.12": ("3.12", 0), "git": "2.39.3 (Apple Git-145)"}, ()),
}


@pytest.mark.parametrize("machine", MACHINES)
def test_a_machine_is_told_what_to_install(machine: str, tmp_path: Path) -> None:
    programs, words = MACHINES[machine]
    for name, version in programs.items():
        text = f"#!/bin/sh\necho 'git version {version}'\n" if name == "git" else PYTHON.format(version=version[0], status=version[1])
        (tmp_path / name).write_text(text)
        (tmp_path / name).chmod(0o755)
    ran = subprocess.run(("/bin/sh", ROOT / "tests/machine.sh"), env={"PATH": str(tmp_path)}, capture_output=True, text=True, check=False)
    assert [word for word in words if word not in ran.stderr] == []
    assert ran.returncode == bool(words), ran.stderr
    assert bool(ran.stdout) != bool(words)


@pytest.mark.parametrize("title", ["Run", "Test"])
def test_run_and_test_are_one_line_each(title: str) -> None:
    (block,) = re.findall(r"^```sh\n(.*?)^```$", README.split(f"\n## {title}\n")[1].split("\n## ")[0], re.DOTALL | re.MULTILINE)
    assert block.count("\n") == 1
    assert block.startswith("python=$(sh tests/machine.sh) && ")


def test_the_build_server_runs_the_line_of_the_page() -> None:
    ran = subprocess.run(("bash", ROOT / ".ci/run", "--print"), capture_output=True, text=True, check=True, stdin=subprocess.DEVNULL)
    assert f"\n```sh\n{ran.stdout.strip()}\n```\n" in README.split("## Test")[1]


# --- the hook by pre-commit --------------------------------------------------------------------------------------


@pytest.fixture
def hooked(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Repo:
    """The example with the page's configuration, its hook installed by pre-commit, and formulint on the path."""
    (text,) = re.findall(r"^```yaml\n(.*?)^```$", README, re.DOTALL | re.MULTILINE)
    command = tmp_path / "bin" / "formulint"
    command.parent.mkdir()
    command.write_text(f'#!/bin/sh\nexec "{sys.executable}" -m formulint "$@"\n')
    command.chmod(0o755)
    monkeypatch.setenv("PATH", f"{command.parent}:{os.environ['PATH']}")
    monkeypatch.setenv("PRE_COMMIT_HOME", str(tmp_path / "cache"))
    repo = build(tmp_path / "paint", staged={**files(), ".pre-commit-config.yaml": text})
    subprocess.run((sys.executable, "-m", "pre_commit", "install"), cwd=repo.path, check=True, capture_output=True)
    return repo


def test_the_hook_by_pre_commit_refuses_what_does_not_add_up(hooked: Repo) -> None:
    name = "formulas/T-140.toml"
    hooked.commit("import")
    hooked.stage({name: (hooked.path / name).read_text().replace('"18.0 lb"', '"18.0 kg"')})
    with pytest.raises(AssertionError):
        hooked.commit("more brush drag")
    assert hooked.git("log", "--format=%s") == "import"
