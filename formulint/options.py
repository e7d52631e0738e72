"""Command lines, declared once: a quick reader for the plain forms, the standard library's for everything else.

Importing and building the standard parser takes as long as judging a formula. So lines of whole option names and
values are read here; whatever looks different (help, abbreviations, ``--name=value``, mistakes) goes to it instead.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from types import SimpleNamespace

TYPE_CHECKING = False
if TYPE_CHECKING:  # the name of typing's own constant, without the cost of importing typing
    from argparse import ArgumentParser
    from typing import Any


class Option:
    """One option or positional of a command.

    ``value`` names its value in help; a flag has none. ``read`` turns the text into a value and raises ``ValueError``
    with a sentence. Options of one ``group`` exclude each other. One that ``takes_rest`` also has what follows ``--``.
    """

    def __init__(
        self,
        name: str,
        help: str,
        value: str = "",
        *,
        default: object = None,
        read: Callable[[str], object] | None = None,
        choices: tuple[str, ...] = (),
        repeated: bool = False,
        several: bool = False,
        group: str = "",
        takes_rest: bool = False,
    ) -> None:
        self.name = name
        self.help = help
        self.value = value
        self.default = default
        self.read = read
        self.choices = choices
        self.repeated = repeated
        self.several = several
        self.group = group
        self.takes_rest = takes_rest

    @property
    def key(self) -> str:
        """Name of the attribute that holds it."""
        return self.name.lstrip("-").replace("-", "_")

    @property
    def positional(self) -> bool:
        """True for what is given by place."""
        return not self.name.startswith("-")


def quick(options: Sequence[Option], words: Sequence[str]) -> SimpleNamespace | None:
    """The values of a plain command line; None where it is not plain, or wrong: then the standard parser speaks."""
    named = {one.name: one for one in options if not one.positional}
    places = [one for one in options if one.positional]
    found: dict[str, Any] = {one.key: [] if one.several or one.repeated else one.default for one in options}
    used: set[str] = set()
    rest: list[str] = []
    at = 0
    rest_of = next((one for one in options if one.takes_rest), None)
    while at < len(words):
        word = words[at]
        at += 1
        if word == "--" and rest_of is not None:
            found[rest_of.key] += words[at:]
            break
        if not word.startswith("-"):
            rest.append(word)
            continue
        one = named.get(word)
        if one is None or (one.group and one.group in used):
            return None
        used.add(one.group)
        if not one.value:
            found[one.key] = True
            continue
        if at == len(words) or words[at].startswith("-"):
            return None
        if not _store(one, words[at], found):
            return None
        at += 1
    return _place(places, rest, found)


def _store(one: Option, text: str, found: dict[str, Any]) -> bool:
    if one.choices and text not in one.choices:
        return False
    value: object = text
    if one.read is not None:
        try:
            value = one.read(text)
        except ValueError:
            return False
    if one.repeated:
        found[one.key].append(value)
    else:
        found[one.key] = value
    return True


def _place(places: Sequence[Option], rest: list[str], found: dict[str, Any]) -> SimpleNamespace | None:
    for one in places:
        if one.several:
            found[one.key], rest = rest, []
        elif rest:
            found[one.key] = rest.pop(0)
    return None if rest else SimpleNamespace(**found)


def add_to(parser: ArgumentParser, options: Sequence[Option]) -> None:
    """Declare the same options to the standard parser."""
    from argparse import ArgumentTypeError

    groups: dict[str, Any] = {}

    def typed(read: Callable[[str], object]) -> Callable[[str], object]:
        def convert(text: str) -> object:
            try:
                return read(text)
            except ValueError as error:
                raise ArgumentTypeError(str(error)) from None

        return convert

    for one in options:
        if one.group and one.group not in groups:  # an empty group makes the help of Python 3.11 fail
            groups[one.group] = parser.add_mutually_exclusive_group()
        where = groups[one.group] if one.group else parser
        more: dict[str, Any] = {"help": one.help}
        if one.positional:
            more |= {"nargs": "*" if one.several else "?", "metavar": one.value, "default": one.default}
            if one.several:
                more.pop("default")
        elif not one.value:
            more |= {"action": "store_true"}
        else:
            more |= {"default": [] if one.repeated else one.default, "metavar": one.value}
            more |= {"action": "append"} if one.repeated else {}
            if one.choices:
                more |= {"choices": one.choices, "metavar": None}
        if one.read is not None:
            more["type"] = typed(one.read)
        where.add_argument(one.name, **more)


def plain_start(words: Sequence[str], commands: Mapping[str, str]) -> tuple[str, str, list[str]] | None:
    """Folder, command and the rest of a line that begins ``[-C DIR] COMMAND``; None for any other."""
    rest = list(words)
    folder = "."
    if len(rest) >= 2 and rest[0] == "-C" and not rest[1].startswith("-"):
        folder, rest = rest[1], rest[2:]
    if not rest or rest[0] not in commands:
        return None
    return folder, rest[0], rest[1:]
