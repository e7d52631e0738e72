"""``formulint release``: prove that a revision may be made and sold, and put that on record; prove records again."""

from __future__ import annotations

from types import SimpleNamespace

from formulint import release_report
from formulint.commands.states import OUTPUT, TODAY, put, shown
from formulint.errors import UserError
from formulint.options import Option
from formulint.releasing import release
from formulint.rulebook import Shipped

OPTIONS = (
    Option("what", "release this formula; with --verify: these records, such as T-101-r2 (default: all)", "CODE", several=True),
    Option("--verify", "prove records again instead: everything they rest on is there, and comes to the same", default=False),
    Option("--tag", "make an annotated tag of that name at the commit, by git and your own settings of git", default=False),
    Option("--at", "the commit that is released, or whose records are verified (default: HEAD, with nothing else lying here)", "REV"),
    TODAY,
    *OUTPUT,
)


def run(options: SimpleNamespace) -> int:
    """Release and answer 0 where the record was written; 1 where something is not proved."""
    if options.unheard and not options.output:
        raise UserError("nobody can read the answer: the standard output is closed", "leave it open, or say --output FILE")
    if len(options.what) != 1:
        raise UserError("one formula is released at a time", "say formulint release T-101")
    done = release(options.folder, options.what[0], options.at, options.today, options.tag, Shipped())
    if options.format == "json":
        put(options, release_report.to_json(done))
    else:
        put(options, shown(options, release_report.of_release(done), done.proof.catalog.snapshot.root))
    return 0 if done.written or done.tagged else 1
