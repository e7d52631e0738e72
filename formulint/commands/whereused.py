"""``formulint whereused``: which formulas hold a material, an intermediate, a substance or a function."""

from __future__ import annotations

from types import SimpleNamespace

from formulint.commands.states import STATE, TABLES, catalog_of, put, shown
from formulint.errors import UserError
from formulint.options import Option
from formulint.whereused import where_used
from formulint.whereused_report import data, report

OPTIONS = (
    Option("what", "a material, an intermediate, a CAS number, or a function such as dispersant", "CODE"),
    *STATE,
    *TABLES,
)


def run(options: SimpleNamespace) -> int:
    """Look and show; 0 where that could be done."""
    if not options.what:
        raise UserError("whereused asks what is looked for", "name a code, a CAS number or a function: formulint whereused RM-1401")
    catalog = catalog_of(options)
    found = where_used(catalog, options.what)
    if options.format == "json":
        from formulint.render import json_report

        put(options, json_report.dumps(data(catalog, found)))
    else:
        put(options, shown(options, report(catalog, found), catalog.snapshot.root))
    catalog.snapshot.close()
    return 0
