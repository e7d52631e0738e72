"""The door: which command was asked for, and the exit status."""

from __future__ import annotations

import os
import sys
from argparse import ArgumentParser, Namespace, RawDescriptionHelpFormatter
from collections.abc import Sequence
from importlib import import_module

from formulint import __version__
from formulint.errors import UserError

COMMANDS = {
    "lint": "judge formulas and materials against the rules",
    "properties": "compute what a formula is: density, solids, PVC, VOC, cost, doses",
    "diff": "say what changed between two states, and what that does to the paint",
}
DESCRIPTION = """\
Checks and compares formulas of water-borne paint that are kept as TOML files in git.
Results are calculations for screening. Safety data sheets, local codes and qualified people decide.
"""
STATUS = "exit status: 0 nothing stops, 1 something does, 2 the question could not be answered"


def parser(only: str = "") -> ArgumentParser:
    """The parser for all commands, or, for a quick start, for the one that was asked for."""
    top = ArgumentParser(prog="formulint", description=DESCRIPTION, epilog=STATUS, formatter_class=RawDescriptionHelpFormatter)
    top.add_argument("--version", action="version", version=f"formulint {__version__}")
    top.add_argument("-C", dest="folder", metavar="DIR", default=".", help="look in this folder instead of the current one")
    commands = top.add_subparsers(dest="command", metavar="COMMAND", required=True)
    for name, words in COMMANDS.items():
        one = commands.add_parser(name, help=words, description=words[0].upper() + words[1:] + ".", epilog=STATUS)
        if not only or only == name:
            import_module(f"formulint.commands.{name}").add_arguments(one)
    return top


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command; the exit status."""
    words = list(sys.argv[1:] if arguments is None else arguments)
    asked = next((word for word in words if word in COMMANDS), "")
    options: Namespace = parser(asked).parse_args(words)
    try:
        status: int = import_module(f"formulint.commands.{options.command}").run(options)
        sys.stdout.flush()
        return status
    except UserError as error:
        from formulint.clean import clean

        sys.stdout.flush()
        sys.stderr.write(f"formulint cannot answer: {clean(error.message)}\n")
        if error.remedy:
            sys.stderr.write(f"  do: {clean(error.remedy)}\n")
        return 2
    except BrokenPipeError:
        # Whoever read us has gone: what was said is not all there was, so this is no yes.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 2
    except KeyboardInterrupt:
        sys.stderr.write("formulint was interrupted and has not answered\n")
        return 2
