"""``formulint release``: prove that a revision may be made and sold, and put that on record; prove records again."""

from __future__ import annotations

from types import SimpleNamespace

from formulint import git, release_report, reproof, tagging
from formulint.commands.states import OUTPUT, TODAY, catalog_of, heard, put, shown
from formulint.errors import UserError
from formulint.options import Option
from formulint.releasing import release, tagged
from formulint.rulebook import Shipped

OPTIONS = (
    Option("what", "release this formula; with --verify: these records, such as T-101-r2 (default: all)", "CODE", several=True),
    Option("--verify", "prove records again instead: everything they rest on is there, and comes to the same", default=False),
    Option("--tag", "have git tag the commit by the name of the record, with your own settings of git; with --verify: where that tag is missing", default=False),
    Option("--at", "the commit that is released, or whose records are verified (default: HEAD with nothing else lying here; the files as they lie here)", "REV"),
    TODAY,
    *OUTPUT,
)


def run(options: SimpleNamespace) -> int:
    """Release and answer 0 where the record was written; 1 where something is not proved; 2 where nobody can say."""
    heard(options)
    if options.verify:
        return _verify(options)
    if len(options.what) != 1:
        raise UserError("one formula is released at a time", "say formulint release T-101")
    done = release(options.folder, options.what[0], options.at, options.today, options.tag, Shipped())
    if options.format == "json":
        put(options, release_report.to_json(done))
    else:
        put(options, shown(options, release_report.of_release(done), done.proof.catalog.snapshot.root))
    return 0 if done.written else 1


def _verify(options: SimpleNamespace) -> int:
    """Prove records again; with ``--tag``, have git tag the commits of those that hold and have no tag yet."""
    repository = git.require(options.folder)
    catalog = catalog_of(options)
    found = reproof.verify_all(repository, catalog, options.what)
    if options.tag:
        for one in found:
            if one.record is not None and one.holds and tagging.target_of(repository, one.code) is None:
                tagged(repository, one.record)
    if options.format == "json":
        put(options, release_report.verified_json(catalog, found))
    else:
        put(options, shown(options, release_report.of_verified(catalog, found), catalog.snapshot.root))
    return reproof.status_of(found)
