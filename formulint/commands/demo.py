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
from formulint.root import SETTINGS
from formulint.sandbox import Sandbox, requirements

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
    works = Sandbox(program, _make(where))
    Play(source, works, _say, options.brief).whole(told)
    for line in farewell(told, quote(where), _hint(works.command)):
        _say(line)
    return 0


def _make(where: str) -> str:
    """An empty folder, its absolute path; nothing is made where there is something already."""
    root = os.path.realpath(where)
    try:
        if os.path.isdir(root) and os.listdir(root):
            raise UserError(f"{quoted(where)} is not empty", "name a new folder, such as formulint demo paint")
        above = root
        while os.path.dirname(above) != above:
            above = os.path.dirname(above)
            if os.path.lexists(os.path.join(above, SETTINGS)):
                words = f"{quoted(where)} lies in the formula repository {quoted(above)}, and one does not lie in another"
                raise UserError(words, f"name a folder outside {quoted(above)}")
            if os.path.basename(above) == ".git":
                raise UserError(f"{quoted(where)} lies where git keeps its own files", "name a folder outside it")
        os.makedirs(root, exist_ok=True)
    except OSError as error:
        raise UserError(f"{quoted(where)} cannot be made: {(error.strerror or str(error)).lower()}", "name another folder") from None
    return root


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
