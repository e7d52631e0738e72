"""``formulint properties``: compute what a formula is."""

from __future__ import annotations

from types import SimpleNamespace

from formulint import computed
from formulint.catalog import stem
from formulint.commands.states import OUTPUT, STATE, catalog_of, put, shown
from formulint.errors import UserError
from formulint.options import Option
from formulint.scope import everything, named
from formulint.side import side

OPTIONS = (
    Option("what", "only these formulas (default: all)", "CODE", several=True),
    *STATE,
    Option("--lines", "show what every line weighs, what room it takes, and its share; and what every stage comes to", default=False),
    Option("--spread", "show how the values scatter in production, from the tolerances of figures and the divisions of scales", default=False),
    Option("--hazards", "show every hazard class, how it comes about, and how far the next ones are", default=False),
    Option("--reference", "explain every property instead: what it is, its unit, who says so, what it was held against", default=False),
    *OUTPUT,
)


def run(options: SimpleNamespace) -> int:
    """Compute and show; 1 where a formula cannot be read."""
    if options.reference:
        return explain(options)
    catalog = catalog_of(options)
    scope = named(catalog, options.what) if options.what else everything(catalog)
    if not scope.formulas:
        raise UserError("there are no formulas here to compute", f"put them below {catalog.settings.folders.formulas}/")
    found = {name: side(catalog, stem(name)) for name in scope.formulas}
    sides = [one for one in found.values() if one is not None]
    unread = [name for name, one in found.items() if one is None]
    if options.format == "json":
        from formulint.render import json_pages

        put(options, json_pages.properties(catalog, sides, options.spread))
    else:
        put(options, shown(options, computed.properties(catalog, sides, unread, options.lines, options.spread, options.hazards, options.format == "html"), catalog.snapshot.root))
    catalog.snapshot.close()
    return 1 if unread else 0


def explain(options: SimpleNamespace) -> int:
    """Show the page of all properties; no repository is needed."""
    from formulint import reference
    from formulint.rulebook import Shipped

    if options.format == "json":
        from formulint.render import json_pages

        put(options, json_pages.reference(Shipped()))
    else:
        put(options, shown(options, reference.page(Shipped(), options.format in ("markdown", "html", "csv"))))
    return 0
