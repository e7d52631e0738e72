"""``formulint approve``: the words by which somebody approves a revision, printed, or put into a tag by git."""

from __future__ import annotations

import sys
from collections.abc import Iterable
from datetime import date
from types import SimpleNamespace

from formulint import approval, snapshot
from formulint.approval import What
from formulint.catalog import Catalog
from formulint.clean import log_line
from formulint.commands.states import opened, put
from formulint.errors import UserError
from formulint.forerunner import Forerunners
from formulint.git import Repository
from formulint.options import Option
from formulint.rulebook import Shipped
from formulint.side import Side, side
from formulint.tagging import free_name, make

OPTIONS = (
    Option("what", "the formula that is approved", "CODE"),
    Option("--tag", "make the annotated tag, signed as your own settings of git say; without a signature where the settings here ask for none", default=False),
    Option("--at", "the commit whose state is approved (default: HEAD)", "REV"),
    Option("--output", "write the words to this file instead of the screen", "FILE"),
)


def run(options: SimpleNamespace) -> int:
    """Print what is to be signed; with ``--tag``, have git make the tag."""
    if not options.what:
        raise UserError("nobody knows which formula is meant", "say formulint approve T-101")
    state = snapshot.at(options.folder, options.at or "HEAD")
    catalog = opened(state, Shipped())
    one = side(catalog, options.what)
    if one is None:
        raise UserError(f"there is no formula {options.what} in {state.label} that can be read", "name a code, such as T-101; formulint lint says what is wrong")
    what = What(one.formula.code, one.formula.revision, one.digests.whole)
    text = f"Approve {what.formula} revision {what.revision}\n\n{approval.message(what)}"
    for words in _remarks(one, state):
        sys.stderr.write(log_line(words) + "\n")
    if not options.tag:
        put(options, text)
        return 0
    repository = approval.require(catalog)
    name = free_name(repository, f"approved/{what.formula}-r{what.revision}")
    make(repository, name, state.commit or "", text, signed=catalog.settings.approvals == "signed")
    put(options, f"{name}\n{text}")
    sys.stderr.write(f"the tag is here only: git push origin {name}\n")
    for words in _doubts(repository, catalog, what, sorted(one.blends), state.commit or ""):
        sys.stderr.write(log_line(words) + "\n")
    return 0


def _doubts(repository: Repository, catalog: Catalog, what: What, blends: Iterable[str], commit: str) -> list[str]:
    """Why approvals that were given do not count by the settings of this state; nothing where one does."""
    trust = approval.trust_of(catalog)
    if not trust.asked:
        return ["it cannot count yet: formulint.toml names nobody under [approvers], formula, or no list of signers"]
    since = Forerunners(repository, catalog).before(what.formula, what.revision, commit)
    wrote = approval.authors(repository, catalog.snapshot.root, (what.formula, *blends), (commit,), since, trust)
    found = approval.heard(repository, what, trust, (commit,), wrote, date.max)
    return [] if found.given else [f"it does not count: {words}" for words in found.doubts[:3]]


def _remarks(one: Side, state: snapshot.Snapshot) -> list[str]:
    """What somebody who approves should know: what stops, and that other files lie here."""
    found = []
    stops = [finding for finding in one.findings if finding.blocks]
    if stops:
        found.append(f"{len(stops)} findings stop this formula, such as: {stops[0].fault.message}")
    if state.folder and state.repository is not None and state.commit == state.repository.head:
        disk = snapshot.work_tree(state.repository)
        if any(change.name == one.file.name for change in snapshot.changed_between(state, disk)):
            found.append(f"{one.file.name} lies here otherwise than it is committed; these are the words for what is committed")
    return found
