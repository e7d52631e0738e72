"""``formulint start``: make a folder a formula repository, with one formula to begin with."""

from __future__ import annotations

import os
import sys
from types import SimpleNamespace

from formulint import __version__
from formulint.errors import UserError
from formulint.first_commit import begin, install_hook, on_path, require_git
from formulint.options import Option
from formulint.start import CLASSES, HOOK, Pinned, files, place, survey
from formulint.welcome import Made, words

OPTIONS = (
    Option("dir", "the folder, made if it is not there (default: this one)", "DIR", default="."),
    Option("--class", "the paint to begin with (default: flat)", "CLASS", default="flat", choices=CLASSES),
    Option("--git", "have git keep the folder, record the first state, and check every later one by pre-commit", default=False),
    Option("--hook-from", "fetch the check of commits from this git address, in place of the installed formulint", "ADDRESS"),
    Option("--hook-revision", "the tag or commit to fetch there (default: v and the version of this formulint)", "REV"),
)


def run(options: SimpleNamespace) -> int:
    """Make what is not there, and say so; 1 where something was kept or left out, 0 where all of it was made."""
    if options.hook_revision and not options.hook_from:
        raise UserError("--hook-revision says which state of what --hook-from names, and that is not given", "say --hook-from ADDRESS too")
    pinned = Pinned(options.hook_from, options.hook_revision or f"v{__version__}") if options.hook_from else None
    wanted = files(getattr(options, "class"), pinned)
    if options.git:
        require_git()
    ground = survey(os.path.join(options.folder, options.dir))
    placed = place(ground, wanted)
    begun = begin(ground.root, (*placed.written, *placed.same)) if options.git and ground.repository is None else None
    ours = HOOK in (*placed.written, *placed.same)
    hook = install_hook(ground.root) if options.git and ours else None
    where = os.path.normpath(os.path.join(options.folder, options.dir))
    found = frozenset(name for name in ("git", "pre-commit", "formulint") if on_path(name) is not None)
    found |= {"formulint"} if pinned is not None else set()  # the hook then brings its own
    sys.stdout.write(words(Made(where, ground, placed, begun, hook, found)))
    return 0 if placed.whole else 1
