"""The two workflows that ``formulint start`` writes for one code host: what they may do, and their shell lines run for real.

A host puts values into ``env``; here they are put in by name. The tool is the one under test, behind the same path; the
host's own program for comments is a script that writes down what it is asked.
"""

from __future__ import annotations

import base64
import gzip
import json
import os
import re
import subprocess
import sys
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any, NamedTuple

import pytest
import yaml  # type: ignore[import-untyped]
from repos import Repo, build
from test_outputs import schema

from formulint import __version__
from formulint.start import FORMULA, PROPOSALS, files

GATE, COMMENT = (yaml.safe_load(files("flat")[name]) for name in PROPOSALS[:2])
WORKFLOWS = {"gate": GATE, "comment": COMMENT}
INSTALL, FETCH, ASK = GATE["jobs"]["gate"]["steps"]
INSTALL_AGAIN, FETCH_AGAIN, REVIEW, KEEP = COMMENT["jobs"]["review"]["steps"]
GET, POST = COMMENT["jobs"]["comment"]["steps"]
GET_FINDINGS, HAND_OVER = COMMENT["jobs"]["findings"]["steps"]
STEPS = {"install": INSTALL, "fetch": FETCH, "ask": ASK, "install again": INSTALL_AGAIN, "fetch again": FETCH_AGAIN, "review": REVIEW, "keep": KEEP, "get": GET, "post": POST, "get findings": GET_FINDINGS, "hand over": HAND_OVER}

# Values of a host that nobody but the host chooses: ids, addresses of its own, its token.
CHOSEN_BY_THE_HOST = {
    "github.event.pull_request.base.sha",
    "github.event.pull_request.head.sha",
    "github.event.workflow_run.event",
    "github.event.workflow_run.head_sha",
    "github.event.workflow_run.html_url",
    "github.repository",
    "github.token",
    "runner.temp",
}
FAKE_HOST = """\
#!{python}
import json, os, sys
from pathlib import Path
words = sys.argv[1:]
body = [Path(word.partition("@")[2]).read_text(errors="replace") for word in words if word.startswith(("body=@", "sarif=@"))]
with open(os.environ["ASKED"], "a") as log:
    log.write(json.dumps([words, *body]) + "\\n")
(place,) = [word for word in words if word.startswith("repos/")]
print(os.environ["EARLIER"] if "/comments?" in place else os.environ["OPEN"] if "/pulls?" in place else "")
"""
TOOL = "#!{python}\nimport sys\nfrom formulint.cli import main\nsys.exit(main())\n"


# --- what they are -----------------------------------------------------------------------------------------------


def texts(value: object) -> Iterator[str]:
    """Every text in a table."""
    if isinstance(value, dict | list):
        for inner in value.values() if isinstance(value, dict) else value:
            yield from texts(inner)
    elif isinstance(value, str):
        yield value


def test_the_job_on_the_proposal_may_read_and_nothing_else() -> None:
    assert GATE["permissions"] == {"contents": "read"}
    assert [job.get("permissions") for job in GATE["jobs"].values()] == [None]
    assert GATE[True] == {"pull_request": None}  # "on" is true in YAML 1.1


def test_the_job_that_posts_runs_from_the_default_branch_and_fetches_no_proposal() -> None:
    assert COMMENT[True] == {"workflow_run": {"workflows": [GATE["name"]], "types": ["completed"]}}
    assert (COMMENT["permissions"], COMMENT["jobs"]["comment"]["permissions"]) == ({}, {"pull-requests": "write"})
    assert [step["uses"].split("@")[0] for step in COMMENT["jobs"]["comment"]["steps"] if "uses" in step] == ["actions/download-artifact"]
    assert not re.search(r"\bgit\b|checkout|formulint ", POST["run"].replace("formulint gate says", ""))


def test_the_job_that_hands_findings_over_may_write_that_list_and_fetches_no_proposal() -> None:
    job = COMMENT["jobs"]["findings"]
    assert job["permissions"] == {"pull-requests": "read", "security-events": "write"}
    assert (job["needs"], GET_FINDINGS) == ("review", {**GET, "name": "Fetch the findings"})
    assert not re.search(r"\bgit\b|checkout|formulint", HAND_OVER["run"])


