"""The file that ``formulint start`` writes for another code host: its schema, what it may do, and its lines run for real.

The host is a server in this process that keeps proposals and comments; the repository is a real one, with the refs of
proposals that such a host keeps. The tool is the one under test, behind the same path.
"""

from __future__ import annotations

import json
import os
import re
import subprocess
from collections.abc import Iterator
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from threading import Thread
from typing import Any

import pytest
import yaml  # type: ignore[import-untyped]
from jsonschema import Draft7Validator  # type: ignore[import-untyped]
from repos import Repo, build
from test_ci_example import TOOL, edited, program
from test_outputs import schema

from formulint import __version__
from formulint.start import PROPOSALS, files

PIPELINE = yaml.safe_load(files("flat")[PROPOSALS[2]])
SHARED, GATE, COMMENT = PIPELINE[".formulint"], PIPELINE["gate"], PIPELINE["comment"]
PROPOSED, DEFAULT = '$CI_PIPELINE_SOURCE == "merge_request_event"', '$CI_PIPELINE_SOURCE == "schedule" && $CI_COMMIT_BRANCH == $CI_DEFAULT_BRANCH'


# --- what it is --------------------------------------------------------------------------------------------------


def test_it_holds_to_the_published_schema_of_pipelines() -> None:
    found: Draft7Validator = schema("gitlab-ci")
    assert [error.message for error in found.iter_errors(PIPELINE)] == []
    assert [error.message for error in found.iter_errors({**PIPELINE, "gate": {"script": 1}})] != []


def test_the_job_on_the_proposal_is_another_than_the_one_that_holds_the_token() -> None:
    assert [one["rules"] for one in (GATE, COMMENT)] == [[{"if": PROPOSED}], [{"if": DEFAULT}]]
    assert PIPELINE["workflow"]["rules"] == [{"if": PROPOSED}, {"if": DEFAULT}]
    assert "environment" not in GATE and COMMENT["environment"] == {"name": "formulas-comment", "action": "access"}
    assert "TOKEN" not in json.dumps([SHARED, GATE])


def test_nothing_is_installed_but_the_tool_in_one_version_and_no_work_tree_is_made() -> None:
    assert (SHARED["variables"]["VERSION"], SHARED["variables"]["GIT_STRATEGY"]) == (__version__, "none")
    assert SHARED["before_script"][-1].endswith('-I -m pip install --quiet --only-binary :all: "formulint==$VERSION"')
    assert not re.search(r"\bpip\b|checkout|clone", "".join((*GATE["script"], *COMMENT["script"])))


def test_every_value_in_a_shell_line_is_quoted() -> None:
    bare = [line.strip() for line in "".join(GATE["script"]).splitlines() if "$" in re.sub(r'"[^"]*"', "", line)]
    assert bare == ["head=${CI_MERGE_REQUEST_SOURCE_BRANCH_SHA:-$CI_COMMIT_SHA}", "gate 2>&1 || status=$?"]  # which a shell does not split


# --- the check ---------------------------------------------------------------------------------------------------


@pytest.fixture
def origin(tmp_path: Path) -> Repo:
    """The repository of the host: the start on its main branch, with a proposal 7 to come."""
    repo = build(tmp_path / "origin")
    repo.commit("start", {name: data.decode() for name, data in files("flat").items()})
    return repo


@pytest.fixture
def place(tmp_path: Path) -> Path:
    """Where a job works, with the tool where the first lines put it."""
    program(tmp_path / "place" / "tool" / "bin" / "formulint", TOOL)
    (tmp_path / "project").mkdir()
    return tmp_path / "place"


def propose(origin: Repo, before: str, after: str) -> str:
    """A proposal by the refs of the host; the main branch stays where it was."""
    base = origin.head
    head = edited(origin, before, after)
    origin.git("update-ref", "refs/merge-requests/7/head", head)
    origin.git("reset", "-q", "--hard", base)
    return head


