"""Arguments that name a state of the repository, and the catalog of that state."""

from __future__ import annotations

from argparse import ArgumentParser, ArgumentTypeError, Namespace
from datetime import date

from formulint import snapshot
from formulint.catalog import Catalog
from formulint.rulebook import Shipped


def add_state(parser: ArgumentParser) -> None:
    """``--staged``, ``--at`` and ``--today``."""
    state = parser.add_mutually_exclusive_group()
    state.add_argument("--staged", action="store_true", help="what is staged, as a commit would record it")
    state.add_argument("--at", metavar="REV", help="a commit, a branch or a tag")
    add_today(parser)


def add_today(parser: ArgumentParser) -> None:
    """``--today``: the day that dates, ages and rules in force are judged by."""
    parser.add_argument("--today", metavar="DATE", type=_day, help="judge as on this day, such as 2026-01-12")


def add_output(parser: ArgumentParser) -> None:
    """``--format`` and ``--output``."""
    parser.add_argument("--format", choices=("terminal", "json"), default="terminal", help="how to show it (default: terminal)")
    parser.add_argument("--output", metavar="FILE", help="write it to this file instead of the screen")


def _day(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise ArgumentTypeError(f'"{text}" is no date; write year-month-day, such as 2026-01-12') from None


def catalog_of(options: Namespace) -> Catalog:
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
    catalog.require_settings()
    return catalog


def put(options: Namespace, text: str) -> None:
    """Write a finished report to the screen or to the file asked for."""
    if options.output:
        from formulint.writing import write

        write(options.output, text.encode())
        return
    import sys

    sys.stdout.write(text)
