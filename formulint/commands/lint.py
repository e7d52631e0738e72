"""``formulint lint``: judge formulas and materials against the rules."""

from __future__ import annotations

from types import SimpleNamespace

from msgspec.structs import replace

from formulint import report
from formulint.catalog import Catalog, stem
from formulint.commands.states import OUTPUT, STATE, catalog_of, opened, put
from formulint.finding import Finding, Level, Place
from formulint.judge import Judge, Scope
from formulint.options import Option
from formulint.scope import Touched, everything, named, touched
from formulint.snapshot import Snapshot

UNKNOWN = "record/known-material"

OPTIONS = (
    Option("what", "only these (default: everything; with --staged: what is staged)", "CODE|FILE", several=True),
    *STATE,
    Option("--notes", "show the notes too, which are counted otherwise", default=False),
    *OUTPUT,
)


def run(options: SimpleNamespace) -> int:
    """Judge, show, and answer: 1 where something stops."""
    if options.staged and not options.what:
        return _staged(options)
    catalog = catalog_of(options)
    scope = named(catalog, options.what) if options.what else everything(catalog)
    findings = Judge(catalog).findings(scope)
    _show(options, catalog, scope, findings)
    catalog.snapshot.close()
    return 1 if any(finding.blocks for finding in findings) else 0


def _staged(options: SimpleNamespace) -> int:
    """What the commit being made touches, with its deltas: the hook."""
    from formulint import git, snapshot
    from formulint.rulebook import Shipped

    repository = git.require(options.folder)
    state = snapshot.index(repository, options.today)
    changes = snapshot.changed(state)
    odd = _irregular(state)
    if not odd and not any(one.name.endswith(".toml") for one in changes):
        return 0
    shipped = Shipped()
    catalog = opened(state, shipped)
    folders = catalog.settings.folders
    ours = {fault.place.path for fault in state.faults_below((folders.materials, folders.formulas, folders.rules))}
    before = Catalog(snapshot.before(state, changes), shipped, catalog.today) if repository.head else None
    reach = touched(catalog, changes, before)
    if not reach.anything and not odd & ours:
        return 0
    found = Judge(catalog).findings(reach.scope)
    findings = tuple(finding for finding in found if _concerns(finding, reach, odd & ours))
    if any(finding.rule == UNKNOWN for finding in findings):
        findings = tuple(_explained(finding, catalog, before, reach) for finding in findings)
    _show(options, catalog, reach.scope, findings, before, reach, len(found) - len(findings))
    state.close()
    return 1 if any(finding.blocks for finding in findings) else 0


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


def _show(
    options: SimpleNamespace,
    catalog: Catalog,
    scope: Scope,
    findings: tuple[Finding, ...],
    before: Catalog | None = None,
    reach: Touched | None = None,
    elsewhere: int = 0,
) -> None:
    if options.format == "json":
        from formulint.render import json_report

        judged = {"formulas": len(scope.formulas), "materials": len(scope.materials)}
        put(options, json_report.lint(catalog, findings, judged))
        return
    from formulint.render import terminal

    seen = [finding for finding in findings if options.notes or finding.level is not Level.note]
    sections = report.by_record(catalog, report.located(catalog, seen))
    if before is not None and reach is not None:
        from formulint import tables

        # A sheet that could not be read as it was meant has no deltas: they would say "removed", or "open" everywhere.
        unclear = {finding.formula for finding in findings if finding.blocks and finding.rule.startswith("record/")}
        clear = tuple(name for name in reach.formulas if stem(name) not in unclear)
        sections += tables.deltas(before, catalog, replace(reach, formulas=clear))
    shown = report.lint(catalog, scope, findings, sections, options.notes)
    if elsewhere:
        words = f"{report.counted(elsewhere, 'finding')} about records that this commit does not touch: formulint lint shows them"
        shown = replace(shown, facts=(*shown.facts, words))
    put(options, terminal.show(shown))
