"""``formulint gate``: may this proposal go in?"""

from __future__ import annotations

from types import SimpleNamespace

from formulint import tables
from formulint.commands.states import OUTPUT, TODAY, heard, put, shown
from formulint.errors import UserError
from formulint.gate import ask
from formulint.options import Option

OPTIONS = (
    Option("--base", "what the proposal is to go into: a branch, a full ref or a full commit id", "REV"),
    Option("--head", "the proposal (default: HEAD)", "REV", default="HEAD"),
    Option("--notes", "show the notes too, which are counted otherwise", default=False),
    TODAY,
    *OUTPUT,
)


def run(options: SimpleNamespace) -> int:
    """Judge, show, and answer: 0 only where everything was proved."""
    if not options.base:
        raise UserError("the gate needs a base: what the proposal is to go into", "say --base origin/main, or a commit id")
    heard(options)
    answer = ask(options.folder, options.base, options.head, options.today)
    if options.format == "json":
        from formulint.render import json_report

        put(options, json_report.gate(answer))
    else:
        put(options, shown(options, tables.gate(answer, options.notes, options.format == "html"), answer.after.snapshot.root))
    return 1 if answer.refused else 0
