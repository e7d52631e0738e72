"""``formulint rules``: what the rules ask, who says so, and what became of each for a formula."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from types import SimpleNamespace

from formulint.catalog import Catalog
from formulint.commands.states import OUTPUT, STATE, catalog_of, put, shown
from formulint.errors import UserError
from formulint.judge import Judge
from formulint.options import Option
from formulint.report import Report, title_line
from formulint.rule_report import data, for_formula, in_full, overview, pack_of, page
from formulint.rulebook import Entry, Rulebook, Shipped
from formulint.rules_told import Outcome, Told, outcomes, told
from formulint.scope import named
from formulint.settings import Settings
from formulint.settings_check import hint

OPTIONS = (
    Option("what", "this rule in full, such as dose/glycol, or the rules of this pack (default: all)", "RULE"),
    *STATE,
    Option("--formula", "what became of each rule for this formula: kept, broken, not asked, not checked, and why", "CODE"),
    Option("--shipped", "only the rules that come with the tool; asks for no repository", default=False),
    Option("--format", "how to show it (default: terminal)", "FORMAT", default="terminal", choices=("terminal", "markdown", "json")),
    OUTPUT[1],
)


def run(options: SimpleNamespace) -> int:
    """Show; 0 where that could be done."""
    if options.shipped and options.formula:
        raise UserError("--shipped asks for no repository, and a formula is in one", "leave out one of both")
    catalog = None if options.shipped else catalog_of(options)
    book = Rulebook(Shipped(), (), options.today or date.today()) if catalog is None else catalog.rulebook
    entries = _wanted(book.listed(), options.what)
    rules = [told(book, Settings(format=1) if catalog is None else catalog.settings, entry) for entry in entries]
    found = None if catalog is None or not options.formula else _found(catalog, options.formula, entries)
    if found is not None and options.what is not None:
        found = tuple(one for one in found if not one.rule.startswith("own-limit/"))
    if options.format == "json":
        from formulint.render import json_report

        about = {"formula": options.formula} if options.formula else {}
        put(options, json_report.dumps({"format": "formulint/rules/1", "date": str(book.today), **about, "rules": data(rules, found)}))
    elif options.format == "markdown" and found is None and options.what is None:
        put(options, page(rules))
    else:
        put(options, shown(options, _report(catalog, options.formula, rules, found)))
    if catalog is not None:
        catalog.snapshot.close()
    return 0


def _wanted(entries: Sequence[Entry], what: str | None) -> list[Entry]:
    """The rule, or the rules of the pack, that somebody named."""
    if what is None:
        return list(entries)
    found = [entry for entry in entries if entry.id == what] or [entry for entry in entries if pack_of(entry.id) == what.rstrip("/")]
    if not found:
        raise UserError(f'there is no rule "{what}"', hint(what, [entry.id for entry in entries]))
    return found


def _found(catalog: Catalog, code: str, entries: Sequence[Entry]) -> tuple[Outcome, ...]:
    names = named(catalog, [code]).formulas
    if len(names) != 1 or catalog.formula(names[0]).record is None:
        words = f"{names[0]} cannot be read as a formula" if len(names) == 1 else f"{code} is not one formula"
        raise UserError(words, "formulint lint says what is wrong with it" if names else "name a formula by its code, such as T-101")
    return outcomes(Judge(catalog), catalog.formula(names[0]), entries)


def _report(catalog: Catalog | None, code: str | None, rules: Sequence[Told], found: Sequence[Outcome] | None) -> Report:
    title = "formulint: the rules that come with the tool" if catalog is None else title_line(catalog)
    if found is not None and catalog is not None and code is not None:
        return for_formula(catalog, code, found, len(rules) - sum(1 for one in found if not one.rule.startswith("own-limit/")))
    return in_full(title, rules[0]) if len(rules) == 1 else overview(title, rules)
