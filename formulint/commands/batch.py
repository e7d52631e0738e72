"""``formulint batch``: the sheet by which one batch of a formula is made, or why there is none."""

from __future__ import annotations

import time
from datetime import date
from types import SimpleNamespace

from msgspec.structs import replace

from formulint import snapshot
from formulint.batch import batch
from formulint.batch_report import report, to_json
from formulint.catalog import Catalog
from formulint.commands.states import STATE, catalog_of, opened, put, shown
from formulint.errors import Misread, UserError
from formulint.options import Option
from formulint.quantity import Quantity, read
from formulint.render.markdown import NO_ROOM
from formulint.rulebook import Shipped
from formulint.scope import named


def size(text: str) -> Quantity:
    """How much is to be made, as typed.

    Raises
    ------
    ValueError
        With a sentence that says how to write it.
    """
    try:
        return read(text, ("mass", "volume"))
    except Misread as error:
        raise ValueError(f"{error.message}; {error.remedy or 'write it such as 500 gal'}") from None


OPTIONS = (
    Option("what", "the formula that is made", "CODE"),
    Option("--size", "how much is made, a volume or a mass, such as \"500 gal\"", "SIZE", read=size),
    Option("--tank", "the tank in which the batch ends, by its code in the equipment", "TANK"),
    *STATE,
    Option("--format", "how to show it (default: terminal)", "FORMAT", default="terminal", choices=("terminal", "markdown", "html", "json", "csv")),
    Option("--output", "write it to this file instead of the screen", "FILE"),
)


def run(options: SimpleNamespace) -> int:
    """Show the sheet; 1 with the reasons where there is none."""
    if not options.what:
        raise UserError("batch asks which formula is made", 'name one: formulint batch T-101 --size "500 gal"')
    if options.size is None:
        raise UserError("batch asks how much is made", f'say so: formulint batch {options.what} --size "500 gal"')
    catalog = _catalog(options)
    names = named(catalog, [options.what]).formulas
    if len(names) != 1:
        raise UserError(f"{options.what} is not one formula", "name a formula by its code, such as T-101")
    file = catalog.formula(names[0])
    if file.record is None:
        raise UserError(f"{file.name} cannot be read as a formula", "formulint lint says what is wrong with it")
    made = batch(catalog, file, options.size, options.tank)
    put(options, to_json(made) if options.format == "json" else _whole(options, shown(options, report(made))))
    catalog.snapshot.close()
    return 1 if made.refused else 0


def _catalog(options: SimpleNamespace) -> Catalog:
    """The catalog of the state asked for, on the day on which the batch is made: a commit of January is not made in January."""
    if not options.at or options.today is not None:
        return catalog_of(options)
    now = time.localtime()
    state = snapshot.at(options.folder, options.at, date(now.tm_year, now.tm_mon, now.tm_mday))
    return opened(replace(state, date_origin="this machine's date"), Shipped())


def _whole(options: SimpleNamespace, text: str) -> str:
    """The sheet, if all of it is there: a line that is not seen is not weighed.

    Raises
    ------
    UserError
        Where it is longer than what Markdown is made for here.
    """
    if options.format == "markdown" and NO_ROOM in text:
        raise UserError("this sheet is longer than Markdown for a comment, which would leave lines out", "take --format html")
    return text