def test_the_job_that_reviews_may_read_and_nothing_else() -> None:
    assert COMMENT["jobs"]["review"]["permissions"] == {"contents": "read", "pull-requests": "read"}
    assert COMMENT["jobs"]["comment"]["needs"] == "review"
    assert "unset GH_TOKEN" in REVIEW["run"][: REVIEW["run"].index("formulint")]


@pytest.mark.parametrize("name", PROPOSALS[:2])
def test_they_hold_to_the_published_schema_of_workflows(name: str) -> None:
    text = files("flat")[name].decode().replace("ubuntu-24.04", "ubuntu-22.04")  # the schema is of 2022, and lists machines by name
    found = {"on" if key is True else key: value for key, value in yaml.safe_load(text).items()}
    assert [error.message for error in schema("GitHub Workflow").iter_errors(found)] == []
    assert list(schema("GitHub Workflow").iter_errors({**found, "permissions": "all"}))


def test_the_proposal_is_fetched_whole_after_the_tool_and_without_the_token() -> None:
    for fetch in (FETCH, FETCH_AGAIN):
        assert fetch["uses"].startswith("actions/checkout@")
        assert (fetch["with"]["fetch-depth"], fetch["with"]["persist-credentials"], fetch["with"]["path"]) == (0, False, "proposal")
    assert [name for name, step in STEPS.items() if re.search(r"\bpip\b|install", step.get("run", ""))] == ["install", "install again"]


def test_the_tool_is_pinned_to_the_version_that_wrote_the_file() -> None:
    assert INSTALL["env"] == INSTALL_AGAIN["env"] == {"VERSION": __version__}
    assert INSTALL["run"] == INSTALL_AGAIN["run"]
    assert '"formulint==$VERSION"' in INSTALL["run"]


@pytest.mark.parametrize("name", STEPS)
def test_no_expression_stands_inside_a_shell_line(name: str) -> None:
    assert "${{" not in STEPS[name].get("run", "")


@pytest.mark.parametrize("name", WORKFLOWS)
def test_every_value_is_one_that_the_host_chooses(name: str) -> None:
    found = {word for text in texts(WORKFLOWS[name]) for inner in re.findall(r"\$\{\{(.*?)\}\}", text) for word in re.findall(r"[a-z]\w*(?:\.\w+)+", inner)}
    assert found <= CHOSEN_BY_THE_HOST
    assert found


def test_the_review_that_is_kept_is_the_one_that_is_fetched() -> None:
    assert KEEP["with"]["name"] == GET["with"]["name"]
    assert KEEP["with"]["path"].removeprefix("${{ runner.temp }}/") in REVIEW["run"]
    kept = GET["with"]["path"].removeprefix("${{ runner.temp }}/")
    assert f"{kept}/review.md" in POST["run"] and f"{kept}/findings.sarif" in HAND_OVER["run"] and f"{kept}/findings.sarif" in REVIEW["run"]


# --- the shell lines ---------------------------------------------------------------------------------------------


class Runner(NamedTuple):
    """A machine of the host: where a job works, and its own temporary folder."""

    place: Path
    temp: Path

    def do(self, step: Mapping[str, Any], values: Mapping[str, str], **more: str) -> subprocess.CompletedProcess[str]:
        """Run the shell lines of a step as the host does, with these values in place of its expressions."""
        said = {key: re.sub(r"\$\{\{ (.*?) \}\}", lambda found: values[found[1]], text) for key, text in step["env"].items()}
        script = self.temp / "step.sh"
        script.write_text(step["run"])
        summary = {"RUNNER_TEMP": str(self.temp), "GITHUB_STEP_SUMMARY": str(self.temp / "shown.md")}
        return subprocess.run(
            ("bash", "--noprofile", "--norc", "-eo", "pipefail", script), cwd=self.place, env={**os.environ, **summary, **said, **more},
            capture_output=True, text=True, check=False,
        )  # fmt: skip

    @property
    def review(self) -> Path:
        """Where the review is kept."""
        return self.temp / "review" / "review.md"


