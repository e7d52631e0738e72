"""The door: which command was asked for, and the exit status."""

from __future__ import annotations

import gc
import os
import sys
from collections.abc import Sequence
from importlib import import_module
from types import ModuleType, SimpleNamespace

from formulint import __version__
from formulint.errors import UserError
from formulint.options import add_to, plain_start, quick

TYPE_CHECKING = False
if TYPE_CHECKING:  # as in options: the name without the cost of importing typing
    from typing import NoReturn

COMMANDS = {
    "lint": "judge formulas and materials against the rules",
    "properties": "compute what a formula is: density, solids, PVC, VOC, cost, doses",
    "diff": "say what changed between two states, and what that does to the paint",
    "gate": "say whether a proposal may go in: the merged result, judged by the policy of its base",
    "approve": "print the words by which somebody approves a formula, or have git make the tag that holds them",
    "release": "prove that a revision may be made and sold, and put that on record; prove records again",
    "audit": "answer an auditor: what was valid, who approved it, what changed, what is conceded, which records hold",
    "rules": "say what the rules ask, who says so, and what became of each for a formula",
    "history": "follow a property or a rule of a formula commit by commit, and say who crossed a limit",
    "whereused": "list the formulas that hold a material, an intermediate, a substance or a function, and how much",
    "results": "show what was measured on a formula for each of its tests, what counts, and what is missing",
    "order": "say in which order a formula's additions must go in, why, and what has to move",
    "batch": "print the sheet by which one batch of a formula is made, scaled and rounded to the scales, or say why there is none",
    "mend": "show the changes of a formula that would mend what lint finds, and write one of them",
    "standing": "list what is found today and may stand until it is mended, so that only what is new stops",
    "start": "make a folder a formula repository, with one formula to begin with",
    "connect": "have git merge and show formulas and materials by this program, in this clone",
    "combine": "make one of three versions of a record, as git asks for it in a merge",
    "text": "print a record as plain text, as git asks for it when it shows a change",
    "demo": "build an invented paint works in a folder, and play three months of its history",
    "schema": "print the format of a record as JSON Schema, for editors",
}
OF_REPOSITORIES = ("lint", "properties", "diff", "gate", "history", "whereused", "results", "order", "batch", "mend", "release", "audit")
"""Commands that begin with a question to git, which answers while the rest is loaded."""
AHEAD = ("diff", "lint", "properties", "order", "mend", "whereused", "results")
"""Those of them that go on to ask for the names in the states that they are about."""
DESCRIPTION = """\
Checks and compares formulas of water-borne paint that are kept as TOML files in git.
Results are calculations for screening. Safety data sheets, local codes and qualified people decide.
"""
STATUS = "exit status: 0 nothing stops, 1 something does, 2 the question could not be answered"


def read(words: Sequence[str]) -> SimpleNamespace:
    """The command and its options; ends the program with help or a complaint where the line asks for that."""
    start = plain_start(words, COMMANDS)
    if start is not None:
        folder, command, rest = start
        if command in OF_REPOSITORIES and "--help" not in rest and "-h" not in rest:
            import_module("formulint.plumbing").begin(folder)
            if command in AHEAD:
                _lean()
                import_module("formulint.ahead").begin(folder, command, rest)
        found = quick(_command(command).OPTIONS, rest)
        if found is not None:
            found.folder, found.command = folder, command
            return found
    return standard(words)


