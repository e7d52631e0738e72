"""``formulint combine``: three versions of a record made one, as git asks for it in a merge."""

from __future__ import annotations

import os
import sys
from types import SimpleNamespace

from formulint.clean import clean, log_line
from formulint.combine import combine
from formulint.errors import UserError
from formulint.options import Option
from formulint.threeway import Marks

OPTIONS = (
    Option("base", "the version that both come from", "BASE"),
    Option("ours", "one version; the result takes its place", "OURS"),
    Option("theirs", "the other", "THEIRS"),
    Option("length", "how long the marks are where both changed one thing (default: 7)", "LENGTH", default="7"),
    Option("ours_called", "what the marks call the one (default: ours)", "OURS-CALLED", default="ours"),
    Option("theirs_called", "what they call the other (default: theirs)", "THEIRS-CALLED", default="theirs"),
)


def run(options: SimpleNamespace) -> int:
    """Make them one; 1 where both changed one thing differently."""
    if options.theirs is None:
        raise UserError("combine makes one of three files", "git calls it in a merge, once formulint connect has told it to")
    names = (_name(options.ours_called, "ours"), _name(options.theirs_called, "theirs"))
    base, ours, theirs = (os.path.join(options.folder, name) for name in (options.base, options.ours, options.theirs))
    found = combine(base, ours, theirs, Marks(_length(options.length), *names))
    for where in found.where:
        sys.stderr.write(f"both sides changed this: {log_line(where)}\n")
    return 1 if found.clash else 0


def _name(text: str, otherwise: str) -> str:
    """A name for the marks; a git that does not know these words hands them on as they are, with their sign in front."""
    return otherwise if not text or text.startswith("%") else clean(text)


def _length(text: str) -> int:
    """A length of marks; git asks for longer ones where marks stand in marks."""
    return int(text) if text.isascii() and text.isdigit() and len(text) < 3 and int(text) else 7