def done(script: list[str], place: Path, origin: Repo, **values: str) -> subprocess.CompletedProcess[str]:
    """Run the lines of a job as the host does, but for those that install."""
    project = place.parent / "project"
    known = {"CI_REPOSITORY_URL": str(origin.path), "CI_PROJECT_DIR": str(project), "CI_MERGE_REQUEST_IID": "7", "place": str(place)}
    lines = "set -eo pipefail\n" + "\n".join(script)
    return subprocess.run(("bash", "--noprofile", "--norc", "-c", lines), cwd=project, env={**os.environ, **known, **values}, capture_output=True, text=True, check=False)


def gate(place: Path, origin: Repo, head: str, target: str = "main") -> subprocess.CompletedProcess[str]:
    """The job on a proposal."""
    return done(GATE["script"], place, origin, CI_COMMIT_SHA=head, CI_MERGE_REQUEST_TARGET_BRANCH_NAME=target)


def test_a_good_proposal_may_go_in(place: Path, origin: Repo) -> None:
    ran = gate(place, origin, propose(origin, 'amount = "200.0 lb"', 'amount = "198.0 lb"'))
    assert (ran.returncode, "The gate says yes." in ran.stdout) == (0, True), ran.stderr


def test_a_bad_proposal_may_not_and_is_marked_line_by_line(place: Path, origin: Repo) -> None:
    ran = gate(place, origin, propose(origin, 'amount = "280.0 lb"', 'amount = "280.0 kg"'))
    kept = GATE["artifacts"]["reports"]
    lines = json.loads((place.parent / "project" / kept["codequality"]).read_text())
    assert (ran.returncode, "The gate says no." in ran.stdout) == (1, True)
    assert {one["location"]["path"] for one in lines} == {"formulas/F-001.toml"}
    assert "<failure" in (place.parent / "project" / kept["junit"]).read_text()


@pytest.mark.parametrize("target", ["gone", "$(touch bad)", '"; touch bad; "', "--upload-pack=touch bad"])
def test_what_cannot_be_fetched_is_no_yes_and_no_value_is_a_command(place: Path, origin: Repo, target: str) -> None:
    ran = gate(place, origin, propose(origin, 'amount = "200.0 lb"', 'amount = "198.0 lb"'), target)
    assert ran.returncode not in (0, 1)
    assert not list(place.parent.rglob("bad"))


def test_the_pipeline_of_a_merged_result_names_the_proposals_own_commit(place: Path, origin: Repo) -> None:
    head = propose(origin, 'amount = "280.0 lb"', 'amount = "280.0 kg"')
    values = {"CI_COMMIT_SHA": "f" * 40, "CI_MERGE_REQUEST_SOURCE_BRANCH_SHA": head, "CI_MERGE_REQUEST_TARGET_BRANCH_NAME": "main"}
    assert done(GATE["script"], place, origin, **values).returncode == 1


# --- the comment -------------------------------------------------------------------------------------------------


class Host(ThreadingHTTPServer):
    """A code host with one open proposal, its comments, and a list of what it was asked with which token."""

    def __init__(self) -> None:
        super().__init__(("127.0.0.1", 0), Asked)
        self.target = "main"
        self.notes: list[dict[str, Any]] = []
        self.tokens: set[str | None] = set()

    def answer(self, method: str, path: str, body: str) -> object:
        """What is answered; a comment is kept."""
        if path.startswith("/user"):
            return {"id": 5}
        if method == "GET":
            return self.notes if "/notes" in path else [{"iid": 7, "target_branch": self.target}]
        note = {"id": 31, "author": {"id": 5}, "body": body, "how": f"{method} {path}"}
        self.notes = [*(one for one in self.notes if one["id"] != 31), note]
        return note


