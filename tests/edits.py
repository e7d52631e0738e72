"""Edits of a small repository, as data: what is written otherwise, and what that is to be taken for."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator
from pathlib import Path

import msgspec
from in_memory import SETTINGS, of_files
from msgspec import Struct
from repository import text

from formulint.catalog import Catalog

FOLDER = Path(__file__).parent / "cases" / "change"
Replacements = dict[str, list[tuple[str, str]]]


class Edit(Struct, frozen=True, forbid_unknown_fields=True, rename={"class_": "class"}):
    """An edit with the digests that change (of c, m, d), the class, and the lines and policy fields that are told."""

    name: str
    class_: str
    about: str = "T-1"
    first: Replacements = {}
    files: Replacements = {}
    move: dict[str, str] = {}
    each: bool = False
    digests: str = ""
    lines: list[str] = []
    policy: list[str] = []
    fields: list[str] = []

    @property
    def steps(self) -> Iterator[Replacements]:
        """The edits that are made, one by one or all at once."""
        if self.each:
            yield from ({name: [pair]} for name, pairs in self.files.items() for pair in pairs)
        else:
            yield self.files


def base() -> dict[str, str]:
    """The files that are edited, without their ending."""
    root = FOLDER / "base"
    found = {path.relative_to(root).with_suffix("").as_posix(): path.read_text(encoding="utf-8") for path in sorted(root.rglob("*.toml"))}
    return {"formulint": text(SETTINGS), **found}


def edited(files: dict[str, str], changes: Replacements, move: dict[str, str]) -> dict[str, str]:
    """The files with every replacement made; a text that is not there is a mistake of the case."""
    made = dict(files)
    for name, pairs in changes.items():
        for old, new in pairs:
            assert old in made[name], f"{name} does not say {old}"
            made[name] = made[name].replace(old, new)
    return {move.get(name, name): content for name, content in made.items()}


def shelf(files: dict[str, str]) -> Catalog:
    """The catalog of these files."""
    return of_files({f"{name}.toml": content for name, content in files.items()})


def states(edit: Edit) -> Iterator[tuple[Catalog, Catalog]]:
    """Before and after, for each edit that is made."""
    before = edited(base(), edit.first, {})
    for changes in edit.steps:
        yield shelf(before), shelf(edited(before, changes, edit.move))


EDITS = {edit.name: edit for edit in msgspec.convert(tomllib.loads((FOLDER / "edits.toml").read_text(encoding="utf-8"))["edit"], list[Edit])}
