"""What is measured against what, and the ratio that is demanded: the one list of it."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import NamedTuple

from synthetic import TODAY, formula_code

from benchmarks.clock import Call
from benchmarks.stage import Stage, python

HERE = Path(__file__).parent
PASS = "python -c pass"
BARE = "tomllib, same bytes"
LINT_ALL = "full lint, cold"
LINT_PLOT = "lint and plotting"
LOG = "git log -p of the file"
SHORT_LOG = "the same log among 10"


class Row(NamedTuple):
    """A line of the table: two calls by name, and the most that the first may take in units of the second."""

    what: str
    against: str
    most: float | None


ROWS = (
    Row("--version", PASS, 2),
    Row("--help", PASS, 3),
    Row("lint of one clean formula", PASS, 5.5),
    Row("the same among 2,000", PASS, None),
    Row("properties of one formula", PASS, None),
    Row("hook, nothing of ours staged", PASS, None),
    Row("hook, one formula staged", PASS, 8),
    Row("hook, one material staged", PASS, None),
    Row("hook, settings staged", LINT_ALL, None),
    Row(LINT_ALL, BARE, 1.6),
    Row("diff of one formula", PASS, None),
    Row("diff of 50 changed of 2,000", LINT_ALL, 0.35),
    Row("gate of the same", LINT_ALL, 0.6),
    Row("page of the same, pictures", LINT_PLOT, 1),
    Row("history of 1,000 commits", LOG, 3),
    Row("the same among 10 formulas", SHORT_LOG, None),
)


def calls(stage: Stage) -> Mapping[str, Call]:
    """Every call by name."""
    day = ("--today", TODAY)
    tool = python(str(stage.script))
    history = (*tool, "history", formula_code(7), "--property", "density")
    log = ("git", "--no-pager", "log", "-p", "--first-parent", "--", f"formulas/{formula_code(7)}.toml")
    bare = python(str(HERE / "bare.py"))
    return {
        PASS: Call(python("-c", "pass"), stage.big),
        BARE: Call(bare, stage.big),
        "--version": Call((*tool, "--version"), stage.big),
        "--help": Call((*tool, "--help"), stage.big),
        "lint of one clean formula": Call((*tool, "lint", formula_code(7), *day), stage.small),
        "the same among 2,000": Call((*tool, "lint", formula_code(7), *day), stage.big),
        "properties of one formula": Call((*tool, "properties", formula_code(7), *day), stage.small),
        "hook, nothing of ours staged": Call((*tool, "lint", "--staged", *day), stage.elsewhere),
        "hook, one formula staged": Call((*tool, "lint", "--staged", *day), stage.formula),
        "hook, one material staged": Call((*tool, "lint", "--staged", *day), stage.material),
        "hook, settings staged": Call((*tool, "lint", "--staged", *day), stage.settings),
        LINT_ALL: Call((*tool, "lint", *day), stage.big),
        "diff of 50 changed of 2,000": Call((*tool, "diff", "HEAD~1", "HEAD", *day), stage.proposal),
        "gate of the same": Call((*tool, "gate", "--base", "base", *day), stage.proposal),
        LINT_PLOT: Call((*python(str(HERE / "plotting.py")), "lint", *day), stage.big),
        "page of the same, pictures": Call((*tool, "diff", "HEAD~1", "HEAD", "--format", "html", *day), stage.proposal),
        LOG: Call(log, stage.line),
        SHORT_LOG: Call(log, stage.short_line),
        "history of 1,000 commits": Call(history, stage.line),
        "the same among 10 formulas": Call(history, stage.short_line),
        "diff of one formula": Call((*tool, "diff", "HEAD", "--staged", *day), stage.formula),
    }
