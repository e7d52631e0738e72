"""The commit that is being made: what it touches, judged as git would record it. The hook asks this."""

from __future__ import annotations

import os
from datetime import date

from msgspec import Struct
from msgspec.structs import replace

from formulint import git, snapshot
from formulint.catalog import Catalog, stem
from formulint.errors import UserError
from formulint.finding import Finding, Place
from formulint.judge import Judge
from formulint.rulebook import Shipped
from formulint.scope import Touched, preload, touched
from formulint.settings_check import require_settings
from formulint.snapshot import Snapshot
from formulint.standing import STANDING_FILE
from formulint.together import told

UNKNOWN = "record/known-material"


class Staged(Struct, frozen=True):
    """A commit being made, judged: the state it would record, the state before (None on a first commit), what it
    touches, what is found there, and how many findings concern records that it does not touch."""

    catalog: Catalog
    before: Catalog | None
    reach: Touched
    findings: tuple[Finding, ...]
    elsewhere: int


def judge(folder: str, today: date | None) -> Staged | None:
    """What is staged, judged; None where it holds nothing of ours, which is nearly free.

    Raises
    ------
    UserError
        Where there is no repository, an unfinished merge, or settings that cannot be read.
    """
    repository = git.require(folder)
    state = snapshot.index(repository, today)
    changes = snapshot.changed(state)
    odd = _irregular(state)
    if not odd and not any(one.name.endswith(".toml") for one in changes):
        return None
    shipped = Shipped()
    catalog = Catalog(state, shipped)
    require_settings(catalog)
    ours = {fault.place.path for fault in state.faults_below((*catalog.settings.folders.all, STANDING_FILE))}
    before = Catalog(snapshot.before(state, changes), shipped, catalog.today) if repository.head else None
    reach = touched(catalog, changes, before)
    if not reach.anything and not odd & ours:
        return None
    preload(catalog, reach.formulas)  # a round with git for all of it: waiting for one file at a time adds up
    asked = Judge(catalog)
    found = asked.findings(reach.scope)
    if reach.results:
        from formulint.measured import findings as of_results  # few commits bring any

        found += of_results(asked, reach.scope)
    if reach.releases or state.holds(catalog.settings.folders.releases):
        from formulint.recorded import of_commit  # where nothing was released, nobody asks

        found += tuple(of_commit(before or catalog, catalog, changes, reach.formulas))
    findings = tuple(finding for finding in found if _concerns(finding, reach, odd & ours))
    if any(finding.rule == UNKNOWN for finding in findings):
        findings = tuple(_explained(finding, catalog, before, reach) for finding in findings)
    if any(finding.blocks for finding in findings):
        findings = tuple(told(findings, lambda: _sides(repository, catalog, shipped)))
    return Staged(catalog, before, reach, findings, len(found) - len(findings))


def _sides(repository: git.Repository, catalog: Catalog, shipped: Shipped) -> list[Judge]:
    """HEAD and what is being merged into it; fewer than two where this is no merge.

    While git runs the hook of a clean merge, it names the other side in the environment only; after a conflict that
    was settled by hand, in its own folder.
    """
    others = {name[8:] for name in os.environ if name.startswith("GITHEAD_")}
    try:
        with open(os.path.join(repository.git_dir, "MERGE_HEAD"), encoding="ascii") as handle:
            others.update(handle.read().split())
    except (OSError, UnicodeDecodeError):
        pass
    if not others:
        return []
    found: list[Judge] = []
    for commit in (repository.head or "", *sorted(others)):
        try:
            found.append(Judge(Catalog(snapshot.at(repository, commit, catalog.today), shipped, catalog.today)))
        except UserError:
            return []
    return found


def _irregular(state: Snapshot) -> frozenset[str]:
    """Names of what this commit adds that is no plain file. Git is asked only where the index holds such a thing."""
    odd = frozenset(fault.place.path for fault in state.faults if fault.kind == "fail")
    if not odd or state.repository is None or state.repository.head is None:
        return odd
    skip = len(state.root)
    return odd & {one.name[skip:] for one in state.repository.staged_differences() if one.name.startswith(state.root)}


def _concerns(finding: Finding, reach: Touched, odd: frozenset[str]) -> bool:
    """True for what is new or is about a record that this commit touches: an old fault elsewhere is no barrier."""
    place = finding.fault.place
    if finding.rule == "record/plain-file":
        return finding.fault.kind == "review" or place.path in odd
    if finding.formula or not finding.material:
        return True
    return bool(reach.policy) or any(one.path in reach.materials for one in (place, *finding.fault.related))


def _explained(finding: Finding, catalog: Catalog, before: Catalog | None, reach: Touched) -> Finding:
    """The finding of a code that is not there, with what only the hook knows: it is being deleted, or is not staged."""
    from shlex import quote

    fault = finding.fault
    code = _code_at(catalog, fault.place) if finding.rule == UNKNOWN else ""
    if code in reach.gone and before is not None:
        names = [*before.material_names.get(code.casefold(), []), *before.formula_names.get(code.casefold(), [])]
        words = f"{code} is deleted by this commit, and {finding.formula} uses it"
        keep = " ".join(("git restore --staged --worktree", *(quote(name) for name in names)))
        remedy = f"take it out of {finding.formula} first, or keep it: {keep}"
        return replace(finding, fault=replace(fault, message=words, remedy=remedy))
    name = _beside(catalog).get(code, "") if code else ""
    if name:
        remedy = f"its file is there, but not in this commit: git add {quote(name)}"
        return replace(finding, fault=replace(fault, remedy=remedy))
    return finding


def _code_at(catalog: Catalog, place: Place) -> str:
    """The code that a line of a formula names at a place; empty where no line stands there."""
    record = catalog.formula(place.path).record
    if record is None or len(place.keys) < 5:
        return ""
    line = record.stage[int(place.keys[1])].additions[int(place.keys[3])]
    return line.alternates[int(place.keys[5])] if place.keys[4] == "alternates" else line.material or ""


def _beside(catalog: Catalog) -> dict[str, str]:
    """Names, by code, of records that lie in the work tree and are not part of the commit."""
    state, folders = catalog.snapshot, catalog.settings.folders
    names = [] if state.repository is None else state.repository.present()
    below = [name[len(state.root) :] for name in names if name.startswith(state.root) and name.endswith(".toml")]
    places = (f"{folders.materials}/", f"{folders.formulas}/")
    return {stem(name): name for name in below if name.startswith(places) and name not in state.entries}
