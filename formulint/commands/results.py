"""``formulint results``: what was measured on a formula, and what is missing."""

from __future__ import annotations

from types import SimpleNamespace

from formulint.catalog import stem
from formulint.commands.states import OUTPUT, STATE, catalog_of, put, shown
from formulint.errors import UserError
from formulint.options import Option
from formulint.results_report import blank, gathered, objects, report
from formulint.scope import named

OPTIONS = (
    Option("what", "these formulas", "CODE", several=True),
    *STATE,
    Option("--blank", "write a file of results to be filled in instead, for the tests that lack one", default=False),
    *OUTPUT,
)


def run(options: SimpleNamespace) -> int:
    """Show; 1 where a test has no result that passes."""
    if not options.what:
        raise UserError("results asks which formula is meant", "name one: formulint results T-101")
    catalog = catalog_of(options)
    names = named(catalog, options.what).formulas
    if not names:
        raise UserError(f"{options.what[0]} is no formula", "name one: formulint results T-101")
    found = [gathered(catalog, stem(name)) for name in names]
    if options.blank:
        if len(found) > 1:
            raise UserError("a blank is written for one formula at a time", f"formulint results {found[0].formula.code} --blank")
        put(options, blank(catalog, found[0]))
    elif options.format == "json":
        from formulint.render.json_report import dumps

        put(options, dumps(objects(catalog, found)))
    else:
        put(options, shown(options, report(catalog, found), catalog.snapshot.root))
    catalog.snapshot.close()
    return 1 if any(one.lacking for one in found) and not options.blank else 0