def standard(words: Sequence[str]) -> SimpleNamespace:
    """The same by the standard library's parser."""
    from argparse import ArgumentParser, RawDescriptionHelpFormatter

    words, rest = (words[: words.index("--")], list(words[words.index("--") + 1 :])) if "--" in words else (words, [])
    top = ArgumentParser(prog="formulint", description=DESCRIPTION, epilog=STATUS, formatter_class=RawDescriptionHelpFormatter)
    top.add_argument("--version", action="version", version=f"formulint {__version__}")
    top.add_argument("-C", dest="folder", metavar="DIR", default=".", help="look in this folder instead of the current one")
    commands = top.add_subparsers(dest="command", metavar="COMMAND", required=True)
    parsers = {
        name: commands.add_parser(name, help=help_, description=help_[0].upper() + help_[1:] + ".", epilog=STATUS)
        for name, help_ in COMMANDS.items()
    }  # fmt: skip
    start = plain_start(words, COMMANDS)
    if start is not None:  # options may stand between what is given by place; a parser of commands would refuse that
        add_to(parsers[start[1]], _command(start[1]).OPTIONS)
        found = SimpleNamespace(**vars(parsers[start[1]].parse_intermixed_args(start[2])), folder=start[0], command=start[1])
    else:
        for name in parsers.keys() & set(words):
            add_to(parsers[name], _command(name).OPTIONS)
        found = SimpleNamespace(**vars(top.parse_args(words)))
    taker = next((one for one in _command(found.command).OPTIONS if one.takes_rest), None)
    if rest and taker is None:
        top.error(f"{found.command} takes nothing after --")
    if taker is not None:
        setattr(found, taker.key, [*getattr(found, taker.key), *rest])
    return found


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command; the exit status."""
    words = list(sys.argv[1:] if arguments is None else arguments)
    if words == ["--version"]:
        sys.stdout.write(f"formulint {__version__}\n")
        return 0
    unheard = sys.stdout is None
    for name in ("stdout", "stderr"):
        if getattr(sys, name) is None:  # closed by whoever started us; to most commands the exit status is still an answer
            setattr(sys, name, open(os.devnull, "w", encoding="utf-8"))  # noqa: SIM115 - open for the whole run
    gc.disable()  # a run is short and makes no circles worth collecting; looking for them costs a tenth of it
    try:
        options = read(words)
        options.unheard = unheard
        status: int = _command(options.command).run(options)
        sys.stdout.flush()
        return status
    except UserError as error:
        return _cannot(error)
    except BrokenPipeError:
        # Whoever read us has gone: what was said is not all there was, so this is no yes.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 2
    except OSError as error:
        return _silent(f"formulint has not answered, because the machine refused: {error.strerror or error}\n")
    except KeyboardInterrupt:
        return _silent("formulint was interrupted and has not answered\n")


def run() -> NoReturn:
    """The program: run a command and end at once, without taking apart what lies in memory, which costs a sixth of a run."""
    status = main()
    try:
        sys.stdout.flush()
        sys.stderr.flush()
    except OSError:
        status = 2  # not all was said
    os._exit(status)


def _command(name: str) -> ModuleType:
    """The module of a command; help on all of them needs none."""
    _lean()
    return import_module(f"formulint.commands.{name}")


class _Late(ModuleType):
    """Stands in for a module until somebody asks for something in it."""

    def __getattr__(self, name: str) -> object:
        if sys.modules.get(self.__name__) is self:
            del sys.modules[self.__name__]
        return getattr(import_module(self.__name__), name)


def _lean() -> None:
    """Import msgspec without what it brings along and does not need.

    ``typing_extensions`` is there for others, and costs an eighth of a whole run to import. Of ``platform``, a
    thousand lines of patterns, its ``uuid`` asks only for the name of the system; two modules it needs for schemas alone.
    """
    if "msgspec" in sys.modules or "typing_extensions" in sys.modules:
        return
    system = ModuleType("platform")
    system.__dict__["system"] = lambda: os.uname().sysname
    stand_ins = {one.__name__: one for one in (system, _Late("textwrap"), _Late("msgspec.inspect")) if one.__name__ not in sys.modules}
    sys.modules.update({"typing_extensions": None, **stand_ins})  # type: ignore[dict-item]
    try:
        import_module("msgspec")
    finally:
        del sys.modules["typing_extensions"]
        for name, one in stand_ins.items():
            if sys.modules.get(name) is one:
                del sys.modules[name]


def _cannot(error: UserError) -> int:
    from formulint.clean import log_line

    remedy = f"  do: {log_line(error.remedy)}\n" if error.remedy else ""
    return _silent(f"formulint cannot answer: {log_line(error.message)}\n{remedy}")


def _silent(complaint: str) -> int:
    """The exit status of a question without an answer; that stays so where the complaint itself cannot be written."""
    for stream, words in ((sys.stdout, ""), (sys.stderr, complaint)):
        try:
            stream.write(words)
            stream.flush()
        except OSError:
            pass
    return 2