def program(path: Path, text: str) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(text.replace("{python}", sys.executable))
    path.chmod(0o755)


@pytest.fixture
def runner(tmp_path: Path) -> Runner:
    """A machine with the tool where the first step puts it."""
    made = Runner(tmp_path / "place", tmp_path / "temp")
    program(made.temp / "tool" / "bin" / "formulint", TOOL)
    made.place.mkdir()
    return made


@pytest.fixture
def proposal(runner: Runner) -> Repo:
    """The repository that ``formulint start`` makes, recorded on its main branch; a proposal is yet to come."""
    repo = build(runner.place / "proposal")
    repo.commit("start", {name: data.decode() for name, data in files("flat").items()})
    return repo


def asked(runner: Runner, base: str, head: str) -> tuple[int, str]:
    """The exit status of the gate's step, and what it printed, in one line."""
    done = runner.do(ASK, {"github.event.pull_request.base.sha": base, "github.event.pull_request.head.sha": head})
    return done.returncode, " ".join(done.stdout.split())


def edited(repo: Repo, before: str, after: str) -> str:
    """A commit of an edit of the formula."""
    text = (repo.path / FORMULA).read_text()
    assert text.count(before) == 1
    return repo.commit("edit", {FORMULA: text.replace(before, after)})


def test_a_good_proposal_may_go_in(runner: Runner, proposal: Repo) -> None:
    base = proposal.head
    head = edited(proposal, 'amount = "200.0 lb"', 'amount = "198.0 lb"')
    status, said = asked(runner, base, head)
    assert (status, "The gate says yes." in said) == (0, True)
    assert "The gate says yes" in (runner.temp / "shown.md").read_text()


def test_a_bad_proposal_may_not(runner: Runner, proposal: Repo) -> None:
    base = proposal.head
    head = edited(proposal, 'amount = "280.0 lb"', 'amount = "280.0 kg"')
    status, said = asked(runner, base, head)
    assert (status, "The gate says no." in said) == (1, True)
    assert re.search(r"::error file=formulas/F-001\.toml,line=\d+", said)


def test_a_proposal_that_changes_its_own_check_may_not(runner: Runner, proposal: Repo) -> None:
    base = proposal.head
    head = proposal.commit("weaker", {PROPOSALS[0]: "name: formulas\n"})
    status, said = asked(runner, base, head)
    assert (status, "decides what is checked" in said) == (1, True)


@pytest.mark.parametrize("head", ["0" * 40, "$(touch bad)", '"; touch bad; "', "--output=bad", "-h"])
def test_what_cannot_be_answered_is_no_yes_and_no_value_is_a_command(runner: Runner, proposal: Repo, head: str) -> None:
    status, said = asked(runner, proposal.head, head)
    assert (status, "formulint" in said) == (2, True)
    assert not list(runner.place.rglob("bad"))


def test_nothing_of_the_proposal_is_run(runner: Runner, proposal: Repo) -> None:
    base = proposal.head
    trap = f"open({str(runner.temp / 'ran')!r}, 'w')\n"
    names = ("formulint/__init__.py", "pip/__init__.py", "tomli.py", "sitecustomize.py", "msgspec/__init__.py")
    head = proposal.commit("trap", dict.fromkeys(names, trap) | {".gitattributes": "* filter=x\n", ".git-hooks/post-checkout": "exit 1\n"})
    assert asked(runner, base, head)[0] == 1
    assert reviewed(runner, base, head) == 0
    assert not (runner.temp / "ran").exists()


def test_the_summary_is_cut_to_what_the_host_takes(runner: Runner, proposal: Repo) -> None:
    program(runner.temp / "tool" / "bin" / "formulint", "#!{python}\nprint('x' * 3_000_000)\n")
    assert asked(runner, proposal.head, proposal.head)[0] == 0
    assert (runner.temp / "shown.md").stat().st_size < 1024 * 1024


