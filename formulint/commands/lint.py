"""``formulint lint``: judge formulas and materials against the rules."""

from __future__ import annotations

from types import SimpleNamespace

from formulint import report
from formulint.catalog import Catalog
from formulint.commands.states import OUTPUT, STATE, catalog_of, opened, put
from formulint.finding import Finding, Level
from formulint.judge import Judge, Scope
from formulint.options import Option
from formulint.scope import Touched, everything, named, touched

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
    if not changes:
        return 0
    shipped = Shipped()
    catalog = opened(state, shipped)
    before = Catalog(snapshot.before(state, changes), shipped, catalog.today) if repository.head else None
    reach = touched(catalog, changes, before)
    if not reach.anything:
        return 0
    findings = Judge(catalog).findings(reach.scope)
    _show(options, catalog, reach.scope, findings, before, reach)
    state.close()
    return 1 if any(finding.blocks for finding in findings) else 0


def _show(
    options: SimpleNamespace, catalog: Catalog, scope: Scope, findings: tuple[Finding, ...], before: Catalog | None = None, reach: Touched | None = None
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

        sections += tables.deltas(before, catalog, reach)
    put(options, terminal.show(report.lint(catalog, scope, findings, sections, options.notes)))
