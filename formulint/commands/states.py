"""Arguments that name a state of the repository, and the catalog of that state."""

from __future__ import annotations

from datetime import date
from types import SimpleNamespace
from typing import TYPE_CHECKING

from formulint import snapshot
from formulint.catalog import Catalog
from formulint.errors import UserError
from formulint.options import Option
from formulint.render import FORMATS
from formulint.rulebook import Shipped
from formulint.settings_check import require_settings

if TYPE_CHECKING:
    from formulint.report import Report


def day(text: str) -> date:
    """A date as typed.

    Raises
    ------
    ValueError
        With a sentence that says how to write one.
    """
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise ValueError(f'"{text}" is no date; write year-month-day, such as 2026-01-12') from None


TODAY = Option("--today", "judge as on this day, such as 2026-01-12", "DATE", read=day)
STATE = (
    Option("--staged", "what is staged, as a commit would record it", group="state", default=False),
    Option("--at", "a commit, a branch or a tag", "REV", group="state"),
    TODAY,
)
OUTPUT = (
    Option("--format", "how to show it (default: terminal)", "FORMAT", default="terminal", choices=tuple(FORMATS)),
    Option("--output", "write it to this file instead of the screen", "FILE"),
)


TABLES = (
    Option("--format", "how to show it (default: terminal)", "FORMAT", default="terminal", choices=("terminal", "markdown", "html", "json", "csv")),
    OUTPUT[1],
)
"""The same for what holds no findings: tables, and the same for machines."""


def heard(options: SimpleNamespace) -> None:
    """Refuse to do what is done once where nobody could read that it was.

    Raises
    ------
    UserError
        Where the standard output is closed and no file is named.
    """
    if options.unheard and not options.output:
        raise UserError("nobody can read the answer: the standard output is closed", "leave it open, or say --output FILE")


def catalog_of(options: SimpleNamespace) -> Catalog:
    """The catalog of the state that the options name; the work tree where they name none.

    Raises
    ------
    UserError
        Where there is no such state, or its settings cannot be read.
    """
    if getattr(options, "staged", False):
        state = snapshot.index(options.folder, options.today)
    elif getattr(options, "at", None):
        state = snapshot.at(options.folder, options.at, options.today)
    else:
        state = snapshot.work_tree(options.folder, options.today)
    return opened(state, Shipped())


def opened(state: snapshot.Snapshot, shipped: Shipped) -> Catalog:
    """A catalog whose settings can be read."""
    catalog = Catalog(state, shipped, state.date)
    require_settings(catalog)
    return catalog


def shown(options: SimpleNamespace, report: Report, root: str = "") -> str:
    """A report in the format asked for; its paths are below ``root``."""
    from importlib import import_module

    from msgspec.structs import replace

    text: str = import_module(FORMATS[options.format]).show(replace(report, root=root))
    return text


def put(options: SimpleNamespace, text: str) -> None:
    """Write a finished report to the screen or to the file asked for."""
    if options.output:
        from formulint.writing import write

        write(options.output, text.encode())
        return
    import sys

    try:
        sys.stdout.write(text)
    except UnicodeEncodeError:  # nothing was written yet: the whole text is encoded first
        from formulint.render import spelled

        sys.stdout.write(spelled(text, sys.stdout.encoding))
