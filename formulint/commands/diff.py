"""``formulint diff``: what changed between two states, and what that does to the paint."""

from __future__ import annotations

from types import SimpleNamespace

from formulint import git, snapshot, tables
from formulint.catalog import stem
from formulint.commands.states import OUTPUT, TODAY, opened, put
from formulint.compare import formulas
from formulint.errors import UserError
from formulint.options import Option
from formulint.rulebook import Shipped
from formulint.scope import touched

OPTIONS = (
    Option("old", "a commit (default: HEAD), or OLD..NEW", "OLD", default="HEAD"),
    Option("new", "a commit (default: the work tree)", "NEW"),
    Option("--staged", "compare OLD with what is staged", default=False),
    Option("--only", "only this formula; may be repeated", "CODE", repeated=True),
    TODAY,
    *OUTPUT,
)


def run(options: SimpleNamespace) -> int:
    """Compare and show; 1 where the newer state has a new finding that stops."""
    old, new = _revisions(options)
    repository = git.require(options.folder)
    first = snapshot.at(repository, old, options.today)
    if new is not None:
        second = snapshot.at(repository, new, options.today)
    elif options.staged:
        second = snapshot.index(repository, options.today)
    else:
        second = snapshot.work_tree(repository, options.today)
    shipped = Shipped()
    before, after = opened(first, shipped), opened(second, shipped)
    reach = touched(after, snapshot.changed_between(first, second), before)
    codes = [*(stem(name) for name in reach.formulas), *(code for code in reach.gone if before.find_formula(code))]
    if options.only:
        codes = [code for code in codes if code in options.only]
    changes = formulas(before, after, codes)
    if options.format == "json":
        from formulint.render import json_report

        through = {stem(name): used for name, used in reach.through.items()}
        put(options, json_report.diff(before, after, changes, through, reach.policy))
    else:
        from formulint.render import terminal

        put(options, terminal.show(tables.diff(before, after, changes, reach)))
    first.close()
    return 1 if any(finding.blocks for change in changes for finding in change.new) else 0


def _revisions(options: SimpleNamespace) -> tuple[str, str | None]:
    old, new = options.old, options.new
    if "..." in old:
        raise UserError(f'"{old}" asks for the state where two branches parted', "name that commit, or use OLD..NEW")
    if ".." in old:
        if new is not None:
            raise UserError(f'"{old}" names both states already, and "{new}" is a third', "write OLD..NEW or OLD NEW")
        first, _, second = old.partition("..")
        old, new = first or "HEAD", second or "HEAD"
    if new is not None and options.staged:
        raise UserError("--staged is the newer state already", "leave out the second commit")
    return old, new