def test_the_tool_is_installed_from_nothing_that_lies_about(runner: Runner, tmp_path: Path) -> None:
    log = tmp_path / "asked"
    note = f'#!/bin/sh\necho "$0 $@" >> "{log}"\n'
    program(tmp_path / "own" / "python3", note)
    program(runner.temp / "tool" / "bin" / "python", note)
    assert runner.do(INSTALL, {}, PATH=f"{tmp_path / 'own'}:{os.environ['PATH']}").returncode == 0
    venv, pip = log.read_text().splitlines()
    assert venv.endswith(f"python3 -I -m venv {runner.temp}/tool")
    assert pip.endswith(f"-I -m pip install --quiet --only-binary :all: formulint=={__version__}")


# --- the review ---------------------------------------------------------------------------------------------------

EVENT = {"github.token": "token", "github.repository": "lab/paint", "github.event.workflow_run.html_url": "https://host.example.org/run/1"}


def reviewed(runner: Runner, base: str, head: str, known: str = "") -> int:
    """Run the step that reviews; the host knows one open proposal, number 7."""
    program(runner.temp / "host" / "gh", FAKE_HOST)
    done = runner.do(
        REVIEW, {**EVENT, "github.event.workflow_run.head_sha": head}, PATH=f"{runner.temp / 'host'}:{os.environ['PATH']}",
        ASKED=str(runner.temp / "asked"), OPEN=f"{'b' * 40} 6 {'c' * 40}\n{known or head} 7 {base}\n", EARLIER="",
    )  # fmt: skip
    return done.returncode


def test_the_review_is_what_the_gate_says_of_that_proposal(runner: Runner, proposal: Repo) -> None:
    base = proposal.head
    head = edited(proposal, 'amount = "280.0 lb"', 'amount = "280.0 kg"')
    assert reviewed(runner, base, head) == 0
    text = runner.review.read_text()
    assert text.startswith("## formulint gate") and "The gate says no" in text


def test_a_commit_that_is_no_longer_proposed_is_not_reviewed(runner: Runner, proposal: Repo) -> None:
    assert (reviewed(runner, proposal.head, proposal.head, known="d" * 40), runner.review.exists()) == (0, False)


def test_what_cannot_be_answered_is_said_as_text(runner: Runner, proposal: Repo) -> None:
    assert reviewed(runner, proposal.head, proposal.head) == 0
    first, _, *said = runner.review.read_text().splitlines()
    assert first == "The question could not be answered:"
    assert said and all(line.startswith("    ") for line in said)


# --- the comment -------------------------------------------------------------------------------------------------

HEAD = "a" * 40


class Posted(NamedTuple):
    """What the host was asked to write: how, where, what."""

    method: str
    where: str
    body: str


def posted(runner: Runner, review: str | None, open_: str = f"{'b' * 40} 6 {'d' * 40}\n{HEAD} 7 {'e' * 40}\n", earlier: str = "") -> list[Posted]:
    """Run the step on a review; what was posted."""
    if review is not None:
        runner.review.parent.mkdir(exist_ok=True)
        runner.review.write_bytes(review.encode())
    program(runner.temp / "host" / "gh", FAKE_HOST)
    log = runner.temp / "asked"
    log.write_text("")
    values = {**EVENT, "github.event.workflow_run.head_sha": HEAD}
    done = runner.do(POST, values, PATH=f"{runner.temp / 'host'}:{os.environ['PATH']}", ASKED=str(log), OPEN=open_, EARLIER=earlier)
    assert done.returncode == 0, done.stderr
    lines = [json.loads(line) for line in log.read_text().splitlines()]
    return [Posted(words[words.index("--method") + 1], next(word for word in words if word.startswith("repos/")), *body) for words, *body in lines if body]


def shown(body: str) -> str:
    """The review in a comment: all after the first blank line."""
    return body.split("\n\n", 1)[1]


