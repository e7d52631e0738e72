"""``formulint demo``: play three months of an invented paint works in a repository that is really built."""

from __future__ import annotations

import os
import sys
from shlex import join, quote
from types import SimpleNamespace

from formulint.clean import log_line
from formulint.demo import Play, example, farewell, story
from formulint.errors import UserError
from formulint.first_commit import on_path
from formulint.git import quoted
from formulint.options import Option
from formulint.render import spelled
from formulint.sandbox import Sandbox, requirements
from formulint.start import survey

LONGEST = 4000
"""Characters of a line that are shown; a folder may have a long name."""

OPTIONS = (
    Option("dir", "the folder to build it in, new or empty (default: formulint-demo)", "DIR", default="formulint-demo"),
    Option("--brief", "tell only what was done and what came of it", default=False),
)


def run(options: SimpleNamespace) -> int:
    """Build, play and tell; 0 only where everything went as told.

    Raises
    ------
    UserError
        The folder is not empty; git or pre-commit is missing; a step went otherwise than told.
    """
    where = os.path.normpath(os.path.join(options.folder, options.dir))
    source = example()
    told = story(source)
    program = requirements()
    _make(where)
    root = os.path.realpath(where)
    works = Sandbox(program, root)
    Play(source, works, _say, options.brief).whole(told)
    for line in farewell(told, quote(where), _hint(works.command)):
        _say(line)
    return 0


def _make(where: str) -> None:
    """An empty folder; nothing is made where there is something already."""
    try:
        if os.path.isdir(where) and os.listdir(where):
            raise UserError(f"{quoted(where)} is not empty", "name a new folder, such as formulint demo paint")
        survey(where)
        os.makedirs(where, exist_ok=True)
    except OSError as error:
        raise UserError(f"{quoted(where)} cannot be made: {(error.strerror or str(error)).lower()}", "name another folder") from None


def _hint(command: tuple[str, ...]) -> str:
    """What makes the shell find formulint; empty where it finds it."""
    if on_path("formulint") is not None:
        return ""
    folder = os.path.dirname(sys.executable)
    if os.access(os.path.join(folder, "formulint"), os.X_OK):
        return f'export PATH={quote(folder)}:"$PATH"'
    return f"alias formulint={quote(join(command))}"


def _say(line: str) -> None:
    """Show lines at once, so that it can be seen how far it is."""
    text = "".join(f"{log_line(part, LONGEST)}\n" for part in line.split("\n"))
    try:
        sys.stdout.write(text)
    except UnicodeEncodeError:
        sys.stdout.write(spelled(text, sys.stdout.encoding))
    sys.stdout.flush()
