"""``formulint diff``: what changed between two states, and what that does to the paint."""

from __future__ import annotations

from collections.abc import Sequence
from types import SimpleNamespace

from formulint import ahead, git, snapshot, tables
from formulint.ancestry import parted
from formulint.catalog import Catalog, stem
from formulint.chronicle import proposed_ahead
from formulint.commands.states import OUTPUT, TODAY, opened, put, shown
from formulint.compare import formulas, materials
from formulint.errors import UserError
from formulint.options import Option
from formulint.remeasured import remeasured
from formulint.rulebook import Shipped
from formulint.scope import touched
from formulint.settings_check import require_settings

OPTIONS = (
    Option("old", "a commit (default: HEAD), or OLD..NEW, or OLD...NEW: NEW against where it parted from OLD", "OLD", default="HEAD"),
    Option("new", "a commit (default: the files as they lie here)", "NEW"),
    Option("--staged", "compare OLD with what is staged", default=False),
    Option("--only", "only this formula; may be repeated, or all of them after --", "CODE", repeated=True, takes_rest=True),
    TODAY,
    *OUTPUT,
)


def run(options: SimpleNamespace) -> int:
    """Compare and show; 1 where the newer state has a new finding that stops."""
    repository = git.require(options.folder)
    old, new = _revisions(options, repository)
    ahead.committed(repository, [one for one in (old, new) if one])
    first = _at(repository, old, options)
    if new is not None:
        second = _at(repository, new, options)
        if options.format != "json" and first.commit and second.commit:
            proposed_ahead(repository, second.commit, first.commit)
    elif options.staged:
        second = snapshot.index(repository, options.today)
    else:
        second = snapshot.work_tree(repository, options.today)
    shipped = Shipped()
    after = opened(second, shipped)
    before = Catalog(first, shipped, after.today)
    require_settings(before)
    changed = snapshot.changed_between(first, second)
    reach = touched(after, changed, before)
    codes = [*(stem(name) for name in reach.formulas), *(code for code in reach.gone if before.find_formula(code))]
    if options.only:
        _known(options.only, before, after)
        codes = [code for code in codes if code in options.only]
    changes = formulas(before, after, codes)
    records = () if options.only else materials(before, after, reach.materials, reach.gone)
    results = tuple(one for one in remeasured(before, after, changed) if not options.only or one.formula in options.only)
    if options.format == "json":
        from formulint.render import json_report

        through = {stem(name): used for name, used in reach.through.items()}
        put(options, json_report.diff(before, after, changes, records, through, reach.policy, results))
    else:
        put(options, shown(options, tables.diff(before, after, changes, records, reach, options.format == "html", results), second.root))
    first.close()
    return 1 if any(finding.blocks for change in changes for finding in change.new) else 0


def _at(repository: git.Repository, revision: str, options: SimpleNamespace) -> snapshot.Snapshot:
    """A state; where a code was typed for it, how a code is named."""
    try:
        return snapshot.at(repository, revision, options.today)
    except UserError as error:
        code = _code(repository, revision)
        if code:
            states = "" if options.old in (revision, "HEAD") else f"{options.old} "
            words = f"{code} is the code of a record, not a commit, branch or tag"
            raise UserError(words, f"codes stand behind two hyphens: formulint diff {states}-- {code}") from None
        raise error


def _code(repository: git.Repository, text: str) -> str:
    """The code of a record that a text names, among the files here or, where none lie here, in the last commit; empty if none."""
    try:
        here = snapshot.work_tree(repository) if repository.top else snapshot.at(repository, "HEAD")
    except UserError:
        return ""
    codes = (stem(name) for name in here.entries if name.endswith(".toml"))
    return next((code for code in codes if code.casefold() == text.casefold()), "")


def _known(codes: Sequence[str], before: Catalog, after: Catalog) -> None:
    for code in codes:
        if before.find_formula(code) is None and after.find_formula(code) is None:
            raise UserError(f'neither state has a formula "{code}"', "name a code, such as T-101")


def _revisions(options: SimpleNamespace, repository: git.Repository) -> tuple[str, str | None]:
    old, new = options.old, options.new
    dots = "..." if "..." in old else ".." if ".." in old else ""
    if dots:
        if new is not None:
            raise UserError(f'"{old}" names both states already, and "{new}" is a third', f"write OLD{dots}NEW or OLD NEW")
        first, _, second = old.partition(dots)
        old, new = first or "HEAD", second or "HEAD"
    if new is not None and options.staged:
        raise UserError("--staged is the newer state already", "leave out the second commit")
    if dots == "..." and new is not None:
        old = parted(repository, repository.resolve(old), repository.resolve(new))
    return old, new