class Asked(BaseHTTPRequestHandler):
    """One question to the host."""

    server: Host

    def do_GET(self) -> None:
        self._answer()

    def do_POST(self) -> None:
        self._answer()

    def do_PUT(self) -> None:
        self._answer()

    def _answer(self) -> None:
        raw = self.rfile.read(int(self.headers.get("Content-Length") or 0))
        self.server.tokens.add(self.headers.get("PRIVATE-TOKEN"))
        found = json.dumps(self.server.answer(self.command, self.path, json.loads(raw)["body"] if raw else "")).encode()
        self.send_response(200)
        self.send_header("Content-Length", str(len(found)))
        self.end_headers()
        self.wfile.write(found)

    def log_message(self, format: str, *args: object) -> None:
        """Say nothing."""


@pytest.fixture
def host() -> Iterator[Host]:
    """The host, answering until the test is over."""
    with Host() as server:
        Thread(target=server.serve_forever, kwargs={"poll_interval": 0.01}, daemon=True).start()
        yield server
        server.shutdown()


def commented(place: Path, origin: Repo, host: Host) -> subprocess.CompletedProcess[str]:
    """The job that comments."""
    url = f"http://127.0.0.1:{host.server_address[1]}"
    return done(COMMENT["script"], place, origin, CI_API_V4_URL=url, CI_PROJECT_ID="1", FORMULAS_TOKEN="token", no_proxy="*")


def test_the_review_is_posted_once_and_renewed_when_it_is_another(place: Path, origin: Repo, host: Host) -> None:
    propose(origin, 'amount = "280.0 lb"', 'amount = "280.0 kg"')
    ran = commented(place, origin, host)
    (note,) = host.notes
    assert (ran.returncode, host.tokens, note["how"]) == (0, {"token"}, "POST /projects/1/merge_requests/7/notes"), ran.stderr
    assert note["body"].startswith("<!-- formulas-review -->\n## formulint gate") and "The gate says no" in note["body"]
    assert commented(place, origin, host).returncode == 0 and host.notes[0]["how"].startswith("POST")
    propose(origin, 'amount = "200.0 lb"', 'amount = "198.0 lb"')
    assert commented(place, origin, host).returncode == 0
    assert host.notes[0]["how"] == "PUT /projects/1/merge_requests/7/notes/31" and "The gate says yes" in host.notes[0]["body"]


def test_the_comment_of_somebody_else_is_left_alone(place: Path, origin: Repo, host: Host) -> None:
    theirs = {"id": 30, "author": {"id": 6}, "body": "<!-- formulas-review -->\nmine"}
    host.notes = [theirs]
    propose(origin, 'amount = "200.0 lb"', 'amount = "198.0 lb"')
    assert commented(place, origin, host).returncode == 0
    assert (host.notes[0], len(host.notes)) == (theirs, 2)


def test_a_long_review_is_cut_and_the_tool_does_not_see_the_token(place: Path, origin: Repo, host: Host) -> None:
    propose(origin, 'amount = "200.0 lb"', 'amount = "198.0 lb"')
    program(place / "tool" / "bin" / "formulint", "#!{python}\nimport os\nprint(os.environ.get('FORMULAS_TOKEN'), 'x' * 300_000)\n")
    assert commented(place, origin, host).returncode == 0
    body = host.notes[0]["body"]
    assert len(body) < 65_536 and "None x" in body and body.endswith("(cut here; formulint gate says the whole)\n")


def test_what_cannot_be_answered_is_said_as_text(place: Path, origin: Repo, host: Host) -> None:
    origin.git("update-ref", "refs/merge-requests/7/head", origin.head)
    assert commented(place, origin, host).returncode == 0
    said = host.notes[0]["body"].split("could not be answered:\n\n")[1]
    assert "proposes nothing" in said and all(line.startswith("    ") for line in said.splitlines())


def test_a_proposal_that_cannot_be_fetched_is_told_and_fails(place: Path, origin: Repo, host: Host) -> None:
    host.target = "gone"
    ran = commented(place, origin, host)
    assert (ran.returncode, ran.stdout, host.notes) == (1, "proposal 7: CalledProcessError\n", [])