def test_the_review_is_posted_below_the_proposal_of_that_commit(runner: Runner) -> None:
    (one,) = posted(runner, "## all is well\n\n- so far\n")
    assert (one.method, one.where) == ("POST", "repos/lab/paint/issues/7/comments")
    assert shown(one.body) == "## all is well\n\n- so far\n"
    assert f"Review of {HEAD}, by the settings" in one.body and "https://host.example.org/run/1" in one.body


def test_the_second_review_takes_the_place_of_the_first(runner: Runner) -> None:
    (one,) = posted(runner, "again\n", earlier="11\n12")
    assert (one.method, one.where) == ("PATCH", "repos/lab/paint/issues/comments/12")


def test_a_review_of_a_commit_that_has_been_replaced_is_not_posted(runner: Runner) -> None:
    assert posted(runner, "old\n", open_=f"{'c' * 40} 7 {'e' * 40}\n") == []


def test_no_review_no_comment(runner: Runner) -> None:
    assert posted(runner, None) == []


def test_a_review_that_is_a_link_to_a_secret_is_not_posted(runner: Runner) -> None:
    runner.review.parent.mkdir()
    (runner.temp / "secret").write_text("secret")
    os.symlink("../secret", runner.review)
    assert posted(runner, None) == []


@pytest.mark.parametrize("text", ["a\n" * 60_000, "x" * 200_000, "ü" * 100_000, "\n" * 200_000])
def test_a_long_review_is_cut_to_what_a_comment_holds_and_says_so(runner: Runner, text: str) -> None:
    (one,) = posted(runner, f"{text}\nthe end\n")
    assert len(one.body) < 65_536
    assert one.body.endswith("(cut here; formulint gate says the whole)\n")


@pytest.mark.parametrize("text", ["$(touch bad) `touch bad` ${HEAD} %s \\n", "'; touch bad; '", "--field x=@/etc/passwd"])
def test_no_text_is_a_command(runner: Runner, text: str) -> None:
    (one,) = posted(runner, text)
    assert (shown(one.body), list(runner.place.rglob("bad"))) == (text, [])


# --- the list of findings ----------------------------------------------------------------------------------------


def handed(runner: Runner, open_: str) -> list[Posted]:
    """Run the step that hands the findings over; what the host was asked to keep."""
    program(runner.temp / "host" / "gh", FAKE_HOST)
    log = runner.temp / "asked"
    log.write_text("")
    done = runner.do(HAND_OVER, {**EVENT, "github.event.workflow_run.head_sha": HEAD}, PATH=f"{runner.temp / 'host'}:{os.environ['PATH']}", ASKED=str(log), OPEN=open_, EARLIER="")
    assert done.returncode == 0, done.stderr
    lines = [json.loads(line) for line in log.read_text().splitlines()]
    return [Posted(words[words.index("--method") + 1], " ".join(words), *body) for words, *body in lines if body]


def test_the_findings_of_that_proposal_are_handed_over_as_the_host_takes_them(runner: Runner, proposal: Repo) -> None:
    base = proposal.head
    head = edited(proposal, 'amount = "280.0 lb"', 'amount = "280.0 kg"')
    assert reviewed(runner, base, head) == 0
    (one,) = handed(runner, f"{'b' * 40} 6 {'d' * 40}\n{HEAD} 7 {base}\n")
    found = json.loads(gzip.decompress(base64.b64decode(one.body)))
    assert {"error", "formulas/F-001.toml"} <= {*texts(found["runs"][0]["results"])}
    assert f"repos/lab/paint/code-scanning/sarifs --raw-field commit_sha={HEAD} --raw-field ref=refs/pull/7/head" in one.where


def test_no_findings_or_a_link_to_a_secret_are_not_handed_over(runner: Runner) -> None:
    open_ = f"{HEAD} 7 {'e' * 40}\n"
    assert handed(runner, open_) == []
    runner.review.parent.mkdir()
    (runner.review.parent / "findings.sarif").symlink_to("/etc/passwd")
    assert handed(runner, open_) == []
