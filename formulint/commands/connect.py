"""``formulint connect``: git told to merge and show records by this program, or told so no more."""

from __future__ import annotations

import sys
from types import SimpleNamespace

from formulint import git
from formulint.clean import log_line
from formulint.commands.states import opened
from formulint.connect import Change, connect, disconnect
from formulint.errors import UserError
from formulint.options import Option
from formulint.rulebook import Shipped
from formulint.snapshot import work_tree

OPTIONS = (Option("--undo", "take away what it wrote, and nothing else", default=False),)

CONNECTED = (
    "git merge, rebase and cherry-pick now bring formulas together addition by addition, and git diff, show and log -p show them as plain text.",
    "The settings are those of this clone only: say formulint connect in every clone, and commit .gitattributes once.",
    "formulint gate and code hosts merge by lines as before.",
)


def run(options: SimpleNamespace) -> int:
    """Write, or take away; show what was written."""
    repository = git.require(options.folder)
    if not repository.top:
        raise UserError("no files lie here: this repository keeps commits only", "go where its files lie")
    state = work_tree(repository)
    if options.undo:
        _show(disconnect(repository, state.folder), "taken away", "not there")
        return 0
    catalog = opened(state, Shipped())
    _show(connect(repository, state.folder, catalog.settings.folders), "written", "was there")
    for line in CONNECTED:
        sys.stdout.write(f"{line}\n")
    return 0


def _show(changes: list[Change], done: str, was: str) -> None:
    for one in changes:
        sys.stdout.write(f"{was if one.was else done}: {log_line(one.what)}\n")
