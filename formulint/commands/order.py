"""``formulint order``: the order that the rules ask of a formula's additions."""

from __future__ import annotations

from types import SimpleNamespace

from formulint.commands.states import OUTPUT, STATE, catalog_of, put, shown
from formulint.errors import UserError
from formulint.finding import Level
from formulint.judge import Judge
from formulint.options import Option
from formulint.order_report import ordering, report
from formulint.scope import named

OPTIONS = (
    Option("what", "these formulas", "CODE", several=True),
    *STATE,
    Option("--notes", "let the rules count that are only notes", default=False),
    *OUTPUT,
)


def run(options: SimpleNamespace) -> int:
    """Work out and show; 1 where a rule that must be kept is not."""
    if not options.what:
        raise UserError("order asks which formula is meant", "name one: formulint order T-101")
    catalog = catalog_of(options)
    names = named(catalog, options.what).formulas
    judge = Judge(catalog)
    files = [catalog.formula(name) for name in names]
    unread = [file.name for file in files if file.record is None]
    if unread or not files:
        message = f"{unread[0]} cannot be read as a formula" if unread else f"{options.what[0]} is no formula"
        raise UserError(message, "formulint lint says what is wrong with it")
    found = [ordering(judge, file, options.notes) for file in files]
    if options.format == "json":
        from formulint.render import json_pages

        put(options, json_pages.order(catalog, found))
    else:
        put(options, shown(options, report(catalog, found)))
    catalog.snapshot.close()
    return 1 if any(one.level is Level.error for order in found for one in order.violated) else 0
