"""``formulint lint``: judge formulas and materials against the rules."""

from __future__ import annotations

from types import SimpleNamespace
from typing import TYPE_CHECKING

from formulint import report
from formulint.catalog import Catalog
from formulint.commands.states import OUTPUT, STATE, catalog_of, put, shown
from formulint.finding import Finding, Level
from formulint.judge import Judge, Scope
from formulint.options import Option
from formulint.scope import everything, named

if TYPE_CHECKING:
    from formulint.staged import Staged

OPTIONS = (
    Option("what", "only these (default: everything; with --staged: what is staged)", "CODE|FILE", several=True),
    *STATE,
    Option("--notes", "show the notes too, which are counted otherwise", default=False),
    *OUTPUT,
)


def run(options: SimpleNamespace) -> int:
    """Judge, show, and answer: 1 where something stops."""
    if options.staged and not options.what:
        from formulint.staged import judge

        staged = judge(options.folder, options.today)
        if staged is None:
            return 0
        return _answer(staged.catalog, _show(options, staged.catalog, staged.reach.scope, staged.findings, staged))
    catalog = catalog_of(options)
    scope = named(catalog, options.what) if options.what else everything(catalog)
    asked = Judge(catalog)
    findings = asked.findings(scope)
    if scope.results:
        from formulint.measured import findings as of_results  # a repository without results pays nothing for them

        findings += of_results(asked, scope)
    if catalog.snapshot.holds(catalog.settings.folders.releases):
        from formulint.recorded import of_scope  # where nothing was released, nobody asks

        findings += tuple(of_scope(catalog, scope.formulas, scope.whole))
    return _answer(catalog, _show(options, catalog, scope, findings))


def _answer(catalog: Catalog, findings: tuple[Finding, ...]) -> int:
    catalog.snapshot.close()
    return 1 if any(finding.blocks for finding in findings) else 0


def _show(
    options: SimpleNamespace, catalog: Catalog, scope: Scope, findings: tuple[Finding, ...], staged: Staged | None = None
) -> tuple[Finding, ...]:
    """Show what was found, and of a commit what its changes show besides; all of that."""
    if any(one.mendable and (options.notes or one.level is not Level.note) for one in findings):
        from formulint.remedies import helped

        findings = helped(catalog, findings, options.notes, waiting=staged is not None)
    changes = None
    if staged is not None:
        from formulint import commit_report

        changes = commit_report.deltas(staged)
        findings = (*findings, *changes.own)
    if options.format == "json":
        from formulint.render import json_report

        judged = {"formulas": len(scope.formulas), "materials": len(scope.materials)}
        put(options, json_report.lint(catalog, findings, judged))
        return findings
    told = report.lint(catalog, scope, findings, options.notes)
    if staged is not None and changes is not None:
        told = commit_report.with_deltas(told, staged, changes)
    put(options, shown(options, told, catalog.snapshot.root))
    return findings
