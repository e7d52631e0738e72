"""The hook under the real pre-commit: called by the interpreter under test, and built from this project as others get it."""

from __future__ import annotations

import os
import pwd
import subprocess
import sys
from pathlib import Path

import pytest
import yaml  # type: ignore[import-untyped]
from repos import Repo, build
from story import IMPORT, STEPS, Answer, commit, copied, files, run, stage

PROJECT = Path(__file__).parent.parent
(MANIFEST,) = yaml.safe_load((PROJECT / ".pre-commit-hooks.yaml").read_text())
DAY = ["--today", IMPORT.day]
SLIP, GOOD = STEPS["4"], STEPS["5"]


def config(repository: dict[str, object]) -> str:
    """A configuration with one repository of hooks, in which both kinds of commit are judged."""
    types = ["pre-commit", "pre-merge-commit"]
    return str(yaml.safe_dump({"default_install_hook_types": types, "repos": [repository]}))


def installed(folder: Path, text: str) -> tuple[Repo, Answer]:
    """A repository with pre-commit's own hooks in it, and the import through them."""
    repo = build(folder)
    repo.write({".pre-commit-config.yaml": text})
    done = subprocess.run((sys.executable, "-m", "pre_commit", "install"), cwd=folder, capture_output=True, check=False)
    assert done.returncode == 0, done.stdout
    repo.stage({**files(), ".pre-commit-config.yaml": text})
    return repo, commit(repo, IMPORT.message)


@pytest.fixture(scope="module")
def local(tmp_path_factory: pytest.TempPathFactory) -> tuple[Repo, Answer]:
    """The hook as a house writes it for its own interpreter; nothing is built or fetched."""
    home = tmp_path_factory.mktemp("home")
    hook = {**MANIFEST, "language": "system", "entry": f'"{sys.executable}" -m {MANIFEST["entry"]}', "args": DAY}
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("PRE_COMMIT_HOME", str(home))
        return installed(home / "works", config({"repo": "local", "hooks": [hook]}))


@pytest.fixture
def works(local: tuple[Repo, Answer], tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Repo:
    monkeypatch.setenv("PRE_COMMIT_HOME", str(local[0].path.parent))
    return copied(local[0], tmp_path / "works")


def test_manifest_is_one_that_pre_commit_takes() -> None:
    command = (sys.executable, "-m", "pre_commit", "validate-manifest", str(PROJECT / ".pre-commit-hooks.yaml"))
    assert subprocess.run(command, capture_output=True, check=False).returncode == 0


def test_import_passes_and_its_findings_are_seen(local: tuple[Repo, Answer]) -> None:
    assert local[1].status == 0
    assert "BIT in the paint is 363 ppm, above the limit of 350 ppm" in local[1].said


def test_slip_is_refused_and_seen(works: Repo) -> None:
    stage(works, SLIP)
    answer = commit(works, SLIP.message)
    assert (answer.status, works.git("rev-list", "--count", "HEAD")) == (1, "1")
    assert "the lines add up to 102.49 gal, the batch is 100 gal" in answer.said


def test_mended_commit_passes_and_shows_its_deltas(works: Repo) -> None:
    stage(works, GOOD)
    answer = commit(works, GOOD.message)
    assert (answer.status, works.git("rev-list", "--count", "HEAD")) == (0, "2")
    assert "18.0 lb 19.5 lb" in answer.said


def test_staged_slip_is_refused_though_the_work_tree_is_mended(works: Repo) -> None:
    stage(works, SLIP)
    works.write(files())
    assert commit(works, "try").status == 1
    assert '"18.0 lb"' in (works.path / "formulas/T-140.toml").read_text()


def test_deletion_alone_is_judged(works: Repo) -> None:
    works.stage({"materials/RM-1021.toml": None})
    answer = commit(works, "clear out")
    assert (answer.status, "RM-1021 is deleted by this commit" in answer.said) == (1, True)


def test_merge_is_judged(works: Repo) -> None:
    works.git("checkout", "-q", "-b", "other")
    stage(works, STEPS["coalescent"])
    works.git("commit", "-q", "--no-verify", "-m", "one side")
    works.git("checkout", "-q", "main")
    stage(works, STEPS["glycol"])
    works.git("commit", "-q", "--no-verify", "-m", "other side")
    answer = run(works, "merge", "-q", "--no-edit", "other")
    assert (answer.status, "51.6 g/L, above the limit of 50 g/L" in answer.said) == (1, True)


def snapshot_of_the_project(folder: Path) -> Repo:
    """What lies in this project, committed or not, as a repository with one commit."""
    listed = Repo(PROJECT).git("ls-files", "-z", "--cached", "--others", "--exclude-standard").split("\0")
    names = [name for name in listed if (PROJECT / name).is_file()]
    repo = build(folder)
    repo.commit("as it lies here", {name: (PROJECT / name).read_bytes() for name in names})
    return repo


@pytest.mark.wheel
def test_hook_is_built_and_judges_by_the_rules_it_carries(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PRE_COMMIT_HOME", str(tmp_path / "home"))
    monkeypatch.setenv("HOME", pwd.getpwuid(os.getuid()).pw_dir)  # the package index that pip is set to is asked
    monkeypatch.delenv("PYTHONPATH")
    project = snapshot_of_the_project(tmp_path / "project")
    hook = {"id": MANIFEST["id"], "args": DAY}
    repo, answer = installed(tmp_path / "works", config({"repo": str(project), "rev": project.head, "hooks": [hook]}))
    assert (answer.status, "BIT in the paint is 363 ppm" in answer.said) == (0, True), answer.text
    stage(repo, STEPS["9"])
    answer = commit(repo, "slip")
    assert (answer.status, "75.5 g/L, above the limit of 50 g/L" in answer.said) == (1, True), answer.text
    repo.git("reset", "-q", "--hard")
    stage(repo, GOOD)
    assert commit(repo, "mended").status == 0
