"""``formulint mend``: the changes of a formula that would mend what lint finds; one of them is written where it is chosen."""

from __future__ import annotations

from collections.abc import Iterator
from types import SimpleNamespace

from formulint.catalog import Catalog
from formulint.commands.states import OUTPUT, TODAY, catalog_of, put, shown
from formulint.errors import UserError
from formulint.mend import Mending, Offer, chosen, mending, write
from formulint.options import Option
from formulint.report import CAUTION, Cell, Report, Section, Table, heading, title_line
from formulint.scope import named


def number(text: str) -> int:
    """A number of the list as typed.

    Raises
    ------
    ValueError
        With a sentence that says what is asked for.
    """
    if not (text.isascii() and text.isdigit() and len(text) < 4):
        raise ValueError(f'"{text}" is no number of the list; write one such as 1')
    return int(text)


OPTIONS = (
    Option("what", "this formula", "CODE"),
    TODAY,
    Option("--remedy", "write this one of the list into the file", "NUMBER", read=number),
    Option("--seen", "only if the file is still the one with this fingerprint", "FINGERPRINT", default=""),
    Option("--notes", "mend what is only noted, too", default=False),
    *OUTPUT,
)


def run(options: SimpleNamespace) -> int:
    """List, or write one; 0 where that was done."""
    if not options.what:
        raise UserError("mend asks which formula is meant", "name one: formulint mend T-101")
    catalog = catalog_of(options)
    names = named(catalog, [options.what]).formulas
    if len(names) != 1:
        raise UserError(f"{options.what} is not one formula", "name a formula by its code, such as T-101")
    found = mending(catalog, catalog.formula(names[0]), options.notes)
    offer = None if options.remedy is None else chosen(found, options.remedy, options.seen)
    changed = [] if offer is None else list(_changed(found, write(catalog, found, offer)))
    if options.format == "json":
        from formulint.render import json_report

        put(options, json_report.mend(catalog, found, options.remedy))
    elif offer is None:
        put(options, shown(options, _list(catalog, found, options.notes)))
    else:
        put(options, shown(options, _written(catalog, found, offer, changed)))
    catalog.snapshot.close()
    return 0


def _list(catalog: Catalog, found: Mending, notes: bool) -> Report:
    code = found.file.name.rsplit("/", 1)[-1].removesuffix(".toml")
    rows = tuple((Cell(str(at)), Cell(one.remedy.text), Cell(one.finding.rule)) for at, one in enumerate(found.offers, 1))
    tables = (Table((">no", "change", "mends"), rows),) if rows else ()
    helpless = tuple(f"{one.rule}: {one.remedies[0].text}" for one in found.helpless)
    more = " --notes" if notes else ""
    closing = (f"to write the first: formulint mend {code} --remedy 1 --seen {found.seen}{more}",) if rows else ("nothing that could be written was found",)
    return Report(title_line(catalog), (), (Section(heading(catalog, code), (), tables, helpless),), (*closing, CAUTION))


def _written(catalog: Catalog, found: Mending, offer: Offer, changed: list[str]) -> Report:
    code = found.file.name.rsplit("/", 1)[-1].removesuffix(".toml")
    formula = found.file.record
    assert formula is not None
    kept = "" if catalog.snapshot.repository is None else "; git diff shows it, git restore takes it back"
    closing = [f"written: {found.file.name}{kept}"]
    if formula.state == "production" and not offer.remedy.moves:
        closing.append("a paint in production whose composition changes asks for a new revision")
    section = Section(heading(catalog, code), (), (), (offer.remedy.text, *changed))
    return Report(title_line(catalog), (), (section,), (*closing, CAUTION))


def _changed(found: Mending, new: bytes) -> Iterator[str]:
    """The lines that differ, old and new."""
    from difflib import ndiff

    before, after = (raw.decode("utf-8").splitlines() for raw in (found.raw, new))
    yield from (line for line in ndiff(before, after) if line.startswith(("- ", "+ ")))
